"""Labels for chips, as plain values and as marks in mm; on sheets of label stock or plain paper, as PDF and as SVG.

A label is read with the notch of the chip at its left; a half disc tells that end. The same labels give the same bytes.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from msgspec import Struct
from msgspec.structs import replace

from romwright.errors import OptionError
from romwright.findings import Code, Finding, Severity
from romwright.sheets import codes
from romwright.sheets.codes import Symbol
from romwright.sheets.document import Sheet, readable
from romwright.sheets.lettering import Box, Fact, Fitted
from romwright.sheets.marks import BLACK, on_its_side, rule, scaled
from romwright.sheets.pdf import Press, measure
from romwright.sheets.stock import FOOT, Stock
from romwright.sheets.svg import build_svg
from romwright.sheets.vectors import Lettering, Mark, Outline, Pen
from romwright.sheets.ways import rounded

POINTS = 72 / 25.4  # to a mm
EDGE, NOTCH, STRIP, SIDE = 0.6, 0.85, 1.0, 1.5  # mm: free of words, radius of the half disc; left of a QR, of words
BELOW = 0.15  # mm: below bars, which need no quiet zone there
TICK, AWAY, HAIR = 3.0, 0.5, 0.15  # mm: a crop mark, its distance from the label, its line
GROUP, DIGITS = 8, 16  # digits that stand together; that are printed where there is no code
LONGEST = 400  # letters of a name: more than any label holds
TITLE = "Chip labels"
NAME_CUT = Code(
    "name-cut", Severity.CAUTION, "a name has room on its label",
    "Two labels whose names differ only at their ends would look alike.",
    do="Shorten the name with --name, so that what tells two chips apart stands at its beginning; or give a "
    "larger --size.",
    example="the name is cut on the label: Tern TL-1 bench diagnostic",
)  # fmt: skip
CODE_FINE = Code(
    "code-fine", Severity.NOTE, "the bars or squares of a code are wide enough for any printer",
    "A printer with 300 dots to the inch cannot print them evenly, and a reader may miss them.",
    do="Print at 600 dots to the inch or more, or take --code qr, and read the label back before it is stuck on.",
    example="the code has modules of 0.212 mm",
)  # fmt: skip
SCALE = "Print at 100 %, never \u201cfit to page\u201d. This line is 100 mm long: measure it before you cut."


class Label(Struct, frozen=True):
    """What is on a label; `width` along the rows of pins and `height` in mm; `code` is qr, code128 or none."""

    name: str
    part: str
    sum16: str
    sha256: str
    date: str = ""
    width: float = 30.48
    height: float = 12.0
    code: str = "qr"


class Drawn(Struct, frozen=True):
    """A label's marks in mm, its code, the digits in it, and whether its name was cut."""

    marks: tuple[Mark, ...]
    symbol: Symbol | None
    digits: str
    cut: bool


def draw_label(label: Label) -> Drawn:
    """Draw a label, its upper left corner at 0, 0. Raises OptionError if the code or the words have no room.

    A QR is as large as the height allows, smaller where the name would be cut, smallest where words have no room.
    """
    name = Fact(readable(label.name[:LONGEST]), 1.2, True)
    tries = []
    for symbol in symbols_for(label):
        digits = label.sha256[: symbol.digits if symbol else DIGITS].upper()
        if fitted := box_beside(label, symbol).fit(name, list(facts_of(label, digits))):
            tries.append((symbol, digits, fitted))
            if not fitted.cut or (symbol and symbol.dots <= codes.FINE):
                break
    if not tries:
        raise no_room(label, "the words")
    symbol, digits, fitted = tries[0] if tries[-1][2].cut else tries[-1]
    return Drawn((notch(label), *code_marks(label, symbol, digits), *fitted.marks), symbol, digits, fitted.cut)


def judge_label(label: Label, drawn: Drawn) -> Iterator[Finding]:
    """Yield what is to be said of a label as it was drawn."""
    if drawn.cut:
        yield Finding(
            NAME_CUT, f"the name is cut on the label: {label.name[:LONGEST]}",
            f"{label.width:g} x {label.height:g} mm hold no more in letters of 4 points", "give a shorter --name",
        )  # fmt: skip
    if drawn.symbol and drawn.symbol.dots < codes.FINE:
        yield Finding(
            CODE_FINE, f"the code has modules of {drawn.symbol.module:.3f} mm",
            f"{drawn.symbol.dots} dots of a printer with 600 to the inch", "print it at 600 dots to the inch or more",
        )  # fmt: skip


