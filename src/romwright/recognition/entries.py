"""Bytes that are wrong at the same places of all entries of a table: it is another table."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from math import comb, floor, sqrt

import numpy as np

from romwright.recognition.verdicts import PAGE_BYTES

ALL_WRONG_PAGE = 0.25  # share of the bytes of a page that are right if it was, and no page but such a one counts
MOST_OVERWRITTEN = 0.34  # share of pages
ENTRIES = 8, 16, 24, 32  # bytes of an entry of a table: wrong ones are then at few of these places
MOST_AT_PLACE = 0.45  # share of the bytes at one place of all entries that are right, if most are not
FEWEST_AT_PLACES = 6  # wrong bytes at such places, beyond those that chance puts there ...
DEVIATIONS = 2.0  # ... with so many standard deviations
AROUND = 2  # sampled bytes before and behind one that are the same, if it is in the midst of fill


def overwritten(
    addresses: np.ndarray, counted: np.ndarray, equal: np.ndarray, least: float, most: float = 1.0
) -> np.ndarray:
    """Tell which bytes are in pages of which fewer than `least` are right, of those that count.

    None is if more than `most` of the pages would be: what is wrong in so many is wrong otherwise.
    """
    pages = addresses // PAGE_BYTES
    right, count = (np.bincount(pages[which], minlength=int(pages.max()) + 1) for which in (counted & equal, counted))
    lost = right < least * count
    return lost[pages] & (lost.sum() <= most * np.count_nonzero(count))


def amid_equals(addresses: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Tell which bytes are in the midst of fill: the nearest ones before and behind are the same."""
    _, first, back = np.unique(addresses, return_index=True, return_inverse=True)
    steady = np.concatenate([[True] * AROUND, np.diff(values[first].astype(int)) == 0, [True] * AROUND])
    return np.lib.stride_tricks.sliding_window_view(steady, 2 * AROUND).all(axis=1)[back]


def splits_entries(
    each: Iterable[np.ndarray], starts: Iterable[np.ndarray], counted: np.ndarray, equal: np.ndarray
) -> bool:
    """Tell whether most bytes are wrong at some places of all entries of a table, and nearly all right at others.

    Two tables of jumps have their counts in common and no address; what was damaged is wrong wherever it is, but
    for pages from one of `starts` on. `each` are addresses of the bytes.
    """
    lost = [overwritten(addresses, counted, equal, ALL_WRONG_PAGE, MOST_OVERWRITTEN) for addresses in starts]
    counted = counted & ~max(lost, key=lambda pages: np.count_nonzero(pages & counted & ~equal))
    wrong = int((counted & ~equal).sum())
    for places in (addresses[counted] % entry for addresses in each for entry in ENTRIES):
        count, right = np.bincount(places), np.bincount(places, weights=equal[counted])
        there = (count - right)[right <= MOST_AT_PLACE * count].sum()
        if there > wrong / 2 and there > FEWEST_AT_PLACES + by_chance(count, wrong):
            return True
    return False


def by_chance(count: np.ndarray, wrong: int) -> float:
    """Return how many wrong bytes chance puts at places where most are wrong, and DEVIATIONS on top.

    `count` has the bytes at each place, of which `wrong` are wrong in all; so many at each are binomially distributed.
    """
    rate, mean, square = wrong / count.sum(), 0.0, 0.0
    for number, places in Counter(count.tolist()).items():
        for lost in range(number - floor(MOST_AT_PLACE * number), number + 1):
            share = places * comb(number, lost) * rate**lost * (1 - rate) ** (number - lost)
            mean, square = mean + share * lost, square + share * lost**2
    return mean + DEVIATIONS * sqrt(square)
