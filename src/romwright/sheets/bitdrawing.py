"""A map of the wrong bits of a dump, for a printer without colours: addresses by data lines, each mark a direction.

A bit that rose is a filled triangle that points up, one that fell an open triangle that points down. What is wrong is
what the lines do not explain: where all run straight, or nothing explains them, every bit that differs. The whole dump
comes first; a cell that has many addresses has marks in sizes, which the legend gives exactly. Below it stand the wrong
bytes one by one where they are few, else the pages with most of them. The same comparison gives the same bytes.
"""

from __future__ import annotations

from collections.abc import Iterator

from romwright.faults.bitmap import PAGE, Grid, Wrong
from romwright.faults.comparison import Comparison
from romwright.faults.lines import State
from romwright.images.image import hex_range
from romwright.images.words import in_bytes
from romwright.sheets.plot import Plot, Point
from romwright.sheets.shapes import wrap

WIDTH, LEFT, SPAN = 1010, 92, 800  # the page, where the grid begins, how wide it is
EDGE, LINE, SIZE = 24, 21, 14
SIZES = (4.5, 6.5, 8.5, 11)  # of marks, by step
BIGGEST = 15  # of a mark of one bit
LISTED, LIST_COLUMNS = 120, 4  # wrong bytes that are shown one by one
PAGES = 2  # pages that are shown otherwise
REGIONS = 4  # regions that are named
FRAME, RULE, HAIR, OUTLINE = 2.5, 1.2, 0.35, 4


def build_bits_picture(comparison: Comparison, title: str, suffix: str) -> bytes:
    """Draw the map; `suffix` is .svg or .png."""
    plot = draw_bits(comparison, title)
    return plot.png() if suffix.lower() == ".png" else plot.svg(title)


def draw_bits(comparison: Comparison, title: str) -> Plot:
    """Lay out the map: heading, the whole dump, sums, what the marks mean, and a closer look."""
    residue = comparison.residue
    grid = Grid.of(Wrong.of(residue))
    plot, y = Plot(WIDTH), 34.0
    for line in wrap(title, 22, WIDTH - 2 * EDGE)[:2]:
        plot.write(WIDTH / 2, y, line, 22, "middle", bold=True)
        y += 27
    for words in (*captions(comparison), measures(grid)):
        for line in wrap(words, SIZE, WIDTH - 2 * EDGE):
            plot.write(WIDTH / 2, y, line, SIZE, "middle")
            y += LINE - 2
    chart = Chart(plot, grid, y + 36)
    chart.draw()
    shown = residue.regions[:REGIONS]
    for region in shown:
        chart.outline(region.start, region.stop)
    blank = grid.blank(comparison.known)
    chart.strike(blank)
    y = legend(plot, grid, chart.bottom + 32)
    for words in notes(comparison, bool(blank)):
        plot.write(LEFT, y, words, SIZE)
        y += LINE
    rest = Wrong.of(residue.rest)
    plot.height = closer(plot, rest, residue, y + 14) if grid.each > 1 or len(rest.addresses) <= LISTED else y
    return plot


def captions(comparison: Comparison) -> Iterator[str]:
    """Say what counts as wrong, and how addresses are counted."""
    lines = comparison.best.lines
    straight = all(line.state is State.FOLLOWS and line.of == (n,) for side in (lines.address, lines.data)
                   for n, line in enumerate(side) if side is lines.data or n < comparison.reader_lines)  # fmt: skip
    if not comparison.explained:
        yield "Every bit that differs from the reference, address by address: nothing was found that explains them"
    elif straight and not lines.start:
        yield "The bits that are wrong, address by address"
    else:
        yield "The bits that are wrong besides the lines at fault (these put right), by address and data line of the reader"
    if lines.start:
        where = f"at {lines.start:04X} of" if lines.start > 0 else f"{-lines.start:04X} before"
        yield f"the dump starts {where} the reference"
    if comparison.extra.before:
        yield f"addresses count from the first byte after the {in_bytes(comparison.extra.before)} before the reference"
    if any(line.state is State.INVERTED for line in lines.data):
        yield "an inverted line is turned back: rose and fell are what happened in the cell"


def measures(grid: Grid) -> str:
    """Say how much there is, and what a cell is."""
    count = len(grid.wrong.addresses)
    said = f"{count:,} of {in_bytes(grid.wrong.size)} {'is' if count == 1 else 'are'} wrong"
    if grid.each == 1:
        return f"{said}; a mark is one bit, a row has {grid.across} addresses"
    row = grid.each * grid.across
    return f"{said}; a cell is one data line of {grid.each:,} addresses ({grid.each:X}h), a row {row:X}h"


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
                x += self.cell * (-0.24 if rose else 0.24)
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
            y = self.top + row * self.row
            (rules if row % 4 == 0 and row < full else hairs).append(((LEFT, y), (LEFT + 8 * max(cells, 1) * self.cell, y)))
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
            for count, x in ((rose, 948), (fell, 1002)):
                if count:
                    plot.write(x, y, f"{count:,}", 11, "end")
        put_marks(plot, [triangle(940, self.top - 10, 10, True)], [triangle(994, self.top - 10, 10, False)], "sum of ")


