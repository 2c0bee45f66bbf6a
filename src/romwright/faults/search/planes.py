"""Which data line of the reader shows which of the ROM's: found from how often bytes occur, whatever the address lines.

A plane is one bit of all bytes. Two things do not depend on the address: how many ones a plane has, and in how many
bytes two planes agree. The data lines are matched so that both fit, for all planes and pairs of planes.
"""

from __future__ import annotations

from functools import cache
from itertools import combinations

import numpy as np
from msgspec import Struct

from romwright.faults.lines import BYTES, Law, Line

NOISE = 0.007  # share of wrong bits that the sums are expected to bear
FEWER = 0.02  # share by which wrong bits make every sum smaller
ONE_WAY = 0.006  # share of bytes by which wrong bits that all go one way may move how many ones a plane has
BEAM = 64  # partial matches kept
MATCHES = 8  # returned at most
ALIKE = 0.05  # share of bytes in which two planes of one signal may differ, twice over
FAULT_PRICE = 30.0  # what a line that does not simply follow must save


class Choices(Struct, frozen=True):
    """What a data line of the reader may carry: `values` has +1 for low and -1 for high, for each byte of the ROM."""

    lines: tuple[Line, ...]
    values: np.ndarray
    needs: np.ndarray  # the ROM's lines that it takes, as bits
    times: np.ndarray  # by how many lines of the reader it is carried
    price: np.ndarray


def choices_of(lines: tuple[Line, ...]) -> Choices:
    """Prepare what data lines may carry."""
    values = np.stack([1 - 2 * line.values(BYTES).astype(np.float32) for line in lines])
    needs = np.array([sum(1 << source for source in line.of) for line in lines])
    times = np.array([len(line.of) if line.law else 1 for line in lines])
    price = np.array([0.0 if line == Line.follows(line.of[0] if line.of else 0) else FAULT_PRICE for line in lines])
    return Choices(lines, values, needs, times, price / times)


@cache
def sound() -> Choices:
    """Return what data lines carry that are at most crossed."""
    return choices_of(tuple(map(Line.follows, range(8))))


@cache
def faulty(stuck: bool = True, joined: int = 3) -> Choices:
    """Return everything that data lines may carry: at one level only if `stuck`, of at most `joined` lines."""
    lines = [*sound().lines, *map(Line.inverted, range(8))]
    lines += [Line.stuck(0), Line.stuck(1)] * stuck
    lines += [Line.joined(law, of) for law in Law for n in range(2, joined + 1) for of in combinations(range(8), n)]
    return choices_of(tuple(lines))


def alikes(times: np.ndarray) -> np.ndarray:
    """Return how many planes each plane nearly equals, itself among them; 0 for one that hardly ever changes."""
    own, total = sound().values, times.sum()
    alike = ((own * times) @ own.T > (1 - ALIKE) * total).sum(axis=0)
    return np.where(np.abs(own @ times) > (1 - ALIKE) * total, 0, alike)


def suspects(times: np.ndarray) -> Choices:
    """Return what data lines may carry, judging by how often each byte occurs in the dump."""
    alike = alikes(times)
    return faulty(bool((alike == 0).any()), min(int(alike.max()), 3))


def match_planes(
    dump: np.ndarray, reference: np.ndarray, choices: Choices, one_way: bool = False
) -> list[tuple[float, tuple[Line, ...]]]:
    """Match the reader's data lines by how often bytes occur in the dump and in the reference.

    Returns the best matches with their misfit, the best first: about 1 for each of the 36 sums where one is right. If
    wrong bits may all go `one_way`, how many ones a plane has tells less, and the pairs have to tell.
    """
    own, count = sound().values, len(choices.lines)
    there = np.flatnonzero(reference)  # few in an image that is nearly blank
    values, reference = choices.values[:, there], reference[there]
    noise = 4 * NOISE * max(float(dump.sum()), 1.0) + 1
    apart = (own @ dump)[:, None] - values @ reference
    moved = np.clip(apart, -ONE_WAY * dump.sum(), ONE_WAY * dump.sum()) if one_way else 0
    alone = misfit((own @ dump)[:, None] - moved, values @ reference, noise) + choices.price
    among, between = (own * dump) @ own.T, (values * reference) @ values.T
    single = int((choices.times == 1).sum())  # they come first
    pairs = misfit(among[:, :, None, None], between[:single, :single], 2 * noise)
    alike = alikes(dump) if count > single else np.ones(8, int)
    cost, chosen = np.zeros(1), np.zeros((8, 1), np.int64)
    used, counts = np.zeros(1, np.int64), np.zeros((1, count), np.int8)
    done: list[int] = []
    for plane in np.argsort(alike > 1, kind="stable").tolist():  # those last that may carry most
        open_to = np.arange(single) if alike[plane] <= 1 else np.flatnonzero(choices.times <= alike[plane])
        step = cost[:, None] + alone[plane, open_to]
        for earlier in done:
            if len(open_to) == single:
                step += pairs[plane, earlier][chosen[earlier]]
            else:
                step += misfit(among[plane, earlier], between[np.ix_(chosen[earlier], open_to)], 2 * noise)
        again = (counts[:, open_to] > 0) & (counts[:, open_to] < choices.times[open_to])
        step[(used[:, None] & choices.needs[open_to] > 0) & ~again] = np.inf
        flat = step.ravel()
        best = np.argpartition(flat, BEAM)[:BEAM] if len(flat) > BEAM else np.arange(len(flat))
        best = best[flat[best] < np.inf]
        parent, choice = np.divmod(best, len(open_to))
        choice = open_to[choice]
        cost, chosen = flat[best], chosen[:, parent]
        chosen[plane] = choice
        used, counts = used[parent] | choices.needs[choice], counts[parent]
        counts[np.arange(len(best)), choice] += 1
        done.append(plane)
    whole = ((counts == 0) | (counts == choices.times) | (choices.needs == 0)).all(axis=1)
    order = np.argsort(np.where(whole, cost, np.inf), kind="stable")[: whole.sum()]
    return [(float(cost[row]), tuple(choices.lines[q] for q in chosen[:, row])) for row in order[:MATCHES]]


def misfit(seen: np.ndarray, expected: np.ndarray, noise: float) -> np.ndarray:
    """Return the squares of how far sums lie from what is expected, in units of the noise."""
    far = np.abs(seen - expected)
    slack = FEWER * np.abs(expected)
    within = far * far / (noise + slack * slack)
    far -= slack
    np.maximum(far, 0, out=far)
    far *= far
    far /= noise
    far += within
    return far
