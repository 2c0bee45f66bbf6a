"""Parts of a reference that a dump may show: those addresses at which lines are held, or go together.

A ROM line that is stuck leaves the half with that level; two that are joined leave the addresses at which they agree.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations, islice, product

import numpy as np
from msgspec import Struct

from romwright.faults.lines import Line, gather
from romwright.faults.search.planes import ALIKE, sound
from romwright.faults.search.spectrum import MOST_LINES, Spectrum

FREE_HELD = 3  # lines that may be held anywhere; if more are, they are the highest, and none are joined
MOST_HELD = 10  # of these, the highest are tried at both levels
MOST_PARTS = 60_000  # that are looked at; with more lines lost, only what runs straight is found
LEAST_LEFT = 0.97  # of a sum, whatever bits are wrong


class Part(Struct, frozen=True):
    """Lines held at a level, as (line, level), and groups of lines that go together."""

    held: tuple[tuple[int, int], ...] = ()
    groups: tuple[tuple[int, ...], ...] = ()

    def conditions(self) -> list[tuple[int, int]]:
        """Return the part as lines, given as bit masks, whose parity has a given level."""
        pairs = [pair for group in self.groups for pair in zip(group, group[1:])]
        return [(1 << line, level) for line, level in self.held] + [(1 << a | 1 << b, 0) for a, b in pairs]

    def lines(self, count: int) -> list[tuple[int, ...]]:
        """Return the lines that are left of `count`: single ones first, then each group as one."""
        gone = {line for line, _ in self.held} | {line for group in self.groups for line in group}
        return [(line,) for line in range(count) if line not in gone] + list(self.groups)

    def cut(self, data: np.ndarray) -> np.ndarray:
        """Return the part of the data, as an image with the lines that are left."""
        count = len(data).bit_length() - 1
        left = self.lines(count)
        place = {line: Line.follows(number) for number, lines in enumerate(left) for line in lines}
        place |= {line: Line.stuck(level) for line, level in self.held}
        if not self.held and not self.groups:
            return data
        return np.take(data, gather([place[line] for line in range(count)], 1 << len(left)))


def list_parts(lines: int, held: int, groups: Sequence[int]) -> Iterator[Part]:
    """Yield all parts with so many lines held, and groups of so many lines."""
    if held > FREE_HELD:
        tops = range(lines - held, lines)
        low = (0,) * (held - MOST_HELD)
        if not groups:
            yield from (Part(tuple(zip(tops, low + levels))) for levels in product((0, 1), repeat=held - len(low)))
        return
    for chosen in choose(list(range(lines)), groups):
        taken = {line for group in chosen for line in group}
        rest = [line for line in range(lines) if line not in taken]
        for stuck in combinations(rest, held):
            yield from (Part(tuple(zip(stuck, levels)), chosen) for levels in product((0, 1), repeat=held))


def choose(lines: list[int], sizes: Sequence[int]) -> Iterator[tuple[tuple[int, ...], ...]]:
    """Yield all ways to choose disjoint groups of these sizes; groups of one size come in one order only."""
    if not sizes:
        yield ()
        return
    for group in combinations(lines, sizes[0]):
        rest = [line for line in lines if line not in group]
        for others in choose(rest, sizes[1:]):
            if not others or len(others[0]) != len(group) or group < others[0]:
                yield (group, *others)


def promising_parts(
    reference: np.ndarray, times: np.ndarray, held: int, groups: Sequence[int], one_way: bool = False
) -> list[Part]:
    """Return the parts of a reference whose data lines have about as many ones as those of a dump, the best first.

    `times` says how often each byte occurs in the dump. Wrong bits that all go `one_way` move all sums alike.
    """
    lines = len(reference).bit_length() - 1
    if not held and not groups:
        return [Part()]
    if lines > MOST_LINES:
        return []
    parts = list(islice(list_parts(lines, held, groups), MOST_PARTS + 1))
    if not 0 < len(parts) <= MOST_PARTS:
        return []
    conditions = np.array([part.conditions() for part in parts])
    order = min(held + 2 * (sum(groups) - len(groups)), lines)
    own = sound().values
    sums = Spectrum(reference, own, order).parts(conditions[:, :, 0], conditions[:, :, 1])
    seen, total = own @ times, times.sum()
    alike = (own * times) @ own.T > (1 - ALIKE) * total
    clean = seen[(np.abs(seen) < (1 - ALIKE) * total) & (alike.sum(axis=0) == 1)]
    far = far_moved(clean, sums) if one_way else far_shrunk(clean, sums)
    return [parts[index] for index in np.argsort(far, kind="stable")]


def far_shrunk(seen: np.ndarray, sums: np.ndarray) -> np.ndarray:
    """Return how far sums over a dump lie from those over each part, in any order, but for a share lost to noise."""
    wanted, offered = np.sort(np.abs(seen)), np.sort(np.abs(sums), axis=0)
    far = np.full(sums.shape[1], np.inf)
    for kept in combinations(range(len(sums)), len(wanted)):
        kept = offered[list(kept)]
        share = np.clip(wanted @ kept / np.maximum((kept * kept).sum(axis=0), 1), LEAST_LEFT, 1)
        far = np.minimum(far, ((share * kept - wanted[:, None]) ** 2).sum(axis=0))
    return far


def far_moved(seen: np.ndarray, sums: np.ndarray) -> np.ndarray:
    """Return how far sums over a dump lie from those over each part, in any order, but for what moves all alike.

    At most one data line may be inverted.
    """
    offered = np.sort(sums, axis=0)
    far = np.full(sums.shape[1], np.inf)
    for turned in range(-1, len(seen)):
        wanted = np.sort(np.where(np.arange(len(seen)) == turned, -seen, seen))[:, None]
        for kept in combinations(range(len(sums)), len(seen)):
            far = np.minimum(far, (offered[list(kept)] - wanted).var(axis=0))
    return far
