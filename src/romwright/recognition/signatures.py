"""The sketches of all known images, in memory: which of them might a dump be, and how do its lines then run?

Nothing is decided here. Candidates come from sampled bytes, if the address lines run nearly straight; from windows, if
the dump starts anywhere; from cubes, if lines are crossed at random.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

import numpy as np

from romwright.faults.matching import assign
from romwright.recognition.cubes import ALL_PLANES, MOST_LINES, active_planes, find_cubes, window_hashes
from romwright.recognition.route import FREE, Dump, Route
from romwright.recognition.sketch import SAMPLES, Sketch, lines_of, sample_places, unpack_place

MOST_PIECES = 16  # places of an image in a larger dump, or of a smaller dump in an image, that are tried by samples
LIKE = 0.2  # correlation of data lines from which an image is a candidate; by chance it is 0.12
CHUNK = 1024  # images compared at a time
MOST = 6  # candidates of each kind
LEAST_WINDOWS = 2
LEAST_SCORE, LESS = 1.0, 4.0  # of an image by its cubes: at least so much, and this part of the best
MOST_PLACES = 4  # of one cube in a dump: what is there more often tells nothing
LEAST_PLANES = 4
CLEARLY = 0.03  # a data line that changes more rarely may be a stuck one with wrong bits


class Candidate(NamedTuple):
    """An image that a dump may be, by its row in the index, and a first idea of how the lines run."""

    row: int
    route: Route


class Places:
    """Hashes of all images with their places, sorted."""

    def __init__(self, parts: list[np.ndarray]) -> None:
        counts = [len(part) for part in parts]
        every = np.concatenate(parts) if parts else np.empty(0, [("hash", "<u4"), ("place", "<u4")])
        order = np.argsort(every["hash"], kind="stable")
        self.hashes, self.places = every["hash"][order], every["place"][order]
        self.rows = np.repeat(np.arange(len(parts)), counts)[order]
        _, inverse, times = np.unique(self.hashes, return_inverse=True, return_counts=True)
        self.weights = 1.0 / times[inverse]  # what many images have tells little

    def find(self, hashes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return pairs of numbers: of a hash that was asked for, and of one here that is equal."""
        first = np.searchsorted(self.hashes, hashes, "left")
        counts = np.searchsorted(self.hashes, hashes, "right") - first
        asked = np.repeat(np.arange(len(hashes)), counts)
        here = np.repeat(first - np.cumsum(counts) + counts, counts) + np.arange(len(asked))
        return asked, here


