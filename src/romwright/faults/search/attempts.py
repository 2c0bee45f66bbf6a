"""Attempts: a dump of some shape matched with parts of a reference, data lines first, then address lines."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import cached_property
from itertools import combinations

import numpy as np
from msgspec import Struct

from romwright.faults.lines import BYTES, Line, State, byte_table, gather
from romwright.faults.search import matching
from romwright.faults.search.parts import Part, promising_parts
from romwright.faults.search.planes import Choices, match_planes, sound, suspects
from romwright.faults.search.shapes import Shape
from romwright.faults.search.spectrum import signed_histograms

MATCHES = 2  # ways to match the data lines that are tried
FITS = 36 * 9.0  # misfit of data lines up to which they are taken to fit
CLEAR = 3000.0  # misfit of the second best match from which there is no doubt
CLOSEST = 6  # matches of data lines for which the address lines are matched: of the likeliest parts, and of the rest
FITTED = 3  # attempts for a shape
FORBIDDEN = 1e18
TURNED = 30.0  # by how much, in units of the noise, signatures must fit better the other way up
ROUNDS = 12
BETTER = 0.95  # share of the wrong bits that a round of exchanges may leave, if another is to follow


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


class Attempt(Struct, dict=True):
    """A dump of some shape matched with a part of the reference: row `order[c]` of the dump is column c of the part.

    `turned` says for each column whether the line is inverted.
    """

    shape: Shape
    part: Part
    dump: View
    reference: View
    data: tuple[Line, ...]
    order: np.ndarray
    turned: np.ndarray

    def __post_init__(self) -> None:
        kinds = (Line.inverted if turned else Line.follows for turned in self.turned)
        lines = [kind(row) for kind, row in zip(kinds, self.order.tolist())]
        self.cells = np.take(self.reference.data, gather(lines, len(self.dump.data)))

    @property
    def wrong(self) -> float:
        """The share of the part's bits that are wrong."""
        return self.wrong_with(self.cells)

    def wrong_with(self, cells: np.ndarray) -> float:
        """The share of the part's bits that are wrong if these bytes of the reference are reached."""
        return matching.bits(np.take(byte_table(self.data), cells) ^ self.dump.data) / (8 * len(cells))

    def turn(self, columns: Iterable[int]) -> None:
        """Invert the address lines of these columns where that is better."""
        for column in columns:
            cells = self.cells.reshape(-1, 2, 1 << int(self.order[column]))[:, ::-1].ravel()
            if self.wrong_with(cells) < self.wrong:
                self.cells, self.turned[column] = cells, not self.turned[column]

    def settle(self, pairs: Sequence[tuple[int, int]]) -> bool:
        """Exchange address lines of these pairs where that is better; tell whether it was."""
        return matching.settle(self.order, self.cells, byte_table(self.data), self.dump.data, pairs)

    def improve(self) -> None:
        """Exchange any two address lines, and find the data lines anew, as long as that is much better."""
        pairs = list(combinations(range(len(self.order)), 2))
        for _ in range(ROUNDS):
            before = self.wrong
            self.data = best_data(self.cells, self.dump.data, self.data)
            self.settle(pairs)
            if self.wrong > BETTER * before:
                break


def find_attempts(
    shape: Shape, whole_dump: np.ndarray, reference: View, tried: slice, wide: bool = False
) -> Iterator[Attempt]:
    """Match a dump, as far as a shape leaves it, with the likeliest parts of the reference that it may show."""
    sizes = [len(group.lines) for group in shape.groups]
    lines = len(reference.data).bit_length() - 1
    held = lines - (len(whole_dump).bit_length() - 1) + len(shape.idle)
    while held < 0 and sizes and max(sizes) > 1:  # joined with a line that never matters
        sizes[sizes.index(max(sizes))] -= 1
        held += 1
    if held < 0 or held + sum(sizes) > lines or held == lines:
        return
    dump = View(shape.part.cut(whole_dump))
    joined = [size for size in sizes if size > 1]
    parts = promising_parts(reference.data, dump.times, held, joined, wide)[tried]
    noise, fits = matching.noise_of(dump.times, dump.weight), []
    for part, view, data in fit_data(dump, reference, parts, wide):
        cost = matching.distances(dump.signed, view.signed, byte_table(data), dump.weight) / noise
        other = np.full_like(cost, np.inf)
        if wide:  # a group's lines are not inverted
            other = matching.distances(-dump.signed, view.signed, byte_table(data), dump.weight) / noise
            other[len(cost) - len(sizes) :] = np.inf
        rows, columns = (np.array([1] * (len(cost) - len(last)) + last) for last in (sizes, joined))
        best = np.minimum(cost, other + TURNED) + FORBIDDEN * (rows[:, None] != columns)
        fits.append((float(best.min(axis=0).sum()), part, view, data, best, other - cost))
    for _, part, view, data, cost, other_way in sorted(fits, key=lambda fit: fit[0])[:FITTED]:
        order = matching.assign(cost)
        dearer = other_way[order, range(len(order))]
        attempt = Attempt(shape, part, dump, view, data, order, dearer < -TURNED)
        attempt.turn(np.flatnonzero(np.abs(dearer) < matching.CLOSE))
        pairs = matching.close_pairs(cost, order, matching.CLOSE)
        for _ in range(ROUNDS):
            if not attempt.settle(pairs):
                break
        yield attempt


