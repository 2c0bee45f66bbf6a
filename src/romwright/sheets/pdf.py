"""A bench sheet as PDF, A4 or Letter: the only file that knows ReportLab.

The fonts are shipped and embedded, as far as they are used. Nothing is compressed and nothing dated, so that the same
sheet gives the same bytes on any machine. A letter that the fonts lack is printed as a mark.
"""

from __future__ import annotations

import io
from functools import cache
from pathlib import Path

from romwright.sheets.document import Sheet
from romwright.sheets.frame import Frame
from romwright.sheets.pages import Pages
from romwright.sheets.strips import strips_of
from romwright.sheets.vectors import Lettering, Mark, Outline

PAPERS = {"A4": (595.276, 841.89), "Letter": (612.0, 792.0)}  # points: ISO 216; ANSI/ASME Y14.1
SIDE, TOP, FOOT = 34.0, 58.0, 34.0  # points: margins; the head of a page stands in the top one
FONTS = Path(__file__).parents[1] / "fonts"
FACES = {False: "DejaVuSans", True: "DejaVuSans-Bold"}
LACKING = "\ufffd"  # printed for a letter that the font does not have
LANGUAGE, PRODUCER = "en-GB", "romwright"
CAPS, JOINS = {"butt": 0, "round": 1, "square": 2}, {"miter": 0, "round": 1, "bevel": 2}


def build_pdf(sheet: Sheet, paper: str = "A4") -> bytes:
    """Return the sheet as PDF on `A4` or `Letter`; the same sheet gives the same bytes.

    Raises ValueError for another paper, and for a picture that this package has not made.
    """
    if paper not in PAPERS:
        raise ValueError(f"the paper {' or '.join(PAPERS)} was expected, not {paper!r}")
    width, height = PAPERS[paper]
    frame = Frame(width - 2 * SIDE, height - TOP - FOOT, measure)
    pages = Pages(frame.height).fill(strips_of(sheet, frame))
    press = Press(sheet.title, width, height)
    for number, page in enumerate(pages, 1):
        press.head(sheet, number, len(pages))
        for y, strip in page:
            for mark in strip.marks:
                press.draw(mark, SIDE, TOP + y)
            if strip.mark:
                press.remember(strip.mark, TOP + y)
        press.canvas.showPage()
    return press.finish()


@cache
def face(bold: bool):
    """Return a shipped font, made known to ReportLab."""
    from reportlab.pdfbase.pdfmetrics import registerFont
    from reportlab.pdfbase.ttfonts import TTFont

    font = TTFont(FACES[bold], str(FONTS / f"{FACES[bold]}.ttf"))
    registerFont(font)
    return font.face


def shown(words: str, bold: bool) -> str:
    """Return words with a mark for each letter that the font lacks."""
    known = face(bold).charToGlyph
    return words if all(ord(c) in known for c in words) else "".join(c if ord(c) in known else LACKING for c in words)


def measure(words: str, size: float, bold: bool) -> float:
    """Return the width of words in points."""
    widths = face(bold).charWidths
    return sum(widths[ord(c)] for c in shown(words, bold)) * size / 1000


class Press:
    """What prints marks on the pages of one document."""

    def __init__(self, title: str, width: float, height: float) -> None:
        from reportlab.pdfgen.canvas import Canvas

        self.file, self.height, self.width, self.marks = io.BytesIO(), height, width, 0
        self.canvas = Canvas(self.file, (width, height), pageCompression=0, invariant=1, lang=LANGUAGE)
        self.canvas.setTitle(title)
        self.canvas.setAuthor(PRODUCER)
        self.canvas.setCreator(PRODUCER)
        self.canvas.setProducer(PRODUCER)
        self.canvas.setViewerPreference("DisplayDocTitle", "true")

    def finish(self) -> bytes:
        """Return the document."""
        self.canvas.showOutline()
        self.canvas.save()
        return self.file.getvalue()

    def head(self, sheet: Sheet, number: int, count: int) -> None:
        """Print the head of a page: what the job is, cut to one line, and which page of how many."""
        told = f"page {number} of {count}"
        room = self.width - 2 * SIDE - measure(told, 9, True) - 20
        words = "  ".join(filter(None, (sheet.title, sheet.date)))
        if measure(words, 9, False) > room:
            while words and measure(f"{words}…", 9, False) > room:
                words = words[: -max(1, len(words) // 50)]
            words += "…"
        self.draw(Lettering((0, 0), words, 9), SIDE, 38)
        self.draw(Lettering((0, 0), told, 9, "end", True), self.width - SIDE, 38)
        self.canvas.setLineWidth(0.8)
        self.canvas.line(SIDE, self.height - 44, self.width - SIDE, self.height - 44)

    def remember(self, heading: str, y: float) -> None:
        """Make a heading an entry of the list of contents."""
        self.marks += 1
        key = f"s{self.marks}"
        self.canvas.bookmarkHorizontal(key, 0, self.height - y)
        self.canvas.addOutlineEntry(heading, key, level=0)

    def draw(self, mark: Mark, left: float, top: float) -> None:
        """Print a mark, its zero at that place from the page's upper left corner."""
        (self.letter if isinstance(mark, Lettering) else self.outline)(mark, left, self.height - top)

    def letter(self, mark: Lettering, left: float, top: float) -> None:
        """Print words."""
        words = shown(mark.words, mark.bold)
        back = {"start": 0, "middle": 0.5, "end": 1}[mark.anchor] * measure(words, mark.size, mark.bold)
        self.canvas.setFont(FACES[mark.bold], mark.size)
        self.canvas.setFillColor(mark.ink)
        x, y = left + mark.at[0], top - mark.at[1]
        if not mark.upwards:
            self.canvas.drawString(x - back, y, words)
            return
        self.canvas.saveState()
        self.canvas.translate(x, y)
        self.canvas.rotate(90)
        self.canvas.drawString(-back, 0, words)
        self.canvas.restoreState()

    def outline(self, mark: Outline, left: float, top: float) -> None:
        """Print a shape."""
        way, pen = self.canvas.beginPath(), mark.pen
        draw = {"M": way.moveTo, "L": way.lineTo, "C": way.curveTo, "Z": way.close}
        for kind, points in mark.way:
            draw[kind](*(value for x, y in points for value in (left + x, top - y)))
        if pen.fill:
            self.canvas.setFillColor(pen.fill)
        if pen.stroke:
            self.canvas.setStrokeColor(pen.stroke)
            self.canvas.setLineWidth(pen.width)
            self.canvas.setLineCap(CAPS[pen.cap])
            self.canvas.setLineJoin(JOINS[pen.join])
            self.canvas.setDash(list(pen.dashes))
        self.canvas.drawPath(way, stroke=int(bool(pen.stroke)), fill=int(bool(pen.fill)))
