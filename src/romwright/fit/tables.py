"""Truth tables over named signals, each table one Python int: bit r is the output on input row r.

In row r the signal `names[i]` is at H if bit i of r is set. And, or, not are the operators of int
(not is `everywhere(names) & ~table`); two tables clash where `a & b` is not 0.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence


def everywhere(names: Sequence[str]) -> int:
    """Return the table that is true on every row."""
    return (1 << (1 << len(names))) - 1


def line(names: Sequence[str], name: str) -> int:
    """Return the table that is true where the signal is at H.

    >>> bin(line(["a", "b"], "a")), bin(line(["a", "b"], "b"))
    ('0b1010', '0b1100')
    """
    half = 1 << names.index(name)
    table, width = ((1 << half) - 1) << half, 2 * half
    while width < 1 << len(names):
        table |= table << width
        width *= 2
    return table


def row(names: Sequence[str], levels: Mapping[str, str]) -> int:
    """Return the table that is true where every named signal has its level, H or L."""
    table = everywhere(names)
    for name, level in levels.items():
        high = line(names, name)
        table &= high if level == "H" else ~high
    return table


def any_row(names: Sequence[str], rows: Iterable[Mapping[str, str]]) -> int:
    """Return the table that is true where at least one of the rows matches."""
    table = 0
    for levels in rows:
        table |= row(names, levels)
    return table


def matching(whole: int, rows: Iterable[Mapping[str, str]], lines: Mapping[str, tuple[int, int]]) -> int:
    """Return where a row surely matches; each line has a table where it is at H and one where it is at L.

    Where both are false the level is not known. With the lines of `loosened` the answer is where a row may match.

    >>> matching(0b11, [{"x": "H"}], {"x": (0b01, 0b00)}), matching(0b11, [{"x": "H"}], loosened(0b11, {"x": (1, 0)}))
    (1, 3)
    """
    table = 0
    for levels in rows:
        held = whole
        for name, level in levels.items():
            held &= lines[name][level == "L"]
        table |= held
    return table


def loosened(whole: int, lines: Mapping[str, tuple[int, int]]) -> dict[str, tuple[int, int]]:
    """Return for each line where it may be at H and where it may be at L."""
    return {name: (whole & ~low, whole & ~high) for name, (high, low) in lines.items()}


def true_rows(names: Sequence[str], table: int) -> Iterator[dict[str, str]]:
    """Yield the levels of each row on which the table is true.

    >>> list(true_rows(["a", "b"], 0b0100))
    [{'a': 'L', 'b': 'H'}]
    """
    while table:
        lowest = table & -table
        number = lowest.bit_length() - 1
        yield {name: "H" if number >> i & 1 else "L" for i, name in enumerate(names)}
        table ^= lowest


def depends_on(names: Sequence[str], table: int, name: str) -> bool:
    """Tell whether the signal ever makes a difference to the table."""
    high, step = line(names, name), 1 << names.index(name)
    return table & ~high != (table & high) >> step
