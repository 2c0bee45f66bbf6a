"""The drawings of this package as plain strokes and words: the subset of SVG that they are made of, read exactly.

A drawing goes to paper as strokes and onto a page as it is, so both rest on this reader: what it does not know, it
refuses with ValueError. That is why nothing but lines and letters gets from a picture into a page.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from xml.etree import ElementTree

from msgspec import Struct
from msgspec.structs import replace

from romwright.sheets.ways import WAYS, Point, Segment, length, lengths, measure

SVG = "{http://www.w3.org/2000/svg}"
INHERITED = {"fill", "stroke", "stroke-width", "stroke-dasharray", "stroke-linecap", "stroke-linejoin"}
GEOMETRY = {
    "svg": {"width", "height", "viewBox", "font-family"}, "g": {"transform"}, "path": {"d", "data-wire"},
    "rect": {"x", "y", "width", "height", "rx"}, "circle": {"cx", "cy", "r"},
    "text": {"x", "y", "font-size", "font-weight", "text-anchor", "textLength", "lengthAdjust"},
    "title": set(), "style": set(),
}  # fmt: skip
COLOUR = re.compile(r"#[0-9a-f]{3}(?:[0-9a-f]{3})?")
Matrix = tuple[float, float, float, float, float, float]


class Pen(Struct, frozen=True):
    """How a shape is filled and drawn; a colour is `#rrggbb`, or empty for none."""

    fill: str = "#000000"
    stroke: str = ""
    width: float = 1
    dashes: tuple[float, ...] = ()
    cap: str = "butt"
    join: str = "miter"


class Outline(Struct, frozen=True):
    """A shape: its way in absolute points, y downwards."""

    way: tuple[Segment, ...]
    pen: Pen


class Lettering(Struct, frozen=True):
    """Words in one line: where they start, have their middle or end (`anchor`), on which line."""

    at: Point
    words: str
    size: float
    anchor: str = "start"
    bold: bool = False
    ink: str = "#000000"
    upwards: bool = False  # read from the right edge of the paper


Mark = Outline | Lettering


class Drawing(Struct, frozen=True):
    """Marks from the bottom up on a sheet of a width and a height."""

    width: float
    height: float
    marks: tuple[Mark, ...]


def read_drawing(svg: bytes) -> Drawing:
    """Read a drawing made by this package. Raises ValueError with the first thing that is not known."""
    root = read_elements(svg)
    match lengths(root.get("viewBox", "")):
        case (0, 0, width, height) if width > 0 and height > 0:
            pass
        case _:
            raise ValueError(f"a viewBox of 0 0 WIDTH HEIGHT was expected, not {root.get('viewBox')!r}")
    return Drawing(width, height, tuple(_marks(root, Pen(), (1, 0, 0, 1, 0, 0))))


def read_elements(svg: bytes) -> ElementTree.Element:
    """Return the elements of a drawing: only those known here, with attributes known here, words only in text."""
    if b"<!" in svg or b"<?" in svg:
        raise ValueError("a drawing has no comments, declarations or entities of its own")
    try:
        root = ElementTree.fromstring(svg)
    except ElementTree.ParseError as error:
        raise ValueError(f"not a drawing: {error}") from None
    if root.tag != f"{SVG}svg":
        raise ValueError(f"the element svg was expected, not {root.tag}")
    for element in root.iter():
        name = name_of(element)
        if unknown := element.attrib.keys() - GEOMETRY[name] - INHERITED:
            raise ValueError(f"{name} with an unknown attribute {min(unknown)}")
        if name not in ("text", "title", "style") and (element.text or "").strip():
            raise ValueError(f"words outside of text: {element.text!r}")
        if (element.tail or "").strip():
            raise ValueError(f"words outside of text: {element.tail!r}")
        if name not in ("svg", "g") and len(element):
            raise ValueError(f"an element within {name}")
    return root


def name_of(element: ElementTree.Element) -> str:
    """Return the name of an element without its namespace."""
    name = element.tag.removeprefix(SVG)
    if name not in GEOMETRY:
        raise ValueError(f"an unknown element {element.tag}")
    return name


def _marks(parent: ElementTree.Element, pen: Pen, place: Matrix) -> Iterator[Mark]:
    """Yield the marks of a group: its pen and its place hold for all in it."""
    pen = styled(pen, parent.attrib)
    for element in parent:
        name, of = name_of(element), element.attrib
        if name == "g":
            yield from _marks(element, pen, joined(place, transform_of(of.get("transform", ""))))
        elif name == "text":
            yield _lettering(element, styled(pen, of), place)
        elif name in WAYS:
            way = tuple((kind, tuple(moved(place, point) for point in points)) for kind, points in WAYS[name](of))
            yield Outline(way, styled(pen, of))


def _lettering(element: ElementTree.Element, pen: Pen, place: Matrix) -> Lettering:
    of = element.attrib
    if place[:4] != (1, 0, 0, 1):
        raise ValueError(f"words in a picture that is turned over: {element.text!r}")
    anchor, weight = of.get("text-anchor", "start"), of.get("font-weight", "normal")
    if anchor not in ("start", "middle", "end") or weight not in ("normal", "bold"):
        raise ValueError(f"words with text-anchor {anchor!r}, font-weight {weight!r}")
    x, y, size = measure(of, "x", "y", "font-size")
    return Lettering(moved(place, (x, y)), element.text or "", size, anchor, weight == "bold", pen.fill)


def styled(pen: Pen, of: Mapping[str, str]) -> Pen:
    """Return a pen as the attributes of an element change it."""
    ways = {
        "fill": ("fill", colour), "stroke": ("stroke", colour), "stroke-width": ("width", length),
        "stroke-dasharray": ("dashes", lengths), "stroke-linecap": ("cap", one_of("butt", "round", "square")),
        "stroke-linejoin": ("join", one_of("miter", "round", "bevel")),
    }  # fmt: skip
    return replace(pen, **{field: read(of[name]) for name, (field, read) in ways.items() if name in of})


def one_of(*known: str):
    """Return a reader that takes these words only."""

    def read(word: str) -> str:
        if word not in known:
            raise ValueError(f"{' or '.join(known)} was expected, not {word!r}")
        return word

    return read


def colour(word: str) -> str:
    """Return a colour as #rrggbb, or nothing for `none`."""
    if word == "none":
        return ""
    if not COLOUR.fullmatch(word):
        raise ValueError(f"a colour #rgb or #rrggbb was expected, not {word!r}")
    return word if len(word) == 7 else "#" + "".join(2 * c for c in word[1:])


def transform_of(word: str) -> Matrix:
    """Return the matrix of a transformation: a move, or a matrix that keeps lengths."""
    if not word:
        return 1, 0, 0, 1, 0, 0
    known = re.fullmatch(r"(translate|matrix)\(([^()]*)\)", word)
    values = lengths(known[2]) if known else ()
    if known and known[1] == "translate" and len(values) == 2:
        return 1, 0, 0, 1, *values
    if known and len(values) == 6 and values[1:3] == (0, 0) and {abs(values[0]), abs(values[3])} == {1}:
        return values
    raise ValueError(f"translate(X Y) or a matrix that keeps lengths was expected, not {word!r}")


def joined(outer: Matrix, inner: Matrix) -> Matrix:
    """Return the matrix that does the inner, then the outer."""
    a, b, c, d, _, _ = outer
    p, q, r, s, e, f = inner
    return (a * p + c * q, b * p + d * q, a * r + c * s, b * r + d * s, *moved(outer, (e, f)))


def moved(place: Matrix, point: Point) -> Point:
    """Return where a point comes to lie."""
    (a, b, c, d, e, f), (x, y) = place, point
    return a * x + c * y + e, b * x + d * y + f
