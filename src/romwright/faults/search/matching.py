"""Which address line of the reader reaches which of the ROM's, once it is known how the data lines run.

Each line has a signature: how much more often it is low than high where a data line, or the parity of two, is high.
Lines with like signatures are matched; where signatures are too close to tell, the bytes themselves decide.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from itertools import combinations

import numpy as np

from romwright.faults.search.planes import NOISE, sound

CLOSE = 400.0  # signatures nearer than this, in units of the noise, are told apart by the bytes
BLANK_SHARE = 0.25  # a byte that fills more than this share of the image is left out, and what is one bit off it


@cache
def features() -> np.ndarray:
    """Return the data lines and the parities of two, as +1 and -1 for each byte; all bear the same noise."""
    own = sound().values.astype(np.float64)
    return np.concatenate((own, [own[a] * own[b] / np.sqrt(2) for a, b in combinations(range(8), 2)]))


def weights(times: np.ndarray) -> np.ndarray:
    """Return 0 for bytes that are blank, or one wrong bit off it, and 1 for all others.

    Wrong bits in large blank areas would drown what the program in the rest of the image tells.
    """
    most = int(times.argmax())
    if times[most] <= BLANK_SHARE * times.sum():
        return np.ones(256)
    return (np.bitwise_count(np.arange(256) ^ most) > 1).astype(np.float64)


def distances(dump: np.ndarray, reference: np.ndarray, table: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """Return how far apart the signatures of each line of the dump and each of the reference are, in units of noise.

    `dump` and `reference` are signed histograms, `table` the way of the data, `weight` that of the dump's bytes.
    """
    weighted = features() * weight
    of_dump, of_reference = weighted @ dump.T, weighted[:, table] @ reference.T
    return (of_dump**2).sum(axis=0)[:, None] + (of_reference**2).sum(axis=0) - 2 * of_dump.T @ of_reference


def assign(cost: np.ndarray) -> np.ndarray:
    """Return for each column the row that it is matched with, so that the sum of the costs is least.

    >>> assign(np.array([[1.0, 2.0, 9.0], [1.0, 4.0, 9.0], [5.0, 5.0, 5.0]])).tolist()
    [1, 0, 2]
    """
    best = cost.argmin(axis=0)
    if len(set(best.tolist())) == len(best):
        return best
    size = len(cost)  # shortest augmenting paths (Hungarian method), row by row
    rows, u, v = cost.tolist(), [0.0] * (size + 1), [0.0] * (size + 1)
    owner = [size] * (size + 1)  # the row of each column; the last column is where each path begins
    for row in range(size):
        owner[size], column = row, size
        least, before, done = [np.inf] * (size + 1), [size] * (size + 1), [False] * (size + 1)
        while owner[column] != size:
            done[column], here = True, owner[column]
            for other in range(size):
                reach = rows[here][other] - u[here] - v[other]
                if not done[other] and reach < least[other]:
                    least[other], before[other] = reach, column
            nearest = min((other for other in range(size) if not done[other]), key=least.__getitem__)
            step = least[nearest]
            for other in range(size + 1):
                if done[other]:
                    u[owner[other]] += step
                    v[other] -= step
                else:
                    least[other] -= step
            column = nearest
        while column != size:
            owner[column] = owner[before[column]]
            column = before[column]
    return np.array(owner[:size])


def noise_of(times: np.ndarray, weight: np.ndarray) -> float:
    """Return the square of what wrong bits do to a signature."""
    return 4 * NOISE * float(times @ weight) + 1


def close_pairs(cost: np.ndarray, order: np.ndarray, within: float) -> list[tuple[int, int]]:
    """Return the pairs of columns whose rows could be exchanged at a cost below `within`, the cheapest first."""
    matched = cost[order]  # matched[i, j]: column j with the row of column i
    own = np.diag(matched)
    extra = matched + matched.T - own[:, None] - own
    pairs = [(float(extra[a, b]), int(a), int(b)) for a, b in zip(*np.nonzero(np.triu(extra < within, 1)))]
    return [(a, b) for _, a, b in sorted(pairs)]


def quarters(data: np.ndarray, a: int, b: int) -> tuple[np.ndarray, np.ndarray]:
    """Return the bytes at which line a is high and b low, and those the other way round, in the same order."""
    low, high = sorted((a, b))
    cube = data.reshape(-1, 2, 1 << high - low - 1, 2, 1 << low)
    lower, upper = cube[:, 0, :, 1], cube[:, 1, :, 0]
    return (lower, upper) if a == low else (upper, lower)


def exchange(data: np.ndarray, a: int, b: int) -> None:
    """Exchange two address lines of an image in place."""
    first, second = quarters(data, a, b)
    kept = first.copy()
    first[...] = second
    second[...] = kept


def gain(expected: np.ndarray, dump: np.ndarray, a: int, b: int) -> int:
    """Return how many bits fewer would be wrong with two address lines exchanged; `expected` is what is read now."""
    first, second = quarters(expected, a, b)
    seen_first, seen_second = quarters(dump, a, b)
    differ = first != second
    if not differ.any():
        return 0
    first, second, seen_first, seen_second = first[differ], second[differ], seen_first[differ], seen_second[differ]
    return bits(first ^ seen_first) + bits(second ^ seen_second) - bits(second ^ seen_first) - bits(first ^ seen_second)


def bits(data: np.ndarray) -> int:
    """Count the ones."""
    return int(np.bitwise_count(data).sum(dtype=np.int64))


def settle(order: np.ndarray, cells: np.ndarray, table: np.ndarray, dump: np.ndarray, pairs: Iterable) -> bool:
    """Exchange lines wherever fewer bits are then wrong: `order` and `cells` change in place. Tell whether any did."""
    expected, changed = np.take(table, cells), False
    for a, b in pairs:
        if gain(expected, dump, int(order[a]), int(order[b])) > 0:
            exchange(expected, int(order[a]), int(order[b]))
            exchange(cells, int(order[a]), int(order[b]))
            order[[a, b]] = order[[b, a]]
            changed = True
    return changed
