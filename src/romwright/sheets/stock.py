"""Sheets of label stock, as numbers in mm: where each label lies. A sheet of plain paper is stock that is cut."""

from __future__ import annotations

from collections.abc import Iterator

from msgspec import Struct

from romwright.errors import OptionError

PAPERS_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}  # ISO 216; ANSI/ASME Y14.1
EDGE, FOOT, GAP = 12.0, 34.0, 8.0  # on plain paper: at the edges, at the foot, between labels
LARGEST_MM, SMALLEST_MM = 1000.0, 5.0
SLACK = 0.01  # sizes are given rounded


class Stock(Struct, frozen=True):
    """A sheet with labels in columns and rows: sizes, the first label's place, gaps; `cut` if it is plain paper."""

    width: float
    height: float
    columns: int
    rows: int
    label_width: float
    label_height: float
    left: float
    top: float
    gap_across: float = 0
    gap_down: float = 0
    cut: bool = False

    @property
    def count(self) -> int:
        """How many labels a sheet has."""
        return self.columns * self.rows

    def places(self, first: int, count: int) -> Iterator[tuple[int, float, float]]:
        """Yield sheet (from 0), x and y of each label, along the rows, the first at label `first` (from 1).

        Raises OptionError if the sheet has no such label.
        """
        if not 1 <= first <= self.count:
            raise OptionError(
                f"label {first} is not on the sheet", where="--first",
                expected=f"1 to {self.count}: {self.columns} x {self.rows} labels, counted along the rows",
            )  # fmt: skip
        for number in range(first - 1, first - 1 + count):
            sheet, place = divmod(number, self.count)
            row, column = divmod(place, self.columns)
            x = self.left + column * (self.label_width + self.gap_across)
            yield sheet, x, self.top + row * (self.label_height + self.gap_down)


def reach(count: int, size: float, gap: float) -> float:
    """Return how far labels in a line reach, from the first one's edge to the last one's."""
    return count * size + (count - 1) * gap


def label_stock(
    sheet: tuple[float, float], grid: tuple[int, int], label: tuple[float, float],
    margin: tuple[float, float] | None = None, gap: tuple[float, float] = (0, 0),
) -> Stock:  # fmt: skip
    """Return stock; without a margin the labels stand in the middle. Raises OptionError if they do not fit."""
    for name, pair in (("--stock", sheet), ("--label", label)):
        if not all(SMALLEST_MM <= value <= LARGEST_MM for value in pair):
            raise OptionError(
                f"{pair[0]:g} x {pair[1]:g} mm", where=name, expected=f"{SMALLEST_MM:g} to {LARGEST_MM:g} mm"
            )
    if not all(1 <= value <= 200 for value in grid):
        raise OptionError(f"{grid[0]} x {grid[1]} labels", where="--grid", expected="1 to 200 columns and rows")
    needed = [reach(*each) for each in zip(grid, label, gap)]
    margin = margin or tuple(max((whole - part) / 2, 0.0) for whole, part in zip(sheet, needed))
    for side, whole, edge, part in zip(("wide", "high"), sheet, margin, needed):
        if edge + part > whole + SLACK:
            raise OptionError(
                f"the labels do not fit on the sheet: margin {edge:g} and labels with gaps {part:g} make "
                f"{edge + part:g} mm, the sheet is {whole:g} mm {side}",
                where="--stock, --grid, --label, --margin, --gap", expected="the sizes on the stock's package",
                help="measure the sheet: it is WIDTHxHEIGHT, COLUMNSxROWS, LEFT,TOP and ACROSS,DOWN",
            )  # fmt: skip
    return Stock(*sheet, *grid, *label, *margin, *gap)


def plain_paper(paper: str, width: float, height: float) -> Stock:
    """Return a sheet of plain paper with room to cut labels of that size out. Raises OptionError if none fits."""
    sheet = PAPERS_MM[paper]
    room = sheet[0] - 2 * EDGE, sheet[1] - EDGE - FOOT
    grid = tuple(int((space + GAP) // (size + GAP)) for space, size in zip(room, (width, height)))
    if not all(grid):
        raise OptionError(
            f"a label of {width:g} x {height:g} mm does not fit on {paper}", where="--size",
            expected=f"at most {room[0]:g} x {room[1]:g} mm",
        )  # fmt: skip
    left = (sheet[0] - reach(grid[0], width, GAP)) / 2
    return Stock(*sheet, *grid, width, height, left, EDGE, GAP, GAP, cut=True)
