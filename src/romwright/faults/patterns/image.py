"""The line finder: an image in which every word names one address line of the ROM, and the level that this line had.

Which line a word names is scattered over the addresses, so that no two line maps read alike; at the addresses of one
line high, and of one line low among all others high, it is that line. Each line has two code words, one for low and
one for high, which differ from each other and from all others in several data lines, as far as the width allows.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
from msgspec import Struct

from romwright.errors import OptionError

MOST_LINES = 24
NARROWEST, WIDEST = 4, 16  # bits of a word


def mixed(number: int | np.ndarray, salt: int = 0) -> int | np.ndarray:
    """Scatter 32-bit numbers, the same on every machine: multiply and fold, three times over."""
    value = number + 1 + salt
    for factor in (0x9E3779B1, 0x85EBCA6B, 0xC2B2AE35):
        value = value * factor & 0xFFFFFFFF
        value = value ^ value >> 15
    return value


class LineFinder(Struct, frozen=True, dict=True):
    """The pattern for a ROM of so many address lines and so many bits in a word.

    >>> LineFinder(11, 8).words[[1, 2, 4]].tolist() == [high for low, high in LineFinder(11, 8).code[:3]]
    True
    """

    lines: int
    bits: int

    def __post_init__(self) -> None:
        if not 1 <= self.lines <= MOST_LINES or not NARROWEST <= self.bits <= WIDEST:
            raise OptionError(
                f"no line finder is made for {self.lines} address lines and words of {self.bits} bits",
                expected=f"1 to {MOST_LINES} address lines, {NARROWEST} to {WIDEST} bits",
            )

    @cached_property
    def code(self) -> tuple[tuple[int, int], ...]:
        """For each address line the word that says it was low, and the one that says it was high."""
        count = 1 << self.bits
        order = np.argsort(mixed(np.arange(count), count), kind="stable").tolist()
        if 2 * self.lines > count - 2:  # too few words: some serve two lines, but no pair does
            half = count // 2
            return tuple((order[k % count], order[(k + half + k // count) % count]) for k in range(self.lines))
        inner = [word for word in order if 0 < word < count - 1]  # all 0 and all 1 are what an empty socket reads
        chosen: list[int] = []
        distance = self.bits // 2 + 1
        while len(chosen) < 2 * self.lines:
            distance, chosen = distance - 1, []
            for word in inner:
                if all((word ^ other).bit_count() >= distance for other in chosen):
                    chosen.append(word)
        return tuple(zip(chosen[: 2 * self.lines : 2], chosen[1 : 2 * self.lines : 2]))

    def told(self, addresses: np.ndarray) -> np.ndarray:
        """Return the address line that the word at each address names."""
        named = mixed(addresses.astype(np.int64)) * self.lines >> 32
        for line in range(self.lines):
            alone = 1 << line
            named[(addresses == alone) | (addresses == (1 << self.lines) - 1 - alone)] = line
        return named

    @cached_property
    def cells(self) -> np.ndarray:
        """What each word says: twice the number of the line that it names, plus its level."""
        addresses = np.arange(1 << self.lines, dtype=np.int64)
        named = self.told(addresses)
        return (2 * named | addresses >> named & 1).astype(np.uint8)

    @property
    def words(self) -> np.ndarray:
        """The contents, address 0 first."""
        return np.array(self.code, np.uint16).ravel()[self.cells]

    def image_bytes(self) -> bytes:
        """Return the contents as the bytes of a file, the low byte of a word first."""
        return self.words.astype("<u2" if self.bits > 8 else np.uint8).tobytes()

    def words_of(self, data: bytes) -> np.ndarray:
        """Return the words that the bytes of a dump hold; bits that the chip does not have are left out.

        Raises OptionError for half a word.
        """
        if self.bits > 8 and len(data) % 2:
            raise OptionError(
                f"the dump has {len(data):,} bytes, the chip words of {self.bits} bits",
                expected="two bytes for each word, the low byte first",
                help="read the chip again as the words that it has",
            )
        words = np.frombuffer(data, "<u2" if self.bits > 8 else np.uint8).astype(np.uint16)
        return words & np.uint16((1 << self.bits) - 1)
