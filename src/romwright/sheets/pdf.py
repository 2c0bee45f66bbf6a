"""A bench sheet as PDF, A4 or Letter: the only file that knows ReportLab.

The fonts are shipped and embedded, as far as they are used. Nothing is compressed, and no clock is asked, so that
the same sheet gives the same bytes on any machine. A letter that the fonts lack is printed as a mark.
"""

from __future__ import annotations

import io
import os
import re
from functools import cache
from pathlib import Path

from romwright.sheets.document import STOPS, Sheet
from romwright.sheets.frame import Frame
from romwright.sheets.marks import rule
from romwright.sheets.pages import Pages
from romwright.sheets.strips import strips_of
from romwright.sheets.vectors import Lettering, Mark, Outline

PAPERS = {"A4": (595.276, 841.89), "Letter": (612.0, 792.0)}  # points: ISO 216; ANSI/ASME Y14.1
SIDE, TOP, FOOT = 34.0, 54.0, 28.0  # points: margins; the head of a page stands in the top one
FONTS = Path(__file__).parents[1] / "fonts"
FACES = {False: "DejaVuSans", True: "DejaVuSans-Bold"}
LACKING = "\ufffd"  # printed for a letter that the font does not have
LANGUAGE, PRODUCER = "en-GB", "romwright"
EPOCH = "SOURCE_DATE_EPOCH"  # ReportLab would date the document by it, invariant or not
RIGHT_TO_LEFT = re.compile("[\u0590-\u08ff\ufb1d-\ufdff\ufe70-\ufeff]+(?: [\u0590-\u08ff\ufb1d-\ufdff\ufe70-\ufeff]+)*")
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
    press = Press(sheet, width, height)
    for number, page in enumerate(pages, 1):
        press.head(f"page {number} of {len(pages)}")
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


class Widths(dict[str, float]):
    """The widths of a font's letters in thousandths of its size, looked up as they come."""

    def __init__(self, bold: bool) -> None:
        self.bold = bold

    def __missing__(self, letter: str) -> float:
        width = self[letter] = face(self.bold).charWidths[ord(shown(letter, self.bold))]
        return width


WIDTHS = {bold: Widths(bold) for bold in FACES}


def measure(words: str, size: float, bold: bool) -> float:
    """Return the width of words in points."""
    return sum(map(WIDTHS[bold].__getitem__, words)) * size / 1000


def shortened(words: str, room: float, size: float) -> str:
    """Return words, cut where they leave the room; three dots say so."""
    used = measure("…", size, False)
    for stop, letter in enumerate(words):
        used += measure(letter, size, False)
        if used > room:
            return f"{words[:stop]}…"
    return words


@cache
def channels(colour: str) -> tuple[float, ...]:
    """Return red, green and blue of #rrggbb, each from 0 to 1."""
    return tuple(int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5))


def as_seen(words: str) -> str:
    """Return words in the order in which they stand on paper: Hebrew and Arabic run to the left (letters not joined).

    >>> as_seen("a \u05d0\u05d1 b") == "a \u05d1\u05d0 b"
    True
    """
    if words.isascii():
        return words
    return RIGHT_TO_LEFT.sub(lambda run: run[0][::-1], words)


class Press:
    """What prints marks on the pages of one document."""

    def __init__(self, sheet: Sheet, width: float, height: float, subject: str = "bench sheet") -> None:
        from reportlab.pdfgen.canvas import Canvas

        face(False), face(True)
        self.file, self.height, self.width, self.marks = io.BytesIO(), height, width, 0
        epoch = os.environ.pop(EPOCH, None)
        try:
            self.canvas = Canvas(self.file, (width, height), pageCompression=0, invariant=1, lang=LANGUAGE,
                                 initialFontName=FACES[False])  # fmt: skip
        finally:
            os.environ.update({} if epoch is None else {EPOCH: epoch})
        self.canvas.setTitle(sheet.title)
        self.canvas.setSubject(subject)
        for name in (self.canvas.setAuthor, self.canvas.setCreator, self.canvas.setProducer):
            name(PRODUCER)
        self.warning = STOPS * bool(sheet.stops)
        self.indent = measure(self.warning, 9, True) + 12 * bool(sheet.stops)
        room = width - 2 * SIDE - self.indent - measure("page 000 of 000", 9, True) - 20
        self.told = shortened("  ".join(filter(None, (sheet.title, sheet.date))), room, 9)
        self.canvas.setViewerPreference("DisplayDocTitle", "true")

    def finish(self) -> bytes:
        """Return the document."""
        if self.marks:
            self.canvas.showOutline()
        self.canvas.save()
        return self.file.getvalue()

    def head(self, count: str) -> None:
        """Print the head of a page: what the job is, and which page of how many; on its own a page must warn too."""
        if self.warning:
            self.draw(Lettering((0, 0), self.warning, 9, bold=True), SIDE, 38)
        self.draw(Lettering((0, 0), self.told, 9), SIDE + self.indent, 38)
        self.draw(Lettering((0, 0), count, 9, "end", True), self.width - SIDE, 38)
        self.draw(rule(0, self.width - 2 * SIDE, 0, 0.8), SIDE, 44)

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
        self.canvas.setFillColorRGB(*channels(mark.ink))
        x, y = left + mark.at[0], top - mark.at[1]
        if not mark.upwards:
            self.canvas.drawString(x - back, y, as_seen(words))
            return
        self.canvas.saveState()
        self.canvas.translate(x, y)
        self.canvas.rotate(90)
        self.canvas.drawString(-back, 0, as_seen(words))
        self.canvas.restoreState()

    def outline(self, mark: Outline, left: float, top: float) -> None:
        """Print a shape."""
        way, pen = self.canvas.beginPath(), mark.pen
        draw = {"M": way.moveTo, "L": way.lineTo, "C": way.curveTo, "Z": way.close}
        for kind, points in mark.way:
            draw[kind](*(value for x, y in points for value in (left + x, top - y)))
        if pen.fill:
            self.canvas.setFillColorRGB(*channels(pen.fill))
        if pen.stroke:
            self.canvas.setStrokeColorRGB(*channels(pen.stroke))
            self.canvas.setLineWidth(pen.width)
            self.canvas.setLineCap(CAPS[pen.cap])
            self.canvas.setLineJoin(JOINS[pen.join])
            self.canvas.setDash(list(pen.dashes))
        self.canvas.drawPath(way, stroke=int(bool(pen.stroke)), fill=int(bool(pen.fill)))
