"""romwright timing, and what links, wire and the sheet say of time, as a user runs them.

Outside checks: Cromemco, ZPU manual 023-0012, January 1980, p. 8: at 4 MHz a Z80A without waits takes memory of 250 ns,
and a wait relaxes access by 250 ns.
"""

import pytest

KEYS = {
    "cpu", "cpu_grade", "cpu_grade_assumed", "clock_mhz", "part", "grade_ns", "grade_assumed", "verdict", "binding",
    "slowest_ns", "slowest_sure", "paths", "findings", "cautions",
}  # fmt: skip
PATH = {
    "cycle", "from", "to", "time", "window_ns", "delay_ns", "needs_ns", "margin_ns", "unknown", "unchecked", "source",
    "assumes", "only_if", "inputs",
}  # fmt: skip


def test_memory_of_250_ns_is_enough_for_a_z80a_without_waits(romwright):
    run = romwright("timing", "Z80A", "4MHz", "27128A", "--grade", 250, "--json")
    assert run.status == 0 and set(run.json) == KEYS and set(run.json["paths"][0]) == PATH
    assert run.json["verdict"] == "in time" and run.json["cpu_grade"] == "Z80A" and not run.json["cpu_grade_assumed"]
    assert run.json["binding"] == {"path": "address to A0-A13, opcode fetch", "margin_ns": [105.0, 105.0]}
    assert all(given["sources"] for path in run.json["paths"] for given in path["inputs"] if given["ns"])
    for path in run.json["paths"]:
        assert (path["margin_ns"] is None) == bool(path["unknown"])


def test_too_slow_is_status_1_and_a_wait_puts_it_right(romwright):
    slow = romwright("timing", "Z80A", "4MHz", "27128A", "--grade", 450)
    assert slow.status == 1 and "TOO SLOW; least margin -95 ns: address to A0-A13, opcode fetch." in slow.out
    assert "Slowest grade on its page that works: 300 ns." in slow.out
    waited = romwright("timing", "Z80A", "4MHz", "27128A", "--grade", 450, "--wait", "opcode fetch=1", "--json")
    assert waited.status == 0 and waited.json["binding"]["margin_ns"] == [15.0, 15.0]  # 465 - 450: the memory read
    held = romwright("timing", "Z80A", "4MHz", "27128A", "--grade", 450, "--stretch", 95, "--json")
    assert held.status == 0 and held.json["binding"]["margin_ns"] == [0.0, 0.0]


def test_delays_of_glue_by_number_and_by_chip_add_up(romwright):
    words = ("timing", "Z80A", "4MHz", "27128A", "--grade", 200, "--gated", "/MREQ", "--delay", "select=74LS138")
    run = romwright(*words, "--delay", "select=10", "--delay", "data=74ls245", "--json")
    margins = {(path["cycle"], path["from"], path["to"]): path["margin_ns"] for path in run.json["paths"]}
    assert margins["opcode fetch", "/MREQ", "/CE"] == [255 - 41 - 10 - 12 - 200] * 2 and run.status == 1
    assert margins["memory read", "address", "A0-A13"] == [465 - 12 - 200] * 2


def test_a_strobe_that_may_be_in_the_select_counts_only_if_it_is(romwright):
    run = romwright("timing", "Z80A", "4MHz", "27128A", "--grade", 300, "--json")
    assert run.status == 0 and run.json["verdict"] == "in time"
    maybe = [path for path in run.json["paths"] if path["only_if"]]
    assert {path["from"] for path in maybe} == {"/MREQ"} and min(path["margin_ns"][0] for path in maybe) == -45
    assert romwright("timing", "Z80A", "4MHz", "27128A", "--grade", 300, "--gated", "/MREQ").status == 1


def test_a_grade_that_nobody_stated_is_said_and_only_a_caution(romwright):
    run = romwright("timing", "Z80", "4MHz", "27128A")
    text = " ".join(run.out.split())
    assert run.status == 0 and "450 ns, not stated: its page's slowest" in text
    assert "Z80A, not stated: the slowest for that clock" in text
    assert "Too slow at the slowest grade on its page; least margin -95 ns" in text
    assert "caution (grade-needed): 27128A is in time from the grade of 300 ns on" in text


