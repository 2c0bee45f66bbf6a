"""A byte map of an image, as PNG or SVG: areas of code, data, text, repeats and fill that the eye tells apart.

Every kind of area has its own texture and its own lightness, so that the map reads the same without colour. One model
(cells, labels, legend) is drawn by two small painters. The same image and title give the same bytes.
"""

from __future__ import annotations

from collections.abc import Iterator
from html import escape
from io import BytesIO
from itertools import pairwise

import numpy as np
from msgspec import Struct

from romwright.errors import OptionError
from romwright.images.areas import RULES, Area, classify_bytes
from romwright.images.image import Image

COLUMNS = 64  # cells in a row
MOST_CELLS = 64 * 64
LEAST_CELL = 16  # bytes
CELL = 12  # pixels; two tiles wide and high
LEFT, TOP, RIGHT, LINE = 84, 78, 24, 20  # pixels
PAPER, INK, FAINT = "#fbfaf6", "#1c2126", "#8b8f94"
TITLE_LENGTH = 70

# Each texture: background, foreground, and six rows of six pixels (# is foreground).
TEXTURES = {
    Area.CODE: ("#27407a", "#5872b5", ("......", "......", "..#...", "......", "......", ".....#")),
    Area.DATA: ("#f3dfb4", "#a8691c", ("##.##.", "##.##.", "......", "##.##.", "##.##.", "......")),
    Area.TEXT: ("#ffffff", "#15803d", ("......", "######", "......", "......", "####..", "......")),
    Area.REPEAT: ("#f4e3ee", "#9d3c78", ("#....#", "....##", "...##.", "..##..", ".##...", "##....")),
    Area.FILL: ("#e6e4dc", "#e6e4dc", ("......",) * 6),
    Area.GAP: ("#ffffff", "#b9bcc0", ("#....#", ".#..#.", "..##..", "..##..", ".#..#.", "#....#")),
}


