"""All corrections of a few bits after which the checksums of a damaged image hold: exact, exhaustive, never chosen."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from functools import cached_property
from math import comb

import numpy as np
from msgspec import Struct

from romwright.errors import OptionError, RomwrightError
from romwright.faults.repairs.counting import count_sets, countable
from romwright.faults.repairs.meeting import Meeting, Steps, plainly, work
from romwright.faults.repairs.suspects import Suspects, lines_apart, turned
from romwright.faults.repairs.syndromes import Condition, Group, keys_of, packed
from romwright.images.fixup import SUMS

MOST_LOOKED_UP = 40_000_000_000  # halves of corrections, some minutes
MOST_KEPT = 20_000_000  # halves in memory
MOST_MET = 300_000_000  # corrections that are looked at one by one
MOST_RANKED = 2_000_000  # of those that are counted in another way, how many are looked at to find the best
MOST_HASHED = 40_000_000_000  # bytes put through a digest, a minute or two
TOGETHER = 64  # corrections that are checked between two looks at the clock
PAGE_CELLS = 8 * 256


class Digest(Struct, frozen=True):
    """A published digest of the whole good image, in hex digits."""

    name: str  # sha1 or sha256
    value: str

    def holds(self, data: bytes) -> bool:
        """Tell whether it holds."""
        return hashlib.new(self.name, data, usedforsecurity=False).hexdigest() == self.value

    @property
    def bits(self) -> int:
        """How many bits it has."""
        return 4 * len(self.value)


class Candidate(Struct, frozen=True):
    """Cells which, turned, make all checksums hold: 8 x byte + bit. `weak` of them are known to be weak."""

    cells: tuple[int, ...]
    weak: int
    lines_apart: int

    def changes(self, data: bytes) -> list[tuple[int, int, int]]:
        """Return (byte, what it reads, what it becomes), in order of address."""
        masks: dict[int, int] = {}
        for cell in self.cells:
            masks[cell >> 3] = masks.get(cell >> 3, 0) | 1 << (cell & 7)
        return [(byte, data[byte], data[byte] ^ mask) for byte, mask in sorted(masks.items())]


class Level(Struct, frozen=True):
    """Corrections of one number of bits: how many were tried, how many hold, and whether the best are surely listed."""

    bits: int
    tried: int
    count: int
    ranked: bool


class Corrections(Struct, frozen=True, dict=True):
    """The answer: all candidates up to `most` bits are counted, the best of them listed, the best first."""

    most: int
    suspects: Suspects
    width: int  # bits of all checksums and digests together
    even: bool  # whether all are CRCs or digests, which a wrong correction fulfils with a chance of 2^-width
    levels: tuple[Level, ...]
    candidates: tuple[Candidate, ...]

    @property
    def count(self) -> int:
        """How many candidates there are within the bounds."""
        return sum(level.count for level in self.levels)

    @property
    def tried(self) -> int:
        """How many corrections there are within the bounds."""
        return sum(level.tried for level in self.levels)

    @cached_property
    def by_chance(self) -> float:
        """How many wrong corrections would hold if each did with a chance of 2^-width."""
        return self.tried / 2.0**self.width

    @property
    def any_by_chance(self) -> float:
        """The chance that at least one wrong correction holds."""
        return -float(np.expm1(-self.by_chance))


class Search(Struct, frozen=True):
    """The search for corrections of `data`, which starts at address `start`, by checksums and digests."""

    data: bytes
    start: int
    suspects: Suspects
    conditions: Sequence[Condition]
    digests: Sequence[Digest] = ()
    steps: Steps = plainly

    def run(self, most: int, listed: int) -> Corrections:
        """Find all corrections of 1 to `most` bits and list the best. Raises OptionError if that is too much work."""
        inside, beyond = packed(self.conditions)
        group = Group.of(inside)
        keys, wanted = keys_of(inside, self.data, self.suspects.cells)
        filters = [*beyond, *self.digests]
        most_there = min(most, len(keys))
        counts = count_sets(keys, wanted, group, most_there) if countable(keys, most_there, group) else None
        for bits in range(1, most_there + 1):
            if not self.feasible(bits, counts, group, bool(filters)):
                raise self.too_many(bits)
        levels, best = [], []
        for bits in range(1, most + 1):
            tried = comb(len(keys), bits)
            if bits > most_there or counts is not None and not counts[bits]:
                levels.append(Level(bits, tried, 0, True))
                continue
            wants = listed - len(best)
            meeting = Meeting(keys, wanted, group)
            if counts is None or filters:
                count, found = self.ranked(self.kept(meeting.sets(bits, self.steps), filters), wants)
                ranked = True
            else:
                count, (found, ranked) = counts[bits], self.listed(meeting, bits, counts[bits], wants)
            levels.append(Level(bits, tried, count, ranked))
            best += found
        width = sum(each.kind.width for each in self.conditions) + sum(each.bits for each in self.digests)
        even = all(each.kind.name not in SUMS for each in self.conditions)
        return Corrections(most, self.suspects, width, even, tuple(levels), tuple(map(self.proved, best)))

    def feasible(self, bits: int, counts: list[int] | None, group: Group, filtered: bool) -> bool:
        """Tell whether corrections of so many bits can be gone through, or need not be, since they are counted."""
        if counts is not None and not filtered:
            return True
        cells = len(self.suspects)
        looked_up, kept = work(cells, bits)
        met = counts[bits] if counts is not None else comb(cells, bits) / 2.0**group.width
        hashed = met * len(self.data) if filtered else 0
        return looked_up <= MOST_LOOKED_UP and kept <= MOST_KEPT and met <= MOST_MET and hashed <= MOST_HASHED

    def too_many(self, bits: int) -> OptionError:
        """Say that corrections of so many bits cannot be gone through, and what can."""
        cells, fewer = len(self.suspects), f"--bits {bits - 1} can be done; else " * (bits > 1)
        return OptionError(
            f"there are {comb(cells, bits):,} corrections of {bits} bit{'s' * (bits > 1)} in {cells:,} cells: these "
            "checksums leave too many to go through", expected="fewer bits, fewer cells or more checksums",
            help=f"{fewer}give a range of addresses with --within, cells that waver (--read, or --weak with "
            "--only-weak), or one more checksum, best a CRC-32",
        )  # fmt: skip

    def kept(self, blocks: Iterator[np.ndarray], filters: Sequence[Condition | Digest]) -> Iterator[np.ndarray]:
        """Yield the sets after which what is checked one by one holds too."""
        if not filters:
            yield from blocks
            return
        for rows in blocks:
            for begin in self.steps(range(0, len(rows), TOGETHER), "corrections checked one by one"):
                part = rows[begin : begin + TOGETHER]
                all_turned = (turned(self.data, cells) for cells in self.suspects.cells[part].tolist())
                good = np.array([all(each.holds(data) for each in filters) for data in all_turned])
                if good.any():
                    yield part[good]

    def ranked(self, blocks: Iterator[np.ndarray], wants: int) -> tuple[int, list[Candidate]]:
        """Count sets and return the best: most weak cells, then fewest lines apart, then lowest address."""
        count, best = 0, None
        for rows in blocks:
            count += len(rows)
            if wants <= 0:
                continue
            rows = rows.astype(np.int64)
            weak, apart = self.marks(rows)
            order = np.lexsort((*reversed(list(rows.T)), apart, -weak))[:wants]
            best = rows[order] if best is None else np.concatenate((best, rows[order]))
            if len(best) > 4 * wants:
                best = self.cut(best, wants)
        if best is None:
            return count, []
        best = self.cut(best, wants)
        weak, apart = self.marks(best)
        cells = self.suspects.cells[best].tolist()
        return count, [Candidate(tuple(row), int(w), int(a)) for row, w, a in zip(cells, weak, apart, strict=True)]

    def marks(self, rows: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return how many cells of each set are weak, and how many lines tell its cells apart."""
        return self.suspects.weak[rows].sum(axis=1, dtype=np.int64), lines_apart(self.suspects.cells[rows], self.start)

    def cut(self, rows: np.ndarray, wants: int) -> np.ndarray:
        """Return the best sets, the best first."""
        weak, apart = self.marks(rows)
        return rows[np.lexsort((*reversed(list(rows.T)), apart, -weak))[:wants]]

    def listed(self, meeting: Meeting, bits: int, count: int, wants: int) -> tuple[list[Candidate], bool]:
        """Return the best of sets that are already counted, and whether they are surely the best.

        Where there are too many to look at each, those that lie in weak cells alone, then those in one page of 256
        bytes, stand for the rest.
        """
        if wants <= 0:
            return [], True
        looked_up, kept = work(len(meeting.keys), bits)
        if count <= MOST_RANKED and looked_up <= MOST_LOOKED_UP and kept <= MOST_KEPT:
            seen, found = self.ranked(meeting.sets(bits, self.steps), wants)
            if seen != count:
                raise RomwrightError(
                    f"{seen:,} corrections of {bits} bits were found, but {count:,} counted",
                    help="this is a fault of romwright: please report it with the file",
                )  # fmt: skip
            return found, True
        found: dict[tuple[int, ...], Candidate] = {}
        pages = (self.suspects.cells + 8 * self.start) // PAGE_CELLS
        places = (self.suspects.weak, *(pages == page for page in sorted(set(pages.tolist()))))
        for chosen in map(np.flatnonzero, places):
            looked_up, kept = work(len(chosen), bits)
            if len(found) >= wants or len(chosen) < bits or looked_up > MOST_RANKED or kept > MOST_RANKED:
                continue
            part = Search(self.data, self.start, self.suspects.within(chosen), self.conditions, steps=plainly)
            sets = Meeting(meeting.keys[chosen], meeting.wanted, meeting.group).sets(bits)
            found |= {each.cells: each for each in part.ranked(sets, wants)[1]}
        best = sorted(found.values(), key=lambda each: (-each.weak, each.lines_apart, each.cells))
        return best[:wants], False

    def proved(self, candidate: Candidate) -> Candidate:
        """Return a candidate after computing every checksum of the corrected bytes. Raises RomwrightError."""
        corrected = turned(self.data, candidate.cells)
        if not all(each.holds(corrected) for each in (*self.conditions, *self.digests)):
            raise RomwrightError(
                "a correction was found after which a checksum does not hold, so nothing is printed",
                help="this is a fault of romwright: please report it with the file",
            )  # fmt: skip
        return candidate
