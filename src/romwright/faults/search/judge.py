"""What an explanation of a dump is worth: the bits that it leaves wrong, and what it costs to say."""

from __future__ import annotations

from functools import cached_property

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from romwright.faults.lines import Line, LineMap
from romwright.faults.search import matching
from romwright.faults.search.prices import FEW, PAGE, price_of_map, price_of_wrong, prices_of_pages

GOOD = 0.012  # share of wrong bits up to which a match is taken to be right
RIGHT = 0.75  # share of the pages that are not blank that must be right if any line is not straight
BLANK = 64.0  # what it costs at least to write down a page that is not blank
ENOUGH = 0.75  # share of what it costs to write the dump down that an explanation may cost at most


class Explanation(Struct, frozen=True):
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


class Judge:
    """A reference and a dump, what each explanation of the one by the other is worth, and those judged so far.

    `reference` is filled up to a power of two of bytes. `known` says which bytes of the dump are defined, and `defined`
    which of the reference; None: all. Which bits are wrong is counted where both are; to weigh maps against each other
    what the reference does not define is taken as it is filled, or a map that leads nowhere would be right everywhere.
    """

    def __init__(
        self, reference: np.ndarray, dump: np.ndarray,
        known: np.ndarray | None = None, defined: np.ndarray | None = None,
    ) -> None:  # fmt: skip
        self.reference, self.dump, self.known, self.defined = reference, dump, known, defined
        self.rom_lines = len(reference).bit_length() - 1
        self.reader_lines = (len(dump) - 1).bit_length()
        self.bits = 8 * (len(dump) if known is None else int(known.sum()))
        self.found: dict[LineMap, Explanation] = {}
        self.last_read: tuple[LineMap, np.ndarray]

    @cached_property
    def straight(self) -> Explanation:
        """What is left wrong if all lines run as they should."""
        return self.judge(LineMap.straight(self.rom_lines) if self.fits else self.part_of_straight())

    @property
    def fits(self) -> bool:
        """Whether the reader has all lines of the ROM."""
        return self.reader_lines >= self.rom_lines

    def part_of_straight(self) -> LineMap:
        """Return the map of a dump that is smaller than the ROM: its first part."""
        address = [Line.follows(n) if n < self.reader_lines else Line.stuck(0) for n in range(self.rom_lines)]
        return LineMap(tuple(address), LineMap.straight(0).data)

    def judge(self, lines: LineMap) -> Explanation:
        """Read the whole reference through a map, count what is wrong, and keep it."""
        if known := self.found.get(lines):
            return known
        expected = lines.apply(self.reference, len(self.dump))
        changed = expected ^ self.dump
        if self.known is not None:
            changed[~self.known] = 0
        wrong = self.by_page(changed)
        price = price_of_map(lines, self.reader_lines) + price_of_wrong(wrong, self.page_prices)
        if self.defined is not None:
            changed[~self.compared(lines)] = 0
            wrong = self.by_page(changed)
        rose, fell = matching.bits(changed & self.dump), matching.bits(changed & expected)
        self.found[lines] = found = Explanation(lines, rose, fell, price, self.right(expected, changed, wrong))
        if self.best is found:
            self.last_read = lines, expected
        return found

    def right(self, expected: np.ndarray, changed: np.ndarray, wrong: np.ndarray) -> float:
        """Return the lesser share that is right: of the pages that are not blank, or of the bytes that never are."""
        program = (self.dump != self.blank) & (expected != self.blank)
        shares = (wrong <= self.few_wrong)[self.live], changed[program] == 0
        return min((float(share.mean()) for share in shares if len(share)), default=1.0)

    def by_page(self, changed: np.ndarray) -> np.ndarray:
        """Count the wrong bits of each page."""
        return np.add.reduceat(np.bitwise_count(changed), self.pages, dtype=np.int64)

    def compared(self, lines: LineMap) -> np.ndarray | None:
        """Tell for each byte of the dump whether it and what a map leads it to are defined; None: all are."""
        if self.defined is None:
            return self.known
        reached = replace(lines, beyond=lines.beyond if lines.beyond is None else 1)
        there = reached.cells(self.defined.astype(np.uint8), len(self.dump)) != 0
        return there if self.known is None else there & self.known

    def read(self, lines: LineMap) -> np.ndarray:
        """Return what is read through a map; what the best explanation so far gave is kept."""
        known, expected = self.last_read
        return expected if known is lines else lines.apply(self.reference, len(self.dump))

    @cached_property
    def pages(self) -> np.ndarray:
        """Where the pages of the dump begin."""
        return np.arange(0, len(self.dump), PAGE)

    @cached_property
    def page_prices(self) -> np.ndarray:
        """What it costs to write down each page of the dump as it is."""
        return prices_of_pages(self.dump)

    @cached_property
    def blank(self) -> int:
        """The byte that the dump has most often."""
        return int(np.bincount(self.dump, minlength=256).argmax())

    @cached_property
    def live(self) -> np.ndarray:
        """Which pages of the dump are not blank, nor nearly so."""
        return self.page_prices > BLANK

    @cached_property
    def few_wrong(self) -> np.ndarray:
        """Up to how many wrong bits each page is right."""
        return FEW * 8 * np.diff(self.pages, append=len(self.dump))

    @property
    def price_of_nothing(self) -> float:
        """What it costs to write down the dump as it is: nothing explains it."""
        return float(self.page_prices.sum())

    def explains(self, found: Explanation) -> bool:
        """Tell whether an explanation says much of the dump: two programs may have pieces in common by chance.

        A map that misses a line that is stuck or joined is right in one half of the pages: that is not enough.
        """
        if found is not self.straight and found.right < RIGHT:
            return False
        return found.residual <= GOOD * self.bits or found.price <= ENOUGH * self.price_of_nothing

    @property
    def best(self) -> Explanation:
        """The cheapest explanation so far."""
        return min(self.found.values(), key=lambda each: each.price)

    @property
    def good(self) -> bool:
        """Whether the best explanation leaves so few bits wrong that no other kind need be looked for."""
        return self.best.residual <= GOOD * self.bits
