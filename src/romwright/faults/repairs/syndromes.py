"""Checksums that a good image keeps, and what turning each single bit of a damaged one does to them.

Every checksum here lives in a group: a CRC or an XOR in GF(2)^n, where turned bits add by exclusive or, a byte or word
sum in the integers modulo 2^n. There, what several turned bits do is the sum of what each does alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numpy as np
from msgspec import Struct

from romwright.errors import OptionError
from romwright.images.fixup import Kind
from romwright.images.image import hex_range
from romwright.images.sums import without

KEY_BITS = 64  # what all checksums that are solved together may take


class Condition(Struct, frozen=True):
    """A checksum over a range of the image that comes to `value` or, with `value` None, to what is stored at `at`.

    Ranges are (first, after the last), counted from the first byte of the image. A stored checksum leaves out its own
    place; `order` says which of its ends comes first, "little" or "big". `origin` tells who says that it must hold,
    `relied_on` the ranges of those bytes of a header that say so: were they wrong, nothing would be promised.
    """

    kind: Kind
    over: tuple[int, int]
    at: tuple[int, int] | None = None
    value: int | None = None
    order: str = "little"
    origin: str = "stated"
    relied_on: tuple[tuple[int, int], ...] = ()

    @property
    def linear(self) -> bool:
        """Whether it is linear over GF(2): a CRC or an XOR."""
        return not self.kind.weights

    @property
    def own(self) -> tuple[int, int]:
        """The place that the checksum leaves out; nothing for one that must come to a value."""
        return self.at if self.value is None else (self.over[1], self.over[1])

    def computed(self, data: bytes) -> int:
        """Compute the checksum of the bytes that it covers."""
        return self.kind.compute(without(data, self.over, self.own))

    def wanted(self, data: bytes) -> int:
        """Return what it should come to."""
        return int.from_bytes(data[slice(*self.at)], self.order) if self.value is None else self.value

    def holds(self, data: bytes) -> bool:
        """Tell whether it holds."""
        return self.computed(data) == self.wanted(data)

    def covered(self) -> np.ndarray:
        """Return which byte of the image each byte of the message is."""
        (first, last), (begin, end) = self.over, self.own
        return np.r_[first : max(min(begin, last), first), min(max(end, first), last) : last]

    def effects(self, data: np.ndarray) -> np.ndarray:
        """Return what turning each bit of each byte adds to computed minus wanted, as bytes x 8."""
        found = np.zeros((len(data), 8), np.uint64)
        message, stored = self.covered(), np.zeros((0, 8), np.uint64)
        if self.value is None:
            places = np.arange(8 * self.kind.size_bytes, dtype=np.uint64).reshape(-1, 8)
            stored = np.uint64(1) << (places if self.order == "little" else places[::-1])
        if self.linear:
            found[message] = linear_effects(self.kind, len(message))
            found[slice(*self.own)] ^= stored
            return found
        weights = np.resize(np.array(self.kind.weights, np.uint64), len(message))
        found[message] = weights[:, None] << np.arange(8, dtype=np.uint64)
        found[slice(*self.own)] -= stored  # modulo 2^64, and so modulo 2^width
        ones = (data[:, None] >> np.arange(8, dtype=np.uint8) & 1).astype(bool)
        return np.where(ones, ~found + np.uint64(1), found) & np.uint64((1 << self.kind.width) - 1)

    def touched(self, size: int) -> np.ndarray:
        """Tell for each of so many bytes whether it enters the checksum, or is where it is stored."""
        there = np.zeros(size, bool)
        there[self.covered()] = True
        there[slice(*self.own)] = True
        return there


def require_inside(condition: Condition, start: int, size: int) -> Condition:
    """Return a condition whose ranges are addresses, counted from the image's start. Raises OptionError."""
    over = condition.over or (start, start + size)
    for begin, end in filter(None, (over, condition.at)):
        if not start <= begin < end <= start + size:
            raise OptionError(
                f"{hex_range(begin, end)} does not lie in the image", where=f"the {condition.kind.name}",
                expected=f"addresses in {hex_range(start, start + size)}, as the file has them",
            )  # fmt: skip
    if condition.at and condition.at[0] <= over[0] and over[1] <= condition.at[1]:
        raise OptionError(
            f"nothing is left of {hex_range(*over)} beside the place of the checksum itself",
            where=f"the {condition.kind.name}", expected="a range of other bytes that it is computed over",
        )  # fmt: skip
    over, at = ((each[0] - start, each[1] - start) if each else None for each in (over, condition.at))
    return Condition(condition.kind, over, at, condition.value, condition.order, condition.origin)


