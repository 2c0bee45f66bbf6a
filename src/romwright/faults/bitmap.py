"""The wrong bits of a dump counted for a map: rows of addresses, and for each cell of them the eight data lines."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property

import numpy as np
from msgspec import Struct

from romwright.faults.residue import Residue

MOST_ROWS = 32
ACROSS = (4, 8, 16)  # cells of one address that stand in a row; more addresses than fit so are taken together, 4 a row
PAGE = 256
STEPS = 4  # sizes of marks


class Wrong(Struct, frozen=True):
    """The wrong bits, each told by address and data line; `rose` and `fell` have a byte for each of `addresses`."""

    size: int
    addresses: np.ndarray
    rose: np.ndarray
    fell: np.ndarray

    @classmethod
    def of(cls, residue: Residue) -> Wrong:
        """Take them from a residue; they rise and fall at the cell."""
        held = residue.held[residue.addresses]
        return cls(len(residue.dump), residue.addresses, residue.changed & ~held, residue.changed & held)

    def part(self, start: int, stop: int) -> Wrong:
        """Return those at the addresses from `start` to before `stop`, counted from `start`."""
        first, last = np.searchsorted(self.addresses, (start, stop))
        inside = slice(first, last)
        return Wrong(stop - start, self.addresses[inside] - start, self.rose[inside], self.fell[inside])

    def worst_pages(self, most: int) -> list[int]:
        """Return the starts of the pages of 256 bytes with most wrong bits, in the order of their addresses."""
        pages = np.bincount(self.addresses // PAGE, weights=np.bitwise_count(self.rose | self.fell))
        worst = np.argsort(-pages, kind="stable")[:most]
        return sorted(int(page) * PAGE for page in worst if pages[page])


class Grid(Struct, frozen=True, dict=True):
    """A map of wrong bits: `across` cells in a row, each of `each` addresses, the first `start`."""

    wrong: Wrong
    across: int
    each: int
    start: int = 0

    @classmethod
    def of(cls, wrong: Wrong) -> Grid:
        """Choose how many addresses a cell has, so that all fit."""
        for across in ACROSS:
            if wrong.size <= across * MOST_ROWS:
                return cls(wrong, across, 1)
        each = 1
        while each * ACROSS[0] * MOST_ROWS < wrong.size:
            each *= 2
        return cls(wrong, ACROSS[0], each)

    @classmethod
    def page(cls, wrong: Wrong, start: int) -> Grid:
        """Show one page of 256 addresses, each bit by itself."""
        return cls(wrong.part(start, min(start + PAGE, wrong.size)), ACROSS[-1], 1, start)

    @property
    def cells(self) -> int:
        """How many cells there are."""
        return -(-self.wrong.size // self.each)

    @property
    def rows(self) -> int:
        """How many rows they make."""
        return -(-self.cells // self.across)

    def count(self, bits: np.ndarray) -> np.ndarray:
        """Count bits, a row for each cell, D0 first."""
        at = self.wrong.addresses // self.each
        counts = [np.bincount(at[(bits >> line & 1) != 0], minlength=self.cells) for line in range(8)]
        return np.stack(counts, axis=1)

    @cached_property
    def rose(self) -> np.ndarray:
        """How many bits rose in each cell, of each data line."""
        return self.count(self.wrong.rose)

    @cached_property
    def fell(self) -> np.ndarray:
        """How many bits fell in each cell, of each data line."""
        return self.count(self.wrong.fell)

    @cached_property
    def steps(self) -> list[int]:
        """The highest count of each size of mark: one, and up to the highest of all in equal ratios."""
        most = int(max(self.rose.max(initial=0), self.fell.max(initial=0)))
        if most <= STEPS:
            return list(range(1, most + 1))
        return [1, *(max(step, round(most ** (step / (STEPS - 1)))) for step in range(1, STEPS - 1)), most]

    def marks(self) -> Iterator[tuple[int, int, bool, int]]:
        """Yield the cell, the data line, whether its bits rose, and the size of each mark, from 0."""
        for rose, counts in ((True, self.rose), (False, self.fell)):
            cells, lines = np.nonzero(counts)
            sizes = np.searchsorted(self.steps, counts[cells, lines])
            for cell, line, size in zip(cells.tolist(), lines.tolist(), sizes.tolist()):
                yield cell, line, rose, size

    def totals_by_row(self) -> list[tuple[int, int]]:
        """Return how many bits rose and fell in each row."""
        padded = (np.zeros((self.rows * self.across, 8), np.int64) for _ in range(2))
        sums = []
        for counts, room in zip((self.rose, self.fell), padded):
            room[: self.cells] = counts
            sums.append(room.reshape(self.rows, -1).sum(axis=1).tolist())
        return list(zip(*sums))

    def totals_by_line(self) -> list[tuple[int, int]]:
        """Return how many bits rose and fell on each data line, D0 first."""
        return list(zip(self.rose.sum(axis=0).tolist(), self.fell.sum(axis=0).tolist()))

    def blank(self, known: np.ndarray | None) -> list[int]:
        """Return the cells of which nothing was compared; `known` tells it for each address, None: all were."""
        if known is None:
            return []
        compared = np.zeros(self.cells * self.each, bool)
        compared[: self.wrong.size] = known[self.start : self.start + self.wrong.size]
        return np.flatnonzero(~compared.reshape(self.cells, self.each).any(axis=1)).tolist()
