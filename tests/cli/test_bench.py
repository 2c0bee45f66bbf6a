"""`romwright bench check`: statuses, JSON keys, errors in words for the bench."""

from pathlib import Path

import pytest

from romwright.cli.bench import require_rail
from romwright.errors import UnknownNameError

BOARDS = Path(__file__).parents[2] / "pinmaps" / "boards"


def test_every_rail_in(romwright):
    run = romwright("bench", "check", "tern-tl-1", "--measured", "5V=5.02", "--current", "5V=640", "--json")
    assert run.status == 0
    assert run.json.keys() == {"board", "rails", "trust", "findings", "sources", "unchecked", "cautions"}
    (rail,) = run.json["rails"]
    assert rail.keys() == {
        "rail", "nominal_v", "range_v", "probe", "measured_v", "verdict", "current_ma", "most_ma", "measured_ma",
        "current_verdict",
    }  # fmt: skip
    assert (rail["verdict"], rail["current_verdict"]) == ("in", "in")
    assert "Local rules and licensed practice come first" in run.json["cautions"][0]


def test_a_rail_out_means_that_no_memory_verdict_counts(romwright):
    run = romwright("bench", "check", "dunlin-dl-2", "--measured", "5V=4.4,-5V=-5", "--measured", "12V=12")
    assert run.status == 1
    assert "fault (rail-low): +5V reads 4.4 V, below 4.75 to 5.25 V" in run.out
    assert "no       verdicts on RAM and ROM" in run.out
    quiet = romwright("bench", "check", "dunlin-dl-2", "--measured", "5V=4.4,-5V=-5,12V=12", "--quiet")
    assert "rail-low" in quiet.out and "verdicts on RAM and ROM" in quiet.out and "Sources" not in quiet.out


@pytest.mark.parametrize(
    "entry",
    ["5V=5.02", "+5V=5.02", "5v=5.02v", "5=5.02", "+5=5.02", "5 V = 5.02 V", "5.0V=5.02", "5VDC=+5.02", "5V=5020mV"],
)
def test_a_rail_is_known_by_its_volts_too(romwright, entry):
    run = romwright("bench", "check", "tern-tl-1", "--measured", entry, "--current", "5=0.64A", "--json")
    (rail,) = run.json["rails"]
    assert (run.status, rail["measured_v"], rail["measured_ma"], rail["verdict"]) == (0, 5.02, 640, "in")


def test_a_negative_rail_keeps_its_sign_however_it_is_written(romwright):
    run = romwright("bench", "check", "dunlin-dl-2", "--measured", "5=5.01, −5=−4.9, 12V=.5", "--json")
    measured = {rail["rail"]: rail["measured_v"] for rail in run.json["rails"]}
    assert run.status == 1 and measured == {"+5V": 5.01, "+12V": 0.5, "-5V": -4.9}


def test_two_rails_of_the_same_volts_are_named_in_full():
    rails = {"+5VA": 5, "+5VB": 5, "+5V": 5}
    assert require_rail("5V", rails) == "+5V" and require_rail("5vb", rails) == "+5VB"
    with pytest.raises(UnknownNameError):
        require_rail("5.0", rails)


def test_without_readings_it_says_what_to_measure(romwright):
    run = romwright("bench", "check", "dunlin-dl-2")
    assert run.status == 0 and run.out.count("was not measured") == 3 and "test pad TP2" in run.out


@pytest.mark.parametrize(
    ("entry", "said"),
    [
        ("5V=5,02", "write 5.02, not 5,02"), ("5V", "expected: RAIL=V"), ("5V=nan", "no reading"),
        ("5V=5mA", "no reading"), ("5V=1e400", "no reading"), ("-5=5", "no rail named"),
        ("=5", "no reading"),
        ("5V=5,+5V=5", "given twice"), ("12V=12", "no rail named '12V'"), ("GND=0", "no rail named 'GND'"),
        ("", "no reading"),
    ],
)  # fmt: skip
def test_readings_that_are_none(romwright, entry, said):
    run = romwright("bench", "check", "tern-tl-1", "--measured", entry)
    assert run.status == 2 and said in run.err and "Traceback" not in run.err


def test_a_board_without_limits_is_not_judged(romwright, tmp_path):
    page = tmp_path / "source.toml"
    text = (Path(__file__).parents[2] / "fixtures/bad/boards/source.toml").read_text("utf-8")
    page.write_text(text.replace('source = ""', 'source = "invented for this test"'), "utf-8")
    run = romwright("bench", "check", str(page), "--measured", "5V=5", "--json")
    assert run.status == 0 and run.json["rails"][0]["verdict"] == "unknown"
    assert [each["code"] for each in run.json["findings"]] == ["rail-without-range"]
    assert run.json["trust"][0]["trust"] == "unknown"


