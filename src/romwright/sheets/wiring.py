"""The wiring of a plan on paper: seen from above, seen from the solder side, and a table of the wires.

Made for a printer without colours, in pages of A4. What a wire is, its number tells, and its dashes; never a colour.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from dataclasses import dataclass, field
from html import escape

from romwright.fit.wiring import Plan
from romwright.sheets.adapter import draw_view
from romwright.sheets.canvas import FACE, INK, PAPER, text
from romwright.sheets.drawing import SHOWN
from romwright.sheets.wirelist import HEADER, list_straight, list_ties, list_wires

PAGE_MM, USED_MM = (190, 277), 257  # A4 within margins of 10 mm; what a page takes, so that other margins do no harm
LINE, SIZE, EDGE = 19, 14, 40
COLUMNS = (0.0, 0.09, 0.32, 0.66, 1.0)  # where the columns of the table begin, as parts of the width
LETTER = 8.4  # the width of a letter of the widest face in size 14, on average
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

    def room(self, height: float) -> float:
        """Return where something of that height goes, on a new page if it must."""
        used = self.page * USED_MM / PAGE_MM[1]
        if self.y % self.page + height > used and self.y % self.page:
            self.y = (self.y // self.page + 1) * self.page
        self.y += height
        return self.y - height

    def write(self, words: str, size: int, bold: bool = False) -> None:
        """Write a line in the middle."""
        y = self.room(size * 1.5)
        self.lines.append(text(self.width / 2, y + size * 1.1, words, size, "middle", bold))

    def write_cells(self, cells: tuple[str, ...], bold: bool = False) -> None:
        """Write a row of the table, each cell in as many lines as it takes."""
        inner = self.width - 2 * EDGE
        wide = [int((b - a) * inner / LETTER) - 1 for a, b in zip(COLUMNS, COLUMNS[1:])]
        wrapped = [textwrap.wrap(cell, max(8, chars)) for cell, chars in zip(cells, wide)]
        deep = max(map(len, wrapped))
        y = self.room(deep * LINE + 3)
        self.lines.append(f'<path d="M{EDGE} {y:.1f}H{self.width - EDGE:.1f}" stroke="{INK}" stroke-width="0.7"/>')
        for part, rows in zip(COLUMNS, wrapped):
            for count, row in enumerate(rows):
                place = EDGE + part * inner
                self.lines.append(text(place, y + 15 + count * LINE, row, SIZE, bold=bold or part == 0))


def build_wiring_svg(plan: Plan, warning: str = "") -> bytes:
    """Draw a plan on pages of A4; a warning is printed large above it. The same plan gives the same bytes."""
    above, height = draw_view(plan, mirrored=False)
    below, _ = draw_view(plan, mirrored=True)
    paper, title = Paper(above.width), f"{plan.chip.name} in a socket laid out for {plan.original.name}"
    paper.write(title, 24, bold=True)
    for line in remarks(plan):
        for part in textwrap.wrap(line, int(paper.width / 8.6)):
            paper.write(part, 14)
    for line in filter(None, [warning, *unchecked(plan)]):
        for part in textwrap.wrap(line, int(paper.width / 12)):
            paper.write(part, 17, bold=True)
    paper.write("seen from above, pins away from you", 17, bold=True)
    paper.lines += above.elements(paper.room(height))
    paper.write_cells(HEADER, bold=True)
    for cells in (*list_wires(plan), *list_ties(plan)):
        paper.write_cells(cells)
    for line in (*list_straight(plan), *LEGEND):
        for part in textwrap.wrap(line, int((paper.width - 2 * EDGE) / 7.4)):
            paper.write(part, 13)
    paper.y = paper.room(height + 30)  # the heading stays with the picture
    paper.write("seen from the solder side, pins towards you: left and right have changed places", 17, bold=True)
    paper.lines += below.elements(paper.room(height))
    return enclose(paper, title)


def enclose(paper: Paper, title: str) -> bytes:
    """Return the SVG of all pages."""
    width, height = paper.width, paper.page * paper.pages
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{PAGE_MM[0]}mm" height="{PAGE_MM[1] * paper.pages}mm" '
        f'viewBox="0 0 {width:.1f} {height:.1f}" font-family="{FACE}" fill="{INK}">'
    )
    first = [
        head,
        f"<title>{escape(title)}</title>",
        f'<rect width="{width:.1f}" height="{height:.1f}" fill="{PAPER}"/>',
    ]
    return ("\n".join([*first, *paper.lines, "</svg>"]) + "\n").encode("utf-8")


def remarks(plan: Plan) -> Iterator[str]:
    """Yield how the chip sits, when both drive the bus, and where the contents are burnt."""
    if seating := plan.socket.seating(plan.chip):
        yield seating
    yield f"original: {plan.wired.original.words}. Chip, wired: {plan.wired.fitted.words}"
    if plan.chip.words > plan.original.words:
        yield f"the contents begin at {plan.burn_at:04X} of the chip's file"


def unchecked(plan: Plan) -> Iterator[str]:
    """Yield what the pages of the two parts mark as read nowhere of what the picture shows."""
    for part in {part.name: part for part in (plan.original, plan.chip)}.values():
        if unread := part.unchecked_about(*SHOWN):
            yield f"UNCHECKED in the page of {part.name}: {'; '.join(unread)}"
