"""Reads of one chip, each at its addresses, and how far two of them are apart."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from functools import cached_property
from pathlib import PurePath

import numpy as np
from msgspec import Struct, field
from msgspec.structs import replace

from romwright.images.formats import Loaded, raw
from romwright.images.image import Image, Segment
from romwright.images.runs import is_uniform

# Two reads of one chip differ in single bits, evenly over the data lines. Two ROMs differ in about half of the bits of
# their programs, a read with a data line stuck in half of the bytes. The limits lie between (a judgement).
MANY_BITS = 0.15  # share of the bits of the program
ONE_LINE = 0.25  # share of the bytes of the program, on one data line
LEAST = 16  # bits below which nothing is called wholesale
STANDS_OUT = 4  # times as many as on the other lines, from which a line that never moves is stuck in that read
LEAST_PROGRAM = 64  # blank bytes do not count, but at least one byte in so many does
LEAST_COMMON = 0.5  # share of the smaller read that both must have


class Read(Struct, frozen=True, eq=False, dict=True):
    """One read: bytes at addresses, from `start` to before `stop`; what it does not define, it says nothing of."""

    file: str
    format: str
    image: Image

    @property
    def start(self) -> int:
        """The first address."""
        return self.image.start

    @property
    def stop(self) -> int:
        """The address after the last."""
        return self.image.stop

    @property
    def size(self) -> int:
        """How many bytes it has."""
        return self.image.size_bytes

    @cached_property
    def blank(self) -> bool:
        """Whether there are several bytes, all the same."""
        pieces = [np.frombuffer(segment.data, np.uint8) for segment in self.image.segments]
        return self.size > 1 and all(is_uniform(each) and each[0] == pieces[0][0] for each in pieces)

    @cached_property
    def fill(self) -> int:
        """The commonest byte."""
        return int(np.bincount(np.frombuffer(self.image.defined(), np.uint8)).argmax())

    def over(self, start: int, stop: int) -> tuple[np.ndarray, np.ndarray | None]:
        """Return the bytes from `start` to before `stop`, 0 where there are none, and which are there (None: all)."""
        for segment in self.image.segments:
            if segment.start <= start and stop <= segment.stop:
                return np.frombuffer(segment.data, np.uint8, stop - start, start - segment.start), None
        data, known = np.zeros(stop - start, np.uint8), np.zeros(stop - start, bool)
        for segment in self.image.cut(start, stop).segments:
            place = slice(segment.start - start, segment.stop - start)
            data[place], known[place] = np.frombuffer(segment.data, np.uint8), True
        return data, known


class Apart(Struct, frozen=True):
    """How two reads differ where both have bytes."""

    bits: int
    common: int  # bytes that both have
    wholesale: bool


def compatible(one: Read, other: Read) -> bool:
    """Tell whether both can be reads of the same addresses: raw files of one size, hex files that overlap enough."""
    for whole, each in ((one, other), (other, one)):
        if whole.format == raw.NAME and (each.start < whole.start or each.stop > whole.stop):
            return False
    spanned = min(one.stop, other.stop) - max(one.start, other.start)
    return spanned >= LEAST_COMMON * min(one.size, other.size)


def apart(one: Read, other: Read) -> Apart:
    """Compare two reads that are compatible."""
    start, stop = max(one.start, other.start), min(one.stop, other.stop)
    if one.image is other.image:
        return Apart(0, one.size, False)
    (first, mine), (second, theirs) = one.over(start, stop), other.over(start, stop)
    changed = first ^ second
    known = None
    for mask in (mine, theirs):
        if mask is not None:
            changed *= mask
            known = mask if known is None else known & mask
    size = stop - start if known is None else int(known.sum())
    bits = int(np.bitwise_count(changed).sum(dtype=np.int64))
    if bits < LEAST:
        return Apart(bits, size, False)
    lines = [np.count_nonzero(changed & np.uint8(1 << bit)) for bit in range(8)]
    used = (first != one.fill) | (second != one.fill)
    program = max(int(np.count_nonzero(used if known is None else used & known)), size // LEAST_PROGRAM, 1)
    many = bits > MANY_BITS * 8 * program or any(LEAST <= count > ONE_LINE * program for count in lines)
    return Apart(bits, size, many or dead_line(first, second, known, lines))


def dead_line(first: np.ndarray, second: np.ndarray, known: np.ndarray | None, lines: list[int]) -> bool:
    """Tell whether a data line never moves in one of two reads only, and accounts for nearly all that differs."""
    moves = 0
    for each in (first, second):
        seen = each if known is None else each[known]
        moves ^= int(np.bitwise_and.reduce(seen)) ^ int(np.bitwise_or.reduce(seen))
    others = sorted(lines)[3]  # of an ordinary line
    return any(moves >> bit & 1 and count >= LEAST + STANDS_OUT * others for bit, count in enumerate(lines))


class Reads(Struct):
    """What was given: the reads, and the files that are no read of their own, with what each is the same as."""

    reads: list[Read] = field(default_factory=list)
    same: list[tuple[str, str]] = field(default_factory=list)
    moved_to: int | None = None  # the address that the first byte of raw files was taken for, where that is not 0

    @classmethod
    def of(cls, loaded: Iterable[Loaded]) -> Reads:
        """Take in reads one by one; equal contents are held once.

        A file with the name and the contents of an earlier one, in another folder, is a copy of it.
        """
        found, held, names = cls(), {}, {}
        for one in loaded:
            key = (one.image.segments, one.format)
            image = held.setdefault(key, one.image)
            name = (PurePath(one.file).name, key)
            if name in names:
                found.same.append((one.file, names[name]))
                continue
            names[name] = one.file
            found.reads.append(Read(one.file, one.format, image))
        found.place()
        return found

    def place(self) -> None:
        """Put raw files, which have no addresses, where the hex files among the reads are."""
        hexes = [read for read in self.reads if read.format != raw.NAME]
        sizes = Counter(read.size for read in self.reads if read.format == raw.NAME)
        if not hexes or not sizes:
            return
        size = max(sizes, key=lambda size: (sizes[size], size))
        starts = Counter(read.start for read in hexes)
        start = max(starts, key=lambda start: (starts[start], -start))
        stop = max(read.stop for read in hexes if read.start == start)
        block = 1 << (size - 1).bit_length()
        base = start // block * block
        base = base if stop <= base + size else start
        if not base:
            return
        self.moved_to = base
        moved: dict[int, Image] = {}
        for at, read in enumerate(self.reads):
            if read.format == raw.NAME:
                image = moved.setdefault(id(read.image), read.image.moved(base))
                self.reads[at] = replace(read, image=image)


def image_of(data: np.ndarray, known: np.ndarray, start: int) -> Image:
    """Return the image of the bytes that are known, the first of `data` at `start`."""
    return Image(tuple(Segment(start + a, data[a:b].tobytes()) for a, b in stretches(known)))


def stretches(mask: np.ndarray) -> Iterator[tuple[int, int]]:
    """Yield the runs of true values, as (first, after the last).

    >>> list(stretches(np.array([1, 1, 0, 1], bool)))
    [(0, 2), (3, 4)]
    """
    edges = np.flatnonzero(np.diff(mask, prepend=False, append=False)).tolist()
    yield from zip(edges[::2], edges[1::2])
