"""All sets of so many cells that together do what is wanted, found from two sides that meet in the middle.

One half of a set is looked up among all halves of the other side, so that sets of two cost as much as single cells, and
sets of four as much as pairs. Exact and exhaustive: every set comes once.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from math import comb

import numpy as np
from msgspec import Struct

from romwright.faults.repairs.syndromes import Group

BLOCK = 1 << 19  # halves that are looked up at once
TABLE_BITS = 22  # of a table that tells most halves without a partner: 4 MiB, which a processor's cache holds
MOST_TABLE_BITS = 27  # where there are so many halves that nearly all of a smaller table would be true
COLUMNS = 1 << 20  # cells that are looked up at once
TELLING_BITS = 16  # of a CRC from which its lowest bits are worth such a table
ODD = 0x9E3779B97F4A7C15  # stirs all bits into the highest: 2^64 divided by the golden ratio, made odd

Steps = Callable[[range, str], Iterable[int]]


def plainly(steps: range, label: str) -> Iterable[int]:
    """Go through steps without showing how far it is."""
    return steps


class Meeting(Struct, frozen=True):
    """Cells by what turning each adds (`keys`), and what is wanted of a set of them."""

    keys: np.ndarray
    wanted: int
    group: Group

    def sets(self, count: int, steps: Steps = plainly) -> Iterator[np.ndarray]:
        """Yield all sets of so many cells that do what is wanted, as rows of ascending numbers, block by block."""
        tails, tail_keys = self.choices(count // 2)
        order = np.argsort(tail_keys, kind="stable")
        tails, tail_keys = tails[order], tail_keys[order]
        heads, head_keys = self.choices((count - 1) // 2)
        head_keys = self.group.minus(np.uint64(self.wanted), head_keys)  # what is left for the cells after the head
        bits = min(max(TABLE_BITS, len(tails).bit_length() + 3), MOST_TABLE_BITS)
        find, stirred = self.finder(tail_keys, bits), marked(stir(tail_keys, bits), bits)
        rows, parts = max(1, BLOCK // max(len(self.keys), 1)), -(-len(self.keys) // COLUMNS)
        for step in steps(range(-(-len(heads) // rows) * parts), f"corrections of {count} bits"):
            begin, part = step // parts * rows, step % parts
            head, left = heads[begin : begin + rows], head_keys[begin : begin + rows]
            last = head[:, -1] if head.shape[1] else np.full(len(head), -1)
            first, stop = max(int(last.min()) + 1, part * COLUMNS), min((part + 1) * COLUMNS, len(self.keys))
            row, column = find(left, first, max(stop, first))
            ahead = column > last[row]
            row, column = row[ahead], column[ahead]
            need = self.group.minus(left[row], self.keys[column])
            met = stirred[stir(need, bits)]
            row, column, need = row[met], column[met], need[met]
            low = np.searchsorted(tail_keys, need, "left")
            yield from self.met(head[row], column, tails, low, np.searchsorted(tail_keys, need, "right") - low)

    def finder(self, tail_keys: np.ndarray, bits: int) -> Callable:
        """Return a function that tells which cells of a stretch may leave a tail to each of some heads.

        The lowest bits of a CRC are as good as chance, and need no carries: most cells are ruled out by them alone.
        """
        bits = min(bits, self.group.linear)
        if bits < TELLING_BITS:
            return lambda left, first, stop: divided(np.arange(len(left) * (stop - first)), first, stop)
        mask = np.uint64((1 << bits) - 1)
        there, low = marked((tail_keys & mask).astype(np.intp), bits), (self.keys & mask).astype(np.intp)

        def find(left: np.ndarray, first: int, stop: int) -> tuple[np.ndarray, np.ndarray]:
            met = np.take(there, (left & mask).astype(np.intp)[:, None] ^ low[None, first:stop], mode="clip")
            return divided(np.flatnonzero(met), first, stop)

        return find

    def met(self, heads, middles, tails, low: np.ndarray, counts: np.ndarray) -> Iterator[np.ndarray]:
        """Yield the sets of heads, the cell after each, and all its tails that come after that, in blocks."""
        ends = np.cumsum(counts)
        begin = 0
        while begin < len(counts):
            done = ends[begin - 1] if begin else 0
            end = max(int(np.searchsorted(ends, done + BLOCK, "right")), begin + 1)
            part = counts[begin:end]
            which = np.repeat(np.arange(begin, end), part)
            tail = tails[low[which] + np.arange(len(which)) - np.repeat(ends[begin:end] - part - done, part)]
            if tail.shape[1]:
                after = tail[:, 0] > middles[which]
                which, tail = which[after], tail[after]
            if len(which):
                yield np.hstack((heads[which], middles[which, None], tail))
            begin = end

    def choices(self, count: int) -> tuple[np.ndarray, np.ndarray]:
        """Return all sets of so many cells, as rows of ascending numbers, and what each adds."""
        rows, keys = np.zeros((1, 0), np.int32), np.zeros(1, np.uint64)
        for _ in range(count):
            last = rows[:, -1] if rows.shape[1] else np.full(1, -1)
            room = len(self.keys) - 1 - last
            which = np.repeat(np.arange(len(rows)), room)
            cell = np.arange(len(which)) - np.repeat(np.cumsum(room) - room, room) + last[which] + 1
            keys = self.group.plus(keys[which], self.keys[cell])
            rows = np.hstack((rows[which], cell[:, None].astype(np.int32)))
        return rows, keys


def divided(places: np.ndarray, first: int, stop: int) -> tuple[np.ndarray, np.ndarray]:
    """Return the rows and the columns of places in a table whose columns are the cells of a stretch."""
    row, column = np.divmod(places, max(stop - first, 1))
    return row, column + first


def stir(keys: np.ndarray, bits: int) -> np.ndarray:
    """Return a number of so many bits for each key."""
    return (keys * np.uint64(ODD)) >> np.uint64(64 - bits)


def marked(numbers: np.ndarray, bits: int) -> np.ndarray:
    """Return a table that is true at these numbers of so many bits."""
    table = np.zeros(1 << bits, bool)
    table[numbers] = True
    return table


def work(cells: int, count: int) -> tuple[int, int]:
    """Return how many halves sets of so many cells take to look up, and how many are kept in memory."""
    return comb(cells, (count + 1) // 2), max(comb(cells, (count - 1) // 2), comb(cells, count // 2))
