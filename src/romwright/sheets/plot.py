"""A picture of lines, marks and words in black on white that is painted as SVG and as PNG alike."""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO

from msgspec import Struct, field

from romwright.sheets.canvas import number
from romwright.sheets.shapes import INK, PAPER, page, plain, text

Point = tuple[float, float]
SCALE, SMOOTH = 2, 2  # pixels of a PNG for each of the picture, and how much finer they are drawn first


class Words(Struct, frozen=True):
    """Words at a place, on their line."""

    x: float
    y: float
    words: str
    size: int
    anchor: str
    bold: bool


class Figures(Struct, frozen=True):
    """Ways of the same kind: closed and filled, or lines of that stroke; `name` says what they are."""

    ways: Sequence[Sequence[Point]]
    stroke: float
    filled: bool
    closed: bool
    name: str


class Plot(Struct):
    """A picture; lengths in pixels."""

    width: float
    height: float = 0
    shapes: list[Figures] = field(default_factory=list)
    words: list[Words] = field(default_factory=list)

    def write(self, x: float, y: float, words: str, size: int, anchor: str = "start", bold: bool = False) -> None:
        """Write words."""
        self.words.append(Words(round(x), round(y), words, size, anchor, bold))

    def line(self, *points: Point, stroke: float, name: str = "") -> None:
        """Draw from point to point."""
        self.shapes.append(Figures([points], stroke, False, False, name))

    def figures(
        self, ways: Sequence[Sequence[Point]], stroke: float, *,
        filled: bool = False, closed: bool = True, name: str = "",
    ) -> None:  # fmt: skip
        """Draw figures of one kind; a closed one that is not filled is white inside."""
        if ways:
            self.shapes.append(Figures(ways, stroke, filled, closed, name))

    def svg(self, title: str) -> bytes:
        """Paint it as SVG on a page that prints either way."""
        lines = []
        for each in self.shapes:
            way = "".join(
                "M" + "L".join(f"{number(x)} {number(y)}" for x, y in points) + "z" * each.closed
                for points in each.ways
            )
            name = f' data-name="{plain(each.name)}"' if each.name else ""
            fill = "none" if not each.closed else INK if each.filled else PAPER if each.name else "none"
            lines.append(f'<path d="{way}" fill="{fill}" stroke="{INK}" stroke-width="{number(each.stroke)}"{name}/>')
        lines += [text(each.x, each.y, each.words, each.size, each.anchor, bold=each.bold) for each in self.words]
        return page(round(self.width), round(self.height), title, lines, turns=True)

    def png(self) -> bytes:
        """Paint it as PNG."""
        from PIL import Image, ImageDraw, ImageFont

        fine = SCALE * SMOOTH
        size = round(self.width), round(self.height)
        picture = Image.new("L", (size[0] * fine, size[1] * fine), 255)
        pen = ImageDraw.Draw(picture)
        for each in self.shapes:
            wide = max(1, round(each.stroke * fine))
            for points in each.ways:
                way = [(x * fine, y * fine) for x, y in points]
                if each.closed and (each.filled or each.name):
                    pen.polygon(way, fill=0 if each.filled else 255)
                if not each.filled:
                    way = [*way, way[0], way[1]] if each.closed else way
                    pen.line(way, fill=0, width=wide, joint="curve")
        picture = picture.resize((size[0] * SCALE, size[1] * SCALE), Image.Resampling.BOX)
        pen = ImageDraw.Draw(picture)
        for each in self.words:
            shown = "".join(c if c.isprintable() else "\ufffd" for c in each.words)
            anchor = {"start": "ls", "middle": "ms", "end": "rs"}[each.anchor]
            font, place = ImageFont.load_default(each.size * SCALE), (each.x * SCALE, each.y * SCALE)
            pen.text(place, shown, fill=0, font=font, anchor=anchor, stroke_width=int(each.bold))
        out = BytesIO()
        picture.save(out, "PNG")
        return out.getvalue()
