"""Name a dump that was read through faulty lines, or has wrong bits throughout, and say what is wrong with it.

Signatures suggest, sampled bytes decide, and where the lines can be undone every page is checked by its digest.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from functools import cached_property

import numpy as np
from msgspec import Struct

from romwright.faults.lines import Line, State
from romwright.faults.statement import state_lines
from romwright.images.words import in_bytes
from romwright.recognition import forms
from romwright.recognition.dump import Dump
from romwright.recognition.evidence import Fit
from romwright.recognition.ground import ALL_AGAIN, Ground
from romwright.recognition.linewords import say_lines
from romwright.recognition.reference import Known, Store
from romwright.recognition.route import FREE, Route
from romwright.recognition.signatures import SketchIndex
from romwright.recognition.sketch import LEAST_BYTES, MOST_BYTES
from romwright.recognition.verdicts import PAGE_BYTES, Match, pages_of, said_to_differ

CHECK = 8  # bytes of a page's check
SMALLEST_DUMP = LEAST_BYTES // 2
MANY_VALUES, MANY_PAGES = 24, 0.25  # in a page that is not there by chance, and the share of such pages
LEAST_PART = 0.2  # of the image or of the dump that must be one seen in the other
SIDE_BY_SIDE = {1: "half", 2: "quarter"}  # lines that choose between chips, of which one has so much of the file
WORTH = 0.5  # part of the best's evidence that another match must have


def match_misread(index: SketchIndex, store: Store, data: bytes) -> list[Match]:
    """Return the known images that a dump shows through faulty lines or wrong bits, the surest first."""
    if not len(index) or not SMALLEST_DUMP <= len(data) <= MOST_BYTES or forms.blank(data):
        return []
    found = best_of_each(find_misreads(index, store, Dump(data)))
    worthy = [each for each in found if each.surplus >= WORTH * found[0].surplus]
    matches = [each.match for each in worthy]
    return [match for match in matches if match.lossless] or matches


def find_misreads(index: SketchIndex, store: Store, dump: Dump) -> list[Misread]:
    """Return what is believed; what is dearer is looked for only if nothing was found.

    An image that would be believed as it is, but for doubts about what is wrong, is not tried with more faults.
    """
    doubted = set()
    for candidates in (
        index.find_straight(dump), index.find_shifted(dump),
        index.find_crossed(dump), index.find_crossed(dump, every=True), index.find_crossed(dump, anywhere=True),
        index.find_crossed(dump, every=True, anywhere=True),
    ):  # fmt: skip
        found, believed = [], set()
        for row, route in candidates:
            if row in doubted:
                continue
            fit = Ground(dump, index.sampled(row)).improve(route)
            if fit.believed(len(index)):
                number = index.numbers[row]
                known, checks = store.owners([number])[number], store.checks([number])[number]
                misread = Misread(dump, known, checks, fit, fit.surplus(len(index)))
                if not fit.route.faulty:
                    believed.add(row)
                if misread.covers_enough and (not fit.doubtful or misread.has_whole_pages):
                    found.append(misread)
        if found:
            return found
        doubted |= believed
    return []


def best_of_each(found: list[Misread]) -> list[Misread]:
    """Return the surest of each image, the surest first."""
    best: dict[tuple[str, str], Misread] = {}
    for misread in sorted(found, key=lambda each: -each.weight):
        best.setdefault((misread.known.list, misread.known.row.name), misread)
    return list(best.values())


class Misread(Struct, frozen=True, dict=True):
    """A dump, the known image that it shows, and how the lines run; `checks` has a check of each of its pages."""

    dump: Dump
    known: Known
    checks: bytes
    fit: Fit
    surplus: float

    @property
    def route(self) -> Route:
        """How the lines run."""
        return self.fit.route

    @property
    def weight(self) -> float:
        """The evidence, counted by how much of it agrees, and by how much of the image and the dump it is about."""
        seen = self.places[1].sum() / max(self.size, self.dump.size)
        return float(self.surplus * self.fit.equal / self.fit.seen * seen)

    @property
    def size(self) -> int:
        """The size of the image."""
        return self.known.row.size

    @cached_property
    def places(self) -> tuple[np.ndarray, np.ndarray]:
        """For each byte of the image its address in the dump, and whether it is seen there."""
        addresses = np.arange(self.size)
        at, seen = np.full(self.size, self.route.base), np.ones(self.size, bool)
        for n, (line, level) in enumerate(zip(self.route.lines, self.route.held)):
            high = addresses >> n & 1
            if level == FREE:
                at += high << line
            else:
                seen &= high == level
        for a, b in self.route.equal:
            seen &= (addresses >> a & 1) == (addresses >> b & 1)
        seen &= (at >= 0) & (at < self.dump.size)
        return np.where(seen, at, 0), seen

    @cached_property
    def undone(self) -> np.ndarray | None:
        """The image as the dump has it, where it is seen; None if a data line is lost."""
        if {line.state for line in self.route.data} - {State.FOLLOWS, State.INVERTED} or self.route.loose:
            return None
        table = np.zeros(256, np.uint8)
        for plane, line in enumerate(self.route.data):
            level = np.arange(256) >> plane & 1 ^ (line.state is State.INVERTED)
            table |= (level << line.of[0]).astype(np.uint8)
        return table[self.dump.values[self.places[0]]]

    @cached_property
    def pages(self) -> tuple[list[int], list[int]]:
        """The pages that can be compared, and those of them that differ."""
        if self.undone is None:
            return [], []
        whole = np.logical_and.reduceat(self.places[1], np.arange(0, self.size, PAGE_BYTES))
        compared = np.flatnonzero(whole).tolist()
        text = self.undone.tobytes()
        differ = [
            page for page in compared
            if hashlib.sha256(text[page * PAGE_BYTES : (page + 1) * PAGE_BYTES]).digest()[:CHECK]
            != self.checks[page * CHECK : (page + 1) * CHECK]
        ]  # fmt: skip
        return compared, differ

    @property
    def covers_enough(self) -> bool:
        """Whether more than a piece that two programs may share is seen."""
        seen = int(self.places[1].sum())
        return seen >= LEAST_PART * min(self.size, self.dump.size)

    @property
    def has_whole_pages(self) -> bool:
        """Whether many pages of many different bytes are there whole."""
        compared, differ = self.pages
        whole = sum(
            len(np.unique(self.undone[page * PAGE_BYTES : (page + 1) * PAGE_BYTES])) >= MANY_VALUES
            for page in set(compared) - set(differ)
        )
        return whole > 0 and whole >= MANY_PAGES * len(compared)

    @cached_property
    def part(self) -> list[int]:
        """The image's address lines that a dump of this size cannot have."""
        held = [n for n, level in enumerate(self.route.held) if level != FREE]
        return held[len(held) - max(len(self.route.lines) - self.dump.lines, 0) :]

    @property
    def stuck(self) -> list[int]:
        """The image's address lines that are stuck."""
        return [n for n, level in enumerate(self.route.held) if level != FREE and n not in self.part]

    @cached_property
    def side_by_side(self) -> int:
        """How many of the dump's lowest lines choose between chips side by side; 0 if they do not."""
        route, first = self.route, self.route.lines[0]
        on_from_there = route.lines == tuple(range(first, first + len(route.lines)))
        sound = not route.equal and route.base >= 0 and all(level == FREE for level in route.held)
        return first if first in SIDE_BY_SIDE and on_from_there and sound and not self.copies_alike else 0

    @cached_property
    def copies_differ(self) -> int:
        """In how many bytes the dump differs where address lines that the image does not have are at another level."""
        used = self.route.reaching
        spare = sum(1 << line for line in range(self.dump.lines) if line not in used)
        addresses = np.arange(self.dump.size)
        first = addresses & ~spare | self.route.base & spare
        return int((self.dump.values[first] != self.dump.values[: self.dump.size]).sum())

    @property
    def copies_alike(self) -> bool:
        """Whether the dump repeats itself there, but for what was damaged since."""
        return self.copies_differ <= (1 - ALL_AGAIN) * self.dump.size

    @cached_property
    def beyond(self) -> str:
        """How the dump goes on beside the image; empty if it has nothing else."""
        if self.side_by_side:
            return SIDE_BY_SIDE[self.side_by_side]
        if self.dump.size <= self.size and not self.route.base:
            return ""
        if self.dump.size >= 2 * self.size and self.copies_alike:
            return "repeated"
        rest = np.ones(self.dump.size, bool)
        rest[self.places[0][self.places[1]]] = False
        blank = len(np.unique(self.dump.values[: self.dump.size][rest])) == 1
        return "filled" if blank and 0 <= self.route.base <= self.dump.size - self.size else "shifted"

    @property
    def whole(self) -> bool:
        """Whether nothing is wrong with the bytes: all that the dump has room for is there, by digest."""
        compared, differ = self.pages
        if not compared or differ or self.stuck or self.route.equal or self.undone is None:
            return False
        if self.beyond == "repeated" and self.copies_differ:
            return False
        if self.places[1].all():
            return hashlib.sha256(self.undone.tobytes()).digest() == self.known.row.digests["sha256"]
        return len(compared) * PAGE_BYTES == self.dump.size

    @property
    def how(self) -> str:
        """The changes, and whether there is damage."""
        data = self.route.data
        states = {line.state for line in data}
        inverted = sum(line.state is State.INVERTED for line in data)
        crossed = any(line.of[:1] != (n,) for n, line in enumerate(data) if line.of and line.law is None)
        words = {
            "inverted": inverted == 8,
            "lines inverted": 0 < inverted < 8,
            "lines crossed": bool(self.route.crossed and not self.side_by_side) or crossed,
            "lines stuck": bool(self.stuck) or State.STUCK in states,
            "lines loose": bool(self.route.loose),
            "lines joined": bool(self.route.equal) or State.JOINED in states,
            "part": bool(self.part),
            self.beyond: bool(self.beyond),
            "damaged": not self.whole,
        }
        return " and ".join(word for word, holds in words.items() if holds)

    @cached_property
    def address(self) -> tuple[Line, ...]:
        """The image's address lines."""
        lines = [
            Line.follows(line) if level == FREE else Line.stuck(level)
            for line, level in zip(self.route.lines, self.route.held)
        ]
        for a, b in self.route.equal:
            of = self.route.lines[a], self.route.lines[b]
            lines[a] = lines[b] = Line.joined(self.dump.law_of(*of), of)
        return tuple(lines)

    @property
    def match(self) -> Match:
        """What is said of it."""
        compared, differ = self.pages
        total = pages_of(self.size)
        as_they_are = range(len(self.address)) if self.side_by_side else self.part
        address = [Line.follows(n) if n in as_they_are else line for n, line in enumerate(self.address)]
        said = [*say_lines(address, "A"), *say_lines(self.route.data, "D"), *self.said_of_place()]
        said += [f"D{n} has levels of its own: it may be open, or have a bad contact" for n in self.route.loose]
        if compared and len(differ) <= (1 - MANY_PAGES) * len(compared):
            said = [said_to_differ(differ, len(compared), total), *said] if differ else said
        else:
            why = "most pages differ" if compared else "no whole page can be seen"
            said = [f"{self.fit.equal} of {self.fit.seen} sampled bytes agree, {why}", *said]
        return Match(
            self.known.row.name, self.known.list, self.how, "; ".join(said), len(compared) - len(differ), total,
            tuple(differ), self.fit.equal, self.fit.seen, round(self.surplus),
            tuple(state_lines(self.address, "A")), tuple(self.state_data()), self.route.base,
        )  # fmt: skip

    def state_data(self) -> Iterator[dict[str, object]]:
        """Yield the data lines under the documented JSON keys; a loose one is said to be so."""
        for n, line in enumerate(state_lines(self.route.data, "D")):
            yield line | {"loose": True} if n in self.route.loose else line

    def said_of_place(self) -> Iterator[str]:
        """Say which part of the image the dump has, and where it lies."""
        if self.part:
            levels = " and ".join(f"A{n} {('low', 'high')[self.route.held[n]]}" for n in self.part)
            yield f"the part of the known image with {levels}"
        if self.side_by_side:
            half, base = self.side_by_side == 1, self.route.base
            part = f"the {('even', 'odd')[base % 2]} bytes" if half else "every fourth byte"
            yield f"it is {part} of the file" + (f", from {base:04X} on" if base > 1 or not half else "")
        elif self.route.base < 0:
            yield f"the file starts at {-self.route.base:04X} of the known image"
        elif self.beyond == "repeated":
            said = f", which differ in {in_bytes(self.copies_differ)}" if self.copies_differ else ""
            yield f"{self.dump.size // (1 << len(self.route.lines))} copies{said}"
        elif self.beyond:
            yield f"it starts at {self.route.base:04X} of the file"
