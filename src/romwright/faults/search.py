"""The search for the line maps that explain a dump, whatever is crossed, stuck, joined or inverted."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from romwright.faults import matching
from romwright.faults.lines import BYTES, Line, LineMap, State, byte_table, gather
from romwright.faults.parts import Part, promising_parts
from romwright.faults.planes import Choices, match_planes, sound, suspects
from romwright.faults.prices import price_of_bits, price_of_map
from romwright.faults.shapes import Shape, find_shapes, wrong_bits
from romwright.faults.spectrum import signed_histograms
from romwright.faults.starts import find_starts
from romwright.images.runs import is_uniform
from romwright.images.traits import find_idle_lines

GOOD = 0.012  # share of wrong bits up to which a match is taken to be right
MATCHES = 2  # ways to match the data lines that are tried
FITS = 36 * 9.0  # misfit of data lines up to which they are taken to fit
CLOSEST = 6  # matches of data lines for which the address lines are matched
FORBIDDEN = 1e18
FITTED = 3  # matches of a shape that are tried on the bytes
PARTS, MORE_PARTS = 16, 56  # parts of the reference that are tried, at first and if none fits
LIKELIEST = 2  # shapes for which more are tried
WORTH = 2.05  # a shape of which so many times the least wrong bits are more than there are is not looked for further
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
        self.times = np.bincount(data, minlength=256).astype(np.float64)
        self.weight = matching.weights(self.times)

    @cached_property
    def signed(self) -> np.ndarray:
        """For each line, how much more often each byte occurs with the line low than high."""
        return signed_histograms(self.data)


@dataclass
class Attempt:
    """A dump of some shape matched with a part of the reference: row `order[c]` of the dump is column c of the part."""

    shape: Shape
    part: Part
    dump: View
    reference: View
    data: tuple[Line, ...]
    order: np.ndarray

    def __post_init__(self) -> None:
        lines = tuple(Line.follows(int(row)) for row in self.order)
        self.cells = np.take(self.reference.data, gather(lines, len(self.dump.data)))

    @property
    def wrong(self) -> float:
        """The share of the part's bits that are wrong."""
        return matching.bits(np.take(byte_table(self.data), self.cells) ^ self.dump.data) / (8 * len(self.cells))

    def settle(self, pairs: Sequence[tuple[int, int]]) -> bool:
        """Exchange address lines of these pairs where that is better; tell whether it was."""
        changed = False
        for _ in range(ROUNDS):
            if not matching.settle(self.order, self.cells, byte_table(self.data), self.dump.data, pairs):
                break
            changed = True
        return changed

    def improve(self) -> None:
        """Exchange any two address lines, and find the data lines anew, as long as that is better."""
        pairs = matching.all_pairs(range(len(self.order)))
        for _ in range(ROUNDS):
            data = best_data(self.cells, self.dump.data, self.data)
            changed, self.data = data != self.data, data
            if not self.settle(pairs) and not changed:
                break


