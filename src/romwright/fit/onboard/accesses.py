"""Every bus cycle of a board in every area of its addresses, as tables of states: the same for every link setting."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property

from msgspec import Struct

from romwright.boards.model import NOBODY, Board, Cpu, Cycle, Span, expand, parse_span
from romwright.boards.spaces import Space, space_of
from romwright.fit import tables


class Access(Struct, frozen=True):
    """A cycle over a span of addresses of a space: `mask` its states, `expected` the device that is to drive, if any.

    `lines` are the data lines that are looked at: where the two halves of a word are two devices, each is an access.
    `cpu_drives`: the CPU drives these lines, with what it writes or with an address or a status.
    """

    cycle: Cycle
    span: Span
    device: str | None
    expected: str | None
    mask: int
    lines: frozenset[str]
    may_write: bool
    cpu_drives: bool
    space: Space

    @property
    def range(self) -> str:
        """The addresses in words: `0000-3FFF`."""
        first, last = (f"{end:0{self.space.digits}X}" for end in self.span)
        return first if first == last else f"{first}-{last}"

    @property
    def name(self) -> str:
        """The cycle and its addresses in words."""
        return f"{self.cycle.name} of {'I/O ' * (self.cycle.space == 'io')}{self.range}"

    def lowest(self, levels: dict[str, str]) -> int:
        """Return its lowest address whose lines have the levels named."""
        return lowest_address(self.space.shown(levels), self.span)

    def at(self, levels: dict[str, str]) -> str:
        """Write its lowest address whose lines have the levels named: `C000`, `I/O 10`."""
        return f"{'I/O ' * (self.cycle.space == 'io')}{self.lowest(levels):0{self.space.digits}X}"


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

    def bounds_of(self, device: str, space: str) -> tuple[int, int, int]:
        """Return the first and the last address of a device in a space, and how far apart two addresses are."""
        spans = [access.span for access in self.all if access.device == device and access.cycle.space == space]
        return min(first for first, _ in spans), max(last for _, last in spans), 1 << int(self.cpu.address_lines[0][1:])

    def _list(self) -> Iterator[Access]:
        for cycle in self.cpu.cycles:
            space = space_of(cycle.space, self.board, self.cpu)
            rows = [{name: level for name, level in row.items() if name in self.names} for row in cycle.rows]
            state = tables.any_row(self.names, rows) & agreeing(self.names, space)
            lines = frozenset(expand(cycle.data) or self.cpu.data_lines)
            bounds = parse_span(cycle.address) if cycle.address else (0, space.top)
            cpu_drives = cycle.cpu_drives in (("data",) if self.board.buffered else ("data", "address", "status"))
            if cycle.access == "none":
                mask = state & span_table(self.names, bounds, space.bits)
                yield Access(cycle, bounds, None, None, mask, lines, False, cpu_drives, space)
                continue
            for lane in self._lanes:
                for (first, last), device, mode in self._areas(cycle.space, lane, space) if lines & lane else ():
                    span = max(first, bounds[0]), min(last, bounds[1])
                    if span[0] <= span[1]:
                        asked = device if cycle.access in mode.split() or device == NOBODY else None
                        expected = asked if cycle.access == "read" else None
                        writable = cycle.access == "write" and "write" in mode.split()
                        mask = state & span_table(self.names, span, space.bits)
                        here = lines & lane
                        yield Access(cycle, span, device, expected, mask, here, writable, cpu_drives, space)

    @cached_property
    def _lanes(self) -> list[frozenset[str]]:
        """The data lines in groups, those in one that the same areas of the map have."""
        having = {area.device: self.board.lines_of(area.device, self.cpu) for area in self.board.map}
        return group_lines(self.cpu.data_lines, having)

    def _areas(self, kind: str, lane: frozenset[str], space: Space) -> list[tuple[Span, str | None, str]]:
        """List the areas of a space that have those data lines, in order of address, and what lies between them.

        Where the bus has no A0, an area begins and ends with a whole word.
        """
        within = (1 << int(self.cpu.address_lines[0][1:])) - 1
        areas = sorted(
            ((area.span[0] & ~within, area.span[1] | within), area.device, area.access)
            for area in self.board.map
            if area.space == kind and lane <= self.board.lines_of(area.device, self.cpu)
        )
        found, reached = [], 0
        for span, device, mode in areas:
            if span[0] > reached:
                found.append(((reached, span[0] - 1), None, "read write"))
            found.append((span, device, mode))
            reached = max(reached, span[1] + 1)
        if reached <= space.top:
            found.append(((reached, space.top), None, "read write"))
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


def lowest_address(levels: dict[str, str], span: Span) -> int:
    """Return the lowest address of a span whose lines have the levels named."""
    lines = {name: level for name, level in levels.items() if name[0] == "A" and name[1:].isdigit()}
    mask = sum(1 << int(name[1:]) for name in lines)
    wanted = sum(1 << int(name[1:]) for name, level in lines.items() if level == "H")
    first, last = span
    if first & mask == wanted:
        return first
    for bit in range(last.bit_length()):
        above = (first >> bit | 1) << bit
        if not first >> bit & 1 and (above & mask) >> bit == wanted >> bit:
            return above | wanted & ((1 << bit) - 1)
    raise ValueError(f"no address of {first:X}-{last:X} has those levels")


def span_table(names: Sequence[str], span: Span, bits: Mapping[str, int]) -> int:
    """Return the states that some address of a span shows on those lines that are among the names; `bits`: as a Space.

    >>> bin(span_table(["A1", "A2"], (2, 4), {"A1": 1, "A2": 2}))
    '0b110'
    """
    table, shown = 0, {name: bits[name] for name in names if name in bits}
    for start, size in blocks(*span):
        fixed = {name: "H" if start >> bit & 1 else "L" for name, bit in shown.items() if 1 << bit >= size}
        table |= tables.row(names, fixed)
    return table


def agreeing(names: Sequence[str], space: Space) -> int:
    """Return the states in which lines that show one bit are at one level, and those that are held low at L.

    >>> bin(agreeing(["A0", "A8"], Space(0xFF, 2, {"A0": 0, "A8": 0})))
    '0b1001'
    """
    table = tables.row(names, {name: "L" for name in names if name in space.low})
    first: dict[int, str] = {}
    for name in names:
        other = first.setdefault(space.bits[name], name) if name in space.bits else name
        if other != name:
            table &= ~(tables.line(names, name) ^ tables.line(names, other))
    return table


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
