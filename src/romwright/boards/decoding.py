"""Rows of levels by which a decoder without faults would select a range, and by which a CPU shows a read or a write."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from romwright.boards.model import Cpu, Cycle, Levels, expand

Span = tuple[int, int]
Rows = list[Levels]
MOST_LINES = 12  # of a decoder that is worked out: truth tables double with each


def decoder_lines(cpu: Cpu, spans: Iterable[Span], space: str = "memory") -> tuple[str, ...]:
    """Return the fewest address lines, highest first, that tell ranges apart; those of the port number for I/O."""
    spans = sorted(set(spans))
    lines = cpu.address_lines
    if space == "io":
        lines = lines[: 8 if all(last < 256 for _, last in spans) else 16]
    lines = lines[::-1]
    for count in range(min(MOST_LINES, len(lines)) + 1):
        size = 1 << int(lines[count - 1][1:]) if count else 2 << int(lines[0][1:])
        if all(one[1] // size < two[0] // size for one, two in zip(spans, spans[1:])):
            return lines[:count]
    return lines[:MOST_LINES]


def decode(span: Span, lines: Sequence[str]) -> Rows:
    """List rows of levels of the lines, highest first, that select a range, rounded outwards to what they can tell.

    >>> decode((0x8000, 0xBFFF), ("A15", "A14", "A13"))
    [{'A15': 'H', 'A14': 'L'}]
    """
    return list(_decode(span, lines, 0, 2 << int(lines[0][1:]))) if lines else [{}]


def _decode(span: Span, lines: Sequence[str], start: int, size: int) -> Iterator[Levels]:
    if not lines or (span[0] <= start and start + size - 1 <= span[1]):
        yield {}
        return
    for level, base in (("L", start), ("H", start + size // 2)):
        if span[0] < base + size // 2 and base <= span[1]:
            for row in _decode(span, lines[1:], base, size // 2):
                yield {lines[0]: level} | row


def cycle_rows(cpu: Cpu, access: str, space: str, lines: Iterable[str]) -> Rows:
    """List the fewest levels of control lines by which the CPU shows a read or write of some of its data lines.

    >>> from romwright.boards.library import require_cpu
    >>> cycle_rows(require_cpu("Z80"), "read", "memory", ["D0"])
    [{'/MREQ': 'L', '/RD': 'L'}]
    """

    wanted = set(lines)
    asked = [
        cycle
        for cycle in cpu.cycles
        if (cycle.access, cycle.space) == (access, space) and wanted & set(_lines_of(cycle, cpu)) and not cycle.is_early
    ]
    others = [cycle for cycle in cpu.cycles if cycle not in asked]
    rows, left = [], asked
    for row in sorted((_fewest(cycle, others) for cycle in asked), key=lambda row: -len(_shown(row, asked))):
        if shown := _shown(row, left):
            rows.append(row)
            left = [cycle for cycle in left if cycle not in shown]
    return rows


def _lines_of(cycle: Cycle, cpu: Cpu) -> tuple[str, ...]:
    """Return the data lines that a cycle moves; a write without any has those of the read that is named like it."""
    twins = (each.data for each in cpu.cycles if each.name == cycle.name.replace("write", "read"))
    return expand(cycle.data or next(twins, "")) or cpu.data_lines


def _shown(row: Levels, cycles: Sequence[Cycle]) -> list[Cycle]:
    """List the cycles in which a row surely holds."""
    return [cycle for cycle in cycles if row.items() <= cycle.levels.items()]


def _fewest(cycle: Cycle, others: Sequence[Cycle]) -> Levels:
    """Leave out every level without which no other cycle is taken for this one; strobes that are low go last."""
    row = dict(cycle.levels)
    for name in sorted(row, key=lambda name: name.startswith("/") and row[name] == "L"):
        fewer = {each: level for each, level in row.items() if each != name}
        if fewer and _matching(fewer, others) == _matching(row, others):
            row = fewer
    return row


def _matching(row: Levels, cycles: Sequence[Cycle]) -> list[str]:
    return [c.name for c in cycles if all(c.levels.get(name, level) == level for name, level in row.items())]


def joined(selects: Rows, strobes: Rows) -> Rows:
    """Return the rows in which a select and a strobe hold at once."""
    return [select | strobe for select in selects for strobe in strobes]
