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
