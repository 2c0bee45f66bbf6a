"""Words fitted into a box: as large as it allows; what is long wraps and shrinks, and only a name is ever cut."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from msgspec import Struct
from msgspec.structs import replace

from romwright.sheets.frame import Frame
from romwright.sheets.marks import lettering
from romwright.sheets.vectors import Mark

LARGEST, LEAST = 4.2, 1.41  # mm: size of letters; the least is 4 points
STEP, LEADING, BASE = 0.96, 1.2, 0.94  # a smaller try; height of a line, its base line, in sizes of letters
BETWEEN = 0.7  # of a size of letters, between two facts on a line
MORE = "…"
Measure = Callable[[str, float, bool], float]


class Fact(Struct, frozen=True):
    """Words that stay on one line if it holds them; `scale`: how large beside other facts."""

    words: str
    scale: float = 1
    bold: bool = False


class Row(Struct, frozen=True):
    """Facts on a line, each with the x at which it starts; `size` of the largest letters."""

    placed: tuple[tuple[float, float, Fact], ...]
    size: float


class Fitted(Struct, frozen=True):
    """Lines of words at a place, and whether the name was cut."""

    marks: tuple[Mark, ...]
    cut: bool = False


class Box(Struct, frozen=True):
    """A place for words, in mm: its upper left corner and its size."""

    x: float
    y: float
    width: float
    height: float
    measure: Measure

    def fit(self, name: Fact, facts: Sequence[Fact]) -> Fitted | None:
        """Put a name and facts below it into the box; None if the least letters are too large."""
        if min(self.width, self.height) <= 0:
            return None
        size = LARGEST
        while size > LEAST:
            rows = [*self.rows([name], size), *self.rows(facts, size)]
            if depth(rows) <= self.height:
                return Fitted(tuple(self.marks(rows)))
            size *= STEP
        named, rest = (list(self.rows([replace(one, scale=1) for one in some], LEAST)) for some in ([name], facts))
        kept = named[: self.names_beside(rest)]
        if not kept:
            return None
        cut = len(kept) < len(named)
        if cut:
            kept[-1] = self.shortened(kept[-1])
        return Fitted(tuple(self.marks([*kept, *rest])), cut)

    def names_beside(self, rest: Sequence[Row]) -> int:
        """Count the lines of a name that the least letters leave room for."""
        return max(0, int((self.height - depth(rest)) / (LEAST * LEADING) + 1e-9))

    def rows(self, facts: Sequence[Fact], size: float) -> Iterator[Row]:
        """Lay facts out in lines, for letters of a size."""
        placed: list[tuple[float, float, Fact]] = []
        right = 0.0
        for fact in self.pieces(facts, size):
            own = max(LEAST, size * fact.scale)
            length = self.measure(fact.words, own, fact.bold)
            if placed and right + BETWEEN * size + length > self.width:
                yield Row(tuple(placed), max(each for _, each, _ in placed))
                placed, right = [], 0.0
            x = right + BETWEEN * size if placed else 0.0
            placed.append((x, own, fact))
            right = x + length
        if placed:
            yield Row(tuple(placed), max(each for _, each, _ in placed))

    def pieces(self, facts: Sequence[Fact], size: float) -> Iterator[Fact]:
        """Yield the facts; what no line holds is broken at its spaces, and then anywhere."""
        frame = Frame(self.width, self.height, self.measure)
        for fact in facts:
            for line in frame.lines(fact.words, self.width, max(LEAST, size * fact.scale), fact.bold):
                yield Fact(line, fact.scale, fact.bold)

    def shortened(self, row: Row) -> Row:
        """Return the last line of a name that goes on, with three dots."""
        (x, size, fact), *_ = row.placed
        words = fact.words
        while words and self.measure(words + MORE, size, fact.bold) > self.width:
            words = words[:-1]
        return Row(((x, size, Fact(words + MORE, fact.scale, fact.bold)),), row.size)

    def marks(self, rows: Sequence[Row]) -> Iterator[Mark]:
        """Yield the words of lines, in the middle of the height."""
        y = self.y + (self.height - depth(rows)) / 2
        for row in rows:
            for x, size, fact in row.placed:
                yield lettering(self.x + x, y + row.size * BASE, fact.words, size, fact.bold)
            y += row.size * LEADING


def depth(rows: Sequence[Row]) -> float:
    """Return how high lines are."""
    return sum(row.size for row in rows) * LEADING
