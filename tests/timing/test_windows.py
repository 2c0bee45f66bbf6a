"""The windows of every CPU against the figures that documents print, the source beside each."""

import pytest

from romwright.timing.library import find_timing, require_grade, require_timing, timing_names
from romwright.timing.windows import pace

# grade, clock in MHz or None for its top, cycle, window, waits, both ends in ns
PRINTED = [
    # Cromemco, ZPU instruction manual 023-0012, January 1980, p. 8, has one wait in all cycles relax access by 250
    # ns at 4 MHz and 500 ns at 2 MHz. Zilog Z8400 specification pp. 37-41: the sums.
    ("Z80A", 4, "opcode fetch", "address", 0, (355, 355)),
    ("Z80A", 4, "opcode fetch", "/MREQ", 0, (255, 255)),
    ("Z80A", 4, "opcode fetch", "/RD", 0, (245, 245)),
    ("Z80A", 4, "memory read", "address", 0, (465, 465)),
    ("Z80A", 4, "memory read", "/MREQ", 0, (365, 365)),
    ("Z80A", 4, "memory read", "/RD", 0, (355, 355)),
    ("Z80A", 4, "opcode fetch", "address", 1, (355 + 250, 355 + 250)),
    ("Z80A", 4, "memory read", "/RD", 1, (355 + 250, 355 + 250)),
    ("Z80A", 2, "opcode fetch", "address", 0, (855, 855)),
    ("Z80A", 2, "opcode fetch", "address", 1, (855 + 500, 855 + 500)),
    ("Z80A", 2, "memory read", "address", 0, (1090, 1090)),
    ("Z8400", None, "opcode fetch", "address", 0, (605, 605)),
    ("Z8400", None, "memory read", "/RD", 0, (610, 610)),
    ("Z80B", None, "opcode fetch", "address", 0, (204, 204)),
    ("Z80B", None, "memory read", "/MREQ", 0, (214, 214)),
    ("Z80H", None, "opcode fetch", "/RD", 0, (87.5, 87.5)),
    ("Z80H", None, "memory read", "address", 0, (202.5, 202.5)),
    ("Z84C0010", None, "memory read", "address", 0, (160, 160)),
    ("Z84C0020", None, "opcode fetch", "/MREQ", 0, (23, 23)),
    # Motorola, MC6809/68A09/68B09, DS9845-R2, 1983, p. 3: tACC (29) as printed; of the 68A09 its own note 3 gives 442
    ("MC6809", None, "memory read", "address", 0, (695, 695)),
    ("MC68A09", None, "memory read", "address", 0, (440, 442)),
    ("MC68B09", None, "memory read", "address", 0, (330, 330)),
    # Motorola, MC6800/MC68A00/MC68B00, DS9471, p. 3: the formula beside the table, and the values in the table
    ("MC6800", None, "memory read", "address", 0, (530, 605)),
    ("MC68A00", None, "memory read", "address", 0, (360, 400)),
    ("MC68B00", None, "memory read", "address", 0, (250, 290)),
    # Intel, 8088, order 231456-006, pp. 17-18; a study text prints 460, 295 and 235
    ("8088 5 MHz", None, "code access", "address", 0, (460, 460)),
    ("8088-2", None, "memory read", "address", 0, (295, 295)),
    ("8086-1", None, "memory read", "address", 0, (235, 235)),
    ("8088 5 MHz", None, "memory read", "/RD", 0, (205, 205)),
    ("8088-2", None, "memory read", "/RD", 0, (130, 130)),
    ("8088 5 MHz", 1000 / 209.5, "memory read", "address", 0, (488, 488.5)),
    ("8088 5 MHz", 1000 / 209.5, "memory read", "/RD", 0, (224, 224)),
    ("8088 5 MHz", None, "memory read", "address", 1, (460 + 200, 460 + 200)),
    # Motorola, M68000 User's Manual, ninth edition, 1993, pp. 10-10, 10-11
    ("MC68000 8 MHz", None, "word read", "address", 0, (303, 303)),
    ("MC68000 10 MHz", None, "word read", "address", 0, (240, 240)),
    ("MC68000 12.5 MHz", None, "word read", "address", 0, (180, 180)),
    ("MC68000 16.67 MHz 12F", None, "word read", "address", 0, (123, 123)),
    ("MC68000 16 MHz", None, "word read", "address", 0, (145, 145)),
    ("MC68000 20 MHz", None, "word read", "address", 0, (120, 120)),
    ("MC68000 8 MHz", None, "even byte read", "/UDS", 0, (242, 242.5)),
    ("MC68000 20 MHz", None, "odd byte read", "/AS", 0, (95, 95)),
    ("MC68000 8 MHz before 8827", None, "word read", "address", 0, (290, 290)),
    # Intel, 8085AH, order 231718-001, pp. 1-22, 1-23: tAD, tLDR, tRD as printed
    ("8085AH", None, "opcode fetch", "address", 0, (575, 575)),
    ("8085AH-2", None, "opcode fetch", "address", 0, (350, 350)),
    ("8085AH-1", None, "opcode fetch", "address", 0, (225, 225.5)),
    ("8085AH", None, "memory read", "ALE", 0, (460, 460)),
    ("8085AH-2", None, "memory read", "ALE", 0, (270, 270)),
    ("8085AH-1", None, "memory read", "ALE", 0, (175, 175)),
    ("8085AH", None, "memory read", "/RD", 0, (300, 300)),
    ("8085AH-2", None, "memory read", "/RD", 0, (150, 150)),
    ("8085AH-1", None, "memory read", "/RD", 0, (75, 75.5)),
    # Intel, 8080 Microcomputer Systems User's Manual, 98-153B, pp. 5-16 to 5-26 (third-party transcription)
    ("8080A", None, "memory read", "address", 0, (610, 610)),
    ("8080A-2", None, "memory read", "address", 0, (455, 455)),
    ("8080A-1", None, "memory read", "address", 0, (370, 370)),
    ("8080A", 2, "memory read", "address", 0, (650, 650)),
    # Commodore 64 Programmer's Reference Guide, appendix L: TACC 575 and 300, and 470 - 100 from PHI2
    ("6510", 1, "memory read", "address", 0, (575, 575)),
    ("6510 2 MHz", 2, "memory read", "address", 0, (300, 300)),
    ("6510", 1, "opcode fetch", "PHI2", 0, (370, 370)),
    ("R65C02 1 MHz", 1, "memory read", "address", 0, (775, 775)),
    # WDC, W65C02S, 17 May 2013, p. 25, table 6-3: tACC of each column; then the 5 V part at slower clocks
    ("W65C02S 5 V", None, "memory read", "address", 0, (30, 30)),
    ("W65C02S 3.3 V", None, "memory read", "address", 0, (70, 70)),
    ("W65C02S 2.5 V", None, "memory read", "address", 0, (145, 145)),
    ("W65C02S 1.8 V", None, "memory read", "address", 0, (290, 290)),
    ("W65C02S 5 V", 1, "memory read", "address", 0, (960, 960)),
    ("W65C02S 5 V", 2, "memory read", "address", 0, (460, 460)),
    ("W65C02S 5 V", 4, "memory read", "address", 0, (210, 210)),
    ("W65C02S 5 V", 8, "memory read", "address", 0, (85, 85)),
    ("MC6809", None, "memory read", "E", 0, (370, 370)),
    ("MC68A09", None, "memory read", "E", 0, (220, 220)),
    ("MC68B09", None, "memory read", "E", 0, (180, 180)),
]


