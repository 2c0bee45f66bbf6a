"""A map of the wrong bits of a dump, for a printer without colours: addresses by data lines, each mark a direction.

A bit that rose is a filled triangle that points up, one that fell an open triangle that points down. What is wrong is
what the lines do not explain: where all run straight, or nothing explains them, every bit that differs. The whole dump
comes first; a cell that has many addresses has marks in sizes, which the legend gives exactly. Below it stand the wrong
bytes one by one where they are few, else the pages with most of them. The same comparison gives the same bytes.
"""

from __future__ import annotations

from collections.abc import Iterator

from romwright.faults.bitmap import Grid, Wrong
from romwright.faults.comparison import Comparison
from romwright.faults.lines import State
from romwright.images.image import hex_range
from romwright.images.words import in_bytes
from romwright.sheets.bitchart import BIGGEST, LEFT, Chart, put_marks, size_of, triangle
from romwright.sheets.plot import Plot
from romwright.sheets.shapes import wrap

WIDTH, EDGE, LINE, SIZE = 1010, 24, 21, 14  # of the page, its margin, its lines and letters
LISTED, LIST_COLUMNS = 120, 4  # wrong bytes that are shown one by one
PAGES = 2  # pages that are shown otherwise
REGIONS = 4  # regions that are named


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
        yield "The bits that are wrong besides the lines at fault, by address and data line of the reader"
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
        plot.write(LEFT, y, "bits of a cell (rose left, fell right):", SIZE)
        low, x = 1, LEFT + 280
        for step, high in enumerate(grid.steps):
            size = size_of(grid, step)
            put_marks(plot, [triangle(x, y - 5, size, True)], [triangle(x + 14, y - 5, size, False)], "legend ")
            plot.write(x + 26, y, f"{low:,}" if low == high else f"{low:,} to {high:,}", SIZE)
            low, x = high + 1, x + 170
        y += LINE
    return y


def notes(comparison: Comparison, struck: bool) -> Iterator[str]:
    """Yield what is outlined and struck out."""
    regions, half = comparison.residue.regions, comparison.residue.half
    if half:
        yield f"{half.name} reads {half.value:02X}, {in_bytes(half.wrong)} of it wrong: not outlined"
    for region in regions[:REGIONS]:
        where = hex_range(region.start, region.stop)
        yield f"heavy outline: {where} reads {region.value:02X} throughout, {in_bytes(region.wrong)} of it wrong"
    if len(regions) > REGIONS:
        yield f"and {len(regions) - REGIONS:,} more such regions, not outlined"
    if struck:
        yield "struck out: not compared, one of the files does not define it"


def closer(plot: Plot, wrong: Wrong, residue, y: float) -> float:
    """Show wrong bytes outside the regions one by one, if many the pages with most; returns where it ends."""
    outside = " besides those" if residue.half or residue.regions else ""
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
        words = f"Closer: page {where}, {bits:,} wrong bits{outside}, a mark is one bit; {others}"
        plot.write(LEFT, y, words, 15, bold=True)
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
