"""Pages of A4 below each other in one SVG, filled from the top with lines, rows of a table and pictures."""

from __future__ import annotations

from msgspec import Struct, field

from romwright.sheets.shapes import INK, PAPER, SHEET, plain, text, wrap

PAGE_MM, USED_MM = (SHEET[0], 277), SHEET[1]  # A4 within margins of 10 mm; what a page takes, so that Letter does too
STYLE = "<style>@page{size:210mm 297mm;margin:10mm}</style>"  # a browser then breaks where a page ends
TOP, LINE, SIZE, EDGE = 6, 19, 14, 40
COLUMNS = (0.0, 0.09, 0.32, 0.66, 1.0)  # where the columns of a table begin, as parts of the width
Cells = tuple[str, str, str, str]


class Paper(Struct):
    """Pages of one width below each other; what does not fit on a page goes to the next."""

    width: int
    y: float = TOP
    lines: list[str] = field(default_factory=list)
    broken: bool = False  # whether the list goes over a page's end

    @property
    def page(self) -> int:
        """The height of a page."""
        return round(self.width * PAGE_MM[1] / PAGE_MM[0])

    @property
    def pages(self) -> int:
        """How many pages there are."""
        return int(self.y // self.page) + 1

    def fits(self, height: float) -> bool:
        """Tell whether something of that height fits on what is left of the page."""
        return self.y % self.page + height <= self.page * USED_MM / PAGE_MM[1]

    def keep(self, height: float) -> None:
        """Turn to a new page unless something of that height still fits, or the page is empty."""
        if self.y % self.page > TOP and not self.fits(height):
            self.y = (self.y // self.page + 1) * self.page + TOP

    def room(self, height: float) -> float:
        """Return where something of that height goes, on a new page if it must."""
        self.keep(height)
        self.y += height
        return self.y - height

    def write(self, words: str, size: int, bold: bool = False) -> None:
        """Write a line in the middle."""
        y = self.room(size * 1.5)
        self.lines.append(text(round(self.width / 2), round(y + size * 1.1), words, size, "middle", bold=bold))

    def write_all(self, words: str, size: int, bold: bool = False) -> None:
        """Write words in the middle, in as many lines as they take."""
        for line in wrap(words, size, round(self.width - EDGE)):
            self.write(line, size, bold)

    def wrap(self, cells: Cells) -> list[list[str]]:
        """Break the cells of a row of the table into lines."""
        wide = [round((b - a) * (self.width - 2 * EDGE)) - 8 for a, b in zip(COLUMNS, COLUMNS[1:])]
        return [wrap(cell, SIZE, room) for cell, room in zip(cells, wide)]

    def depth(self, cells: Cells) -> float:
        """Return the height of a row of the table."""
        return max(map(len, self.wrap(cells))) * LINE + 3

    def write_cells(self, cells: Cells, bold: bool = False) -> None:
        """Write a row of the table, each cell in as many lines as it takes."""
        y = self.room(self.depth(cells))
        self.lines.append(f'<path d="M{EDGE} {y:.1f}H{self.width - EDGE:.1f}" stroke="{INK}" stroke-width="0.7"/>')
        for part, rows in zip(COLUMNS, self.wrap(cells)):
            for count, row in enumerate(rows):
                place = round(EDGE + part * (self.width - 2 * EDGE)), round(y + 15 + count * LINE)
                self.lines.append(text(*place, row, SIZE, "start", bold=bold or part == 0))

    def enclose(self, title: str) -> bytes:
        """Return the SVG of all pages."""
        width, height = self.width, self.page * self.pages
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{PAGE_MM[0]}mm" height="{PAGE_MM[1] * self.pages}mm" '
            f'viewBox="0 0 {width} {height}" font-family="Helvetica, Arial, sans-serif" fill="{INK}">'
        )
        ground = f'<rect width="{width}" height="{height}" fill="{PAPER}"/>'
        first = [head, STYLE, f"<title>{plain(title)}</title>", ground]
        return ("\n".join([*first, *self.lines, "</svg>"]) + "\n").encode("utf-8")