def window(grade, clock_mhz, cycle, start, waits=0, stretch_ns=0):
    page, named = require_timing(grade)
    at = pace(page, clock_mhz or 1000 / named.ns[page.period], named)
    found = next(each for each in page.windows_of(cycle) if start in (each.label, *each.names))
    return at.window(found, waits, stretch_ns)


@pytest.mark.parametrize("grade, clock_mhz, cycle, start, waits, both", PRINTED)
def test_windows_are_those_of_the_documents(grade, clock_mhz, cycle, start, waits, both):
    found = window(grade, clock_mhz, cycle, start, waits)
    assert (found.low_ns, found.high_ns) == pytest.approx(both, abs=0.51)  # the documents print whole nanoseconds


def test_a_wait_in_fetches_alone_gains_what_the_manual_says():
    """Cromemco, ZPU manual, p. 8: one wait in M1 only relaxes the whole by about 110 ns at 4 MHz, 235 ns at 2 MHz."""
    for clock, gain in ((4, 110), (2, 235)):
        fetch, read = (window("Z80A", clock, cycle, "address").low_ns for cycle in ("opcode fetch", "memory read"))
        with_wait = min(window("Z80A", clock, "opcode fetch", "address", 1).low_ns, read)
        assert with_wait - fetch == gain


@pytest.mark.parametrize("name", timing_names())
def test_every_page_has_a_window_from_the_address_for_each_grade(name):
    page = find_timing(name)
    for grade in page.grades:
        at = pace(page, 1000 / grade.ns[page.period], grade)
        for cycle in page.cycles:
            found = [each for each in page.windows_of(cycle) if each.kind == "address"]
            assert found and all(at.window(each).is_known for each in found), (grade.name, cycle)


