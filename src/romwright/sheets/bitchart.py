"""A grid of a map of wrong bits: rows of addresses, the data lines of each cell, a mark where bits are wrong."""

from __future__ import annotations

from romwright.faults.bitmap import Grid
from romwright.sheets.plot import Plot, Point

LEFT, SPAN = 92, 800  # where the grid begins, how wide it is
SUMS = 948, 1002  # where the sums of a row end
SIZES = (5.5, 7.5, 9.5, 11.5)  # of marks, by step
BIGGEST = 15  # of a mark of one bit
FRAME, RULE, HAIR, OUTLINE = 2.5, 1.2, 0.35, 4


def triangle(x: float, y: float, size: float, up: bool) -> tuple[Point, ...]:
    """Return a triangle about a middle, `size` wide, that points up or down."""
    half, rise = size / 2, size * 0.43 * (-1 if up else 1)
    return (x - half, y - rise), (x + half, y - rise), (x, y + rise)


def size_of(grid: Grid, step: int) -> float:
    """Return how wide a mark of a cell of several addresses is: the biggest for the highest counts."""
    return SIZES[step - len(grid.steps)]


def put_marks(plot: Plot, up: list, down: list, name: str = "") -> None:
    """Draw marks: filled ones that point up, open ones that point down."""
    plot.figures(up, 0.6, filled=True, name=f"{name}rose")
    plot.figures(down, 1.3, name=f"{name}fell")


class Chart:
    """A grid on its place; addresses stand at the left, data lines above, sums at the right."""

    def __init__(self, plot: Plot, grid: Grid, top: float, name: str = "") -> None:
        self.plot, self.grid, self.top, self.name = plot, grid, top, name
        self.cell = SPAN / (8 * grid.across)
        self.row = 24 if grid.each == 1 and grid.rows <= 16 and grid.across == 4 else 14
        self.bottom = top + grid.rows * self.row

    def draw(self) -> None:
        """Draw ruling, labels, marks and sums."""
        self.rule()
        self.label()
        up, down = [], []
        for cell, line, rose, size in self.grid.marks():
            x, y = self.place(cell, line)
            if self.grid.each > 1:
                x += self.cell * (-0.25 if rose else 0.25)
            (up if rose else down).append(triangle(x, y, self.size(size), rose))
        put_marks(self.plot, up, down, self.name)

    def place(self, cell: int, line: int) -> Point:
        """Return the middle of a cell's data line; D7 stands left."""
        row, column = divmod(cell, self.grid.across)
        return LEFT + (8 * column + 7.5 - line) * self.cell, self.top + (row + 0.5) * self.row

    def size(self, step: int) -> float:
        """Return how wide a mark is."""
        return size_of(self.grid, step) if self.grid.each > 1 else min(self.cell - 0.4, self.row - 2, BIGGEST)

    def rule(self) -> None:
        """Draw hairs between bits, rules between addresses, and the frame around what there is."""
        grid, plot = self.grid, self.plot
        full = grid.cells // grid.across  # rows; the last may be shorter
        hairs, rules = [], []
        for bit in range(1, 8 * grid.across):
            rows = grid.rows if bit < 8 * (grid.cells - full * grid.across) or full == grid.rows else full
            x, ways = LEFT + bit * self.cell, rules if bit % 8 == 0 else hairs
            if rows and (bit % 8 == 0 or bit % 4 == 0 or self.cell > 8):
                ways.append(((x, self.top), (x, self.top + rows * self.row)))
        for row in range(1, grid.rows):
            cells = grid.across if row < full else grid.cells - full * grid.across
            y, right = self.top + row * self.row, LEFT + 8 * cells * self.cell
            (rules if row % 4 == 0 and row < full else hairs).append(((LEFT, y), (right, y)))
        plot.figures(hairs, HAIR, closed=False)
        plot.figures(rules, RULE, closed=False)
        plot.figures(self.around(0, grid.cells), FRAME)

    def around(self, first: int, stop: int) -> list[tuple[Point, ...]]:
        """Return the outline of cells in their order, as of a marked piece of text; two if they do not touch."""
        across, wide = self.grid.across, 8 * self.cell
        (top, left), (low, right) = divmod(first, across), divmod(stop - 1, across)
        right += 1

        def at(column: int, row: int) -> Point:
            return LEFT + column * wide, self.top + row * self.row

        if top == low:
            return [(at(left, top), at(right, top), at(right, top + 1), at(left, top + 1))]
        if low == top + 1 and right <= left:
            return [
                (at(left, top), at(across, top), at(across, low), at(left, low)),
                (at(0, low), at(right, low), at(right, low + 1), at(0, low + 1)),
            ]
        return [(
            at(left, top), at(across, top), at(across, low), at(right, low), at(right, low + 1), at(0, low + 1),
            at(0, top + 1), at(left, top + 1),
        )]  # fmt: skip

    def outline(self, start: int, stop: int) -> None:
        """Outline the cells of a region."""
        each = self.grid.each
        for way in self.around(start // each, -(-stop // each)):
            self.plot.line(*way, way[0], way[1], stroke=OUTLINE, name="region")

    def strike(self, cells: list[int]) -> None:
        """Strike out the cells of which nothing was compared."""
        ways = []
        for cell in cells:
            (x, y), (right, _) = self.place(cell, 7), self.place(cell, 0)
            ways.append(((x - self.cell / 2, y + self.row / 2), (right + self.cell / 2, y - self.row / 2)))
        self.plot.figures(ways, 1, closed=False, name="not compared")

    def label(self) -> None:
        """Write addresses, data lines, and the sums of each row."""
        grid, plot = self.grid, self.plot
        digits = max(4, len(f"{grid.start + grid.wrong.size - 1:X}"))
        wide = 8 * self.cell
        for column in range(min(grid.across, grid.cells)):
            x = LEFT + column * wide
            plot.write(x + wide / 2, self.top - 19, f"+{column * grid.each:X}", 12, "middle", bold=True)
            if self.cell < 8:
                plot.write(x + wide / 2, self.top - 6, "D7-D0", 10, "middle")
                continue
            for bit in range(8):
                words = f"D{7 - bit}" if self.cell > 20 else f"{7 - bit}"
                plot.write(x + (bit + 0.5) * self.cell, self.top - 6, words, 11, "middle")
        sums = grid.totals_by_row()
        for row, (rose, fell) in enumerate(sums):
            y = self.top + (row + 0.5) * self.row + 4.5
            plot.write(LEFT - 8, y, f"{grid.start + row * grid.across * grid.each:0{digits}X}", 12, "end")
            for count, x in zip((rose, fell), SUMS):
                if count:
                    plot.write(x, y, f"{count:,}", 11, "end")
        up, down = ([triangle(x - 8, self.top - 10, 10, x == SUMS[0])] for x in SUMS)
        put_marks(plot, up, down, "sum of ")
