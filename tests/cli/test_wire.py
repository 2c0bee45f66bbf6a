"""romwright wire, as a user runs it."""

import pytest

STYLE_B = ("rom-23128-style-b", "--polarity", "20=L,22=L,27=L")
KEYS = {
    "from",
    "to",
    "polarity",
    "assumed",
    "unchecked",
    "image_at",
    "rows",
    "findings",
    "drive",
    "wired",
    "proof",
    "cautions",
}


def test_json_has_the_documented_keys(romwright):
    run = romwright("wire", "rom-23128-style-b", "28C256", "--polarity", "20=L,22=L,27=L", "--json")
    assert run.status == 1 and set(run.json) == KEYS
    assert set(run.json["rows"][0]) == {"socket", "signal", "chip", "function", "how", "wire_to", "detail"}
    assert set(run.json["findings"][0]) == {"severity", "code", "title", "evidence", "remedy"}
    assert run.json["findings"][0]["severity"] == "stop"
    for both in (run.json["drive"], run.json["wired"]):
        assert set(both) == {"original", "fitted", "equal", "signals", "differs_at"}
    assert run.json["drive"]["original"] == [{"20 OE": "L", "22 OD": "L", "27 CS": "L"}]
    assert run.json["proof"] == {"addresses": 16384, "equal": True, "states": 8, "states_differ": 1}
    assert run.json["unchecked"]["from"]


def test_json_for_every_polarity(romwright):
    run = romwright("wire", "rom-23128-style-b", "27128", "--json")
    assert run.status == 1 and set(run.json) == KEYS | {"polarities"}
    assert len(run.json["polarities"]) == 8 and run.json["assumed"] == {"20": "L", "22": "L", "27": "L"}
    assert set(run.json["polarities"][0]) == {"assumed", "drive", "wired", "proof", "rows", "findings"}
    partly = romwright("wire", "rom-23128-style-b", "27128", "--polarity", "20=L,27=L", "--json")
    assert [case["assumed"] for case in partly.json["polarities"]] == [
        {"20": "L", "22": "L", "27": "L"}, {"20": "L", "22": "H", "27": "L"},
    ]  # fmt: skip
    assert partly.json["polarity"] == {"20": "L", "27": "L"}


def test_text_says_it_in_words(romwright):
    run = romwright("wire", "rom-23128-style-b", "27C256", "--polarity", "20=L,22=L,27=L")
    assert run.status == 1
    text = " ".join(run.out.split())
    assert "the EPROM drives the data bus during every memory read, whether selected or not" in text
    assert "UNCHECKED in the page of rom-23128-style-b" in text
    assert "each of 16,384 addresses gives the original's word" in text
    assert run.out.index("If it is simply plugged in") < run.out.index("Wiring") < run.out.index("When it drives")
    assert max(map(len, run.out.splitlines())) <= 110


def test_drop_in_is_fine(romwright):
    run = romwright("wire", "27256", "m27c256b")
    assert run.status == 0 and "nothing is wrong" in run.out
    assert romwright("wire", "rom-23128-style-c", "27128", "--polarity", "27=H").status == 0


def test_a_read_that_differs_is_said(romwright):
    run = romwright("wire", "27256", "27128")
    assert run.status == 1 and "NOT EQUAL" in run.out and "address 4000" in run.out


@pytest.mark.parametrize("arguments, said", [
    (("27C265", "27128"), "did you mean"),
    (("27128", "28C265"), "did you mean 28C256"),
    (("23128", "27128"), "3 meanings"),
    (("rom-23128-style-b", "27128", "--polarity", "20=X"), "no polarity"),
    (("rom-23128-style-b", "27128", "--polarity", "20"), "no polarity"),
    (("rom-23128-style-b", "27128", "--polarity", "20=L,,22=L"), "empty entry"),
    (("rom-23128-style-b", "27128", "--polarity", "20=L,20=H"), "given as L and as H"),
    (("rom-23128-style-b", "27128", "--polarity", "21=L"), "20=L or H, 22=L or H, 27=L or H"),
    (("27128", "27128A", "--polarity", "20=L"), "all of this part's are fixed"),
    (("27128", "27128A", "--chip-polarity", "20=L"), "all of this part's are fixed"),
    (("27128",), "TO"),
])  # fmt: skip
def test_bad_input_is_explained(romwright, arguments, said):
    run = romwright("wire", *arguments)
    assert run.status == 2 and said in run.err and run.out == "" and len(run.err.splitlines()) < 8