def legend(plot: Plot, grid: Grid, y: float) -> float:
    """Write the sums of each data line, and what the marks mean; returns where it ends."""
    lines = grid.totals_by_line()
    for line, counts in enumerate(lines):
        x = LEFT + 60 + (7.5 - line) * 92
        plot.write(x, y, f"D{line}", 13, "middle", bold=True)
        for count, down in zip(counts, (17, 34)):
            plot.write(x, y + down, f"{count:,}", 13, "middle")
    put_marks(plot, [triangle(LEFT + 30, y + 12.5, 11, True)], [triangle(LEFT + 30, y + 29.5, 11, False)], "sum of ")
    y += 66
    meant = ("rose: should be 0, reads 1", "fell: should be 1, reads 0")
    for up, words, count, x in zip((True, False), meant, map(sum, zip(*lines)), (LEFT, LEFT + 400)):
        mark = [triangle(x + 8, y - 5, BIGGEST, up)]
        put_marks(plot, mark if up else [], [] if up else mark, "legend ")
        plot.write(x + 24, y, f"{words}; {count:,} bit{'s' * (count != 1)}", 15, bold=True)
    y += LINE + 2
    if grid.each > 1 and grid.steps:
        plot.write(LEFT, y, "bits of a cell:", SIZE)
        low, x = 1, LEFT + 120
        for step, high in enumerate(grid.steps):
            size = size_of(grid, step)
            put_marks(plot, [triangle(x, y - 5, size, True)], [triangle(x + 14, y - 5, size, False)], "legend ")
            plot.write(x + 26, y, f"{low:,}" if low == high else f"{low:,} to {high:,}", SIZE)
            low, x = high + 1, x + 170
        y += LINE
    return y


def notes(comparison: Comparison, struck: bool) -> Iterator[str]:
    """Yield what is outlined and struck out."""
    regions = comparison.residue.regions
    for region in regions[:REGIONS]:
        where = hex_range(region.start, region.stop)
        yield f"heavy outline: {where} reads {region.value:02X} throughout, {in_bytes(region.wrong)} of it wrong"
    if len(regions) > REGIONS:
        yield f"and {len(regions) - REGIONS:,} more such regions, not outlined"
    if struck:
        yield "struck out: not compared, one of the files does not define it"


def closer(plot: Plot, wrong: Wrong, residue, y: float) -> float:
    """Show wrong bytes outside the regions one by one, or, if they are many, the pages with most; returns where it ends."""
    outside = " outside the outlines" if residue.regions else ""
    if 0 < len(wrong.addresses) <= LISTED:
        words = f"Each wrong byte{outside}: address, bits D7 to D0, the byte expected and the byte read"
        plot.write(EDGE, y, words, 15, bold=True)
        return list_bytes(plot, wrong, residue, y + 16)
    pages = wrong.worst_pages(PAGES)
    for start in pages:
        grid = Grid.page(wrong, start)
        bits = sum(map(sum, grid.totals_by_line()))
        where = hex_range(start, start + grid.wrong.size)
        others = f"these are the {len(pages)} with most" if len(pages) > 1 else "no other page has any"
        plot.write(LEFT, y, f"Closer: page {where}, {bits:,} wrong bits{outside}, a mark is one bit; {others}", 15, bold=True)
        chart = Chart(plot, grid, y + 38, "zoom ")
        chart.draw()
        y = chart.bottom + 30
    return y


def list_bytes(plot: Plot, wrong: Wrong, residue, y: float) -> float:
    """Show wrong bytes one by one in columns; returns where it ends."""
    count, wide, high, cell = len(wrong.addresses), (WIDTH - 2 * EDGE) / LIST_COLUMNS, 19, 13
    rows = max(-(-count // LIST_COLUMNS), 1)
    digits = max(4, len(f"{wrong.size - 1:X}"))
    up, down, frames = [], [], []
    for index, address in enumerate(wrong.addresses.tolist()):
        column, row = divmod(index, rows)
        left, top = EDGE + column * wide, y + row * high
        plot.write(left + 54, top + 13.5, f"{address:0{digits}X}", 13, "end", bold=True)
        for bit in range(8):
            x = left + 62 + (7 - bit) * cell
            frames.append(((x, top), (x + cell, top), (x + cell, top + high), (x, top + high)))
            for byte, marks, rose in ((wrong.rose[index], up, True), (wrong.fell[index], down, False)):
                if byte >> bit & 1:
                    marks.append(triangle(x + cell / 2, top + high / 2, 11, rose))
        due, seen = int(residue.expected[address]), int(residue.dump[address])
        plot.write(left + 62 + 8 * cell + 8, top + 13.5, f"{due:02X}  {seen:02X}", 13)
    plot.figures(frames, 0.6)
    put_marks(plot, up, down, "listed ")
    return y + rows * high + 16