def test_a_range_stays_a_range_and_names_both_sources(romwright):
    """530 against 605 in one sheet: Motorola, MC6800, DS9471, p. 3."""
    run = romwright("timing", "MC6800", "1MHz", "27128A", "--grade", 450, "--delay", "address=120", "--json")
    path = next(path for path in run.json["paths"] if path["time"] == "access_ns")
    assert path["window_ns"] == [530, 605] and path["margin_ns"] == [-40, 35] and run.json["verdict"] == "in doubt"
    assert run.status == 0 and "perhaps-too-slow" in {finding["code"] for finding in run.json["findings"]}
    (two,) = [given for given in path["inputs"] if len(given["sources"]) == 2]
    assert two["ns"] == [25, 100]


def test_unknown_is_never_zero(romwright):
    run = romwright("timing", "6809", "1MHz", "2716", "--json")
    unsaid = [path for path in run.json["paths"] if path["margin_ns"] is None]
    assert run.json["verdict"] == "unknown" and {path["to"] for path in unsaid} == {"/CE", "/OE", "floating"}
    assert "timing-unknown" in {finding["code"] for finding in run.json["findings"]}
    held = romwright("timing", "8085AH", "3MHz", "27128A", "--json")  # its low address needs a latch
    (address,) = [path for path in held.json["paths"] if path["time"] == "access_ns"]
    assert address["margin_ns"] is None and address["unknown"] == ["the latch that holds A0-A7 of the 8085"]


def test_a_slow_chip_lets_go_too_late(romwright):
    """8085AH-1: the CPU drives again 50.5 ns after /RD (tRAE, p. 1-23); a 27128A of 250 ns takes 60."""
    run = romwright("timing", "8085AH-1", "6MHz", "27128A", "--grade", 250, "--delay", "address=27")
    assert "27128A lets go of the data lines 9.7 ns after the next driver comes" in " ".join(run.out.split())


def test_a_chip_without_an_output_enable_lets_go_behind_the_delay_of_its_select(romwright):
    """A 2364 has one enable, pin 20: the end of the read comes through the gate that puts /RD into it."""
    words = ("timing", "8085AH", "3MHz", "rom-2364-24", "--delay", "address=27", "--delay", "select=100", "--json")
    (release,) = [path for path in romwright(*words).json["paths"] if path["time"] == "float_ns"]
    assert release["delay_ns"] == [100, 100]
    both = romwright("timing", "8085AH", "3MHz", "27128A", *words[4:])
    (release,) = [path for path in both.json["paths"] if path["time"] == "float_ns"]
    assert release["delay_ns"] == [0, 0]


def test_a_wait_of_which_no_document_was_read_is_said_to_be_unchecked(romwright):
    words = ("timing", "68000 8 MHz", "8MHz", "27128A", "--grade", 250)
    bare, waited = (romwright(*words, *more, "--json").json for more in ((), ("--wait", 1)))
    assert not any(path["unchecked"] for path in bare["paths"])
    (address,) = [path for path in waited["paths"] if path["time"] == "access_ns"]
    assert address["window_ns"] == [428, 428] and address["unchecked"] == ["the window of address"]
    assert address["source"].endswith("; waits: from memory, unchecked: that a wait is a whole clock")


def test_a_clock_is_divided_exactly(romwright):
    """14.31818 MHz over 3 is the 4.77 MHz of an 8088: 488 ns from the address (Intel 231456-006, pp. 17-18)."""
    run = romwright("timing", "8088", "14.31818MHz/3", "27128A", "--delay", "address=0", "--json")
    (address,) = [path for path in run.json["paths"] if path["time"] == "access_ns"]
    assert address["window_ns"] == [488.6, 488.6] and run.json["cpu_grade"] == "8088"


def test_a_clock_above_the_grade(romwright):
    run = romwright("timing", "Z80A", "6MHz", "27C512", "--grade", 45)
    assert run.status == 0 and "caution (clock-above-grade): the Z80A is made for 4 MHz at most" in run.out


