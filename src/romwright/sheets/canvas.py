"""A picture in SVG that can be turned over: shapes are mirrored, words stay readable."""

from __future__ import annotations

from collections.abc import Iterator

from msgspec import Struct, field

from romwright.sheets.shapes import INK, PAPER, text

OTHER_END = {"start": "end", "middle": "middle", "end": "start"}


def number(value: float) -> str:
    """Write a coordinate: at most one decimal."""
    return f"{value:.1f}".removesuffix(".0")


class Canvas(Struct):
    """Shapes and words of one view, `width` wide; `mirrored`: seen from the other side."""

    width: float
    mirrored: bool = False
    shapes: list[str] = field(default_factory=list)
    words: list[str] = field(default_factory=list)

    def write(self, x: float, y: float, words: str, size: int, anchor: str = "start", **style) -> None:
        """Write words, never mirrored; they keep their side of the place."""
        x, anchor = (self.width - x, OTHER_END[anchor]) if self.mirrored else (x, anchor)
        self.words.append(text(round(x), round(y), words, size, anchor, **style))

    def path(self, way: str, stroke: float, fill: str = "none", ink: str = INK, extra: str = "") -> None:
        """Draw a path."""
        self.shapes.append(f'<path d="{way}" fill="{fill}" stroke="{ink}" stroke-width="{number(stroke)}"{extra}/>')

    def line(self, *points: tuple[float, float], stroke: float = 2) -> None:
        """Draw from point to point."""
        self.path("M" + "L".join(f"{number(x)} {number(y)}" for x, y in points), stroke)

    def box(self, x: float, y: float, width: float, height: float, stroke: float, fill: str = PAPER) -> None:
        """Draw a box."""
        self.path(f"M{number(x)} {number(y)}h{number(width)}v{number(height)}h{number(-width)}z", stroke, fill)

    def disc(self, x: float, y: float, radius: float, stroke: float = 0, fill: str = INK) -> None:
        """Draw a disc or a circle."""
        line = f' stroke="{INK}" stroke-width="{number(stroke)}"' if stroke else ""
        self.shapes.append(f'<circle cx="{number(x)}" cy="{number(y)}" r="{number(radius)}" fill="{fill}"{line}/>')

    def elements(self, down: float) -> Iterator[str]:
        """Yield the picture, moved down."""
        yield f'<g transform="translate(0 {number(down)})">'
        yield f'<g transform="matrix(-1 0 0 1 {number(self.width)} 0)">' if self.mirrored else "<g>"
        yield from self.shapes
        yield "</g>"
        yield from self.words
        yield "</g>"
