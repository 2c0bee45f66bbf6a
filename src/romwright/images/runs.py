"""Runs: stretches of bytes that share a property, found without looking at one byte after the other."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

CHUNK = 1 << 20  # bytes looked at together
FILL_LEAST = 16  # bytes of one value in a row that count as fill
TEXT_LEAST = 6  # printable characters in a row that count as text


def find_fills(data: np.ndarray) -> np.ndarray:
    """Return the runs of one value, as rows (start, stop)."""
    return find_runs(len(data) - 1, lambda a, b: data[a:b] == data[a + 1 : b + 1], FILL_LEAST - 1) + np.array([0, 1])


def find_texts(data: np.ndarray, high_bit: bool) -> np.ndarray:
    """Return the runs of printable ASCII characters, plain or all with the high bit set, as rows (start, stop)."""
    first = np.uint8(0xA0 if high_bit else 0x20)
    return find_runs(len(data), lambda a, b: data[a:b] - first < 0x5F, TEXT_LEAST)


def text_share(data: bytes) -> float:
    """Return the share of the bytes that stand in runs of plain printable characters.

    >>> text_share(b"TIDE 1984" + bytes(27))
    0.25
    """
    rows = find_texts(np.frombuffer(data, np.uint8), False)
    return float((rows[:, 1] - rows[:, 0]).sum()) / len(data)


def find_runs(size: int, mask: Callable[[int, int], np.ndarray], least: int) -> np.ndarray:
    """Return the maximal runs of at least `least` true values as rows (start, stop).

    `mask(a, b)` gives the truth values at positions a up to but not including b; it is asked chunk by chunk, so a
    long image costs little memory.

    >>> bits = np.array([1, 1, 0, 1, 1, 1, 1], bool)
    >>> find_runs(7, lambda a, b: bits[a:b], 3).tolist()
    [[3, 7]]
    """
    edges, inside = [], False
    for start in range(0, size - least + 1, CHUNK):
        # True at p now means: p and the least - 1 positions after it are all true.
        kept = _eroded(mask(start, min(start + CHUNK + least - 1, size)), least)
        turns = np.flatnonzero(kept[1:] != kept[:-1]) + 1
        if len(kept) and kept[0] != inside:
            turns = np.concatenate(([0], turns))
        if len(kept):
            inside = bool(kept[-1])
        edges.append(turns + start)
    if inside:
        edges.append(np.array([size - least + 1]))
    rows = np.concatenate(edges).reshape(-1, 2) if edges else np.empty((0, 2), np.int64)
    rows[:, 1] += least - 1
    return rows


def _eroded(mask: np.ndarray, least: int) -> np.ndarray:
    width = 1
    while width < least:
        step = min(width, least - width)
        mask = mask[:-step] & mask[step:]
        width += step
    return mask


def cut(rows: np.ndarray, edges: np.ndarray, least: int) -> np.ndarray:
    """Cut runs in two at every edge within them, and leave out what is then shorter than `least`.

    >>> cut(np.array([[0, 9], [12, 20]]), np.array([2, 5, 10, 12]), 3).tolist()
    [[2, 5], [5, 9], [12, 20]]
    """
    before = np.searchsorted(rows[:, 0], edges) - 1  # the last run that starts before the edge, if any
    inner = edges[(before >= 0) & (edges < rows[before, 1])] if len(rows) else edges[:0]
    rows = np.sort(np.concatenate((rows, np.repeat(inner, 2).reshape(-1, 2))), axis=0)
    return rows[rows[:, 1] - rows[:, 0] >= least]


def longest(rows: np.ndarray, count: int) -> np.ndarray:
    """Return the `count` longest runs, longest first, the lower address first among equals."""
    return rows[np.argsort(rows[:, 0] - rows[:, 1], kind="stable")[:count]]


def is_uniform(view: np.ndarray) -> bool:
    """Tell whether all bytes are equal."""
    return bool((view[:64] == view[0]).all()) and view.min() == view.max()


def uniform(view: np.ndarray, rows: np.ndarray) -> np.ndarray:
    """Tell for each run whether all its bytes are equal."""
    if not len(rows):
        return np.zeros(0, bool)
    # The end of the last run may be the end of the view, which reduceat refuses as an index: leave it out.
    bounds = rows.ravel()[: -1 if rows[-1, 1] == len(view) else None]
    low, high = (extreme.reduceat(view, bounds)[::2] for extreme in (np.minimum, np.maximum))
    return low == high