@pytest.mark.parametrize("words, found, expected", [
    (("Z8O", "4MHz", "2764"), "there is no CPU with a timing page named 'Z8O'", "Z80"),
    (("Z80", "4MHz", "27128A", "--cpu-grade", "Z80C"), "there is no grade of the Z80 named 'Z80C'", "Z80B"),
    (("Z80", "4MHz", "27128A", "--grade", "240"), "has no grade of 240 ns", "150, 200, 250, 300, 450"),
    (("Z80", "4MHz", "27128A", "--wait", "fetch=1"), "--wait: the Z80 has no 'fetch'", "opcode fetch"),
    (("Z80", "4MHz", "27128A", "--wait", "x"), "--wait x", "--wait 1"),
    (("Z80", "4MHz", "27128A", "--delay", "select=74XX00"), "--delay select=74XX00", "nanoseconds or a chip"),
    (("Z80", "4MHz", "27128A", "--delay", "roof=4"), "--delay roof=4", "address, select, strobe, data"),
    (("Z80", "4MHz", "27128A", "--wait", "²"), "--wait ²", "100 at most"),
    (("Z80", "4MHz", "27128A", "--wait", "101"), "--wait 101", "100 at most"),
    (("Z80", "4MHz", "27128A", "--wait", "1", "--wait", "1"), "given twice", "--wait 1"),
    (("Z80", "4MHz", "27128A", "--delay", "select=²"), "--delay select=²", "nanoseconds or a chip"),
    (("Z80", "4MHz", "27128A", "--delay", "select=nan"), "--delay select=nan", "nanoseconds or a chip"),
    (("Z80", "4MHz", "27128A", "--delay", "select=10001"), "--delay select=10001", "10000 ns at most"),
    (("Z80", "4MHz", "27128A", "--stretch", "nan"), "--stretch nan", "0 to 10000 nanoseconds"),
    (("Z80", "4MHz", "27128A", "--stretch", "inf"), "--stretch inf", "0 to 10000 nanoseconds"),
    (("Z80", "4MHz", "27128A", "--stretch", "-1"), "--stretch -1", "0 to 10000 nanoseconds"),
    (("Z80A", "4MHz", "27128A", "--cpu-grade", "Z80B"), "Z80A is one grade, --cpu-grade Z80B another", "Z80"),
    (("Z80", "4MHz", "27128A", "--cpu-grade", ""), "there is no grade of the Z80 named ''", "Z80B"),
    (("Z80", "0MHz", "27128A"), "'0MHz' is no clock frequency", "MHz"),
    (("Z80", "4Hz", "27128A"), "4Hz: no CPU runs at that", "0.001 to 200 MHz"),
    (("Z80", "1GHz", "27128A"), "1GHz: no CPU runs at that", "0.001 to 200 MHz"),
    (("Z80", "1e99MHz", "27128A"), "'1e99MHz' is no clock frequency", "MHz"),
    (("Z80", "4MHz/0", "27128A"), "'4MHz/0' is no clock frequency", "MHz"),
    (("Z80", "4MHz", "27128A", "--gated", "/RAS"), "--gated /RAS", "/MREQ"),
    (("Z80", "fast", "27128A"), "'fast' is no clock frequency", "MHz"),
    (("Z80", "4", "27128A"), "'4' has no unit", "4MHz"),
])  # fmt: skip
def test_what_cannot_be_read_is_said_with_what_was_expected(romwright, words, found, expected):
    run = romwright("timing", *words)
    assert run.status == 2 and found in run.err and expected in run.err.partition("expected:")[2]


def test_links_says_whether_the_chip_is_in_time(romwright):
    run = romwright("links", "tern-tl-1", "U7", "27C512", "--grade", 150)
    assert run.status == 0 and "In time?" in run.out and "grade of the chip: 150 ns" in run.out
    text = " ".join(run.out.split())
    assert "sources: Commodore 64 Programmer's Reference Guide, appendix L (6510)" in text and "DM74LS00" in text
    assert "UNCHECKED: the delay of U5A (74LS139); TRWS" in text
    kittiwake = " ".join(romwright("links", "kittiwake-kw-68", "U3", "27C256", "--grade", 45).out.split())
    assert "taken for granted: a clock that is high for half of each period; Data are due #31" in kittiwake
    timing = romwright("links", "tern-tl-1", "U7", "27C512", "--grade", 150, "--json").json["timing"]
    assert timing["verdict"] == "in time" and set(timing) == KEYS