def test_levels_of_a_pair(romwright):
    run = romwright("bench", "levels", "27128A", "HC", "--vcc", "4.75-5.25", "--json")
    assert run.status == 0
    assert run.json.keys() == {
        "driver", "receiver", "vcc_v", "high", "low", "fan_out_high", "fan_out_low", "fan_out", "inputs", "loads",
        "findings", "sources", "unchecked",
    }  # fmt: skip
    assert run.json["high"] == {
        "level": "H", "given_v": [2.4, 2.4], "asked_v": [3.325, 3.675], "margin_v": [-1.275, -0.925], "verdict": "short"
    }  # fmt: skip
    text = romwright("bench", "levels", "27128A", "TTL", "--inputs", "2").out
    assert "overloaded" in text and "fan-out, in such inputs: 1 at L, 10 at H" in text and "SDLS029C" in text


@pytest.mark.parametrize(
    ("more", "said"),
    [(("LSX",), "did you mean LS"), (("LS", "--vcc", "0"), "no supply"), (("LS", "--vcc", "6-5"), "no supply")],
)
def test_levels_of_what_is_unknown(romwright, more, said):
    run = romwright("bench", "levels", "27128A", *more)
    assert run.status == 2 and said in run.err


def test_a_board_that_cannot_feed_the_chip(romwright, tmp_path):
    """A board whose supply gives 820 mA and draws up to 800: a 28C256 asks for 50 more."""
    root = Path(__file__).parents[2]
    text = (root / "pinmaps/boards/tern-tl-1.toml").read_text("utf-8")
    (tmp_path / "tern-tl-1.toml").write_text(text.replace("most_ma = 1500", "most_ma = 820"), "utf-8")
    run = romwright("wire", "U7", "28C256", "--board", "./tern-tl-1.toml", "--json")
    assert [each["title"] for each in run.json["findings"] if each["code"] == "supply-short"] == [
        "+5V may have to give 850 mA, and gives 820 mA"
    ]
    assert run.json["electric"]["supply"]["total_ma"] == [None, 850]
    assert run.json["electric"]["loads"]["L"]["most_ma"] is None  # nobody has read what a 6502 input takes


def test_the_power_up_sheet_has_rails_probes_and_windows_in_the_order_of_the_work(romwright):
    text = " ".join(romwright("bench", "sheet", "dunlin-dl-2", "--date", "1984-12-01").out.split())
    steps = [
        "Local rules and licensed practice come first", "chips out of U7 and U8", "resistance from -5V to 0 V",
        "+12V: test pad TP2 beside U20 against TP1, which is 0 V ________ V (expect +11.4 to +12.6 V)",
        "current from +5V, sockets empty", "no limits for the current of -5V", "U7 position 24 (+5V) against 12",
        "+5V once more", "current from +5V ________ mA (expect 500 to 1100 mA; its supply gives 2000 mA)",
        "clock of the Z80 ________ MHz (expect 4 MHz)", "levels on signal lines",
        "bench check dunlin-dl-2 --measured 5V=VOLTS,12V=VOLTS,-5V=VOLTS judges",
    ]  # fmt: skip
    places = [text.find(step) for step in steps]
    assert -1 not in places and places == sorted(places) and "1984-12-01" in text[:300]


def test_the_power_up_sheet_is_text_page_and_paper(romwright, tmp_path):
    for name, start in (("p.txt", b"===="), ("p.html", b"<!DOCTYPE html>"), ("p.pdf", b"%PDF-")):
        run = romwright("bench", "sheet", "tern-tl-1", "-o", name)
        assert run.status == 0 and name in run.out and (tmp_path / name).read_bytes().startswith(start)
    assert romwright("bench", "sheet", "tern-tl-1", "-o", "p.pdf").status == 2  # it is there
    assert romwright("bench", "sheet", "tern-tl-1", "-o", "p.doc").status == 2
    assert romwright("bench", "sheet", "tern-tl-1", "--paper", "A4").status == 2
    said = romwright("bench", "sheet", "tern-tl-1", "--json").json
    assert said["board"] == "tern-tl-1" and said["sections"][0] == "Before you start" and "U7" in said["text"]


def test_a_board_that_states_nothing_gets_room_and_is_told(romwright, tmp_path):
    source = (BOARDS / "tern-tl-1.toml").read_text("utf-8")
    bare = source[: source.index("[limits.")] + source[source.index("[[sockets]]") :]
    (tmp_path / "bare.toml").write_text(bare.replace("tern-tl-1", "bare", 1), "utf-8")
    text = " ".join(romwright("bench", "sheet", "bare.toml").out.split())
    assert "no limits for rails, supply current and the clock" in text and "(expect not stated)" in text
