"""Strips of paper on pages: what belongs together stays together, the head of a table comes again."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from msgspec import Struct, field

from romwright.sheets.frame import Strip

Placed = tuple[float, Strip]  # how far down the page


class Pages(Struct):
    """Pages of one height, filled from the top."""

    height: float
    pages: list[list[Placed]] = field(default_factory=lambda: [[]])
    y: float = 0

    def fill(self, groups: Iterable[tuple[bool, list[Strip]]]) -> list[list[Placed]]:
        """Put groups of strips on the pages; a group that is to stay whole does, if one page holds it."""
        for whole, group in groups:
            for run in [group] if whole and depth(group) <= self.height else runs(group):
                self.put(run)
        return self.pages

    def put(self, run: list[Strip]) -> None:
        """Put strips that belong together on the page, or on the next one if they do not fit."""
        if not run:
            return
        if self.y and self.y + run[0].above + depth(run) > self.height and depth(run) <= self.height:
            self.turn(run[0])
        for strip in run:
            if self.y and self.y + strip.above + strip.height > self.height:
                self.turn(strip)
            self.y += strip.above if self.pages[-1] else 0
            self.lay(strip)

    def turn(self, strip: Strip) -> None:
        """Begin a page, with what is repeated above a strip."""
        self.pages.append([])
        self.y = 0
        for each in strip.again:
            self.lay(each)

    def lay(self, strip: Strip) -> None:
        """Put a strip where the page is filled to."""
        self.pages[-1].append((self.y, strip))
        self.y += strip.height


def depth(strips: list[Strip]) -> float:
    """Return the height of strips one below the other, from the first one's top."""
    return sum(strip.height for strip in strips) + sum(strip.above for strip in strips[1:])


def runs(strips: list[Strip]) -> Iterator[list[Strip]]:
    """Yield strips that are not to be parted."""
    run: list[Strip] = []
    for strip in strips:
        run.append(strip)
        if not strip.keep:
            yield run
            run = []
    yield run
