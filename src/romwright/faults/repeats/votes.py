"""Counting bits over repeated reads: what was read alike, and how often 0 and 1 where it was not."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

import numpy as np
from msgspec import Struct

from romwright.faults.repeats.reads import Read, image_of
from romwright.images.image import Image


class Planes:
    """How many ones each bit had so far; plane i has bit i of every count, so one operation adds to eight counts.

    >>> planes = Planes()
    >>> for byte in (0b01, 0b11, 0b01):
    ...     planes.add(np.array([byte], np.uint8))
    >>> planes.counts(1)[0, :3].tolist()
    [3, 1, 0]
    """

    def __init__(self) -> None:
        self.planes: list[np.ndarray] = []

    def add(self, data: np.ndarray) -> None:
        """Count the ones of one more read."""
        carry = data
        for plane in self.planes:
            over = plane & carry
            plane ^= carry
            carry = over
            if not carry.any():
                return
        self.planes.append(carry.copy())

    def counts(self, size: int) -> np.ndarray:
        """Return the counts of `size` bytes, one row of eight a byte, D0 first."""
        total = np.zeros((size, 8), np.int32)
        for number, plane in enumerate(self.planes):
            total += bits_of(plane).astype(np.int32) << number
        return total


def bits_of(data: np.ndarray) -> np.ndarray:
    """Return the bits of each byte as a row, D0 first."""
    return np.unpackbits(data[:, None], axis=1, bitorder="little")


class Votes(Struct, frozen=True, eq=False, dict=True):
    """The reads of one chip, counted; arrays run from the address `start` on.

    `settled` has the majority of each bit; in a tie what the first read has that has the byte. Each unstable bit is an
    entry of the last four: `at` (the place of its byte), `bit` (its data line), how often it read 0 and 1.
    """

    start: int
    settled: np.ndarray
    times: np.ndarray  # in how many reads each byte is
    at: np.ndarray
    bit: np.ndarray
    zeros: np.ndarray
    ones: np.ndarray

    @classmethod
    def of(cls, reads: Sequence[Read]) -> Votes:
        """Count at least one read. A read without gaps is not copied."""
        start, stop = min(read.start for read in reads), max(read.stop for read in reads)
        first, missing = np.zeros(stop - start, np.uint8), np.ones(stop - start, bool)
        low, high = np.full_like(first, 0xFF), np.zeros_like(first)
        times, to_find = np.zeros(len(first), np.int32), True
        for read in reads:
            data, known = read.over(start, stop)
            high |= data
            low &= data if known is None else np.where(known, data, np.uint8(0xFF))
            times += 1 if known is None else known
            if to_find:
                new = missing if known is None else missing & known
                first[new] = data[new]
                missing &= ~new
                to_find = bool(missing.any())
        unstable = np.flatnonzero((low != high) & (times > 0))
        planes = Planes()
        for read in reads:
            planes.add(read.over(start, stop)[0][unstable])
        ones, of = planes.counts(len(unstable)), times[unstable][:, None]
        tied = 2 * ones == of
        kept = np.where(tied, bits_of(first[unstable]), 2 * ones > of)
        first[unstable] = np.packbits(kept, axis=1, bitorder="little")[:, 0]
        row, bit = np.nonzero(bits_of((low ^ high)[unstable]))
        seen = ones[row, bit]
        return cls(start, first, times, unstable[row], bit, times[unstable][row] - seen, seen)

    @property
    def stop(self) -> int:
        """The address after the last."""
        return self.start + len(self.settled)

    @property
    def known(self) -> np.ndarray:
        """Which bytes any read has."""
        return self.times > 0

    @property
    def image(self) -> Image:
        """The settled image; what no read has stays undefined."""
        return image_of(self.settled, self.known, self.start)

    @property
    def fewest(self) -> int:
        """In how many reads a byte is that is in fewest."""
        return int(self.times[self.known].min())

    def against(self, read: Read) -> int:
        """Return in how many bits one of the reads goes against the majority; in a tie there is none."""
        data, known = read.over(self.start, self.stop)
        other = (data[self.places] ^ self.settled[self.places]) & self.decided
        return int(np.bitwise_count(other if known is None else other * known[self.places]).sum(dtype=np.int64))

    @property
    def less(self) -> np.ndarray:
        """How often each unstable bit read what it read less often."""
        return np.minimum(self.zeros, self.ones)

    @property
    def of_each(self) -> np.ndarray:
        """In how many reads each unstable bit is."""
        return self.zeros + self.ones

    @cached_property
    def places(self) -> np.ndarray:
        """The places of the bytes with unstable bits."""
        return self.at[np.flatnonzero(np.diff(self.at, prepend=-1))]

    @cached_property
    def decided(self) -> np.ndarray:
        """Of the byte at each of these places the unstable bits that have a majority."""
        return self.bits_at_places(self.zeros != self.ones)

    @property
    def mask(self) -> np.ndarray:
        """The unstable bits of each byte."""
        mask = np.zeros_like(self.settled)
        mask[self.places] = self.bits_at_places(np.ones(len(self.at), bool))
        return mask

    def bits_at_places(self, which: np.ndarray) -> np.ndarray:
        """Return some of the unstable bits, as a byte for each place."""
        row = np.cumsum(np.diff(self.at, prepend=-1) != 0) - 1
        grid = np.zeros((len(self.places), 8), bool)
        grid[row[which], self.bit[which]] = True
        return np.packbits(grid, axis=1, bitorder="little")[:, 0]
