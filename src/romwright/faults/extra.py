"""Bytes that a dump has before or after those of its reference: padding, a header, a line end."""

from __future__ import annotations

import numpy as np
from msgspec import Struct

from romwright.faults.search.matching import bits
from romwright.images.image import hex_range
from romwright.images.runs import is_uniform

ALIKE = 0.012  # share of wrong bits up to which a piece of the dump is the reference


class Extra(Struct, frozen=True):
    """What lies before and after `size` bytes that stand for the reference."""

    head: np.ndarray
    tail: np.ndarray
    size: int

    @classmethod
    def of(cls, reference: np.ndarray, dump: np.ndarray) -> Extra:
        """Look for bytes that are not the reference's: one value throughout, or all but the reference itself.

        >>> program = np.arange(64, dtype=np.uint8)
        >>> Extra.of(program, np.append(program, [13, 10]).astype(np.uint8)).tail.tolist()
        [13, 10]
        """
        size, over = len(reference), len(dump) - len(reference)
        none = cls(dump[:0], dump[:0], len(dump))
        if over <= 0 or is_uniform(reference):
            return none
        around = dump.reshape(-1, size) if over % size == 0 else None
        if around is not None and (around == reference).all():
            return none
        after, before = cls(dump[:0], dump[size:], size), cls(dump[:over], dump[:0], size)
        wrong = [(bits(reference ^ each.cut(dump)), each) for each in (after, before)]
        fits = [(count, each) for count, each in wrong if count <= ALIKE * 8 * size and not each.repeats(reference)]
        padded = [(count, each) for count, each in wrong if is_uniform(each.surplus)]
        return min(fits or padded or [(0, none)], key=lambda found: found[0])[1]

    @classmethod
    def around(cls, reference: np.ndarray, dump: np.ndarray) -> list[Extra]:
        """Return what may be too many in a dump that is longer by less than its reference, read through any lines."""
        over = len(dump) - len(reference)
        if not 0 < over < len(reference):
            return []
        return [cls(dump[:0], dump[-over:], len(reference)), cls(dump[:over], dump[:0], len(reference))]

    @property
    def before(self) -> int:
        """How many bytes are before."""
        return len(self.head)

    @property
    def after(self) -> int:
        """How many bytes are after."""
        return len(self.tail)

    @property
    def bytes(self) -> int:
        """How many bytes are too many."""
        return self.before + self.after

    @property
    def surplus(self) -> np.ndarray:
        """The bytes that are too many."""
        return np.concatenate((self.head, self.tail))

    @property
    def range(self) -> str:
        """The addresses of the rest."""
        return hex_range(self.before, self.before + self.size)

    def cut(self, data: np.ndarray) -> np.ndarray:
        """Return what stands for the reference."""
        return data[self.before : self.before + self.size]

    def repeats(self, reference: np.ndarray) -> bool:
        """Tell whether what is too many is the reference again, as far as it goes."""
        again = np.resize(reference, self.bytes)
        return self.bytes >= len(reference) and bits(again ^ self.surplus) <= ALIKE * 8 * self.bytes
