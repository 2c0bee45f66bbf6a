"""Where all other address lines run straight: at which levels idle ones are held, and which are inverted."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product

import numpy as np

LIKELY = 4  # that are returned


def likely_levels(reference: np.ndarray, dump: np.ndarray, idle: Sequence[int]) -> list[tuple[int, ...]]:
    """Return the levels of the idle lines whose part of the reference is most like the dump, the likeliest first.

    Both are one power of two of bytes. A data line may be inverted, or stuck: what never changes tells nothing.

    >>> likely_levels(np.array([3, 1, 4, 1, 5, 9, 2, 6], np.uint8), np.array([5, 9, 2, 6] * 2, np.uint8), [2])
    [(1,), (0,)]
    """
    held = sum(1 << line for line in idle)
    free = np.flatnonzero(np.arange(len(reference)) & held == 0)
    levels = list(product((0, 1), repeat=len(idle)))
    bases = np.array([sum(level << line for line, level in zip(idle, each)) for each in levels])
    return [levels[index] for index in likeliest(reference[bases[:, None] | free], dump[free])]


def likely_turns(reference: np.ndarray, dump: np.ndarray) -> list[int]:
    """Return which address lines may be inverted, as bits, if nothing else is wrong with them, the likeliest first.

    Both are one power of two of bytes, and few: every set of lines is tried. Of data lines as in `likely_levels`.

    >>> likely_turns(np.array([3, 1, 4, 1, 5, 9, 2, 6], np.uint8), np.array([2, 6, 5, 9, 4, 1, 3, 1], np.uint8))[0]
    6
    """
    addresses = np.arange(len(dump))
    return likeliest(reference[addresses[:, None] ^ addresses], dump)


def likeliest(offered: np.ndarray, seen: np.ndarray) -> list[int]:
    """Return which rows are most like what is seen, the likeliest first; data lines may be inverted, or stuck."""
    wrong = np.zeros(len(offered), np.int64)
    differ = offered ^ seen
    for bit in range(8):
        if len(set((seen >> bit & 1).tolist())) > 1:
            times = (differ >> np.uint8(bit) & 1).sum(axis=1, dtype=np.int64)
            wrong += np.minimum(times, len(seen) - times)
    return np.argsort(wrong, kind="stable")[:LIKELY].tolist()
