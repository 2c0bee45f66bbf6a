"""The sketches of all known images, in memory: which of them might a dump be, and how do its lines then run?

Nothing is decided here. Candidates come from sampled bytes, if the address lines run nearly straight; from windows, if
the dump starts anywhere; from cubes, if lines are crossed at random.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

import numpy as np

from romwright.faults.search.matching import assign
from romwright.recognition.cubes import MOST_LINES, Windows, find_cubes
from romwright.recognition.dump import BLANK_SHARE, Dump
from romwright.recognition.ground import Sampled
from romwright.recognition.planes import masks, one_less
from romwright.recognition.route import FREE, Route
from romwright.recognition.sketch import SAMPLES, Sketch, lines_of, sample_places, unpack_place

MOST_PIECES = 16  # places of an image in a larger dump, or of a smaller dump in an image, that are tried by samples
LIKE = 3.0  # correlation of data lines, in units of its noise, from which an image is a candidate
CHUNK = 1024  # images compared at a time
MOST = 12  # candidates of each kind
LEAST_WINDOWS = 2
LEAST_SCORE, LESS = 1.0, 4.0  # of an image by its cubes: at least so much, and this part of the most that can be right
MOST_RANKED, MOST_CUBES = 100, 150  # images that are ranked by how many of their cubes can be right at once
MOST_PLACES = 4  # of one cube in a dump: what is there more often tells nothing
MOST_LOOKED_AT = 1 << 14  # bytes of a dump all of whose cubes are looked at many times over
OFTEN = 8 * MOST_PLACES  # times from which a cube is not looked up
SETS, LIKELIEST = 3, 2  # further sets of cubes that are tried of the likeliest images


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
        self.rows = np.repeat(np.arange(len(parts), dtype=np.int32), counts)[order]
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
    """The sketches of the known images: about ten kilobytes of memory for each."""

    def __init__(self, sketches: Iterable[tuple[int, int, bytes]]) -> None:
        """Index (number, size in bytes, sketch) of images."""
        rows = [(number, size, Sketch.parse(blob)) for number, size, blob in sketches if blob]
        self.numbers = [number for number, _, _ in rows]
        self.sizes = [size for _, size, _ in rows]
        self.lines = np.array([lines_of(size) for size in self.sizes], np.int64)
        self.samples = np.array([sketch.samples for _, _, sketch in rows], np.uint8).reshape(-1, SAMPLES)
        self._own = [sketch.own.copy() for _, _, sketch in rows]  # the rest of it is let go
        self.cubes = Places([sketch.cubes for _, _, sketch in rows])
        self.windows = Places([sketch.windows for _, _, sketch in rows])

    def __len__(self) -> int:
        return len(self.numbers)

    def sampled(self, row: int) -> Sampled:
        """Return the sampled bytes of an image, those at places of its own too."""
        lines, own = int(self.lines[row]), self._own[row]
        places = np.concatenate([sample_places() & (1 << lines) - 1, own["place"].astype(np.int64)])
        fill = np.bincount(self.samples[row], minlength=256) >= BLANK_SHARE * SAMPLES
        return Sampled(lines, places, np.concatenate([self.samples[row], own["value"]]), fill)

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
                likeness *= np.sqrt([view[2].sum() for view in views])  # by chance it is 2, however few bytes are seen
                for row, view in zip(*np.nonzero(likeness > LIKE)):
                    found.append((float(likeness[row, view]), int(rows[row]), lines, views[view][0]))
        for _, row, lines, base in sorted(found, reverse=True)[:MOST]:
            yield Candidate(row, placed(lines, base, dump.lines))

    def find_shifted(self, dump: Dump) -> Iterator[Candidate]:
        """Yield the images of which most windows lie in the dump at one distance."""
        values, votes = np.frombuffer(dump.bytes, np.uint8), [np.empty((2, 0), np.int64)]
        windows = Windows(values)
        for planes in masks(values):
            hashes = windows.hashes(planes)
            at = np.flatnonzero(hashes)
            asked, here = self.windows.find(hashes[at])
            votes.append(np.stack([self.windows.rows[here], at[asked] - self.windows.places[here].astype(np.int64)]))
        pairs, counts = np.unique(np.concatenate(votes, axis=1), axis=1, return_counts=True)
        for index in np.argsort(-counts, kind="stable")[:MOST].tolist():
            row, base = pairs[:, index].tolist()
            lines = int(self.lines[row])
            if counts[index] >= LEAST_WINDOWS:
                yield Candidate(row, placed(lines, base, dump.lines))

    def find_crossed(self, dump: Dump, anywhere: bool = False, every: bool = False) -> Iterator[Candidate]:
        """Yield the images that have most cubes in common with the dump, and how these say that the lines run.

        With `anywhere` the lines may have been crossed before the bytes were moved to another address. With `every` any
        data line is taken to be stuck in turn, or to change too rarely; of large dumps not all cubes are looked at.
        """
        if dump.lines > MOST_LINES:
            return
        parts, share = [], max(len(dump.values) // (MOST_LOOKED_AT >> anywhere), 1) if every else 1
        for planes in one_less(masks(dump.values)) if every else masks(dump.values):
            for cubes in find_cubes(dump.values, planes, anywhere, share):
                few = np.flatnonzero(seldom(cubes.hashes))
                asked, here = self.cubes.find(cubes.hashes[few])
                if len(asked):
                    at = few[asked]
                    parts.append((self.cubes.rows[here], here, cubes.addresses[at], cubes.axes[at]))
        if not parts:
            return
        rows, here, addresses, axes = (np.concatenate(part) for part in zip(*parts))
        distinct, inverse, times = np.unique(here, return_inverse=True, return_counts=True)
        score = np.bincount(self.cubes.rows[distinct], self.cubes.weights[distinct] / times, len(self))
        few = (times <= MOST_PLACES)[inverse]
        weights = self.cubes.weights[here] / times[inverse]
        rows, here, addresses, axes, weights = rows[few], here[few], addresses[few], axes[few], weights[few]
        ranked = []
        for row in np.argsort(-score, kind="stable")[:MOST_RANKED].tolist():
            mine = np.flatnonzero(rows == row)
            if score[row] < LEAST_SCORE or not len(mine):
                break
            mine = mine[np.argsort(-weights[mine], kind="stable")[:MOST_CUBES]]
            own, own_axes = unpack_place(self.cubes.places[here[mine]])
            votes = Votes(own, own_axes, addresses[mine], axes[mine], weights[mine], anywhere)
            ranked.append((len(np.unique(here[mine[votes.chosen]])), row, mine, votes))
        ranked.sort(key=lambda each: -each[0])
        for turn, (count, row, mine, votes) in enumerate(ranked[:MOST]):
            if count < ranked[0][0] / LESS:
                break
            yield Candidate(row, votes.route(int(self.lines[row]), dump.lines))
            for _ in range(SETS if turn < LIKELIEST else 0):  # a pattern that repeats may agree with itself
                mine = np.delete(mine, votes.chosen)
                if not len(mine):
                    break
                own, own_axes = unpack_place(self.cubes.places[here[mine]])
                votes = Votes(own, own_axes, addresses[mine], axes[mine], weights[mine], anywhere)
                yield Candidate(row, votes.route(int(self.lines[row]), dump.lines))


def seldom(hashes: np.ndarray) -> np.ndarray:
    """Return which of some hashes are not among them again and again, as those of a table are."""
    _, inverse, times = np.unique(hashes, return_inverse=True, return_counts=True)
    return (times <= OFTEN)[inverse]


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
    """What cubes of an image that were found again in a dump say of the lines; those that cannot be right left out."""

    def __init__(
        self, own: np.ndarray, own_axes: np.ndarray, found: np.ndarray, axes: np.ndarray, weights: np.ndarray,
        anywhere: bool,
    ) -> None:  # fmt: skip
        self.chosen = consistent(own, own_axes, found, axes, weights, anywhere)
        self.own, self.found, self.weights = (part[self.chosen] for part in (own, found, weights))
        self.own_axes, self.axes, self.anywhere = own_axes[self.chosen], axes[self.chosen], anywhere

    def route(self, lines: int, room: int) -> Route:
        """Return the route for which most is said, by the cubes' axes and, if nothing was moved, by where they are."""
        size = max(lines, room)
        by_axis = np.zeros((size, size))
        np.add.at(by_axis, (self.own_axes, self.axes), self.weights[:, None])
        own, found = (1 - 2.0 * (part[:, None] >> np.arange(size) & 1) for part in (self.own, self.found))
        alike = np.einsum("k,ka,kb->ab", self.weights, own, found)  # how many agree less how many do not
        score = 3 * by_axis + (0 if self.anywhere else np.where(alike < 0, 3, 1) * alike)
        chosen = assign(-score.T)[:lines].tolist()
        held = [FREE if line < room else int(own[:, n].sum() < 0) for n, line in enumerate(chosen)]
        taken = [line if level == FREE else n for n, (line, level) in enumerate(zip(chosen, held))]
        if self.anywhere:
            weights = np.array([1 << line if level == FREE else 0 for line, level in zip(taken, held)])
            at = (self.own[:, None] >> np.arange(lines) & 1) @ weights
            bases, times = np.unique(self.found - at, return_counts=True)
            base = int(bases[times.argmax()])
        else:
            spare = set(range(room)) - {line for line, level in zip(taken, held) if level == FREE}
            base = sum(1 << line for line in spare if found[:, line].sum() < 0)
        return Route(tuple(taken), tuple(held), base=base)