class Chart(Struct, frozen=True):
    """The model of a byte map: the area of each cell, and where everything stands. Lengths in pixels."""

    title: str
    start: int
    span: int
    cell_bytes: int
    cells: np.ndarray  # areas, one a cell, COLUMNS to a row
    shares: dict[Area, float]

    @property
    def rows(self) -> int:
        return -(-len(self.cells) // COLUMNS)

    @property
    def width(self) -> int:
        return LEFT + COLUMNS * CELL + RIGHT

    @property
    def legend_top(self) -> int:
        return TOP + self.rows * CELL + 22

    @property
    def height(self) -> int:
        return self.legend_top + len(self.shares) * LINE + 8

    def labels(self) -> Iterator[tuple[int, int, int, str, str, str]]:
        """Yield every text as (x, middle y, size, anchor, colour, words)."""
        row_bytes = COLUMNS * self.cell_bytes
        digits = max(4, len(f"{self.start + self.span - 1:X}"))
        note = f"{self.span:,} addresses, {self.start:0{digits}X}-{self.start + self.span - 1:0{digits}X}"
        note += f"; a cell is {self.cell_bytes:,} bytes, a row {row_bytes:X}h"
        yield LEFT, 22, 17, "start", INK, self.title
        yield LEFT, 43, 12, "start", INK, note
        for column in range(0, COLUMNS, 16):
            yield LEFT + column * CELL, TOP - 11, 11, "start", FAINT, f"+{column * self.cell_bytes:X}"
        step = 1 if self.rows <= 24 else 4
        for row in range(0, self.rows, step):
            y = TOP + row * CELL + CELL // 2
            yield LEFT - 8, y, 11, "end", INK, f"{self.start + row * row_bytes:0{digits}X}"
        for index, (area, share) in enumerate(self.shares.items()):
            y = self.legend_top + index * LINE + CELL // 2
            yield LEFT + 3 * CELL + 10, y, 12, "start", INK, f"{share:.1%}  {RULES[area]}"

    def strips(self) -> Iterator[tuple[int, int, int, int, Area]]:
        """Yield every run of like cells of a row, and the legend's swatches, as (x, y, width, height, area)."""
        for row in range(self.rows):
            line = self.cells[row * COLUMNS : (row + 1) * COLUMNS]
            turns = [0, *(np.flatnonzero(line[1:] != line[:-1]) + 1).tolist(), len(line)]
            for first, stop in pairwise(turns):
                yield LEFT + first * CELL, TOP + row * CELL, (stop - first) * CELL, CELL, Area(int(line[first]))
        for index, area in enumerate(self.shares):
            yield LEFT, self.legend_top + index * LINE, 3 * CELL, CELL, area


def build_picture(image: Image, title: str, suffix: str) -> bytes:
    """Draw the byte map of an image; `suffix` is ".png" or ".svg". Raises OptionError for another."""
    painters = {".png": _png, ".svg": _svg}
    if suffix.lower() not in painters:
        raise OptionError(
            f"the picture's name ends in {suffix}" if suffix else "the picture's name has no ending",
            where="--picture",
            expected="a name that ends in .png or .svg",
        )
    return painters[suffix.lower()](chart_of(image, title))


def chart_of(image: Image, title: str) -> Chart:
    """Lay out the byte map: each cell shows the area that most of its bytes belong to."""
    cell_bytes = LEAST_CELL
    while cell_bytes * MOST_CELLS < image.span_bytes:
        cell_bytes *= 2
    areas = classify_bytes(image)
    cells = -(-len(areas) // cell_bytes)
    short = cells * cell_bytes - len(areas)
    counts = []
    for area in Area:
        hits = np.pad(areas == area, (0, short))
        counts.append(hits.reshape(cells, cell_bytes).sum(axis=1))
    shares = {area: int(counts[area].sum()) / len(areas) for area in Area if area is not Area.GAP or image.gaps}
    title = "".join(c if c.isprintable() else "?" for c in title)
    title = title if len(title) <= TITLE_LENGTH else title[: TITLE_LENGTH - 3] + "..."
    return Chart(title, image.start, image.span_bytes, cell_bytes, np.argmax(counts, axis=0), shares)


def _svg(chart: Chart) -> bytes:
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{chart.width}" height="{chart.height}" '
        f'viewBox="0 0 {chart.width} {chart.height}" font-family="Helvetica, Arial, sans-serif">',
        f"<title>{escape(chart.title)}</title>",
        "<defs>",
    ]
    for area, (back, fore, rows) in TEXTURES.items():
        dots = "".join(f"M{x} {y}h1v1h-1z" for y, row in enumerate(rows) for x, dot in enumerate(row) if dot == "#")
        parts.append(
            f'<pattern id="{area.name.lower()}" width="6" height="6" patternUnits="userSpaceOnUse">'
            f'<path d="M0 0h6v6h-6z" fill="{back}"/><path d="{dots}" fill="{fore}"/></pattern>'
        )
    parts += ["</defs>", f'<rect width="{chart.width}" height="{chart.height}" fill="{PAPER}"/>']
    parts.append('<g shape-rendering="crispEdges">')
    for x, y, width, height, area in chart.strips():
        parts.append(f'<rect x="{x}" y="{y}" width="{width}" height="{height}" fill="url(#{area.name.lower()})"/>')
    for x, y, width, height in _frames(chart):
        place = f'x="{x - 0.5}" y="{y - 0.5}" width="{width + 1}" height="{height + 1}"'
        parts.append(f'<rect {place} fill="none" stroke="{FAINT}"/>')
    parts.append("</g>")
    for x, y, size, anchor, colour, words in chart.labels():
        parts.append(
            f'<text x="{x}" y="{y}" font-size="{size}" text-anchor="{anchor}" dominant-baseline="central" '
            f'fill="{colour}" xml:space="preserve">{escape(words)}</text>'
        )
    return ("\n".join([*parts, "</svg>"]) + "\n").encode("utf-8")


def _png(chart: Chart) -> bytes:
    from PIL import Image as Raster
    from PIL import ImageColor, ImageDraw, ImageFont

    tiles = {}
    for area, (back, fore, rows) in TEXTURES.items():
        colours = np.array([ImageColor.getrgb(back), ImageColor.getrgb(fore)], np.uint8)
        tiles[area] = colours[np.array([[dot == "#" for dot in row] for row in rows], int)]
    pixels = np.empty((chart.height, chart.width, 3), np.uint8)
    pixels[:] = ImageColor.getrgb(PAPER)
    for x, y, width, height, area in chart.strips():
        # Textures run on from cell to cell, as SVG patterns do: their origin is the corner of the picture.
        tile = np.roll(tiles[area], (-(y % 6), -(x % 6)), axis=(0, 1))
        pixels[y : y + height, x : x + width] = np.tile(tile, (height // 6, width // 6, 1))
    picture = Raster.fromarray(pixels)
    pen = ImageDraw.Draw(picture)
    for x, y, width, height in _frames(chart):
        pen.rectangle((x - 1, y - 1, x + width, y + height), outline=FAINT)
    for x, y, size, anchor, colour, words in chart.labels():
        font = ImageFont.load_default(size)
        pen.text((x, y), words, fill=colour, font=font, anchor="rm" if anchor == "end" else "lm")
    out = BytesIO()
    picture.save(out, "PNG", optimize=True)
    return out.getvalue()


def _frames(chart: Chart) -> Iterator[tuple[int, int, int, int]]:
    """Yield the outlines around the legend's swatches and around the map, as (x, y, width, height)."""
    yield LEFT, TOP, COLUMNS * CELL, chart.rows * CELL
    for index in range(len(chart.shares)):
        yield LEFT, chart.legend_top + index * LINE, 3 * CELL, CELL