def test_a_chip_that_is_too_slow_on_a_board_is_status_1(romwright, tmp_path):
    from romwright.datafiles import data_folder

    text = (data_folder("boards") / "dunlin-dl-2.toml").read_text("utf-8")
    fast = text.replace("clock_mhz = 4", "clock_mhz = 6").replace('"Z80A"', '"Z80B"').replace("waits = ", "# waits = ")
    (tmp_path / "dunlin-dl-2.toml").write_text(fast, "utf-8")
    words = ("dunlin-dl-2.toml", "U7", "27C32", "--grade", 250)
    run = romwright("links", *words)
    assert run.status == 1 and "TOO SLOW" in run.out and "fault (too-slow)" in run.out
    assert "Next: leave the 27C32 out of U7: " in " ".join(run.out.split())
    wired = romwright("wire", "--board", words[0], *words[1:], "--json")
    assert wired.status == 1 and wired.json["verdict"] == "works" and wired.json["timing"]["verdict"] == "too slow"
    assert "too-slow" in {finding["code"] for finding in wired.json["findings"]}
    good = romwright("wire", "--board", words[0], "U7", "27C32", "--grade", 150)
    assert good.status == 0 and "In time?" in good.out


def test_a_board_that_names_a_grade_its_cpu_does_not_have(romwright, tmp_path):
    from romwright.datafiles import data_folder

    text = (data_folder("boards") / "dunlin-dl-2.toml").read_text("utf-8")
    (tmp_path / "dunlin-dl-2.toml").write_text(text.replace('"Z80A"', '"Z80C"'), "utf-8")
    for words in (("boards", "show", "dunlin-dl-2.toml"), ("links", "dunlin-dl-2.toml", "U7", "27C32")):
        run = romwright(*words)
        assert run.status == 2 and "there is no grade of the Z80 named 'Z80C'" in run.err and "cpu_grade" in run.err
    latch = text.replace("rails =", 'signals = { BANK = "U40, a latch" }\nrails =')
    piped = latch.replace("waits =", 'steady = "BANK"\nwaits =')
    (tmp_path / "dunlin-dl-2.toml").write_text(piped, "utf-8")
    assert "stand still in every read: BANK" in romwright("boards", "show", "dunlin-dl-2.toml").out
    shown = romwright("boards", "show", "dunlin-dl-2").out
    assert "clock 4 MHz; grade of the CPU: Z80A" in shown and "waits in opcode fetch of 0000-1FFF: 1 clocks" in shown


def test_wire_takes_a_grade_on_a_board_only(romwright):
    run = romwright("wire", "rom-2364-24", "2764", "--polarity", "20=L", "--grade", 250)
    assert run.status == 2 and "--now, --also and --grade are about a board" in run.err


def test_the_sheet_has_the_margins(romwright, tmp_path):
    job = """
title = "t"
[fit]
board = "tern-tl-1"
socket = "U7"
chip = "28C256"
grade_ns = 250
[outputs]
name = "x"
"""
    (tmp_path / "t.toml").write_text(job, "utf-8")
    text = " ".join(romwright("sheet", "t.toml").out.split())
    assert "In time; least margin 255 ns: PHI2 to /OE" in text and "grade of the chip" in text
    assert "appendix L (6510)" in text and "Fairchild, DM74LS00" in text
    assert "in time?: the delay of U5A (74LS139)" in text
    assert "end of the read to floating unknown 0 ns 60 ns unknown" in text  # what cannot be said is not left out
    (tmp_path / "t.toml").write_text(job.replace("grade_ns = 250", "grade_ns = 251"), "utf-8")
    run = romwright("sheet", "t.toml")
    assert run.status == 2 and "no grade of 251 ns" in run.err and "grade_ns under fit of the job" in run.err
