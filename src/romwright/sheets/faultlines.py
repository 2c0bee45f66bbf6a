"""The lines between a ROM and a reader, sorted for a drawing: straight, routed, stuck, reaching nothing.

The ROM stands at the left, the reader at the right. An address goes from right to left, data from left to right; a
line is named at the end that receives, as in a line map.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cached_property
from itertools import count

from msgspec import Struct
from msgspec.structs import replace

from romwright.faults.lines import Law, Line, LineMap, State

ROM, READER = -1, 1  # sides of the drawing
LEVELS = "LH"


class Net(Struct, frozen=True):
    """Lines that are one: the numbers of those that send and of those that receive, the inverted among these.

    `number` tells a net from others that are not straight, of both groups.
    """

    number: int
    sources: tuple[int, ...]
    sinks: tuple[int, ...]
    inverted: frozenset[int] = frozenset()
    law: Law | None = None

    @property
    def direct(self) -> bool:
        """Whether one line goes to the one of its own number and nowhere else."""
        return self.law is None and self.sinks == self.sources

    @property
    def straight(self) -> bool:
        """Whether nothing is wrong with it."""
        return self.direct and not self.inverted


class Group(Struct, frozen=True, dict=True):
    """The address lines or the data lines: what each of `lines` carries, of so many on the side that sends."""

    letter: str
    lines: Sequence[Line]
    sending: int
    first: int = 0  # number of the first net

    @property
    def sink_side(self) -> int:
        """The side that receives."""
        return ROM if self.letter == "A" else READER

    def size(self, side: int) -> int:
        """Return how many lines a side has."""
        return len(self.lines) if side == self.sink_side else self.sending

    @property
    def rows(self) -> int:
        """How many rows the drawing takes."""
        return max(len(self.lines), self.sending)

    @cached_property
    def nets(self) -> list[Net]:
        """All nets in the order of their lowest line; what follows or inverts one line is one net."""
        carried: dict[tuple, list[int]] = {}
        for number, line in enumerate(self.lines):
            if line.of:
                carried.setdefault((line.of, line.law), []).append(number)
        found = sorted(carried.items(), key=lambda item: (min(*item[0][0], *item[1]), item[1]))
        nets = [
            Net(0, of, tuple(sinks), frozenset(n for n in sinks if self.lines[n].state is State.INVERTED), law)
            for (of, law), sinks in found
        ]
        number = count(self.first)
        return [net if net.straight else replace(net, number=next(number)) for net in nets]

    @cached_property
    def stuck(self) -> dict[int, int]:
        """The level of each line that receives one, whatever is sent."""
        return {number: line.level for number, line in enumerate(self.lines) if line.state is State.STUCK}

    @cached_property
    def unused(self) -> list[int]:
        """The lines that send and reach nothing."""
        return sorted(set(range(self.sending)) - {source for net in self.nets for source in net.sources})

    @property
    def straight(self) -> list[int]:
        """The lines with which nothing is wrong."""
        return [net.sinks[0] for net in self.nets if net.straight]

    @property
    def faulty(self) -> list[int]:
        """The numbers of the lines of either side that are drawn as anything but a straight line."""
        wrong = {number for net in self.nets if not net.straight for number in (*net.sources, *net.sinks)}
        return sorted(wrong | self.stuck.keys() | set(self.unused))

    def spare(self, number: int) -> bool:
        """Tell whether a line goes nowhere only because the dump is smaller or larger than the ROM."""
        used = {end for net in self.nets for end in (*net.sources, *net.sinks)}
        return number >= min(len(self.lines), self.sending) and number not in used

    def carries(self, number: int) -> str:
        """Say in a few letters what a line that receives carries, unless it is its own.

        >>> Group("D", [Line.inverted(0), Line.follows(1), Line.follows(0)], 3).carries(0)
        'not D0'
        """
        line = self.lines[number]
        names = [f"{self.letter}{source}" for source in line.of]
        if line.state is State.STUCK:
            return LEVELS[line.level]
        if line.law:
            return f" {line.law.upper()} ".join(names)
        if line.state is State.INVERTED:
            return f"not {names[0]}"
        return "" if line.of == (number,) else names[0]

    def ends(self, net: Net) -> Iterator[tuple[int, int]]:
        """Yield the side and the number of each end of a net."""
        yield from ((-self.sink_side, source) for source in net.sources)
        yield from ((self.sink_side, sink) for sink in net.sinks)


def groups_of(lines: LineMap, reader_lines: int) -> tuple[Group, Group]:
    """Return the address lines and the data lines of a map."""
    address = Group("A", lines.address, reader_lines)
    return address, Group("D", lines.data, 8, sum(not net.straight for net in address.nets))


def in_ranges(numbers: Sequence[int], letter: str) -> str:
    """Write numbers of lines, in their order, as ranges.

    >>> in_ranges([0, 1, 2, 5, 7, 8], "A")
    'A0-A2, A5, A7-A8'
    """
    ranges: list[list[int]] = []
    for number in numbers:
        if ranges and number == ranges[-1][-1] + 1:
            ranges[-1].append(number)
        else:
            ranges.append([number])
    return ", ".join(f"{letter}{each[0]}" + f"-{letter}{each[-1]}" * (len(each) > 1) for each in ranges)
