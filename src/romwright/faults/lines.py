"""Lines as a read finds them, and the map from a reference to a dump that they make.

DUMP[a] = data(REF[address(a)]): each address line of the ROM, and each data line of the reader, carries the level of
a line on the other side (`follows`), its opposite (`inverted`), the AND or OR of several (`joined`), or one level
(`stuck`).
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from functools import cache, reduce

import numpy as np
from msgspec import Struct

LOW_LINES = 9  # address lines whose part of an index is worked out once and repeated
FEW_CROSSED = 4  # address lines that somebody may have crossed with intent, or by a slip
BYTES = np.arange(256, dtype=np.uint8)
LEVELS = ("low", "high")  # 0 and 1, in words


class State(StrEnum):
    """What has become of a line."""

    FOLLOWS = "follows"
    STUCK = "stuck"
    JOINED = "joined"
    INVERTED = "inverted"


class Law(StrEnum):
    """Which level a joined line has where its sources differ: the low one (AND) or the high one (OR)."""

    AND = "and"
    OR = "or"


OPERATORS = {Law.AND: np.bitwise_and, Law.OR: np.bitwise_or}


class Line(Struct, frozen=True):
    """What one line carries, in terms of the lines of the other side, numbered from 0."""

    state: State
    of: tuple[int, ...] = ()
    level: int = 0
    law: Law | None = None

    @staticmethod
    @cache
    def follows(line: int) -> Line:
        """Carry the level of one line."""
        return Line(State.FOLLOWS, (line,))

    @classmethod
    def inverted(cls, line: int) -> Line:
        """Carry the opposite of one line."""
        return cls(State.INVERTED, (line,))

    @classmethod
    def stuck(cls, level: int) -> Line:
        """Carry one level, whatever happens."""
        return cls(State.STUCK, level=level)

    @classmethod
    def joined(cls, law: Law, lines: Sequence[int]) -> Line:
        """Carry the AND or OR of several lines."""
        return cls(State.JOINED, tuple(sorted(lines)), law=law)

    def values(self, levels: np.ndarray) -> np.ndarray:
        """Return the line's level, 0 or 1, for each number whose bits are the levels of the other side."""
        if self.state is State.STUCK:
            return np.full_like(levels, self.level)
        sources = [levels >> line & 1 for line in self.of]
        value = sources[0] if self.law is None else reduce(OPERATORS[self.law], sources)
        return value ^ 1 if self.state is State.INVERTED else value


class LineMap(Struct, frozen=True):
    """The whole way from a reference to a dump: `address` by the ROM's lines, `data` by the reader's.

    `start` is the address of the reference that the dump's first byte shows. Outside the reference the dump shows it
    again and again, or, where `beyond` is a byte, that byte.

    >>> crossed = LineMap((Line.follows(1), Line.follows(0)), tuple(map(Line.follows, range(8))))
    >>> crossed.apply(np.frombuffer(b"ABCD", np.uint8), 4).tobytes()
    b'ACBD'
    """

    address: tuple[Line, ...]
    data: tuple[Line, ...]
    start: int = 0
    beyond: int | None = None

    @classmethod
    def straight(cls, lines: int, start: int = 0, beyond: int | None = None) -> LineMap:
        """Return the map of a sound adapter."""
        address, data = (tuple(map(Line.follows, range(count))) for count in (lines, 8))
        return cls(address, data, start, beyond)

    @property
    def crossed_at_random(self) -> bool:
        """Whether all lines follow one and many address lines follow another: no simpler map will do as well."""
        if any(line.state is not State.FOLLOWS for line in self.address + self.data):
            return False
        return sum(line.of[0] != number for number, line in enumerate(self.address)) > FEW_CROSSED

    def apply(self, reference: np.ndarray, size: int) -> np.ndarray:
        """Return the `size` bytes that a read of the reference, a power of two of bytes, gives through this map."""
        return np.take(self.table(), self.cells(reference, size))

    def cells(self, reference: np.ndarray, size: int) -> np.ndarray:
        """Return the reference's bytes at the addresses that reach the ROM."""
        if not self.start and self.beyond is None:
            straight = size == len(reference) and self.address == LineMap.straight(len(self.address)).address
            return reference if straight else np.take(reference, gather(self.address, size))
        wanted = np.arange(size) + self.start
        seen = reference[wanted % len(reference)]
        inside = (wanted >= 0) & (wanted < len(reference))
        return seen if self.beyond is None else np.where(inside, seen, np.uint8(self.beyond))

    def table(self) -> np.ndarray:
        """Return for each byte of the ROM the byte that the reader sees."""
        return byte_table(self.data)


def gather(lines: Sequence[Line], size: int) -> np.ndarray:
    """Return the number that the lines make of each number below `size`, as an index."""
    width = max(size - 1, 0).bit_length()
    low_width = min(width, LOW_LINES)
    low, high = np.arange(1 << low_width), np.arange(1 << width - low_width) << low_width
    low_index, high_index, mixed = np.zeros_like(low), np.zeros_like(high), []
    for number, line in enumerate(lines):
        if line.state is State.STUCK:
            low_index |= line.level << number
        elif max(line.of) < low_width:
            low_index |= line.values(low) << number
        elif min(line.of) >= low_width:
            high_index |= line.values(high) << number
        else:
            mixed.append((number, line))
    index = (high_index[:, None] | low_index).ravel()
    for number, line in mixed:
        index |= line.values(np.arange(len(index))) << number
    return index if len(index) == size else index[:size]


@cache
def byte_table(lines: tuple[Line, ...]) -> np.ndarray:
    """Return the byte that the lines make of each of the 256."""
    table = np.zeros(256, np.uint8)
    for number, line in enumerate(lines):
        table |= line.values(BYTES) << np.uint8(number)
    return table