def facts_of(label: Label, digits: str) -> Iterator[Fact]:
    """Yield what stands below the name."""
    yield Fact(readable(label.part), 1, True)
    yield Fact(f"sum {label.sum16}", 1.1, True)
    if label.date:
        yield Fact(readable(label.date), 0.9)
    groups = [digits[at : at + GROUP] for at in range(0, len(digits), GROUP)]
    yield Fact(" ".join(["SHA-256", *groups]), 0.75)


def symbols_for(label: Label) -> list[Symbol | None]:
    """Return the codes that a label has room for, the best first. Raises OptionError if there is none."""
    match label.code:
        case "none":
            return [None]
        case "qr":
            largest = codes.qr_for(min(label.height, label.width - STRIP))
            if largest:
                return [replace(largest, dots=dots) for dots in range(largest.dots, codes.FINEST - 1, -1)]
            raise no_room(label, "a QR code")
        case "code128":
            symbol = codes.code128_for(label.width)
            if symbol and bars_top(label, symbol) >= label.height / 2 + NOTCH - 1e-9:
                return [symbol]
            raise no_room(label, "a Code 128")
    raise ValueError(f"qr, code128 or none was expected, not {label.code!r}")


def no_room(label: Label, what: str) -> OptionError:
    """Return the error for a label that is too small."""
    return OptionError(
        f"a label of {label.width:g} x {label.height:g} mm has no room for {what}", where=readable(label.name)[:80],
        expected="modules of at least 0.169 mm, and letters of at least 4 points",
        help="another --code (qr takes least height, code128 least width, none no room), a larger --size",
    )  # fmt: skip


def bars_top(label: Label, symbol: Symbol) -> float:
    """Return how far down bars begin: below the half disc, but they are not to be too low."""
    room = label.height - BELOW
    return room - max(codes.BAR_HEIGHT, min(codes.bar_height(symbol), room - label.height / 2 - NOTCH))


def box_beside(label: Label, symbol: Symbol | None) -> Box:
    """Return the box for words that a code leaves."""
    left, height = SIDE, label.height - 2 * EDGE
    if symbol and symbol.kind == "qr":
        left = STRIP + codes.QR_MODULES * symbol.module + 2 * symbol.quiet
    elif symbol:
        height = bars_top(label, symbol) - 2 * BELOW
        return Box(left, BELOW, label.width - left - EDGE, height, measure)
    return Box(left, EDGE, label.width - left - EDGE, height, measure)


def code_marks(label: Label, symbol: Symbol | None, digits: str) -> Iterator[Mark]:
    """Yield the code in its place: a QR in the middle of the height, bars in the middle of the width."""
    if not symbol:
        return
    module = symbol.module
    if symbol.kind == "qr":
        x, y = STRIP + symbol.quiet, (label.height - codes.QR_MODULES * module) / 2
        yield solid(list(codes.qr_boxes(digits)), module, x, y)
        return
    y = bars_top(label, symbol)
    boxes = list(codes.code128_boxes(digits, (label.height - BELOW - y) / module))
    yield solid(boxes, module, (label.width - (boxes[-1][0] + boxes[-1][2]) * module) / 2, y)


def solid(boxes: Sequence[tuple[float, ...]], module: float, x: float, y: float) -> Outline:
    """Return boxes in modules as one black shape in mm."""
    way = [
        (kind, tuple((x + dx * module, y + dy * module) for dx, dy in points))
        for box in boxes
        for kind, points in rounded(*box)
    ]
    return Outline(tuple(way), Pen(BLACK))


def notch(label: Label) -> Outline:
    """Return the half disc at the end of the notch."""
    top, _, upper, _, lower, *_ = rounded(-NOTCH, label.height / 2 - NOTCH, 2 * NOTCH, 2 * NOTCH, NOTCH)
    return Outline((top, upper, lower, ("Z", ())), Pen(BLACK))


def on_stock(label: Label, stock: Stock) -> tuple[Label, bool]:
    """Return a label as the stock takes it, in its size or as large as it may be, and whether it is turned."""
    room = stock.label_width, stock.label_height
    lying = label.width <= room[0] + 1e-6 and label.height <= room[1] + 1e-6
    turned = not lying and room[1] > room[0]
    wide, high = room[::-1] if turned else room
    return replace(label, width=min(label.width, wide), height=min(label.height, high)), turned


