"""The wiring of a plan on paper: seen from above, seen from the solder side, and a table of the wires.

Made for a printer without colours, in pages of A4. What a wire is, its number tells, and its dashes; never a colour.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from romwright.fit.wiring import Plan
from romwright.sheets.adapter import draw_view
from romwright.sheets.drawing import SHOWN
from romwright.sheets.shapes import INK, PAPER, SHEET, plain, text, wrap
from romwright.sheets.wirelist import HEADER, Cells, list_straight, list_ties, list_wires

PAGE_MM, USED_MM = (SHEET[0], 277), SHEET[1]  # A4 within margins of 10 mm; what a page takes, so that Letter does too
LINE, SIZE, EDGE = 19, 14, 40
SOME_ROWS = 150  # of the list stay together; the rest may go to the next page
COLUMNS = (0.0, 0.09, 0.32, 0.66, 1.0)  # where the columns of the table begin, as parts of the width
LEGEND = (
    "hook with a ring: this pin is bent up and stays clear of the socket. Thin leg: the pin goes straight in.",
    "filled contact: a straight pin plugs in. Open contact: nothing plugs in. Equal numbers: one wire.",
    "gap: the wire passes under the other, they are not joined. Dot: joined.",
)


@dataclass
class Paper:
    """Pages of one width below each other; what does not fit on a page goes to the next."""

    width: float
    y: float = 0
    lines: list[str] = field(default_factory=list)

    @property
    def page(self) -> float:
        """The height of a page."""
        return self.width * PAGE_MM[1] / PAGE_MM[0]

    @property
    def pages(self) -> int:
        """How many pages there are."""
        return int(self.y // self.page) + 1

    def fits(self, height: float) -> bool:
        """Tell whether something of that height fits on what is left of the page."""
        return self.y % self.page + height <= self.page * USED_MM / PAGE_MM[1]

    def keep(self, height: float) -> None:
        """Turn to a new page unless something of that height still fits, or the page is empty."""
        if self.y % self.page and not self.fits(height):
            self.y = (self.y // self.page + 1) * self.page

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


def build_wiring_svg(plan: Plan, warning: str = "") -> bytes:
    """Draw a plan on pages of A4; a warning is printed large above it. The same plan gives the same bytes."""
    above, height = draw_view(plan, mirrored=False)
    below, _ = draw_view(plan, mirrored=True)
    paper, title = Paper(above.width), f"{plan.chip.name} in a socket laid out for {plan.original.name}"
    paper.write_all(title, 24, bold=True)
    unread = list(unchecked(plan))
    for line in filter(None, [warning, "UNCHECKED pages: see the end of the list" if unread else ""]):
        paper.write_all(line, 17, bold=True)
    for line in remarks(plan):
        paper.write_all(line, 14)
    views = [("seen from above, pins away from you", above)]
    views.append(("seen from the solder side, pins towards you: left and right have changed places", below))
    table = [*list_wires(plan), *list_ties(plan)]
    notes = [*list_straight(plan), *LEGEND]
    lists = 30 + sum(map(paper.depth, [HEADER, *table])) + LINE * (len(notes) + 2 * len(unread))
    under = paper.fits(height + 30 + lists)  # the list stands below the first view, or else after both
    for heading, canvas in views:
        paper.keep(height + 30)
        paper.write(heading, 17, bold=True)
        paper.lines += canvas.elements(paper.room(height))
        if (canvas is above) == under:
            paper.keep(min(lists, SOME_ROWS))
            for cells in (HEADER, *table):
                paper.write_cells(cells, bold=cells is HEADER)
            paper.keep(LINE * (len(notes) + 2 * len(unread)))
            for line in notes:
                paper.write_all(line, 13)
            for line in unread:
                paper.write_all(line, 14, bold=True)
    return enclose(paper, title)


def enclose(paper: Paper, title: str) -> bytes:
    """Return the SVG of all pages."""
    width, height = paper.width, paper.page * paper.pages
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{PAGE_MM[0]}mm" height="{PAGE_MM[1] * paper.pages}mm" '
        f'viewBox="0 0 {width:.1f} {height:.1f}" font-family="Helvetica, Arial, sans-serif" fill="{INK}">'
    )
    first = [
        head,
        f"<title>{plain(title)}</title>",
        f'<rect width="{width:.1f}" height="{height:.1f}" fill="{PAPER}"/>',
    ]
    return ("\n".join([*first, *paper.lines, "</svg>"]) + "\n").encode("utf-8")


def remarks(plan: Plan) -> Iterator[str]:
    """Yield how the chip sits, when both drive the bus, and where the contents are burnt."""
    if seating := plan.socket.seating(plan.chip):
        yield seating
    yield f"the original drives the data bus at: {plan.wired.original.words}"
    yield f"the chip, wired: {plan.wired.fitted.words}"
    if plan.chip.words > plan.original.words:
        yield f"the contents begin at {plan.burn_at:04X} of the chip's file"


def unchecked(plan: Plan) -> Iterator[str]:
    """Yield what the pages of the two parts mark as read nowhere of what the picture shows."""
    for part in {part.name: part for part in (plan.original, plan.chip)}.values():
        if unread := part.unchecked_about(*SHOWN):
            yield f"UNCHECKED in the page of {part.name}: {'; '.join(unread)}"
