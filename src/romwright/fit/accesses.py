"""Every bus cycle of a board in every area of its addresses, as tables of states: the same for every link setting."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from romwright.boards.model import NOBODY, Board, Cpu, Cycle, expand, parse_span
from romwright.fit import tables

Span = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Access:
    """A cycle over a span of addresses: `mask` its states, `expected` what is to drive (None: nothing is asked).

    `lines` are the data lines that are looked at: where the two halves of a word are two devices, each is an access.
    Addresses are written with `digits` in hex.
    """

    cycle: Cycle
    span: Span
    device: str | None
    expected: str | None
    mask: int
    lines: frozenset[str]
    may_write: bool
    digits: int

    @property
    def range(self) -> str:
        """The addresses in words: `0000-3FFF`."""
        first, last = (f"{end:0{self.digits}X}" for end in self.span)
        return first if first == last else f"{first}-{last}"

    @property
    def name(self) -> str:
        """The cycle and its addresses in words."""
        return f"{self.cycle.name} of {'I/O ' * (self.cycle.space == 'io')}{self.range}"


class Accesses:
    """All accesses of a board over tables of `names`."""

    def __init__(self, board: Board, cpu: Cpu, names: Sequence[str]) -> None:
        self.board, self.cpu, self.names = board, cpu, tuple(names)
        self.all = list(self._list())

    @cached_property
    def valid(self) -> int:
        """The states that any cycle can produce."""
        table = 0
        for access in self.all:
            table |= access.mask
        return table

    def reads_of(self, device: str) -> int:
        """Return the states of the reads that a device is to answer."""
        table = 0
        for access in self.all:
            table |= access.mask if access.expected == device else 0
        return table

    def _list(self) -> Iterator[Access]:
        digits = max(4, len(f"{self.cpu.top:X}"))
        for cycle in self.cpu.cycles:
            levels = {name: level for name, level in cycle.levels.items() if name in self.names}
            state = tables.row(self.names, levels)
            lines = frozenset(expand(cycle.data) or self.cpu.data_lines)
            bounds = parse_span(cycle.address) if cycle.address else (0, self.cpu.top)
            if cycle.access == "none":
                mask = state & span_table(self.names, bounds)
                yield Access(cycle, bounds, None, None, mask, lines, False, digits)
                continue
            for lane in self._lanes:
                for (first, last), device, mode in self._areas(cycle.space, lane) if lines & lane else ():
                    span = max(first, bounds[0]), min(last, bounds[1])
                    if span[0] <= span[1]:
                        asked = device if cycle.access in mode.split() or device == NOBODY else None
                        expected = asked if cycle.access == "read" else None
                        writable = cycle.access == "write" and "write" in mode.split()
                        mask = state & span_table(self.names, span)
                        yield Access(cycle, span, device, expected, mask, lines & lane, writable, digits)

    @cached_property
    def _lanes(self) -> list[frozenset[str]]:
        """The data lines in groups, those in one that the same areas of the map have."""
        having = {area.device: self.board.lines_of(area.device, self.cpu) for area in self.board.map}
        return group_lines(self.cpu.data_lines, having)

    def _areas(self, space: str, lane: frozenset[str]) -> list[tuple[Span, str | None, str]]:
        """List the areas of a space that have those data lines, in order of address, and what lies between them.

        Where the bus has no A0, an area begins and ends with a whole word.
        """
        within = (1 << int(self.cpu.address_lines[0][1:])) - 1
        areas = sorted(
            ((area.span[0] & ~within, area.span[1] | within), area.device, area.access)
            for area in self.board.map
            if area.space == space and lane <= self.board.lines_of(area.device, self.cpu)
        )
        found, reached = [], 0
        for span, device, mode in areas:
            if span[0] > reached:
                found.append(((reached, span[0] - 1), None, "read write"))
            found.append((span, device, mode))
            reached = max(reached, span[1] + 1)
        if reached <= self.cpu.top:
            found.append(((reached, self.cpu.top), None, "read write"))
        return found


def group_lines(data_lines: Sequence[str], having: Mapping[str, frozenset[str]]) -> list[frozenset[str]]:
    """Group data lines by who has them.

    >>> [sorted(lane) for lane in group_lines(["D0", "D1", "D2"], {"U7": frozenset({"D0", "D2"})})]
    [['D0', 'D2'], ['D1']]
    """
    groups: dict[frozenset[str], set[str]] = {}
    for line in data_lines:
        groups.setdefault(frozenset(name for name, lines in having.items() if line in lines), set()).add(line)
    return [frozenset(lines) for lines in groups.values()]


def span_table(names: Sequence[str], span: Span) -> int:
    """Return the states that some address of a span shows on those address lines that are among the names.

    >>> bin(span_table(["A1", "A2"], (2, 4)))
    '0b110'
    """
    table = 0
    for start, size in blocks(*span):
        fixed = {name: "H" if start >> int(name[1:]) & 1 else "L" for name in names if is_fixed(name, size)}
        table |= tables.row(names, fixed)
    return table


def is_fixed(name: str, size: int) -> bool:
    """Tell whether a name is an address line that stands still within an aligned block of that size."""
    return name[0] == "A" and name[1:].isdigit() and 1 << int(name[1:]) >= size


def blocks(first: int, last: int) -> Iterator[tuple[int, int]]:
    """Cut a span into aligned blocks of powers of two: start and size.

    >>> list(blocks(3, 8))
    [(3, 1), (4, 4), (8, 1)]
    """
    while first <= last:
        size = first & -first or 1 << last.bit_length()
        while first + size - 1 > last:
            size >>= 1
        yield first, size
        first += size
