"""The sets of data lines by which a dump is looked at: one that is stuck, or hardly changes, would hide all cubes."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from romwright.recognition.cubes import ALL_PLANES, active_planes
from romwright.recognition.verdicts import PAGE_BYTES

LEAST_PLANES = 4
STILL, MANY = 0.02, 0.3  # share of ones or zeros in a page, and of pages, from which a line looks stuck
MOST_STILL = 3  # such lines that are left out together
CLEARLY = 0.03  # a data line that changes more rarely may be a stuck one with wrong bits


def masks(values: np.ndarray) -> list[int]:
    """Return the sets of data lines by which a dump is to be looked at: all, and without those that look stuck.

    Where pages are overwritten, or a part is of another chip, a stuck line is seen in the other pages only.
    """
    pages = values[: len(values) // PAGE_BYTES * PAGE_BYTES].reshape(-1, PAGE_BYTES)
    pages = pages[(pages != pages[:, :1]).any(axis=1)]
    found, still = [ALL_PLANES, active_planes(values, CLEARLY)], np.empty(0, np.int64)
    if len(pages):
        ones = np.stack([(pages >> bit & 1).mean(axis=1) for bit in range(8)])
        shares = np.maximum((ones <= STILL).mean(axis=1), (ones >= 1 - STILL).mean(axis=1))
        still = np.argsort(-shares, kind="stable")[: min((shares >= MANY).sum(), MOST_STILL)]
    for count in range(1, len(still) + 1):
        found += [ALL_PLANES & ~sum(1 << bit for bit in some) for some in combinations(still.tolist(), count)]
    return [planes for planes in dict.fromkeys(found) if planes.bit_count() >= LEAST_PLANES]


def one_less(sets: list[int]) -> list[int]:
    """Return the sets of data lines without one of them, those that were there before left out."""
    found = dict.fromkeys(planes & ~(1 << bit) for planes in sets for bit in range(8) if planes >> bit & 1)
    return [planes for planes in found if planes not in sets and planes.bit_count() >= LEAST_PLANES]