class Search:
    """A reference and a dump, and the explanations found so far.

    `reference` is filled up to a power of two of bytes. `known` says which bytes of the dump are defined; None: all.
    """

    def __init__(self, reference: np.ndarray, dump: np.ndarray, known: np.ndarray | None = None) -> None:
        self.reference, self.dump, self.known = reference, dump, known
        self.rom_lines = len(reference).bit_length() - 1
        self.reader_lines = (len(dump) - 1).bit_length()
        self.bits = 8 * (len(dump) if known is None else int(known.sum()))
        self.attempts: list[Attempt] = []
        self.found: dict[LineMap, Explanation] = {}
        self.last_read: tuple[LineMap, np.ndarray]

    def run(self) -> list[Explanation]:
        """Return the explanations, the cheapest first."""
        if self.straight.residual and not is_uniform(self.dump) and not is_uniform(self.reference):
            self.match()
            if not self.good:
                self.try_starts()
        return sorted(self.found.values(), key=lambda each: each.price)

    @cached_property
    def straight(self) -> Explanation:
        """What is left wrong if all lines run as they should."""
        return self.judge(LineMap.straight(self.rom_lines) if self.fits else self.part_of_straight())

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
        if known := self.found.get(lines):
            return known
        expected = lines.apply(self.reference, len(self.dump))
        seen = expected if self.known is None else np.where(self.known, expected, self.dump)
        rose, fell = wrong_bits(seen, self.dump)
        price = price_of_map(lines, self.reader_lines) + price_of_bits(rose + fell, self.bits)
        self.found[lines] = found = Explanation(lines, rose, fell, price)
        if self.best is found:
            self.last_read = lines, expected
        return found

    def read(self, lines: LineMap) -> np.ndarray:
        """Return what is read through a map; what the best explanation so far gave is kept."""
        known, expected = self.last_read
        return expected if known is lines else lines.apply(self.reference, len(self.dump))

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
            self.try_shape(Shape(), slice(PARTS))
        if self.best.residual <= 0 or self.reader_lines < 1:
            return
        shapes = [shape for shape in find_shapes(self.whole_dump, self.bare.data, idle_least) if shape != Shape()]
        for tried, chosen in ((slice(PARTS), shapes), (slice(PARTS, MORE_PARTS), shapes[:LIKELIEST])):
            for shape in chosen:
                worth = WORTH if self.good else 1
                if shape.least * worth < self.best.residual:
                    self.try_shape(shape, tried)
            if self.good:
                return
        self.try_harder()

    @property
    def good(self) -> bool:
        """Whether the best explanation leaves so few bits wrong that no other kind need be looked for."""
        return self.best.residual <= GOOD * self.bits

    def try_shape(self, shape: Shape, tried: slice) -> None:
        """Match the dump, as far as a shape leaves it, with the likeliest parts of the reference that it may show."""
        sizes = [len(group.lines) for group in shape.groups]
        part_of_dump = Part(tuple((line, 0) for line in shape.idle), tuple(group.lines for group in shape.groups))
        held = self.bare_lines - self.reader_lines + len(shape.idle)
        if held < 0 or held + sum(sizes) > self.bare_lines:
            return
        dump = View(part_of_dump.cut(self.whole_dump))
        parts = promising_parts(self.bare.data, dump.times, held, sizes)[tried]
        fits = []
        for part, view, data in self.fit_data(dump, parts):
            cost = matching.distances(dump.signed, view.signed, byte_table(data), dump.weight)
            if sizes:
                kinds = np.array([1] * (len(cost) - len(sizes)) + sizes)
                cost = cost + FORBIDDEN * (kinds[:, None] != kinds)
            fits.append(
                (float(cost.min(axis=0).sum()), data, part, view, cost / matching.noise_of(dump.times, dump.weight))
            )
        for _, data, part, view, cost in sorted(fits, key=lambda fit: fit[0])[:FITTED]:
            order = matching.assign(cost)
            attempt = Attempt(shape, part, dump, view, data, order)
            attempt.settle(matching.close_pairs(cost, order, matching.CLOSE))
            self.attempts.append(attempt)
            self.judge(self.compose(attempt))

    def try_harder(self) -> None:
        """Exchange any two lines, and look at the data lines again, in what comes nearest to the dump."""
        nearest = sorted(self.attempts, key=lambda attempt: attempt.wrong)[:FITTED]
        for attempt in nearest:
            attempt.improve()
            self.judge(self.compose(attempt))

    def try_starts(self) -> None:
        """Try whether the dump starts elsewhere in the reference, and goes on at its start or reads as one byte."""
        for start in find_starts(self.reference, self.dump):
            self.judge(LineMap.straight(self.rom_lines, start))
            wanted = np.arange(len(self.dump)) + start
            outside = self.dump[(wanted < 0) | (wanted >= len(self.reference))]
            if len(outside):
                beyond = int(np.bincount(outside, minlength=256).argmax())
                self.judge(LineMap.straight(self.rom_lines, start, beyond))

    @property
    def bare_lines(self) -> int:
        """How many lines of the reference matter."""
        return self.rom_lines - len(self.idle)

    def fit_data(self, dump: View, parts: Sequence[Part]) -> Iterator[tuple[Part, View, tuple[Line, ...]]]:
        """Yield the parts whose data lines match those of a dump best, and how they match."""
        if parts == [Part()]:
            matches, sure = match_data(dump, self.bare, sound())
            if not sure:
                matches += match_data(dump, self.bare, suspects(dump.times))[0]
            yield from ((Part(), self.bare, data) for data in dict.fromkeys(data for _, data in matches))
            return
        choices, ranked = suspects(dump.times), []
        for part in parts:  # the likeliest first
            view = View(part.cut(self.bare.data))
            ranked += [(misfit, part, view, data) for misfit, data in match_data(dump, view, choices)[0]]
        for by_program in (False, True):
            kind = [each for each in ranked if each[0][0] == by_program]
            chosen = kind[:CLOSEST] + sorted(kind[CLOSEST:], key=lambda each: each[0][1])[:CLOSEST]
            yield from (each[1:] for each in chosen)

    def compose(self, attempt: Attempt) -> LineMap:
        """Return the map of the whole reference from that of a part."""
        shape, part, data, order = attempt.shape, attempt.part, attempt.data, attempt.order
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


def match_data(
    dump: View, part: View, choices: Choices
) -> tuple[list[tuple[tuple[bool, float], tuple[Line, ...]]], bool]:
    """Match data lines by all bytes, and by those that are not blank; tell whether they fit.

    Blank bytes drown the others, but a faulty line may make others blank: so both are tried. With each match comes
    whether blank bytes were left out, and the misfit.
    """
    found = [((False, misfit), data) for misfit, data in match_planes(dump.times, part.times, choices)[:MATCHES]]
    if (dump.weight == 0).any():
        program = match_planes(dump.times * dump.weight, part.times * part.weight, choices)[:MATCHES]
        found += [((True, misfit), data) for misfit, data in program]
    return found, bool(found) and max(misfit for (_, misfit), _ in found[::MATCHES]) < FITS


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
