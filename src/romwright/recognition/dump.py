"""A dump, and what is to be known of its bytes whatever they are of."""

from __future__ import annotations

from functools import cached_property
from itertools import combinations

import numpy as np

from romwright.faults.lines import Law
from romwright.recognition.route import FREE
from romwright.recognition.sketch import filled

BLANK_SHARE = 0.25  # share from which a value is taken for fill
CONSTANT = 0.02  # share below which the rarer level of a data line is noise
FEWEST_CHANGED, UNLIKE = 16, 0.25  # bytes with the rarer level of two joined lines, and their share that may be wrong


class Dump:
    """A dump, and how often it has each byte."""

    def __init__(self, data: bytes) -> None:
        self.bytes = data
        self.size = len(data)
        self.values = filled(data)
        self.lines = len(self.values).bit_length() - 1
        self.times = np.bincount(np.frombuffer(data, np.uint8), minlength=256)
        self.ones = np.array([int(self.times[np.arange(256) >> bit & 1 == 1].sum()) for bit in range(8)]) / self.size

    @cached_property
    def blank(self) -> np.ndarray:
        """Which values are fill."""
        return self.times >= BLANK_SHARE * self.size

    @cached_property
    def constant(self) -> tuple[int, ...]:
        """For each data line the level at which it nearly always is, or FREE."""
        return tuple(0 if ones < CONSTANT else 1 if ones > 1 - CONSTANT else FREE for ones in self.ones)

    @cached_property
    def alike(self) -> list[tuple[int, int]]:
        """The pairs of data lines that nearly always are at one level, though it changes, be it rarely."""
        numbers, rarer = np.arange(256), np.minimum(self.ones, 1 - self.ones) * self.size
        found = []
        for a, b in combinations(range(8), 2):
            fewer = min(rarer[a], rarer[b])
            limit = CONSTANT * self.size if self.constant[a] == FREE else UNLIKE * fewer
            unlike = self.times[(numbers >> a ^ numbers >> b) & 1 == 1].sum()
            if self.constant[a] == self.constant[b] and fewer >= FEWEST_CHANGED and unlike < limit:
                found.append((a, b))
        return found

    def law_of(self, a: int, b: int) -> Law:
        """Tell by which law two address lines are joined: where they differ it is as where both are low, or high."""
        low = np.arange(len(self.values))
        low = low[(low >> a & 1) + (low >> b & 1) == 0]
        differ = self.values[low | 1 << a]
        as_low, as_high = (int((differ == self.values[low | bits]).sum()) for bits in (0, 1 << a | 1 << b))
        return Law.AND if as_low >= as_high else Law.OR
