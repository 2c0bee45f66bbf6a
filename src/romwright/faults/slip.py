"""A stretch of a dump that is right but for its place: bytes were lost or put in on the way to the file."""

from __future__ import annotations

import numpy as np
from msgspec import Struct

from romwright.faults.search.starts import find_starts
from romwright.images.runs import is_uniform

SHORTEST = 16  # bytes of a stretch that prove it
ALIKE = 0.95  # share of the stretch, but for what was put in, that is there one step for all away


class Slip(Struct, frozen=True):
    """From `first` to `last` a dump has what belongs `late` addresses lower, below 0: higher; `alike` bytes of it."""

    first: int
    last: int
    late: int
    alike: int

    @property
    def in_front(self) -> bool:
        """Whether it begins where the dump does; bytes that are right by chance may stand before it."""
        return self.first < SHORTEST

    @property
    def bytes(self) -> int:
        """How long the stretch is."""
        return self.last + 1 - self.first

    @classmethod
    def of(cls, expected: np.ndarray, dump: np.ndarray, wrong: np.ndarray) -> Slip | None:
        """Return the slip that all wrong addresses lie in, None if there is none.

        >>> program = np.random.default_rng(1).integers(0, 256, 512).astype(np.uint8)
        >>> spoilt = np.concatenate((program[:100], [7], program[100:-1])).astype(np.uint8)
        >>> Slip.of(program, spoilt, np.flatnonzero(program != spoilt))
        Slip(first=100, last=511, late=1, alike=411)
        """
        first, last = int(wrong[0]), int(wrong[-1])
        stretch = dump[first : last + 1]
        if len(stretch) < SHORTEST or is_uniform(stretch):
            return None
        for late in (first - start for start in find_starts(expected, stretch)):
            where = np.arange(first, last + 1) - late
            inside = (where >= 0) & (where < len(expected))
            alike = int((stretch[inside] == expected[where[inside]]).sum())
            if late and alike >= SHORTEST and alike + abs(late) >= ALIKE * len(stretch):
                return cls(first, last, late, alike)
        return None
