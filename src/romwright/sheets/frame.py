"""What is printed on a page, in points, y downwards: strips of paper with marks; words broken into lines."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from msgspec import Struct

from romwright.sheets.document import is_unchecked
from romwright.sheets.marks import SIZE, lettering, rule
from romwright.sheets.vectors import Mark

BODY, LEADING = SIZE, 12.5  # points: size of letters, distance of lines
PAD = 2.2  # in a row of a table


class Strip(Struct, frozen=True):
    """Marks on a strip of paper; `above` it that much room, but not at the top of a page."""

    height: float
    marks: tuple[Mark, ...] = ()
    above: float = 0
    keep: bool = False  # on the page of the strip after it
    again: tuple[Strip, ...] = ()  # what is repeated above it at the top of a page
    mark: str = ""  # what a list of contents calls it


class Cell(Struct, frozen=True):
    """Lines at a place in a row."""

    x: float
    lines: Sequence[str]
    bold: bool = False


class Frame(Struct, frozen=True):
    """What is printed on a page: its width and height; `measure` tells the width of words, of a size, bold or not."""

    width: float
    height: float
    measure: Callable[[str, float, bool], float]

    def lines(self, words: str, width: float, size: float = BODY, bold: bool = False) -> list[str]:
        """Break words into lines no wider than that; a word that is wider is broken too."""
        lines = [""]
        for word in words.split():
            if lines[-1] and self.measure(f"{lines[-1]} {word}", size, bold) <= width:
                lines[-1] += f" {word}"
                continue
            while word:
                stop = self._fits(word, width, size, bold)
                lines.append(word[:stop])
                word = word[stop:]
        return [line for line in lines if line] or [""]

    def cell(self, x: float, words: str, width: float, bold: bool = False) -> Cell:
        """Return words as a cell of a row; what was not checked is printed bold."""
        bold = bold or is_unchecked(words)
        return Cell(x, self.lines(words, width, BODY, bold), bold)

    def _fits(self, word: str, width: float, size: float, bold: bool) -> int:
        """Count the letters of a word that a line holds, one at least."""
        used = 0.0
        for count, letter in enumerate(word):
            used += self.measure(letter, size, bold)
            if used > width:
                return max(count, 1)
        return len(word)


def row_strips(cells: Sequence[Cell], frame: Frame, lead: Sequence[Mark] = (), least: float = 0) -> Iterator[Strip]:
    """Yield a row above a thin line, in one strip; if it is higher than half a page, in a strip for each line."""
    count = max((len(cell.lines) for cell in cells), default=1)
    height, top = max(count * LEADING + PAD + 1, least), BODY + (PAD if least else PAD / 2)
    step = count if height < frame.height / 2 else 1
    for start in range(0, count, step):
        marks = [
            lettering(cell.x, top + n * LEADING, line, bold=cell.bold)
            for cell in cells
            for n, line in enumerate(cell.lines[start : start + step])
            if line
        ]
        last = start + step >= count
        deep = step * LEADING + (PAD + 1 if last else 0)
        deep = max(deep, least) if step == count else deep
        yield Strip(deep, (*(lead if not start else ()), *marks, *([rule(0, frame.width, deep, 0.5)] if last else ())))
