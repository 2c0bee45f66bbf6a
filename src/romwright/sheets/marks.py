"""Marks on paper: boxes, lines, words, the sign STOP; and marks of a drawing made smaller or laid on their side."""

from __future__ import annotations

from collections.abc import Iterator

from msgspec.structs import replace

from romwright.sheets.vectors import Lettering, Mark, Outline, Pen
from romwright.sheets.ways import rounded

BLACK, WHITE = "#000000", "#ffffff"
SIZE = 9.6  # of letters, where nothing else is said
CORNER = 0.4142135624  # of an octagon: tan 22.5 degrees


def box(x: float, y: float, width: float, height: float, fill: str = "", stroke: float = 0, r: float = 0) -> Outline:
    """Return a box: filled, or with an edge."""
    return Outline(tuple(rounded(x, y, width, height, r)), Pen(fill, BLACK if stroke else "", stroke))


def rule(x: float, right: float, y: float, width: float) -> Outline:
    """Return a level line."""
    return Outline((("M", ((x, y),)), ("L", ((right, y),))), Pen("", BLACK, width))


def lettering(x: float, y: float, words: str, size: float = SIZE, bold: bool = False, **style) -> Lettering:
    """Return words on a line."""
    return Lettering((x, y), words, size, bold=bold, **style)


def octagon(x: float, y: float, side: float) -> Iterator[Mark]:
    """Yield the sign STOP: black, with eight corners."""
    c = side / 2 * (1 - CORNER)
    corners = [(c, 0), (side - c, 0), (side, c), (side, side - c), (side - c, side), (c, side), (0, side - c), (0, c)]
    way = [("ML"[bool(n)], ((x + dx, y + dy),)) for n, (dx, dy) in enumerate(corners)]
    yield Outline((*way, ("Z", ())), Pen(BLACK))
    yield lettering(x + side / 2, y + side * 0.6, "STOP", side * 0.29, True, anchor="middle", ink=WHITE)


def scaled(mark: Mark, scale: float, left: float, top: float) -> Mark:
    """Return a mark made smaller or larger, then moved."""

    def place(point: tuple[float, float]) -> tuple[float, float]:
        return left + point[0] * scale, top + point[1] * scale

    if isinstance(mark, Lettering):
        return replace(mark, at=place(mark.at), size=mark.size * scale)
    pen = replace(mark.pen, width=mark.pen.width * scale, dashes=tuple(each * scale for each in mark.pen.dashes))
    return Outline(tuple((kind, tuple(map(place, points))) for kind, points in mark.way), pen)


def on_its_side(mark: Mark, width: float) -> Mark:
    """Return a mark of a drawing of a width that is laid on its side: it is read from the right edge of the paper."""

    def place(point: tuple[float, float]) -> tuple[float, float]:
        return point[1], width - point[0]

    if isinstance(mark, Lettering):
        return replace(mark, at=place(mark.at), upwards=True)
    return replace(mark, way=tuple((kind, tuple(map(place, points))) for kind, points in mark.way))