def consistent(
    own: np.ndarray, own_axes: np.ndarray, found: np.ndarray, axes: np.ndarray, weights: np.ndarray, anywhere: bool
) -> np.ndarray:  # fmt: skip
    """Return the largest set, nearly, of cubes that can all be right: no line goes two ways, nor two lines one way.

    If nothing was moved, two cubes of the image are in as many address lines apart as in the dump; in one more where
    a line of the dump reaches nothing.
    """
    maps = np.zeros((2, len(own), 32), np.int8) - 1
    rows = np.arange(len(own))[:, None]
    maps[0][rows, own_axes], maps[1][rows, axes] = axes, own_axes
    clash = np.zeros((len(own), len(own)), bool)
    for each in maps:
        for column in each.T[(each >= 0).any(axis=0)]:
            clash |= (column[:, None] != column) & (column[:, None] >= 0) & (column >= 0)
    if not anywhere:
        apart = [np.bitwise_count(part[:, None] ^ part).astype(int) for part in (own, found)]
        clash |= np.abs(apart[0] - apart[1]) > 1
    seed = int((~clash * weights).sum(axis=1).argmax())
    near = np.flatnonzero(~clash[seed])
    inside = clash[np.ix_(near, near)].mean(axis=1)
    return near[inside <= 0.5]