class SketchIndex:
    """The sketches of the known images: about four kilobytes of memory for each."""

    def __init__(self, sketches: Iterable[tuple[int, int, bytes]]) -> None:
        """Index (number, size in bytes, sketch) of images."""
        rows = [(number, size, Sketch.parse(blob)) for number, size, blob in sketches if blob]
        self.numbers = [number for number, _, _ in rows]
        self.sizes = [size for _, size, _ in rows]
        self.lines = np.array([lines_of(size) for size in self.sizes], np.int64)
        self.samples = np.array([sketch.samples for _, _, sketch in rows], np.uint8).reshape(-1, SAMPLES)
        self.cubes = Places([sketch.cubes for _, _, sketch in rows])
        self.windows = Places([sketch.windows for _, _, sketch in rows])

    def __len__(self) -> int:
        return len(self.numbers)

    def find_straight(self, dump: Dump) -> Iterator[Candidate]:
        """Yield the images whose sampled bytes are most like the dump, the address lines being nearly straight."""
        found = []
        for lines in np.unique(self.lines).tolist():
            rows = np.flatnonzero(self.lines == lines)
            bases = pieces(lines, dump.lines)
            views = [view for base in bases if (view := _view(dump, lines, base)) is not None]
            if views:
                likeness = np.concatenate([
                    _likeness(self.samples[rows[first : first + CHUNK]], views)
                    for first in range(0, len(rows), CHUNK)
                ])  # fmt: skip
                for row, view in zip(*np.nonzero(likeness > LIKE)):
                    found.append((float(likeness[row, view]), int(rows[row]), lines, views[view][0]))
        for _, row, lines, base in sorted(found, reverse=True)[:MOST]:
            yield Candidate(row, placed(lines, base, dump.lines))

    def find_shifted(self, dump: Dump) -> Iterator[Candidate]:
        """Yield the images of which most windows lie in the dump at one distance."""
        values, votes = np.frombuffer(dump.bytes, np.uint8), [np.empty((2, 0), np.int64)]
        for planes in masks(values):
            hashes = window_hashes(values, planes)
            at = np.flatnonzero(hashes)
            asked, here = self.windows.find(hashes[at])
            votes.append(np.stack([self.windows.rows[here], at[asked] - self.windows.places[here].astype(np.int64)]))
        pairs, counts = np.unique(np.concatenate(votes, axis=1), axis=1, return_counts=True)
        for index in np.argsort(-counts, kind="stable")[:MOST].tolist():
            row, base = pairs[:, index].tolist()
            lines = int(self.lines[row])
            if counts[index] >= LEAST_WINDOWS:
                yield Candidate(row, placed(lines, base, dump.lines))

    def find_crossed(self, dump: Dump, anywhere: bool = False) -> Iterator[Candidate]:
        """Yield the images that have most cubes in common with the dump, and how these say that the lines run.

        With `anywhere` the lines may have been crossed before the bytes were moved to another address.
        """
        if dump.lines > MOST_LINES:
            return
        parts = []
        for planes in masks(dump.values):
            for cubes in find_cubes(dump.values, planes, anywhere):
                asked, here = self.cubes.find(cubes.hashes)
                if len(asked):
                    parts.append((self.cubes.rows[here], here, cubes.addresses[asked], cubes.axes[asked]))
        if not parts:
            return
        rows, here, addresses, axes = (np.concatenate(part) for part in zip(*parts))
        distinct, inverse, times = np.unique(here, return_inverse=True, return_counts=True)
        score = np.bincount(self.cubes.rows[distinct], self.cubes.weights[distinct] / times, len(self))
        few = (times <= MOST_PLACES)[inverse]
        rows, here, addresses, axes = rows[few], here[few], addresses[few], axes[few]
        for row in np.argsort(-score, kind="stable")[:MOST].tolist():
            mine = rows == row
            if score[row] < max(LEAST_SCORE, score.max() / LESS) or not mine.any():
                continue
            own, own_axes = unpack_place(self.cubes.places[here[mine]])
            votes = Votes(int(self.lines[row]), dump.lines, own, own_axes, addresses[mine], axes[mine])
            yield Candidate(row, votes.moved() if anywhere else votes.route())


def masks(values: np.ndarray) -> list[int]:
    """Return the sets of data lines by which a dump is to be looked at: all, and those that clearly change."""
    return [planes for planes in {ALL_PLANES, active_planes(values, CLEARLY)} if planes.bit_count() >= LEAST_PLANES]


def pieces(lines: int, room: int) -> range:
    """Return the multiples of its size at which an image may lie in a dump, or a small dump in an image."""
    if lines <= room:
        return range(0, min(1 << room - lines, MOST_PIECES) << lines, 1 << lines)
    return range(0, -(min(1 << lines - room, MOST_PIECES) << room), -(1 << room))


def placed(lines: int, base: int, room: int) -> Route:
    """Return a straight route; of a dump that is an aligned part of the image, with the lines above it held."""
    route = Route.straight(lines, base)
    if lines <= room or -base & (1 << room) - 1:
        return route
    held = tuple(FREE if n < room else -base >> n & 1 for n in range(lines))
    return Route(route.lines, held)


