"""Laws of margins: they fall with the clock and with delays, waits never hurt, and what is unknown stays unknown."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from romwright.boards.clocking import Clocking, Wait
from romwright.boards.library import require_board, require_cpu
from romwright.fit.onboard.settings import Study
from romwright.parts.library import part_names, require_part
from romwright.timing.chip import ACCESS, Grade, grades_of, time_of
from romwright.timing.library import find_timing, timing_names
from romwright.timing.onboard import judge_on_board
from romwright.timing.paths import EVERY
from romwright.timing.quantity import Given, known, latest, quantity, unknown
from romwright.timing.quick import PLACES, Circumstances, judge_quickly
from romwright.timing.windows import pace

PAGES = [find_timing(name) for name in timing_names()]
PARTS = [part for part in map(require_part, part_names()) if grades_of(part)]
cpus = st.sampled_from(PAGES).flatmap(lambda page: st.tuples(st.just(page), st.sampled_from(page.grades)))
chips = st.sampled_from(PARTS).flatmap(lambda part: st.tuples(st.just(part), st.sampled_from(grades_of(part))))
clocks = st.floats(0.1, 50)
waits = st.integers(0, 3)
times = st.floats(0, 500)
places = st.sampled_from(PLACES)


def margins(cpu, clock_mhz, chip, around):
    page, grade = cpu
    answer = judge_quickly(page, clock_mhz, chip[0], Grade(chip[1]), around, grade)
    return {
        (cycle, path.start, path.pins): path.margin
        for path in answer.paths
        for cycle in (page.cycles if path.cycle == EVERY else path.cycle.replace(" and ", ", ").split(", "))
    }


def stated(place, ns):
    return Circumstances({place: known("stated", ns, "here"), "address": known("latch", ns, "here")})


def no_better(worse, better):
    """Hold two answers against each other, path by path."""
    for path, margin in worse.items():
        assert margin.is_known == better[path].is_known, path
        if margin.is_known:
            assert margin.low_ns <= better[path].low_ns + 1e-6 and margin.high_ns <= better[path].high_ns + 1e-6, path


@given(cpus, chips, clocks, clocks, times)
def test_margins_fall_as_the_clock_rises(cpu, chip, one, other, ns):
    slow, fast = (margins(cpu, clock, chip, stated("select", ns)) for clock in sorted((one, other)))
    no_better(fast, slow)


@given(cpus, chips, clocks, places, times, times)
def test_margins_fall_as_a_delay_grows(cpu, chip, clock, place, one, other):
    short, long = (margins(cpu, clock, chip, stated(place, ns)) for ns in sorted((one, other)))
    no_better(long, short)


REACHED = {"address": {"access_ns"}, "select": {"enable_ns"}, "strobe": {"output_enable_ns"}}


@given(cpus, chips, clocks, places, times)
def test_a_delay_counts_in_full_on_the_paths_of_its_place_and_on_no_other_read(cpu, chip, clock, place, ns):
    (page, grade), none = cpu, {"address": known("latch", 0, "here")}
    delays = none | {place: known("stated", ns, "here")}
    before, after = (
        judge_quickly(page, clock, chip[0], Grade(chip[1]), Circumstances(each), grade).reads for each in (none, delays)
    )
    for one, other in zip(before, after, strict=True):
        counts = place == "data" or other.key in REACHED[place]
        assert other.delay.low_ns == pytest.approx(one.delay.low_ns + ns * counts, abs=1e-4), other.name
        if one.margin.is_known:
            assert other.margin.low_ns == pytest.approx(one.margin.low_ns - ns * counts, abs=1e-4)


DUNLIN, CPU = require_board("dunlin-dl-2"), require_cpu("Z80")


def on_board(clock_mhz, gate_ns, clocks, stretch_ns):
    """Return the margins of a 27C32 on the Dunlin with these circumstances."""
    waits = (Wait(clocks, stretch_ns),) if clocks or stretch_ns else ()
    gates = tuple(replace(gate, chip="", delay_ns=gate_ns) for gate in DUNLIN.gates)
    board = replace(DUNLIN, timing=Clocking(clock_mhz, "Z80A", waits), gates=gates)
    study = Study(board, CPU, board.sockets[0], require_part("27C32"))
    mounted = study.mount(study.nets({"LK1": "2732", "LK2": "2532", "LK3": "2732"}))
    return {(path.cycle, path.start, path.pins): path.margin for path in judge_on_board(mounted, Grade(150)).reads}


@settings(max_examples=20)
@given(clocks, clocks, times, times, waits, waits, times, times)
def test_on_a_board_too_margins_fall_with_clock_and_delay_and_grow_with_waits(c, d, g, h, w, x, s, t):
    bad = on_board(max(c, d), max(g, h), min(w, x), min(s, t))
    good = on_board(min(c, d), min(g, h), max(w, x), max(s, t))
    no_better(bad, good)
    assert len(bad) == 10 and all(margin.is_known for margin in bad.values())
    late = on_board(max(c, d), max(g, h) + 10, min(w, x), min(s, t))  # one gate is on the way to /CE, none to the rest
    assert all(late[path].low_ns == pytest.approx(bad[path].low_ns - 10 * (path[2] == "/CE"), abs=1e-4) for path in bad)
    held = on_board(max(c, d), max(g, h), min(w, x), min(s, t) + 10)
    assert all(held[path].low_ns == pytest.approx(margin.low_ns + 10, abs=1e-4) for path, margin in bad.items())


@given(cpus, chips, clocks, waits, st.integers(1, 3))
def test_waits_never_make_it_worse(cpu, chip, clock, few, more):
    """Where what a wait adds was not read, waits make a margin unknown: then there is nothing to compare."""
    before = margins(cpu, clock, chip, Circumstances(waits={"": few}))
    after = margins(cpu, clock, chip, Circumstances(waits={"": few + more}))
    shared = {path: margin for path, margin in before.items() if after[path].is_known and margin.is_known}
    no_better(shared, after)


@given(cpus, chips, clocks, times)
def test_holding_the_clock_never_makes_it_worse(cpu, chip, clock, ns):
    no_better(*(margins(cpu, clock, chip, Circumstances(stretch_ns=each)) for each in (0, ns)))


@given(cpus, chips, clocks, places)
def test_an_unknown_delay_makes_its_paths_unknown(cpu, chip, clock, place):
    around = Circumstances({place: unknown("a gate of which nothing was read")})
    page, grade = cpu
    answer = judge_quickly(page, clock, chip[0], Grade(chip[1]), around, grade)
    for path in answer.paths:
        touched = path.delay.lacks and "a gate of which nothing was read" in path.delay.lacks
        assert not touched or not path.margin.is_known
        assert not path.margin.is_known or not path.margin.lacks
    reads = [path for path in answer.reads if place in ("data", {"access_ns": "address"}.get(path.key))]
    assert all(not path.margin.is_known for path in reads)


@given(cpus, chips, clocks, st.data())
def test_a_parameter_that_was_not_read_makes_its_windows_unknown(cpu, chip, clock, data):
    page, grade = cpu
    missing = data.draw(st.sampled_from(sorted(grade.ns.keys() - {page.period})))
    at = pace(page, clock, replace(grade, ns={name: ns for name, ns in grade.ns.items() if name != missing}))
    for window in page.windows:
        assert not (missing in window.terms and at.window(window).is_known)


@given(cpus, clocks)
def test_an_unknown_clock_is_no_clock_of_zero(cpu, clock):
    page, grade = cpu
    for window in page.windows:
        if "T" in window.terms:
            assert not pace(page, None, grade).window(window).is_known


@given(chips)
def test_a_chip_without_a_time_has_no_time_of_zero(chip):
    part, grade = chip
    found = time_of(part, ACCESS, grade)
    assert found.low_ns == grade and found.inputs[0].sources
    assert not time_of(part, ACCESS, grade + 0.5).is_known


bounds = st.tuples(st.floats(-1e4, 1e4), st.floats(0, 1e3)).map(lambda ends: (ends[0], ends[0] + ends[1]))
quantities = bounds.map(lambda ends: quantity(Given(repr(ends), *ends)))


@given(quantities, quantities, st.floats(0, 1), st.floats(0, 1))
def test_sums_and_differences_hold_all_that_the_ends_allow(a, b, p, q):
    x = a.low_ns + p * (a.high_ns - a.low_ns)
    y = b.low_ns + q * (b.high_ns - b.low_ns)
    for found, value in ((a + b, x + y), (a - b, x - y), (latest([a, b]), max(x, y))):
        assert found.low_ns - 1e-4 <= value <= found.high_ns + 1e-4
        assert set(found.inputs) <= {*a.inputs, *b.inputs}


@given(quantities)
def test_unknown_takes_part_in_nothing_known(a):
    nothing = unknown("x")
    for found in (a + nothing, a - nothing, nothing.times(3), latest([a, nothing]), nothing - nothing):
        assert not found.is_known and "x" in found.lacks and found.words == "unknown" and found.as_json() is None
