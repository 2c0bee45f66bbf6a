"""What must hold for a CPU's timing page: one line per fault: where, what, the rule's name."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from romwright.boards.model import Cpu, expand
from romwright.timing.model import PERIOD, Between, Grade, Timing

MOST_NS = 100_000  # far above any parameter of a CPU of these years, to catch slips


def find_timing_faults(page: Timing, cpu: Cpu) -> Iterator[str]:
    """Yield what is wrong with a page, held against the bus cycles of its CPU."""
    yield from find_naming_faults(page)
    for grade in page.grades:
        yield from (f"grades, {grade.name}: {fault}" for fault in find_grade_faults(page, grade))
    for kind, each, terms in all_terms(page):
        where = f"{kind}, {each.lines}"
        if not terms and kind == "windows":
            yield f"{where}: no terms [terms]"
        for name in sorted(terms.keys() - page.parameters.keys() - {PERIOD}):
            yield f"{where}: {name} is no parameter of this page [term]"
        if terms.get(PERIOD, 0) < 0:
            yield f"{where}: {PERIOD} = {terms[PERIOD]:g}, expected 0 or more clock periods [term-period]"
    for kind, entries in (("windows", page.windows), ("releases", page.releases)):
        for each in entries:
            yield from (f"{kind}, {each.lines}: {fault}" for fault in find_place_faults(cpu, each))
    yield from find_double_faults(page)


def find_naming_faults(page: Timing) -> Iterator[str]:
    """Yield what is wrong with names: of grades, of the shortest period, of what is unchecked."""
    if not page.grades:
        yield "grades: there is none [no-grade]"
    if not page.windows:
        yield "windows: there is none [no-window]"
    names = Counter(name.casefold() for grade in page.grades for name in (grade.name, *grade.aliases))
    for name, count in names.items():
        if count > 1 or not name.strip():
            yield f"grades: {count} are named {name!r}, expected a name for each [grade-twice]"
    if page.period not in page.parameters or PERIOD in page.parameters:
        yield f"period: {page.period!r}, expected one of parameters, none of which is {PERIOD} [period]"
    for code, text in page.sources.items():
        if not text.strip():
            yield f"sources.{code}: empty [timing-source]"
    for entry in page.unchecked:
        if entry.split(":")[0].split(".")[0] not in Timing.__struct_fields__:
            yield f"unchecked: {entry!r} does not begin with a key of this file [timing-unchecked]"


def find_grade_faults(page: Timing, grade: Grade) -> Iterator[str]:
    """Yield what is wrong with a grade: its parameters are of the page, of ordinary size, and sourced."""
    for name in sorted({*grade.ns, *grade.sources, *grade.unchecked} - page.parameters.keys()):
        yield f"{name} is no parameter of this page [parameter]"
    for name in sorted({*grade.sources, *grade.unchecked} & page.parameters.keys() - grade.ns.keys()):
        yield f"{name} has a source or a mark, but no number [parameter-number]"
    if page.period in page.parameters and not isinstance(grade.ns.get(page.period), (int, float)):
        yield f"{page.period} is missing: the shortest clock period, one number [grade-period]"
    for name, value in grade.ns.items():
        both = (value.low, value.high) if isinstance(value, Between) else (value, value)
        if not -MOST_NS < both[0] <= both[1] < MOST_NS:
            yield f"{name} = {both[0]:g} to {both[1]:g}, expected nanoseconds, the lower end first [nanoseconds]"
        codes = [value.low_source, value.high_source] if isinstance(value, Between) else [grade.source]
        for code in (code for code in codes if code not in page.sources):
            yield f"{name}: {code!r} is none of the sources of this page [source-code]"
    for code in (code for code in grade.sources.values() if code not in page.sources):
        yield f"sources: {code!r} is none of the sources of this page [source-code]"


def find_place_faults(cpu: Cpu, each) -> Iterator[str]:
    """Yield what is wrong with where a window or a release stands: read cycles and lines of the CPU, and a source."""
    reads = [cycle.name for cycle in cpu.cycles if cycle.access == "read"]
    for name in (name for name in each.cycles if name not in reads):
        yield f"{name!r} is no cycle of the {cpu.name} in which a device is read: {', '.join(reads)} [window-cycle]"
    for name in (name for name in expand(each.lines) if name not in (*cpu.outputs, *expand(cpu.unread))):
        yield f"{name} is no line of the {cpu.name} [window-line]"
    if not each.source.strip() or not each.cycles:
        yield "no source, or no cycle [window-source]"


def find_double_faults(page: Timing) -> Iterator[str]:
    """Yield lines that have two windows in one cycle: which of them would hold?"""
    found = Counter((cycle, line) for window in page.windows for cycle in window.cycles for line in window.names)
    for (cycle, line), count in found.items():
        if count > 1:
            yield f"windows: {count} for {line} in {cycle!r} [window-twice]"


def all_terms(page: Timing) -> Iterator[tuple[str, object, dict]]:
    """Yield every sum of the page: what it is of, and its terms."""
    for window in page.windows:
        yield "windows", window, window.terms
        if window.wait:
            yield "wait", window, window.wait
    for release in page.releases:
        yield "releases", release, release.terms