def _view(dump: Dump, lines: int, base: int) -> tuple[int, np.ndarray, np.ndarray] | None:
    """Return the data lines of a dump at the sampled addresses, centred, and which of these are seen."""
    at = (sample_places() & (1 << lines) - 1) + base
    seen = (at >= 0) & (at < dump.size)
    values = dump.values[np.where(seen, at, 0)]
    seen &= ~dump.blank[values]
    if seen.sum() < SAMPLES // 16:
        return None
    planes = np.unpackbits(values[:, None], axis=1, bitorder="little").astype(np.float32) * 2 - 1
    planes = np.where(seen[:, None], planes - planes[seen].mean(axis=0), 0)
    norm = np.sqrt((planes**2).sum(axis=0))
    changing = norm > 0.2 * np.sqrt(seen.sum())
    return (base, (planes / np.maximum(norm, 1e-6))[:, changing], seen) if changing.any() else None


def _likeness(samples: np.ndarray, views: list) -> np.ndarray:
    """Return for each image and view how like the image's data lines are those of the dump, on average."""
    planes = np.unpackbits(samples, axis=1, bitorder="little").reshape(len(samples), SAMPLES, 8)
    planes = np.ascontiguousarray(planes.transpose(0, 2, 1)).reshape(-1, SAMPLES).astype(np.float32) * 2 - 1
    sums = planes @ np.concatenate([view for _, view, _ in views], axis=1)
    totals = planes @ np.stack([seen for _, _, seen in views], axis=1).astype(np.float32)
    out, column = np.empty((len(samples), len(views)), np.float32), 0
    for number, (_, view, seen) in enumerate(views):
        count, width = float(seen.sum()), view.shape[1]
        norm = np.sqrt(np.maximum(count - totals[:, number] ** 2 / count, 1.0))
        close = np.abs(sums[:, column : column + width]) / norm[:, None]
        out[:, number] = close.reshape(len(samples), 8, width).max(axis=1).mean(axis=1)
        column += width
    return out


class Votes:
    """What cubes of an image that were found again in a dump say of the lines."""

    def __init__(
        self, lines: int, room: int, own: np.ndarray, own_axes: np.ndarray, found: np.ndarray, axes: np.ndarray
    ) -> None:  # fmt: skip
        self.lines, self.room, self.own, self.found = lines, room, own, found
        self.by_axis = np.zeros((max(lines, room),) * 2)
        np.add.at(self.by_axis, (own_axes.ravel(), axes.ravel()), 1.0)

    def route(self) -> Route:
        """Return the route for which most is said, by the cubes' axes and by where they are."""
        size = len(self.by_axis)
        own, found = (1 - 2.0 * (part[:, None] >> np.arange(size) & 1) for part in (self.own, self.found))
        alike = own.T @ found  # those that agree less those that do not
        score = 3 * self.by_axis + np.where(alike < 0, 3, 1) * alike
        return self._route(score, found)

    def moved(self) -> Route:
        """Return the route of an image that starts elsewhere in the dump: only the axes tell of lines."""
        route = self._route(self.by_axis, np.ones((1, len(self.by_axis))))
        bits = self.own[:, None] >> np.arange(self.lines) & 1
        weights = np.where(np.array(route.held) == FREE, 1 << np.array(route.lines), 0)
        bases, times = np.unique(self.found - bits @ weights, return_counts=True)
        return Route(route.lines, route.held, base=int(bases[times.argmax()]))

    def _route(self, score: np.ndarray, found: np.ndarray) -> Route:
        chosen = assign(-score.T)[: self.lines]
        levels = np.where((1 - 2.0 * (self.own[:, None] >> np.arange(self.lines) & 1)).sum(axis=0) < 0, 1, 0)
        held = [FREE if line < self.room else int(level) for line, level in zip(chosen, levels)]
        taken = {int(line) for line, level in zip(chosen, held) if level == FREE}
        base = sum(1 << line for line in range(self.room) if line not in taken and found[:, line].sum() < 0)
        lines = [int(line) if level == FREE else n for n, (line, level) in enumerate(zip(chosen, held))]
        return Route(tuple(lines), tuple(held), base=base)
