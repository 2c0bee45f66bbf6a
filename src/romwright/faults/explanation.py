"""One explanation of a dump: a line map, and how well it does."""

from __future__ import annotations

from dataclasses import dataclass

from romwright.faults.lines import LineMap


@dataclass(frozen=True, slots=True)
class Explanation:
    """A line map, the bits that are wrong in spite of it, and what it all costs to say.

    `right` is the share of the pages in which few bits are wrong, or of the right bytes; what is blank does not count.
    """

    lines: LineMap
    rose: int
    fell: int
    price: float
    right: float

    @property
    def residual(self) -> int:
        """How many bits the map does not explain."""
        return self.rose + self.fell