def sheets_of(labels: Sequence[Label], stock: Stock, first: int = 1, notes: Sequence[str] = ()) -> list[list[Mark]]:
    """Return the marks of each sheet in mm. Raises OptionError, as draw_label and Stock.places do."""
    sheets: list[list[Mark]] = []
    drawn: dict[Label, list[Mark]] = {}
    for label, (sheet, x, y) in zip(labels, stock.places(first, len(labels))):
        if sheet == len(sheets):
            sheets.append(list(foot(stock, notes)) if stock.cut else [])
        if label not in drawn:
            drawn[label] = list(cell(label, stock))
        sheets[sheet] += [scaled(mark, 1, x, y) for mark in drawn[label]]
    return sheets


def cell(label: Label, stock: Stock) -> Iterator[Mark]:
    """Yield a label in the middle of its place, with crop marks where the place is larger."""
    fitting, turned = on_stock(label, stock)
    marks, size = draw_label(fitting).marks, (fitting.width, fitting.height)
    if turned:
        marks, size = [on_its_side(mark, fitting.width) for mark in marks], size[::-1]
    left, top = (stock.label_width - size[0]) / 2, (stock.label_height - size[1]) / 2
    yield from (scaled(mark, 1, left, top) for mark in marks)
    across, down = (TICK + AWAY, TICK + AWAY) if stock.cut else (left, top)
    for x, outwards in ((left, -1), (left + size[0], 1)):
        for y, upwards in ((top, -1), (top + size[1], 1)):
            yield from tick((x, y), (outwards, 0), across)
            yield from tick((x, y), (0, upwards), down)


def tick(corner: tuple[float, float], way: tuple[int, int], room: float) -> Iterator[Mark]:
    """Yield a crop mark off a corner, if there is room for one."""
    (x, y), (dx, dy), end = corner, way, min(room, TICK + AWAY)
    if end >= 2 * AWAY:
        points = [(x + dx * far, y + dy * far) for far in (AWAY, end)]
        yield Outline((("M", (points[0],)), ("L", (points[1],))), Pen("", BLACK, HAIR))


def foot(stock: Stock, notes: Sequence[str]) -> Iterator[Mark]:
    """Yield what stands below labels on plain paper: the line of 100 mm, and what there is to heed."""
    left, right, y = 12.0, 112.0, stock.height - FOOT + 10
    yield rule(left, right, y, 0.5)
    yield from (rule_down(x, y) for x in (left, right))
    box = Box(left, y + 2.5, stock.width - 2 * left, FOOT - 20, measure)
    rows = [row for words in (SCALE, *notes) for row in box.rows([Fact(words, bold=words == SCALE)], 2.9)]
    yield from Fitted(tuple(replace(box, height=sum(row.size for row in rows) * 1.2).marks(rows))).marks


def rule_down(x: float, y: float) -> Outline:
    """Return an end of the line that is measured."""
    return Outline((("M", ((x, y - 1.5),)), ("L", ((x, y + 1.5),))), Pen("", BLACK, 0.5))


def build_labels_pdf(labels: Sequence[Label], stock: Stock, first: int = 1, notes: Sequence[str] = ()) -> bytes:
    """Return sheets of labels as PDF, from label `first` on; `notes` stand at the foot of plain paper.

    Raises OptionError if a code or words have no room, or there is no label `first`.
    """
    press = Press(Sheet(TITLE, "", "", ()), stock.width * POINTS, stock.height * POINTS, "chip labels")
    press.canvas.setViewerPreference("PrintScaling", "None")
    for marks in sheets_of(labels, stock, first, notes):
        for mark in marks:
            press.draw(scaled(mark, POINTS, 0, 0), 0, 0)
        press.canvas.showPage()
    return press.finish()


def build_labels_svg(labels: Sequence[Label], stock: Stock, first: int = 1, notes: Sequence[str] = ()) -> list[bytes]:
    """Return the same as SVG, one for each sheet; a text keeps its width in whatever face it is shown."""
    return [
        build_svg(stock.width, stock.height, TITLE, marks, width_of) for marks in sheets_of(labels, stock, first, notes)
    ]


def width_of(mark: Lettering) -> float:
    """Return the width of words in mm."""
    return measure(mark.words, mark.size, mark.bold)
