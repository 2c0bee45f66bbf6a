"""What a dump shows of its address lines by itself: lines that reach nothing, and lines that are joined.

If the reader's line j reaches no line of the ROM, changing it changes nothing. If lines j and k are joined so that
the low one wins, three of the four quarters of the dump are equal: only with both high does it differ.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations

import numpy as np
from msgspec import Struct

from romwright.faults.lines import Law
from romwright.faults.search.matching import weights
from romwright.faults.search.parts import Part
from romwright.faults.search.planes import NOISE
from romwright.faults.search.spectrum import ROW_LINES, signs

SLACK = 0.025  # share of the bits outside blank areas that may be wrong besides
MOST_SHAPES, MOST_DEEP = 12, 4  # with at most so many lines lost, and with more
FEW_LOST = 2


class Group(Struct, frozen=True):
    """Lines of the reader that are joined, and the law by which they are."""

    lines: tuple[int, ...]
    law: Law


class Shape(Struct, frozen=True):
    """A way to explain a dump: the reader's lines that reach nothing, the groups that are joined.

    `least` is the number of wrong bits that it needs in any case.
    """

    idle: tuple[int, ...] = ()
    groups: tuple[Group, ...] = ()
    least: int = 0

    @property
    def part(self) -> Part:
        """The part of the dump that tells all: the rest repeats it."""
        return Part(tuple((line, 0) for line in self.idle), tuple(group.lines for group in self.groups))

    @property
    def lost(self) -> int:
        """How many lines fewer than the reader's tell addresses apart."""
        return len(self.idle) + sum(len(group.lines) - 1 for group in self.groups)


class Differences:
    """How many bits differ along each line of a dump, and along each while another is low or high."""

    def __init__(self, dump: np.ndarray) -> None:
        """Look along every line of a dump of a power of two of bytes."""
        self.lines = len(dump).bit_length() - 1
        self.low = np.zeros((self.lines, self.lines), np.int64)
        self.high = np.zeros((self.lines, self.lines), np.int64)
        rest = self.lines - 1
        width = min(rest // 2, ROW_LINES)
        for line in range(self.lines):
            cube = dump.reshape(-1, 2, 1 << line)
            wrong = np.bitwise_count(cube[:, 0] ^ cube[:, 1]).reshape(-1, 1 << width)
            by_column, by_row = wrong.sum(axis=0, dtype=np.int64), wrong.sum(axis=1, dtype=np.int64)
            total = int(by_row.sum())
            more_low = np.concatenate((signs(width) @ by_column, signs(rest - width) @ by_row)).astype(np.int64)
            others = [other for other in range(self.lines) if other != line]
            self.low[line, others] = (total + more_low) // 2
            self.high[line, others] = (total - more_low) // 2
            self.low[line, line] = self.high[line, line] = total

    @property
    def totals(self) -> np.ndarray:
        """How many bits differ along each line."""
        return np.diag(self.low)


def find_shapes(dump: np.ndarray, reference: np.ndarray, idle_least: int) -> tuple[list[Shape], list[Shape]]:
    """Return the ways in which a dump may have come about; at least `idle_least` lines are lost.

    What the reference shows too is no fault: the likeliest ways have as many idle lines and groups more than it. Those
    that lose more than FEW_LOST lines are given apart: for them only lines that look idle, and the surest groups.
    """
    seen, natural = Look(dump), Look(reference)
    idle = [tuple(seen.ranked[:count]) for count in range(len(seen.ranked) + 1)]
    idle = [lines for lines in idle if len(lines) <= idle_least or lines[-1] in seen.idle]
    surest = seen.surest_groups()
    few = [
        shape for lines in idle[: idle_least + FEW_LOST + 1] for count in range(FEW_LOST + 1)
        for joined in combinations(seen.groups, count)
        if (shape := seen.shape(lines, joined, idle_least)) and 0 <= shape.lost - idle_least <= FEW_LOST
    ]  # fmt: skip
    deep = [
        shape for lines in idle for count in range(len(surest) + 1)
        if (shape := seen.shape(lines, surest[:count], idle_least)) and shape.lost - idle_least > FEW_LOST
    ]  # fmt: skip

    def surprise(shape: Shape) -> tuple[int, int]:
        groups = abs(len(shape.groups) - len(seen.groups) + len(natural.groups))
        return groups + abs(len(shape.idle) - max(len(seen.idle), idle_least) + len(natural.idle)), shape.least

    return sorted(few, key=surprise)[:MOST_SHAPES], sorted(deep, key=surprise)[:MOST_DEEP]


class Look:
    """The lines of an image that look idle, and those that look joined, each group with the bits that it costs."""

    def __init__(self, data: np.ndarray) -> None:
        times = np.bincount(data, minlength=256)
        limit = SLACK * 4 * float(times @ weights(times)) + 8 * NOISE * len(data)
        self.seen = Differences(data)
        self.ranked = np.argsort(self.seen.totals, kind="stable").tolist()
        self.idle = [line for line in self.ranked if self.seen.totals[line] <= limit]
        self.groups = sorted(find_groups(self.seen, limit), key=lambda found: (-len(found[0].lines), found[1]))

    def cost(self, lines: tuple[int, ...]) -> int:
        """Return how many bits must be wrong if these lines reach nothing: one of each two that differ."""
        return max((int(self.seen.totals[line]) // 2 for line in lines), default=0)

    def shape(self, idle: tuple[int, ...], joined: Sequence[tuple[Group, int]], idle_least: int) -> Shape | None:
        """Return the shape with these idle lines and groups; None if a line had two parts to play."""
        groups = tuple(group for group, _ in joined)
        if not apart(idle, groups):
            return None
        return Shape(tuple(sorted(idle)), groups, max(self.cost(idle[idle_least:]), *(cost for _, cost in joined), 0))

    def surest_groups(self) -> list[tuple[Group, int]]:
        """Return groups that share no line, the largest and cheapest first."""
        chosen: list[tuple[Group, int]] = []
        for found in self.groups:
            if apart((), (*(group for group, _ in chosen), found[0])):
                chosen.append(found)
        return chosen


def apart(idle: tuple[int, ...], groups: tuple[Group, ...]) -> bool:
    """Tell whether no line has two parts to play."""
    lines = [*idle, *(line for group in groups for line in group.lines)]
    return len(set(lines)) == len(lines)


def find_groups(seen: Differences, limit: float) -> Iterator[tuple[Group, int]]:
    """Yield two or three lines that look joined, with the number of bits that must then be wrong."""
    for law, along in ((Law.AND, seen.low), (Law.OR, seen.high)):
        tight = {
            (a, b): int(along[a, b] + along[b, a]) // 2
            for a, b in combinations(range(seen.lines), 2)
            if along[a, b] + along[b, a] <= limit and min(seen.totals[a], seen.totals[b]) > limit
        }
        for lines, cost in sorted(tight.items(), key=lambda item: item[1]):
            yield Group(lines, law), cost
        for lines in combinations(range(seen.lines), 3):
            pairs = list(combinations(lines, 2))
            if all(pair in tight for pair in pairs):
                yield Group(lines, law), max(tight[pair] for pair in pairs)
