"""Marks as an SVG in mm, the way back from `vectors.read_drawing`: shapes exact, words held to a width in any face."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

from romwright.sheets.shapes import plain
from romwright.sheets.vectors import Lettering, Mark, Outline

FACES = "DejaVu Sans, Verdana, Arial, sans-serif"


def build_svg(
    width: float, height: float, title: str, marks: Iterable[Mark], width_of: Callable[[Lettering], float]
) -> bytes:
    """Return marks on a white sheet whose size is in mm, as are all places."""
    size = f"{number(width)} {number(height)}"
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{number(width)}mm" height="{number(height)}mm" '
        f'viewBox="0 0 {size}" font-family="{FACES}">',
        f"<title>{plain(title)}</title>",
        f'<rect width="{number(width)}" height="{number(height)}" fill="#ffffff"/>',
    ]
    for mark in marks:
        lines += words(mark, width_of(mark)) if isinstance(mark, Lettering) else outline(mark)
    return ("\n".join([*lines, "</svg>"]) + "\n").encode("utf-8")


def number(value: float) -> str:
    """Write a number with as many places as it has, six at most.

    >>> number(210.0), number(0.1), number(-0.0000001)
    ('210', '0.1', '0')
    """
    text = f"{value:.6f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def words(mark: Lettering, length: float) -> Iterator[str]:
    """Yield words as text that is stretched or pressed to its width."""
    x, y = map(number, mark.at)
    weight = ' font-weight="bold"' if mark.bold else ""
    turn = f' transform="rotate(-90 {x} {y})"' if mark.upwards else ""
    yield (
        f'<text x="{x}" y="{y}" font-size="{number(mark.size)}" text-anchor="{mark.anchor}"{weight} fill="{mark.ink}" '
        f'textLength="{number(length)}" lengthAdjust="spacingAndGlyphs"{turn}>{plain(mark.words)}</text>'
    )


def outline(mark: Outline) -> Iterator[str]:
    """Yield a shape as a path."""
    way, pen = "".join(kind + " ".join(number(v) for point in to for v in point) for kind, to in mark.way), mark.pen
    stroke = f' stroke="{pen.stroke}" stroke-width="{number(pen.width)}"' if pen.stroke else ""
    yield f'<path d="{way}" fill="{pen.fill or "none"}"{stroke}/>'
