"""Pairs of addresses that differ in one line only, and whether their bytes differ: at both levels of every other line.

Up to 32,768 pairs are looked at for each line, spread over the dump. Pairs in which both bytes are blank, or padding,
tell nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations

import numpy as np

from romwright.faults.alone.signs import Dump
from romwright.faults.lines import Law

SAMPLE = 1 << 15
SPREAD = 0x9E3779B1  # odd: as many different addresses, spread evenly
FEWEST, VALUES = 64, 16  # pairs, and byte values in them, from which a line is judged
SPOILT = 0.12  # share of the pairs that may differ though the line reaches nothing: one bit in 130 is wrong
DIFFERS = 0.25  # share that differ at the other level, if two lines are joined


class Pairs:
    """Pairs of addresses that differ in one line, for each line; counted at both levels of every other line."""

    def __init__(self, dump: Dump) -> None:
        data, count, size = dump.data, dump.lines, len(dump.data)
        at = np.arange(size) if size <= SAMPLE else np.arange(SAMPLE, dtype=np.int64) * SPREAD % size
        own = data[at]
        self.levels = (at >> np.arange(count)[:, None] & 1).astype(np.float32)
        self.values = own
        telling, differ = np.zeros((2, count, len(at)), np.float32)
        self.variety = np.zeros(count, int)
        for line in range(count):
            other = at ^ 1 << line
            inside = other < size
            seen = data[np.where(inside, other, at)]
            tells = inside & (dump.tells[own] | dump.tells[seen])
            telling[line], differ[line] = tells, tells & (own != seen)
            self.variety[line] = np.count_nonzero(np.bincount(own[tells], minlength=256))
        self.pairs, self.wrong = telling.sum(axis=1), differ.sum(axis=1)
        self.pairs_high, self.wrong_high = telling @ self.levels.T, differ @ self.levels.T

    def enough(self, line: int) -> bool:
        """Whether there are pairs enough to judge a line."""
        return self.pairs[line] >= FEWEST and self.variety[line] >= VALUES

    def idle(self) -> list[int]:
        """Return the lines that change next to nothing."""
        return [n for n in range(len(self.pairs)) if self.enough(n) and self.wrong[n] <= SPOILT * self.pairs[n]]

    def joined(self, law: Law, idle: Sequence[int]) -> Iterator[tuple[int, int]]:
        """Yield pairs of lines of which neither changes anything while the other has the level that wins."""
        for a, b in combinations([n for n in range(len(self.pairs)) if n not in idle], 2):
            if all(self.bound(law, *order) for order in ((a, b), (b, a))):
                yield a, b

    def bound(self, law: Law, line: int, other: int) -> bool:
        """Whether a line changes something only while another has the level that does not win."""
        high = self.pairs_high[line, other], self.wrong_high[line, other]
        low = self.pairs[line] - high[0], self.wrong[line] - high[1]
        quiet, free = (low, high) if law is Law.AND else (high, low)
        quiet_still = quiet[0] >= FEWEST and quiet[1] <= SPOILT * quiet[0]
        if not (quiet_still and free[0] >= FEWEST and free[1] >= DIFFERS * free[0] and self.variety[line] >= VALUES):
            return False
        rates = np.array([self.rate(n, other, law is Law.OR) for n in range(len(self.pairs)) if n not in (line, other)])
        rates = rates[~np.isnan(rates)]
        return bool(len(rates) and np.median(rates) >= 2 * DIFFERS)  # else the bytes repeat anyway: a table, no program

    def rate(self, line: int, other: int, high: bool) -> float:
        """Return the share of bytes that a line changes with another low or high; not a number where none tell."""
        told, wrong = self.pairs_high[line, other], self.wrong_high[line, other]
        if not high:
            told, wrong = self.pairs[line] - told, self.wrong[line] - wrong
        return float(wrong / told) if told >= FEWEST else float("nan")
