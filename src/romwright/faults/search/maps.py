"""The search for the line maps that explain a dump, whatever is crossed, stuck, joined or inverted."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cached_property
from itertools import product

import numpy as np
from msgspec.structs import replace

from romwright.faults.lines import Line, LineMap
from romwright.faults.search.attempts import FITTED, Attempt, View, best_data, find_attempts
from romwright.faults.search.judge import RIGHT, Judge
from romwright.faults.search.levels import likely_levels, likely_turns
from romwright.faults.search.parts import Part
from romwright.faults.search.shapes import Shape, find_shapes
from romwright.faults.search.spectrum import MOST_LINES
from romwright.faults.search.starts import find_starts
from romwright.images.runs import is_uniform
from romwright.images.traits import find_idle_lines

PARTS, MORE_PARTS = 16, 56  # parts of the reference that are tried, at first and if none fits
ENOUGH_TO_MATCH = 2000.0  # what it costs at least to write down a dump in which more than two faults are looked for
LIKELIEST = 2  # shapes for which more are tried
UNIFORM = 0.95  # share of one value outside the reference from which nothing of it is repeated there
HOPELESS = 0.9  # share of the bits that chance would have wrong from which nothing comes of exchanging two lines
MOST_STUCK = 3  # idle lines for which each level is tried
FEW_LINES = 8  # of a dump for which every set of inverted address lines is tried
WORTH = 2.05  # a shape of which so many times the least wrong bits are more than there are is not looked for further


class Search(Judge):
    """A reference and a dump, and what is tried to explain the one by the other."""

    def __init__(self, *of: np.ndarray | None) -> None:
        super().__init__(*of)
        self.attempts: list[Attempt] = []

    def run(self) -> None:
        """Look for explanations, as long as none is good."""
        small = max(self.reader_lines, self.rom_lines) <= MOST_LINES
        if self.straight.residual and small and not is_uniform(self.dump) and not is_uniform(self.reference):
            self.match()
            if not self.good:
                self.try_starts()
            if not self.good:
                self.try_harder()
            self.try_halves()

    @cached_property
    def idle(self) -> list[int]:
        """The address lines of the reference that never matter."""
        return find_idle_lines(self.reference)

    @cached_property
    def bare(self) -> View:
        """The reference without the lines that never matter."""
        return View(Part(tuple((line, 0) for line in self.idle)).cut(self.reference))

    @cached_property
    def whole_dump(self) -> np.ndarray:
        """The dump filled up to a power of two of bytes."""
        filled = np.full(1 << self.reader_lines, 0xFF, np.uint8)
        filled[: len(self.dump)] = self.dump
        return filled if len(self.dump) < len(filled) else self.dump

    def match(self) -> None:
        """Try every shape that the dump may have, as long as a better one can be hoped for."""
        idle_least = max(self.reader_lines - (self.rom_lines - len(self.idle)), 0)
        shapes: list[Shape] = []
        deep: list[Shape] = []
        if not idle_least:
            self.try_shape(Shape(), slice(PARTS))
        if self.best.residual and self.reader_lines:
            shapes, deep = find_shapes(self.whole_dump, self.bare.data, idle_least)
            shapes = [shape for shape in shapes if shape != Shape()]
            self.try_shapes(shapes)
        if not (self.good and self.best.lines.crossed_at_random):
            self.try_straight([*shapes[:LIKELIEST], *deep] if not self.good else shapes[:LIKELIEST])
        if self.good or self.price_of_nothing < ENOUGH_TO_MATCH:
            self.try_turned()
            return
        self.try_shapes(deep[:LIKELIEST])
        if not self.good:
            for shape in [Shape()] * (not idle_least) + shapes[:LIKELIEST]:
                self.try_shape(shape, slice(PARTS), wide=True)

    def try_shapes(self, shapes: Sequence[Shape]) -> None:
        """Try shapes, the likeliest first, with few parts of the reference and then with more, until one is good."""
        for tried, chosen in ((slice(PARTS), shapes), (slice(PARTS, MORE_PARTS), shapes[:LIKELIEST])):
            for shape in chosen:
                worth = WORTH if self.good else 1
                if shape.least * worth < self.best.residual:
                    self.try_shape(shape, tried)
            if self.good:
                return

    def try_shape(self, shape: Shape, tried: slice, wide: bool = False) -> None:
        """Match the dump with the likeliest parts of the reference, and judge what comes of it.

        If the search is `wide`, wrong bits may all go one way, and address lines may be inverted.
        """
        for attempt in find_attempts(shape, self.whole_dump, self.bare, tried, wide):
            self.attempts.append(attempt)
            if not self.judge(self.compose(attempt)).residual:
                return

    def try_straight(self, shapes: Sequence[Shape]) -> None:
        """Try whether all lines run straight but for those of a shape, whatever else is wrong with the dump."""
        for shape in (Shape(), *shapes) if self.fits else ():
            stuck = [line for line in shape.idle if line < self.rom_lines]
            joined = {line: Line.joined(group.law, group.lines) for group in shape.groups for line in group.lines}
            for levels in self.levels(stuck, joined):
                own = joined | {line: Line.stuck(level) for line, level in zip(stuck, levels)}
                address = tuple(own.get(line, Line.follows(line)) for line in range(self.rom_lines))
                self.judge_with_data(LineMap(address, LineMap.straight(0).data))

    def try_turned(self) -> None:
        """Try inverted address lines, where nothing else is wrong with them: one or all, of a small dump any set."""
        right = self.good and self.best.right >= RIGHT  # not so where nearly all is blank and what is not is wrong
        if right or not len(self.dump) == len(self.reference) == len(self.whole_dump):
            return
        few = self.reader_lines <= FEW_LINES
        some = (*(1 << line for line in range(self.rom_lines)), len(self.dump) - 1)
        for turned in likely_turns(self.reference, self.dump) if few else some:
            ways = (Line.inverted if turned >> line & 1 else Line.follows for line in range(self.rom_lines))
            self.judge_with_data(LineMap(tuple(way(line) for line, way in enumerate(ways)), LineMap.straight(0).data))

    def judge_with_data(self, lines: LineMap) -> None:
        """Judge a map as it is, and with the data lines that fit best where its address lines lead."""
        self.judge(lines)
        if len(self.dump) == len(self.whole_dump):
            cells = lines.cells(self.reference, len(self.dump))
            self.judge(replace(lines, data=best_data(cells, self.dump, lines.data)))

    def levels(self, stuck: Sequence[int], joined: dict[int, Line]) -> Iterable[tuple[int, ...]]:
        """Return the levels at which idle lines may be held: all if they are few, else those that fit best."""
        if len(stuck) <= MOST_STUCK:
            return product((0, 1), repeat=len(stuck))
        address = tuple(joined.get(line, Line.follows(line)) for line in range(self.rom_lines))
        seen = LineMap(address, LineMap.straight(0).data).cells(self.reference, len(self.reference))
        return likely_levels(seen, self.whole_dump[: len(seen)], stuck)

    def try_halves(self) -> None:
        """Try the start in the middle where the highest line is inverted: the same is read."""
        straight, top = LineMap.straight(self.rom_lines), Line.inverted(self.rom_lines - 1)
        if self.best.lines == replace(straight, address=(*straight.address[:-1], top)):
            self.judge(replace(straight, start=len(self.reference) // 2))

    def try_harder(self) -> None:
        """Exchange any two lines, and look at the data lines again, in what comes nearest to the dump."""
        ones = (self.dump[:, None] >> np.arange(8, dtype=np.uint8) & 1).mean(axis=0)
        by_chance = float((2 * ones * (1 - ones)).mean())
        for attempt in sorted(self.attempts, key=lambda attempt: attempt.wrong)[:FITTED]:
            if attempt.wrong > HOPELESS * by_chance:
                return
            attempt.improve()
            self.judge(self.compose(attempt))

    def try_starts(self) -> None:
        """Try whether the dump starts elsewhere in the reference, and goes on at its start or reads as one byte."""
        half = len(self.reference) // 2
        for start in find_starts(self.reference, self.dump):
            if start == 0 and len(self.dump) <= len(self.reference):  # straight, that is
                continue
            nearest = (start + half) % len(self.reference) - half  # going round, it starts there as well
            around = LineMap.straight(self.rom_lines, nearest) if nearest else self.straight.lines
            wanted = np.arange(len(self.dump)) + start
            outside = (wanted < 0) | (wanted >= len(self.reference))
            times = np.bincount(self.dump[outside], minlength=256)
            beyond = int(times.argmax())
            if (around.apply(self.reference, len(self.dump))[outside] == beyond).all():  # both would read the same
                self.judge_with_data(around)
                continue
            self.judge_with_data(LineMap.straight(self.rom_lines, start, beyond))
            if times[beyond] <= UNIFORM * times.sum():
                self.judge_with_data(around)

    @property
    def bare_lines(self) -> int:
        """How many lines of the reference matter."""
        return self.rom_lines - len(self.idle)

    def compose(self, attempt: Attempt) -> LineMap:
        """Return the map of the whole reference from that of a part."""
        shape, part, data, order = attempt.shape, attempt.part, attempt.data, attempt.order
        matter = [line for line in range(self.rom_lines) if line not in self.idle]
        rows = shape.part.lines(self.reader_lines)
        laws = {group.lines: group.law for group in shape.groups}
        address = {matter[line]: Line.stuck(level) for line, level in part.held}
        for column, lines in enumerate(part.lines(self.bare_lines)):
            row = rows[order[column]]
            follows = Line.inverted if attempt.turned[column] else Line.follows
            carried = Line.joined(laws[row], row) if row in laws else follows(row[0])
            address |= {matter[line]: carried for line in lines}
        free = {line: Line.follows(line) for line in shape.idle}
        for group in shape.groups:  # lines that never matter may be joined with one that does
            carried = Line.joined(group.law, group.lines)
            left = len(group.lines) - sum(line == carried for line in address.values())
            free |= dict.fromkeys(sorted(group.lines, key=lambda line: line not in self.idle)[:left], carried)
        for line in sorted(self.idle, key=lambda line: line not in free):
            own = line if line in free else next(iter(free), None)
            address[line] = Line.stuck(0) if own is None else free.pop(own)
        return LineMap(tuple(address[line] for line in range(self.rom_lines)), data)