def fit_data(
    dump: View, reference: View, parts: Sequence[Part], wide: bool
) -> Iterator[tuple[Part, View, tuple[Line, ...]]]:
    """Yield the parts whose data lines match those of a dump best, and how; the likeliest parts are given first."""
    if parts == [Part()]:
        matches, sure = match_data(dump, reference, sound(), wide)
        if not sure:
            matches += match_data(dump, reference, suspects(dump.times), wide)[0]
        yield from ((Part(), reference, data) for data in dict.fromkeys(data for _, data in matches))
        return
    choices, ranked = suspects(dump.times), []
    for part in parts:
        view = View(part.cut(reference.data))
        ranked += [(misfit, part, view, data) for misfit, data in match_data(dump, view, choices, wide)[0]]
    for by_program in (False, True):
        kind = [each for each in ranked if each[0][0] == by_program]
        chosen = kind[:CLOSEST] + sorted(kind[CLOSEST:], key=lambda each: each[0][1])[:CLOSEST]
        yield from (each[1:] for each in chosen)


def match_data(
    dump: View, part: View, choices: Choices, wide: bool
) -> tuple[list[tuple[tuple[bool, float], tuple[Line, ...]]], bool]:
    """Match data lines by all bytes, and by those that are not blank; tell whether they fit.

    Blank bytes drown the others, but a faulty line may make others blank: so both are tried. With each match comes
    whether blank bytes were left out, and the misfit.
    """
    matches = match_planes(dump.times, part.times, choices, wide)[:MATCHES]
    found = [((False, misfit), data) for misfit, data in matches]
    clear = matches and matches[0][0] < FITS and matches[-1][0] > (CLEAR if matches[1:] else 0)
    if (dump.weight == 0).any() and not clear:
        program = match_planes(dump.times * dump.weight, part.times * part.weight, choices, wide)[:MATCHES]
        found += [((True, misfit), data) for misfit, data in program]
    return found, bool(found) and max(misfit for (_, misfit), _ in found[::MATCHES]) < FITS


def best_data(cells: np.ndarray, dump: np.ndarray, data: tuple[Line, ...]) -> tuple[Line, ...]:
    """Return the data lines with the fewest wrong bits, where the address lines are as they are."""
    joint = np.bincount(cells.astype(np.int64) << 8 | dump, minlength=1 << 16).reshape(256, 256)
    choices = suspects(joint.sum(axis=0))
    high = np.stack([line.values(BYTES) for line in choices.lines]).astype(np.float64)
    times = joint.astype(np.float64)
    ones = times @ (BYTES[:, None] >> np.arange(8) & 1)  # for each byte of the ROM, how often each data line is 1
    zeros = times.sum(axis=1)[:, None] - ones
    wrong = high @ zeros + (1 - high) @ ones  # for each choice and data line
    picked = wrong.argmin(axis=0)
    taken = 0
    for choice in picked:
        line = choices.lines[choice]
        if line.state is State.JOINED:
            if sum(choices.lines[each] == line for each in picked) != len(line.of):
                return data
            continue
        if taken & int(choices.needs[choice]):
            return data
        taken |= int(choices.needs[choice])
    return tuple(choices.lines[choice] for choice in picked)
