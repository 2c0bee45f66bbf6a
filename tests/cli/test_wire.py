"""romwright wire, as a user runs it."""

import pytest

from romwright.datafiles import data_folder
from romwright.parts.library import require_part

STYLE_B = ("rom-23128-style-b", "--polarity", "20=L,22=L,27=L")
KEYS = {
    "from",
    "next",
    "to",
    "polarity",
    "assumed",
    "unchecked",
    "traps",
    "seating",
    "image_at",
    "burn_at",
    "rows",
    "gates",
    "work",
    "delay_ns", "switches",
    "prefer",
    "banks",
    "findings",
    "drive",
    "wired",
    "proof",
    "electric",
    "cautions",
}


def test_json_has_the_documented_keys(romwright):
    run = romwright("wire", "rom-23128-style-b", "28C256", "--polarity", "20=L,22=L,27=L", "--json")
    assert run.status == 1 and set(run.json) == KEYS
    assert set(run.json["rows"][0]) == {
        "socket", "signal", "chip", "function", "how", "wire_to", "inverted", "gate", "point", "strap", "detail",
    }  # fmt: skip
    assert set(run.json["gates"][0]) == {"name", "package", "part", "kind", "taps", "output", "delay_ns"}
    assert [tap["position"] for tap in run.json["gates"][0]["taps"]] == [20, 27]
    assert set(run.json["work"][0]) == {"what", "count", "points"} and run.json["delay_ns"] == 22
    assert set(run.json["findings"][0]) == {"severity", "code", "title", "evidence", "remedy"}
    assert run.json["findings"][0]["severity"] == "stop"
    for both in (run.json["drive"], run.json["wired"]):
        assert set(both) == {"original", "fitted", "equal", "signals", "differs_at"}
    assert run.json["drive"]["original"] == [{"20 OE": "L", "22 OD": "L", "27 CS": "L"}]
    assert run.json["proof"] == {
        "addresses": 16384, "equal": True, "drive_equal": True, "states": 8, "states_differ": 0, "states_written": 0,
        "power_up_safe": True,
    }  # fmt: skip
    assert set(run.json["traps"]) == {"from", "to"} and all(run.json["traps"].values())
    assert run.json["unchecked"]["from"]


def test_json_for_every_polarity(romwright):
    run = romwright("wire", "rom-23128-style-b", "27128", "--json")
    assert run.status == 1 and set(run.json) == KEYS | {"polarities"}
    assert len(run.json["polarities"]) == 8 and run.json["assumed"] == {"20": "L", "22": "L", "27": "L"}
    assert set(run.json["polarities"][0]) == {"assumed", "drive", "wired", "proof", "rows", "gates", "findings"}
    partly = romwright("wire", "rom-23128-style-b", "27128", "--polarity", "20=L,27=L", "--json")
    assert [case["assumed"] for case in partly.json["polarities"]] == [
        {"20": "L", "22": "L", "27": "L"}, {"20": "L", "22": "H", "27": "L"},
    ]  # fmt: skip
    assert partly.json["polarity"] == {"20": "L", "27": "L"}


def test_text_says_it_in_words(romwright):
    run = romwright("wire", "rom-23128-style-b", "27C256", "--polarity", "20=L,22=L,27=L")
    assert run.status == 1
    text = " ".join(run.out.split())
    assert "the EPROM drives the bus during every memory read, whether selected or not" in text
    assert "UNCHECKED in the page of rom-23128-style-b" in text
    assert "read 16,384 addresses in each of" in text
    assert "Burn the contents at 0000 of the chip (or repeat them over it)." in text
    assert "who drives the data bus is the same in every state" in text
    assert "lost without a gate: socket pin 20 (OE, active L)" in text
    for trap in (*require_part("rom-23128-style-b").traps, *require_part("27C256").traps):
        assert " ".join(trap.split()) in text
    order = ("If it is simply plugged in", "Wiring", "Burn", "When it drives", "Proof", "Traps of", "Take care")
    assert [run.out.index(heading) for heading in order] == sorted(run.out.index(heading) for heading in order)
    assert max(map(len, run.out.splitlines())) <= 110


