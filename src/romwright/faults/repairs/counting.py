"""How many sets of cells do what is wanted, counted exactly without listing them.

Many cells do the same to a sum: all D3 of a chip add 8. The generating function has a factor for each such class, and
its coefficients are the counts.
"""

from __future__ import annotations

from math import comb

import numpy as np

from romwright.faults.repairs.syndromes import Group

MOST_STATES = 300_000  # sums of sets that are kept apart
MOST_CLASSES = 1000
SAMPLE = 4096  # cells


def countable(keys: np.ndarray, most: int, group: Group) -> bool:
    """Tell whether the cells fall into so few classes that sets of up to `most` can be counted."""
    # A CRC makes nearly as many classes as cells: a few thousand cells tell, without sorting millions.
    for some in (keys[:SAMPLE], keys):
        there = len(classes(some)[0])
        if there > MOST_CLASSES or min(comb(there + most, most), most << group.width) > MOST_STATES:
            return False
    return True


def classes(keys: np.ndarray) -> tuple[list[int], list[int]]:
    """Return what the classes add, and how many cells each has."""
    ordered = np.sort(keys)  # np.unique goes through a hash table: ten times as long here
    begins = np.flatnonzero(np.r_[True, ordered[1:] != ordered[:-1]]) if len(keys) else np.zeros(0, int)
    return ordered[begins].tolist(), np.diff(begins, append=len(keys)).tolist()


def count_sets(keys: np.ndarray, wanted: int, group: Group, most: int) -> list[int]:
    """Return how many sets of 0, 1, ... `most` cells add up to what is wanted.

    >>> from romwright.images.fixup import SUMS
    >>> from romwright.faults.repairs.syndromes import Condition
    >>> group = Group.of([Condition(SUMS["sum8"], (0, 4), value=0)])
    >>> count_sets(np.array([1, 1, 2, 4], np.uint64), 4, group, 3)
    [0, 1, 0, 1]
    """
    states: list[dict[int, int]] = [{0: 1}, *({} for _ in range(most))]
    for value, there in zip(*classes(keys), strict=True):
        for bits in range(most, 0, -1):  # from the top, so that what is read is from before this class
            into, times = states[bits], 0
            for taken in range(1, min(bits, there) + 1):
                times, ways = group.plus(times, value), comb(there, taken)
                for total, count in states[bits - taken].items():
                    reached = group.plus(total, times)
                    into[reached] = into.get(reached, 0) + ways * count
    return [state.get(wanted, 0) for state in states]