@pytest.mark.parametrize("name", timing_names())
def test_every_number_has_a_source_or_a_mark(name):
    page = find_timing(name)
    for grade in page.grades:
        at = pace(page, 1, grade)
        for parameter in grade.ns:
            for given in at.parameter(parameter).inputs:
                assert given.sources
                assert given.unchecked == ("from memory, unchecked" in given.sources[0])


@pytest.mark.parametrize("grade, ns", [
    ("8085AH", 150), ("8085AH-2", 90), ("8085AH-1", 50),  # Intel 231718-001, p. 1-23: tRAE as printed
    ("8088 5 MHz", 155), ("8088-2", 85),  # Intel 231456-006, p. 18: TRHAV
    ("MC68000 8 MHz", 187), ("MC68000 10 MHz", 150), ("MC68000 20 MHz", 75),  # M68000 User's Manual, p. 10-11: #29A
])  # fmt: skip
def test_the_time_to_let_go_is_that_of_the_documents(grade, ns):
    page, named = require_timing(grade)
    found = pace(page, 1000 / named.ns[page.period], named).release(page.releases[0])
    assert found.low_ns == found.high_ns == pytest.approx(ns, abs=0.51)


def test_a_conflict_in_one_sheet_is_a_range_with_both_sources():
    found = window("MC6800", 1, "memory read", "address")
    (two,) = [given for given in found.inputs if given.low_ns != given.high_ns]
    assert len(two.sources) == 2 and "printed" in two.sources[0] and "formula" in two.sources[1]


def test_what_a_grade_lacks_is_unknown_and_named():
    found = window("Z80B", None, "memory read", "/RFSH")
    assert not found.is_known and any("TdCr(RFSHr)" in name for name in found.lacks)


def test_a_wait_of_which_nothing_was_read_is_unknown():
    assert not window("MC6809", 1, "memory read", "address", 1).is_known
    assert window("MC6809", 1, "memory read", "address", 0, 250).low_ns == 695 + 250


def test_the_grade_that_is_assumed_is_the_slowest_for_the_clock():
    page = find_timing("Z80")
    assert [pace(page, mhz).grade.name for mhz in (1, 2.5, 4, 6, 50)] == ["Z8400", "Z8400", "Z80A", "Z80B", "Z84C0020"]
    assert pace(page, 50).is_too_fast and not pace(page, 4, require_grade(page, "z80a")).is_too_fast


@pytest.mark.parametrize("name, mhz, grade", [
    ("68000", 8, "MC68000 8 MHz before 8827"), ("68000", 16, "MC68000 16.67 MHz 12F"), ("6502", 1, "6510"),
])  # fmt: skip
def test_of_grades_for_one_clock_the_slower_is_assumed(name, mhz, grade):
    page = find_timing(name)
    assumed = pace(page, mhz)
    (first,) = [each for each in page.windows_of(page.cycles[0]) if each.kind == "address"]
    rivals = [each for each in page.grades if each.ns[page.period] == assumed.grade.ns[page.period]]
    assert assumed.grade.name == grade and len(rivals) > 1
    assert assumed.window(first).low_ns == min(pace(page, mhz, each).window(first).low_ns for each in rivals)