@cache
def linear_effects(kind: Kind, length: int) -> np.ndarray:
    """Return what each bit of a message of so many bytes turns in a CRC or XOR, as bytes x 8.

    One more byte behind a bit changes its effect by a fixed linear map, which is found from short messages and then
    squared again and again: so a whole chip takes a few steps.
    """
    span = kind.size_bytes  # bits of so many bytes have effects that are a basis
    zeros = kind.compute(bytes(span + 1))
    alone = [
        [kind.compute(bytes(span - back) + bytes([1 << bit]) + bytes(back)) ^ zeros for bit in range(8)]
        for back in range(span + 1)
    ]
    step = columns_of(sum(alone[:-1], []), sum(alone[1:], []), kind.width)
    found = np.array(alone[:1], np.uint64)
    while len(found) < length:
        found, step = np.concatenate((found, mapped(step, found))), mapped(step, step)
    return found[:length][::-1]


def columns_of(sources: Sequence[int], images: Sequence[int], width: int) -> np.ndarray:
    """Return the images of the unit vectors under the linear map that takes a basis to its images."""
    rows: list[tuple[int, int]] = []
    for source, image in zip(sources, images, strict=True):
        for known, its in rows:
            if source ^ known < source:
                source, image = source ^ known, image ^ its
        rows = sorted([*rows, (source, image)], reverse=True)
    unit: dict[int, int] = {}
    for source, image in reversed(rows):  # from the lowest leading bit up
        lead = source.bit_length() - 1
        for bit in range(lead):
            if source >> bit & 1:
                image ^= unit[bit]
        unit[lead] = image
    return np.array([unit[bit] for bit in range(width)], np.uint64)


def mapped(columns: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Apply a linear map over GF(2), given by the images of the unit vectors, byte by byte."""
    found = np.zeros_like(values)
    for low in range(0, len(columns), 8):
        table = np.zeros(256, np.uint64)
        for bit, column in enumerate(columns[low : low + 8]):
            table[1 << bit : 2 << bit] = table[: 1 << bit] ^ column
        found ^= table[(values >> np.uint64(low) & np.uint64(0xFF)).astype(np.intp)]
    return found


class Group(Struct, frozen=True):
    """Several checksums side by side in one number, added field by field; a linear field has no carries.

    `tops` has the bits into which nothing is carried: the highest of each sum, every bit of a linear field. `sums` has
    all bits of sums, `lows` the lowest of each. The lowest field has `linear` bits if it is linear, else 0.
    """

    width: int
    tops: int
    sums: int
    lows: int
    linear: int

    @classmethod
    def of(cls, conditions: Sequence[Condition]) -> Group:
        """Put the conditions' fields beside each other, the first lowest."""
        width = tops = sums = lows = 0
        for condition in conditions:
            bits = condition.kind.width
            field = (1 << bits) - 1 << width
            tops |= field if condition.linear else 1 << width + bits - 1
            if not condition.linear:
                sums, lows = sums | field, lows | 1 << width
            width += bits
        first = conditions[0].kind.width if conditions and conditions[0].linear else 0
        return cls(width, tops, sums, lows, first)

    def plus(self, a, b):
        """Add two elements: numbers, or arrays of uint64."""
        if not self.sums:
            return a ^ b
        rest = (1 << KEY_BITS) - 1 ^ self.tops
        return (a & rest) + (b & rest) ^ (a ^ b) & self.tops

    def minus(self, a, b):
        """Subtract the second from the first."""
        return a ^ b if not self.sums else self.plus(a, self.plus(b ^ self.sums, self.lows))


def packed(conditions: Sequence[Condition]) -> tuple[list[Condition], list[Condition]]:
    """Return the conditions that one key has room for, CRCs first, and those that must be checked one by one."""
    inside, beyond, width = [], [], 0
    for condition in sorted(conditions, key=lambda each: (not each.linear, -each.kind.width)):
        fits = width + condition.kind.width <= KEY_BITS
        (inside if fits else beyond).append(condition)
        width += condition.kind.width * fits
    return inside, beyond


def keys_of(conditions: Sequence[Condition], data: bytes, cells: np.ndarray) -> tuple[np.ndarray, int]:
    """Return what turning each cell (8 x byte + bit) adds to all conditions, and what must be added."""
    keys, wanted, shift = np.zeros(len(cells), np.uint64), 0, 0
    seen = np.frombuffer(data, np.uint8)
    for condition in conditions:
        keys |= condition.effects(seen).reshape(-1)[cells] << np.uint64(shift)
        due, has = condition.wanted(data), condition.computed(data)
        wanted |= (due ^ has if condition.linear else (due - has) % (1 << condition.kind.width)) << shift
        shift += condition.kind.width
    return keys, wanted
