"""Every single and double fault of lines that else run straight, for chips so small that all can be tried."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

from romwright.faults.lines import Law, Line

Lines = tuple[Line, ...]


def single_faults(count: int) -> list[dict[int, Line]]:
    """List each fault of one line, or of two together, as the lines that it changes.

    >>> len(single_faults(2))  # each stuck low, stuck high, inverted; both joined by AND, by OR; crossed
    9
    """
    found = [{n: line} for n in range(count) for line in (Line.stuck(0), Line.stuck(1), Line.inverted(n))]
    for one, other in combinations(range(count), 2):
        found += [dict.fromkeys((one, other), Line.joined(law, (one, other))) for law in Law]
        found.append({one: Line.follows(other), other: Line.follows(one)})
    return found


def double_faults(address: Lines, data: Lines) -> Iterator[tuple[Lines, Lines]]:
    """Yield the address and data lines of every map with at most two faults beside what the straight lines do."""
    of_address, of_data = single_faults(len(address)), single_faults(len(data))
    every = [*((each, {}) for each in of_address), *(({}, each) for each in of_data)]
    pairs = (
        (one[0] | other[0], one[1] | other[1])
        for one, other in combinations(every, 2)
        if not one[0].keys() & other[0].keys() and not one[1].keys() & other[1].keys()
    )
    for on_address, on_data in (({}, {}), *every, *pairs):
        yield changed(address, on_address), changed(data, on_data)


def changed(lines: Lines, changes: dict[int, Line]) -> Lines:
    """Return the lines with some of them changed."""
    return tuple(changes.get(number, line) for number, line in enumerate(lines))