def test_where_to_burn_is_said_above_the_table(romwright):
    run = romwright("wire", "27128", "27256")
    assert "\nWiring\n  Burn the contents at 4000 of the chip (or repeat them over it).\nsocket" in run.out
    assert "Burn" not in romwright("wire", "27128", "27C128").out
    assert "The contents must lie at 0000" in romwright("wire", "rom-2364-28", "rom-23128-style-a").out


def test_a_select_through_an_inverter_is_in_the_table(romwright):
    run = romwright("wire", "rom-23128-style-a", "27128", "--polarity", "20=H,22=L,27=L")
    text = " ".join(run.out.split())
    assert "to pin 6 of X1 (L while socket 20 is H and socket 27 is L)" in text
    assert "wired       pin 20 H, pin 22 L, pin 27 L" in run.out and run.status == 1
    data = romwright("wire", "rom-2364-24", "2764", "--polarity", "20=H", "--json").json
    assert [(row["chip"], row["wire_to"], row["gate"]) for row in data["rows"] if row["inverted"]] == [(20, 20, "X1.2")]
    assert [gate["part"] for gate in data["gates"]] == ["74LS04"] and data["delay_ns"] == 15


def test_what_may_be_written_is_said(romwright):
    run = romwright("wire", "28C256", "62256")
    assert "NOT EQUAL" in run.out and "can be WRITTEN in 1 state in which the original is not" in run.out


def test_how_a_chip_of_another_length_sits(romwright):
    run = romwright("wire", "rom-2364-24", "2764", "--polarity", "20=L")
    assert "28-pin chip over a 24-pin socket: bottom-aligned, chip pin 3 in position 1" in run.out
    carrier = romwright("wire", "prom-82s23", "2716").out
    assert carrier.count("carrier") == 1 and "plugged in  " not in carrier


def test_a_page_of_one_s_own(romwright, tmp_path):
    page = (data_folder("parts") / "27C64.toml").read_text("utf-8")
    own = tmp_path / "mine.toml"
    own.write_text(page.replace('name = "27C64"', 'name = "mine"'), "utf-8")
    assert romwright("wire", "2764", str(own)).status == 0
    (tmp_path / "in.bin").write_bytes(bytes(range(256)) * 32)
    made = romwright("prepare", str(tmp_path / "in.bin"), "--for", str(own), "-o", str(tmp_path / "out.bin"))
    assert made.status == 0 and (tmp_path / "out.bin").stat().st_size == 8192
    own.write_text(page, "utf-8")
    refused = romwright("wire", "2764", str(own))
    assert refused.status == 2 and "mine.toml" in refused.err and "[name]" in refused.err
    missing = romwright("wire", "2764", str(tmp_path / "none.toml"))
    assert missing.status == 2 and "none.toml" in missing.err


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


def test_a_number_with_several_meanings_is_said(romwright):
    run = romwright("wire", "2716", "2732", "--json")
    assert "several-meanings" in [finding["code"] for finding in run.json["findings"]]
    assert "several-meanings" in romwright("wire", "2716", "2732").out


def test_what_wire_says_about_burning_is_what_prepare_takes(romwright, tmp_path):
    """A 16-bit chip: the words of `wire` and the bytes of `prepare` must be one place."""
    answer = romwright("wire", "rom-4m-40-x16", "27C322", "--json").json
    assert (answer["image_at"], answer["burn_at"]) == (0x100000, 0x200000)
    contents = bytes(range(256)) * 2048
    (tmp_path / "rom.bin").write_bytes(contents)
    run = romwright("prepare", f"rom.bin@{answer['burn_at']:X}", "--for", "27C322", "-o", "burn.bin")
    assert run.status == 0, run.err
    chip = (tmp_path / "burn.bin").read_bytes()
    words = range(answer["image_at"], answer["image_at"] + len(contents) // 2)
    assert b"".join(chip[2 * word : 2 * word + 2] for word in words) == contents
