"""Small pieces of an image that are the same however its lines are crossed, by which it is found again.

A *cube* is a cell of the image and the seven others that are reached by changing three address lines. Crossed address
lines move a cube but keep it whole, and name its three axes otherwise; crossed data lines change the order of its eight
bit planes, an inverted one turns a plane over. So a cube is known by the multiset of its planes, each seen from its
first cell, with the axes in the order that makes the number least: its *hash*. A *window* is the same of successive
bytes, and stays whole wherever a file starts.

Only cubes whose first and last cell differ in every data line are looked at: they are few, and quickly found.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from functools import cache
from itertools import combinations, permutations
from typing import NamedTuple

import numpy as np

AXES = 3
CELLS = 1 << AXES
WINDOW = 12  # bytes
DIVERSE = 4  # different planes that a cube or window must have to tell anything
ACTIVE = 0.01  # share of bytes in which a data line must be at its rarer level to be counted
ALL_PLANES = 0xFF
DRAWN, DRAWS = 1 << 15, 8  # cubes looked at when some are drawn, and how often
ENOUGH = 8  # times as many must be found as are kept
MOST_LINES = 19  # address lines of an image with cubes: 512 KiB
_ORDERS = list(permutations(range(AXES)))


def _random_numbers(count: int, seed: bytes) -> np.ndarray:
    """Return numbers of 64 bits that look random and are the same everywhere."""
    text = b"".join(hashlib.sha256(seed + number.to_bytes(4)).digest()[:8] for number in range(count))
    return np.frombuffer(text, "<u8").astype(np.uint64)


@cache
def _cube_values() -> np.ndarray:
    """Return for each order of the axes the number that stands for each plane of a cube."""
    numbers = _random_numbers(1 << CELLS, b"cube")
    planes = np.arange(1 << CELLS)
    out = np.empty((len(_ORDERS), 1 << CELLS), np.uint64)
    for row, order in enumerate(_ORDERS):
        moved = np.zeros_like(planes)
        for cell in range(CELLS):
            origin = sum((cell >> axis & 1) << order[axis] for axis in range(AXES))
            moved |= (planes >> origin & 1) << cell
        out[row] = numbers[moved]
    return out


@cache
def _window_values() -> np.ndarray:
    return _random_numbers(1 << WINDOW, b"window")


def active_planes(data: np.ndarray, share: float = ACTIVE) -> int:
    """Return the data lines that change often enough, as bits."""
    ones = np.unpackbits(data[:, None], axis=1, bitorder="little").mean(axis=0)
    return sum(1 << bit for bit in range(8) if share <= ones[bit] <= 1 - share)


class Cubes(NamedTuple):
    """Cubes of one image: their hashes, the addresses of their first cells, their axes in the order of the hash."""

    hashes: np.ndarray
    addresses: np.ndarray
    axes: np.ndarray
    kinds: np.ndarray  # how many different planes each has: the more, the rarer it is

    @classmethod
    def of(cls, data: np.ndarray, addresses: np.ndarray, axes: np.ndarray, planes: int) -> Cubes:
        """Hash cubes, and keep those that tell something and whose axes can be told apart."""
        steps = np.int64(1) << axes.astype(np.int64)
        cells = np.arange(CELLS)
        offsets = sum((cells >> axis & 1) * steps[:, axis, None] for axis in range(AXES))
        seen = data[addresses[:, None] + offsets]
        seen = seen ^ seen[:, :1]
        wanted = [bit for bit in range(8) if planes >> bit & 1]
        patterns = np.stack(
            [np.packbits(seen >> bit & 1, axis=1, bitorder="little")[:, 0] for bit in wanted], axis=1
        ) if len(addresses) else np.empty((0, len(wanted)), np.uint8)  # fmt: skip
        patterns.sort(axis=1)
        kinds = (np.diff(patterns, axis=1) != 0).sum(axis=1) + 1
        diverse = kinds >= min(DIVERSE, len(wanted))
        patterns, addresses, axes, kinds = patterns[diverse], addresses[diverse], axes[diverse], kinds[diverse]
        sums = np.stack([values[patterns].sum(axis=1, dtype=np.uint64) for values in _cube_values()])
        best = sums.argmin(axis=0)
        least = sums.min(axis=0)
        clear = (sums == least).sum(axis=0) == 1
        order = np.array(_ORDERS)[best]
        ordered = np.take_along_axis(axes, order, axis=1)
        hashes = (least >> np.uint64(32)).astype(np.uint32)
        return cls(hashes[clear], addresses[clear], ordered[clear], kinds[clear])


def find_cubes(data: np.ndarray, planes: int, anywhere: bool = False, every: int = 1) -> Iterator[Cubes]:
    """Yield the cubes of an image of a power of two of bytes, some at a time; one in so many of them.

    With `anywhere` the image may start at any address: cells are then reached by adding to the address.
    """
    lines = len(data).bit_length() - 1
    rest = np.uint8(~planes & 0xFF)
    found, axes, count = [], [], 0
    for triple in combinations(range(lines), AXES):
        step = sum(1 << line for line in triple)
        if step >= len(data):
            continue
        differ = data[:-step] ^ data[step:]
        at = np.flatnonzero((differ | rest) == 0xFF)
        if not anywhere:
            at = at[at & step == 0]
        at = at[::every]
        if len(at):
            found.append(at)
            axes.append(np.broadcast_to(np.array(triple), (len(at), AXES)))
            count += len(at)
        if count > 1 << 17:
            yield Cubes.of(data, np.concatenate(found), np.concatenate(axes), planes)
            found, axes, count = [], [], 0
    if found:
        yield Cubes.of(data, np.concatenate(found), np.concatenate(axes), planes)


def draw_cubes(data: np.ndarray, wanted: Sequence[tuple[int, int]]) -> list[Cubes]:
    """Return some cubes of an image for each set of data lines and number of cubes that is wanted.

    They are the rarest of those that are drawn, the same at each call; fewer than wanted where there are few.
    """
    lines = len(data).bit_length() - 1
    rng = np.random.Generator(np.random.PCG64(0))
    triples = np.array(list(combinations(range(lines), AXES)))
    steps_of = (1 << triples).sum(axis=1)
    kept: list[list[Cubes]] = [[] for _ in wanted]
    for _ in range(DRAWS):
        drawn = rng.integers(0, len(triples), DRAWN)
        steps = steps_of[drawn]
        addresses = rng.integers(0, len(data), DRAWN) & ~steps
        differ = data[addresses] ^ data[addresses + steps]
        short = 0
        for (planes, count), cubes in zip(wanted, kept):
            if sum(len(each.hashes) for each in cubes) < ENOUGH * count:
                hit = np.flatnonzero((differ | np.uint8(~planes & 0xFF)) == 0xFF)[: 2 * ENOUGH * count]
                cubes.append(Cubes.of(data, addresses[hit], triples[drawn[hit]], planes))
                short += sum(len(each.hashes) for each in cubes) < ENOUGH * count
        if not short:
            break
    return [_rarest(Cubes(*map(np.concatenate, zip(*cubes))), count) for (_, count), cubes in zip(wanted, kept)]


def _rarest(cubes: Cubes, count: int) -> Cubes:
    _, first, inverse, times = np.unique(cubes.hashes, return_index=True, return_inverse=True, return_counts=True)
    rarity = np.lexsort((-cubes.kinds, times[inverse]))
    chosen = rarity[np.isin(rarity, first)][:count]
    return Cubes(*(part[chosen] for part in cubes))


class Windows:
    """The windows of an image, or those that start at some places."""

    def __init__(self, data: np.ndarray, at: np.ndarray | None = None) -> None:
        """Look at every plane of the windows."""
        windows = np.lib.stride_tricks.sliding_window_view(data, WINDOW)
        columns = np.ascontiguousarray((windows if at is None else windows[at]).T)
        self.patterns = np.zeros((8, columns.shape[1]), np.uint16)
        for bit, pattern in enumerate(self.patterns):
            for place, column in enumerate(columns):
                pattern |= (column >> bit & 1).astype(np.uint16) << np.uint16(place)
            pattern ^= (pattern & 1) * np.uint16((1 << WINDOW) - 1)

    def hashes(self, planes: int) -> np.ndarray:
        """Return the hash of each window by some data lines; 0 for one that tells nothing."""
        patterns = self.patterns[[bit for bit in range(8) if planes >> bit & 1]]
        ordered = np.sort(patterns, axis=0)
        diverse = (ordered[1:] != ordered[:-1]).sum(axis=0) + 1 >= min(DIVERSE, len(patterns))
        total = _window_values()[patterns].sum(axis=0, dtype=np.uint64)
        return np.where(diverse, (total >> np.uint64(32)).astype(np.uint32), np.uint32(0))
