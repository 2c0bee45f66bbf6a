"""The sketch that is kept of an image: not its contents, but enough to know it again through faulty lines.

It has sampled bytes at addresses that are the same for all images, others at places where this image is unlike itself,
and hashes of cubes and windows with their places: of all data lines that change, and again without each of them, for a
dump in which one is stuck. At most
4 + SAMPLES + 5 * OWN + 8 * (CUBES + WINDOWS + 8 * (FEWER_CUBES + FEWER_WINDOWS)) bytes.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from functools import cache
from itertools import combinations
from typing import NamedTuple

import numpy as np

from romwright.recognition.cubes import AXES, MOST_LINES, WINDOW, Windows, active_planes, draw_cubes

SAMPLES = 320
OWN, DRAWN_OWN = 192, 4096
CUBES, FEWER_CUBES = 96, 32
WINDOWS, FEWER_WINDOWS, DRAWN_WINDOWS = 24, 8, 160
LEAST_BYTES, MOST_BYTES = 512, 1 << 24  # of an image that gets a sketch
ERASED = 0xFF
_ENTRY = np.dtype([("hash", "<u4"), ("place", "<u4")])
_OWN = np.dtype([("place", "<u4"), ("value", "u1")])


@cache
def sample_places() -> np.ndarray:
    """Return numbers whose remainders by an image's power of two are the addresses of its sampled bytes."""
    text = b"".join(hashlib.sha256(b"sample" + number.to_bytes(4)).digest()[:4] for number in range(SAMPLES))
    return np.frombuffer(text, "<u4").astype(np.int64)


def lines_of(size: int) -> int:
    """Return how many address lines so many bytes need."""
    return max(size - 1, 0).bit_length()


def filled(data: bytes) -> np.ndarray:
    """Return bytes filled with FF up to a power of two."""
    values = np.full(1 << lines_of(len(data)), ERASED, np.uint8)
    values[: len(data)] = np.frombuffer(data, np.uint8)
    return values


class Sketch(NamedTuple):
    """A sketch, taken apart."""

    samples: np.ndarray
    own: np.ndarray
    cubes: np.ndarray
    windows: np.ndarray

    @classmethod
    def parse(cls, blob: bytes) -> Sketch:
        """Take a sketch apart."""
        own, cubes = np.frombuffer(blob, "<u2", 2).tolist()
        rest = 4 + SAMPLES + own * _OWN.itemsize
        entries = np.frombuffer(blob, _ENTRY, offset=rest)
        return cls(
            np.frombuffer(blob, np.uint8, SAMPLES, 4), np.frombuffer(blob, _OWN, own, 4 + SAMPLES),
            entries[:cubes], entries[cubes:],
        )  # fmt: skip


def build_sketch(data: bytes) -> bytes:
    """Make the sketch of an image; empty if it is too small, too large or blank."""
    if not LEAST_BYTES <= len(data) <= MOST_BYTES:
        return b""
    values = filled(data)
    planes = active_planes(values)
    if not planes:
        return b""
    fewer = [planes & ~(1 << bit) for bit in range(8) if planes >> bit & 1 and planes & (planes - 1)]
    cubes = _cubes(values, [(planes, CUBES), *((rest, FEWER_CUBES) for rest in fewer)])
    windows = _windows(values, [(planes, WINDOWS), *((rest, FEWER_WINDOWS) for rest in fewer)])
    samples = values[sample_places() & len(values) - 1]
    own = _own_samples(values)
    counts = np.array([len(own), len(cubes)], "<u2")
    return b"".join(part.tobytes() for part in (counts, samples, own, cubes, windows))


def _own_samples(values: np.ndarray) -> np.ndarray:
    """Return bytes that are seldom there again at other levels of one or two address lines: they tell most of a route.

    Of those that are there as seldom, the rarest.
    """
    rng = np.random.Generator(np.random.PCG64(0))
    places = np.unique(rng.integers(0, len(values), DRAWN_OWN))
    again = sum((values[places ^ step] == values[places]).astype(int) for steps in neighbours(lines_of(len(values)))
                for step in steps.tolist())  # fmt: skip
    order = np.lexsort((rng.permutation(len(places)), np.bincount(values, minlength=256)[values[places]], again))
    chosen = np.sort(places[order[:OWN]])
    own = np.empty(len(chosen), _OWN)
    own["place"], own["value"] = chosen, values[chosen]
    return own


@cache
def neighbours(lines: int) -> tuple[np.ndarray, np.ndarray]:
    """Return the steps to an address in which one address line is another, and in which two are."""
    single = 1 << np.arange(lines)
    return single, np.array([a | b for a, b in combinations(single.tolist(), 2)], np.int64)


def _cubes(values: np.ndarray, wanted: Sequence[tuple[int, int]]) -> np.ndarray:
    if len(values) > 1 << MOST_LINES:
        return np.empty(0, _ENTRY)
    drawn = draw_cubes(values, wanted)
    places = [cubes.addresses | pack_axes(cubes.axes) << MOST_LINES for cubes in drawn]
    return _entries([cubes.hashes for cubes in drawn], places)


def _entries(hashes: Sequence[np.ndarray], places: Sequence[np.ndarray]) -> np.ndarray:
    found = np.empty(sum(map(len, hashes)), _ENTRY)
    found["hash"], found["place"] = np.concatenate(hashes), np.concatenate(places)
    return found


def pack_axes(axes: np.ndarray) -> np.ndarray:
    """Make one number of three different axes, below 19 * 18 * 17."""
    first, second, third = axes.astype(np.int64).T
    second = second - (second > first)
    low, high = np.minimum(axes[:, 0], axes[:, 1]), np.maximum(axes[:, 0], axes[:, 1])
    third = third - (third > high) - (third > low)
    return (first * (MOST_LINES - 1) + second) * (MOST_LINES - 2) + third


@cache
def _all_axes() -> np.ndarray:
    every = np.array([(a, b, c) for a in range(MOST_LINES) for b in range(MOST_LINES) for c in range(MOST_LINES)
                      if len({a, b, c}) == AXES])  # fmt: skip
    out = np.empty_like(every)
    out[pack_axes(every)] = every
    return out


def unpack_place(places: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the addresses and the axes of cubes."""
    places = places.astype(np.int64)
    return places & (1 << MOST_LINES) - 1, _all_axes()[places >> MOST_LINES]


def _windows(values: np.ndarray, wanted: Sequence[tuple[int, int]]) -> np.ndarray:
    rng, text = np.random.Generator(np.random.PCG64(0)), values.tobytes()
    at = np.unique(rng.integers(0, len(values) - WINDOW + 1, DRAWN_WINDOWS))
    at = np.array([start for start in at.tolist() if text.count(text[start : start + WINDOW]) == 1], np.int64)
    rng.shuffle(at)
    if not len(at):
        return np.empty(0, _ENTRY)
    windows, hashes, places = Windows(values, at), [], []
    for turn, (planes, count) in enumerate(wanted):
        every = np.roll(windows.hashes(planes), turn * FEWER_WINDOWS)
        chosen = np.flatnonzero(every)[:count]
        hashes.append(every[chosen])
        places.append(np.roll(at, turn * FEWER_WINDOWS)[chosen])
    return _entries(hashes, places)
