"""The search for the line maps that explain a dump, whatever is crossed, stuck, joined or inverted."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from romwright.faults import matching
from romwright.faults.lines import BYTES, Line, LineMap, State
from romwright.faults.parts import Part, promising_parts
from romwright.faults.planes import match_planes, sound, suspects
from romwright.faults.prices import price_of_bits, price_of_map
from romwright.faults.shapes import Shape, find_shapes, wrong_bits
from romwright.faults.spectrum import signed_histograms
from romwright.images.traits import find_idle_lines

GOOD = 0.012  # share of wrong bits up to which a match is taken to be right
FITTED = 3  # matches of a shape that are tried on the bytes
ROUNDS = 6


@dataclass(frozen=True, slots=True)
class Explanation:
    """A line map, the bits that are wrong in spite of it, and what it all costs to say."""

    lines: LineMap
    rose: int
    fell: int
    price: float

    @property
    def residual(self) -> int:
        """How many bits the map does not explain."""
        return self.rose + self.fell


class View:
    """An image of a power of two of bytes with the sums by which it is matched."""

    def __init__(self, data: np.ndarray) -> None:
        self.data = data
        self.times, self.signed = signed_histograms(data)
        self.weight = matching.weights(self.times)


class Search:
    """A reference and a dump, and the explanations found so far.

    `reference` is filled up to a power of two of bytes. `known` says which bytes of the dump are defined; None: all.
    """

    def __init__(self, reference: np.ndarray, dump: np.ndarray, known: np.ndarray | None = None) -> None:
        self.reference, self.dump, self.known = reference, dump, known
        self.rom_lines = len(reference).bit_length() - 1
        self.reader_lines = (len(dump) - 1).bit_length()
        self.bits = 8 * (len(dump) if known is None else int(known.sum()))
        self.found: dict[LineMap, Explanation] = {}

    def run(self) -> list[Explanation]:
        """Return the explanations, the cheapest first."""
        straight = self.judge(LineMap.straight(self.rom_lines, 0) if self.fits else self.part_of_straight())
        if straight.residual:
            self.match()
        return sorted(self.found.values(), key=lambda each: each.price)

    @property
    def fits(self) -> bool:
        """Whether the reader has all lines of the ROM."""
        return self.reader_lines >= self.rom_lines

    def part_of_straight(self) -> LineMap:
        """Return the map of a dump that is smaller than the ROM: its first part."""
        address = [Line.follows(n) if n < self.reader_lines else Line.stuck(0) for n in range(self.rom_lines)]
        return LineMap(tuple(address), LineMap.straight(0).data)

    def judge(self, lines: LineMap) -> Explanation:
        """Read the whole reference through a map, count what is wrong, and keep it."""
        if lines not in self.found:
            expected = lines.apply(self.reference, len(self.dump))
            if self.known is not None:
                expected = np.where(self.known, expected, self.dump)
            rose, fell = wrong_bits(expected, self.dump)
            price = price_of_map(lines, self.reader_lines) + price_of_bits(rose + fell, self.bits)
            self.found[lines] = Explanation(lines, rose, fell, price)
        return self.found[lines]

    @property
    def best(self) -> Explanation:
        """The cheapest explanation so far."""
        return min(self.found.values(), key=lambda each: each.price)

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
        if not idle_least:
            self.try_shape(Shape())
        if self.best.residual <= 0 or self.reader_lines < 1:
            return
        for shape in find_shapes(self.whole_dump, idle_least):
            if shape != Shape() and shape.least // 2 < self.best.residual:
                self.try_shape(shape)

    def try_shape(self, shape: Shape) -> None:
        """Match the dump, as far as a shape leaves it, with every part of the reference that it may show."""
        sizes = [len(group.lines) for group in shape.groups]
        part_of_dump = Part(tuple((line, 0) for line in shape.idle), tuple(group.lines for group in shape.groups))
        held = self.bare_lines - self.reader_lines + len(shape.idle)
        if held < 0 or held + sum(sizes) > self.bare_lines:
            return
        dump = View(part_of_dump.cut(self.whole_dump))
        parts = promising_parts(self.bare.data, dump.times * dump.weight, self.bare.weight, held, sizes)
        fits = [fit for part in parts for fit in self.fit(dump, part, sizes)]
        for _, data, part, view, order in sorted(fits, key=lambda fit: fit[0])[:FITTED]:
            for lines in self.refine(dump, view, data, order):
                self.judge(self.compose(shape, part, *lines))

    @property
    def bare_lines(self) -> int:
        """How many lines of the reference matter."""
        return self.rom_lines - len(self.idle)

    def fit(self, dump: View, part: Part, sizes: list[int]) -> Iterator[tuple]:
        """Yield ways to match a dump with a part of the reference, with their misfit."""
        view = View(part.cut(self.bare.data)) if part != Part() else self.bare
        choices = sound() if part == Part() else suspects(dump.times)
        matches = match_planes(dump.times * dump.weight, view.times * view.weight, choices)
        if choices is sound() and (not matches or matches[0][0] > 36 * 9):
            matches = match_planes(dump.times * dump.weight, view.times * view.weight, suspects(dump.times))
        noise = matching.noise_of(dump.times, dump.weight)
        for misfit, data in matches[:2]:
            table = LineMap((), data).table()
            cost = matching.distances(dump.signed, view.signed, table, dump.weight) / noise
            if sizes:
                kinds = np.array([1] * (len(cost) - len(sizes)) + sizes)
                cost = cost + 1e12 * (kinds[:, None] != kinds)
            order = matching.assign(cost)
            total = misfit + float(cost[order, np.arange(len(order))].sum())
            yield total, data, part, view, (order, matching.close_pairs(cost, order, matching.CLOSE))

    def refine(self, dump: View, view: View, data: tuple[Line, ...], matched: tuple) -> Iterator[tuple]:
        """Let the bytes decide between lines that are alike; yield (data lines, rows matched with columns)."""
        order, close = matched
        lines = tuple(Line.follows(int(row)) for row in order)
        cells = LineMap(lines, LineMap.straight(0).data).cells(view.data, len(dump.data))
        for _ in range(ROUNDS):
            table = LineMap((), data).table()
            changed = matching.settle(order, cells, table, dump.data, close)
            if matching.bits(np.take(table, cells) ^ dump.data) > GOOD * 8 * len(cells):
                close = matching.all_pairs(range(len(order)))
                better = best_data(cells, dump.data, data)
                changed |= better != data
                data = better
            if not changed:
                break
        yield data, order

    def compose(self, shape: Shape, part: Part, data: tuple[Line, ...], order: np.ndarray) -> LineMap:
        """Return the map of the whole reference from that of a part."""
        matter = [line for line in range(self.rom_lines) if line not in self.idle]
        of_dump = Part(tuple((line, 0) for line in shape.idle), tuple(group.lines for group in shape.groups))
        rows = of_dump.lines(self.reader_lines)
        laws = {group.lines: group.law for group in shape.groups}
        address = {matter[line]: Line.stuck(level) for line, level in part.held}
        for column, lines in enumerate(part.lines(self.bare_lines)):
            row = rows[order[column]]
            carried = Line.joined(laws[row], row) if row in laws else Line.follows(row[0])
            address |= {matter[line]: carried for line in lines}
        free = [line for line in range(self.reader_lines) if line in shape.idle]
        for line in sorted(self.idle, key=lambda line: line not in free):
            own = line if line in free else free[0] if free else None
            address[line] = Line.stuck(0) if own is None else Line.follows(own)
            free = [each for each in free if each != own]
        return LineMap(tuple(address[line] for line in range(self.rom_lines)), data)


def best_data(cells: np.ndarray, dump: np.ndarray, data: tuple[Line, ...]) -> tuple[Line, ...]:
    """Return the data lines with the fewest wrong bits, where the address lines are as they are."""
    joint = np.bincount(cells.astype(np.int64) << 8 | dump, minlength=1 << 16).reshape(256, 256)
    choices = suspects(joint.sum(axis=0))
    high = np.stack([line.values(BYTES) for line in choices.lines]).astype(np.int64)
    ones = joint @ (BYTES[:, None] >> np.arange(8) & 1).astype(np.int64)  # for each byte of the ROM, ones of each plane
    zeros = joint.sum(axis=1)[:, None] - ones
    wrong = high @ zeros + (1 - high) @ ones  # for each choice and plane
    picked = wrong.argmin(axis=0)
    taken = 0
    for plane, choice in enumerate(picked):
        line = choices.lines[choice]
        if line.state is State.JOINED:
            if sum(choices.lines[each] == line for each in picked) != len(line.of):
                return data
            continue
        if taken & int(choices.needs[choice]):
            return data
        taken |= int(choices.needs[choice])
    return tuple(choices.lines[choice] for choice in picked)
