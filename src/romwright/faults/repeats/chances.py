"""How sure a majority of repeated reads is: binomial chances, exact, and how many reads would do.

A cell reads wrong with a chance p of its own in each read, independently of the others, and less often wrong than right
(p <= 1/2); p is not assumed to be known, or to be the same for two cells. X counts wrong reads among n: binomial.

- A bit that read one value in k of n reads, and the other more often. If the first is right, at most k of n reads
  were right: P(X <= k) for a binomial X of n and 1/2 bounds the chance of that, whatever p is (`tail`).
- A bit that was read alike in all n reads, and wrong: p^n, at most 2^-n. That at most u bits of the chip are unstable
  in n reads, and yet some bit is read alike and wrong, has a chance of at most (u + 1) / 2^n, for however many cells
  with whatever p (`alike`). For u = 0: a cell is right in all reads with (1 - p)^n, alike in all with p^n more. The
  chance that all cells are alike and not all are right is the product of the latter less the product of the former. It
  is convex in each p, so it is greatest where each is 0 or 1/2; with j cells at 1/2 it is (2^j - 1) / 2^(jn), greatest
  for j = 1. In the same way for u > 0, as long as the bound is under 1/3 (tests/faults/repeats/test_chances.py).
- An image is wrong with at most the sum of these.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import comb
from typing import NamedTuple

import numpy as np

MOST_READS = 1000  # reads up to which it is looked for what would do
EVEN_SHARE = (2, 5)  # share of the reads from which a bit is about even: to settle it takes some 130 reads for 1 %
EVEN_FROM = 4  # reads from which that is said
UNSEEN_FROM = 5  # reads from which once and twice are both few


class Count(NamedTuple):
    """So many cells read one value in `less` of `reads` reads, and the other more often or as often."""

    less: int
    reads: int
    cells: int

    @property
    def even(self) -> bool:
        """Whether it is about even: as it looks, no number of reads settles it."""
        return self.reads >= EVEN_FROM and EVEN_SHARE[1] * self.less >= EVEN_SHARE[0] * self.reads

    @property
    def tied(self) -> bool:
        """Whether there is no majority."""
        return 2 * self.less == self.reads


def tail(reads: int, less: int) -> float:
    """Return P(X <= less) for a binomial X of `reads` and 1/2; 1 where it is a tie, which settles nothing.

    >>> tail(9, 1), tail(4, 2)
    (0.01953125, 1.0)
    """
    if 2 * less >= reads:
        return 1.0
    return sum(comb(reads, i) for i in range(less + 1)) / (1 << reads)


def wrong_at(reads: int, less: int) -> float:
    """Return the chance that no majority of `reads` is right, if a cell is wrong at the rate that was seen, less/reads.

    >>> round(wrong_at(3, 1), 4)  # 3 * (1/3)^2 * 2/3 + (1/3)^3
    0.2593
    """
    ways = (comb(reads, i) * less**i * (reads - less) ** (reads - i) for i in range((reads + 1) // 2, reads + 1))
    return sum(ways) / reads**reads


def missed_at(reads: int, less: int, of: int) -> float:
    """Return the chance that a cell which reads one value at the rate less/of is read alike in all `reads` reads.

    >>> missed_at(3, 1, 2)
    0.25
    """
    return (less**reads + (of - less) ** reads) / of**reads


def alike(unstable: int, reads: int) -> float:
    """Return the most with which any bit is wrong that was read alike in at least so many reads."""
    return min((unstable + 1) / (1 << reads), 1.0)


def unseen(counts: Sequence[Count], reads: int) -> float | None:
    """Estimate from below how many more unstable cells were read alike in all reads; None for fewer than UNSEEN_FROM.

    From the cells f1 and f2 that went one way once and twice: (n - 1) / n * f1 (f1 - 1) / 2 (f2 + 1), whatever their
    rates (the lower bound of Chao, 1987, in its bias-corrected form; from memory, unchecked).

    >>> unseen([Count(1, 10, 20), Count(2, 10, 9)], 10)
    17.1
    """
    if reads < UNSEEN_FROM:
        return None
    once, twice = (sum(each.cells for each in counts if each.less == less) for less in (1, 2))
    return (reads - 1) / reads * once * (once - 1) / (2 * (twice + 1))


def reads_needed(counts: Sequence[Count], risk: float, least: int) -> int | None:
    """Return how many reads, at least `least`, bring the chance of a wrong bit down to `risk`.

    Bits go on at the rates that were seen; those that are about even or tied are left out. None: over MOST_READS.
    """
    going = np.array([each for each in counts if not (each.even or each.tied)], np.int64).reshape(-1, 3)
    less, of, cells = going.T
    unstable = sum(each.cells for each in counts)
    most = max(MOST_READS, least)
    tails = np.ones(most + 1)
    for reads in range(1, most + 1):
        tails[1:] = (tails[1:] + tails[:-1]) / 2
        tails[0] /= 2
        if reads >= least:
            then = -(-less * reads // np.maximum(of, 1))
            chance = np.where(2 * then < reads, tails[then], 1.0)
            if float((cells * chance).sum()) + alike(unstable, reads) <= risk:
                return reads
    return None


def counts_of(less: np.ndarray, reads: np.ndarray) -> list[Count]:
    """Count cells by how often they read what they read less often, the most even first."""
    width = int(reads.max(initial=0)) + 1
    cells = np.bincount(reads.astype(np.int64) * width + less)
    counts = [Count(each % width, each // width, int(cells[each])) for each in np.flatnonzero(cells).tolist()]
    return sorted(counts, key=lambda each: (-each.less / each.reads, each.reads))
