"""Byte maps: the areas against plain loops, the two painters against each other, and what must hold in print."""

import io
import random
import re
import xml.etree.ElementTree as ET
from collections import Counter
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image as Raster

from romwright.errors import OptionError
from romwright.images.areas import Area, classify_bytes
from romwright.images.image import Image
from romwright.images.picture import CELL, COLUMNS, LEFT, TEXTURES, TOP, build_picture, chart_of

ROOT = Path(__file__).parents[2]
LOGGER = (ROOT / "fixtures" / "tern" / "logger.bin").read_bytes()
SVG = "{http://www.w3.org/2000/svg}"


@settings(deadline=None)
@given(
    st.lists(
        st.sampled_from(
            [b"\xff" * 16, b"\0" * 40, b"LOGGER", b"\xc1\xc2\xc3\xc4\xc5\xc6", b"\x01\x02\x03", b"\x90" * 15]
        ),
        min_size=1,
    )
)
def test_fill_and_text_are_those_of_a_loop(parts):
    data = b"".join(parts)
    areas = classify_bytes(Image.from_bytes(data))
    at = 0
    while at < len(data):
        stop = at
        while stop < len(data) and data[stop] == data[at]:
            stop += 1
        assert (set(areas[at:stop].tolist()) == {Area.FILL}) == (stop - at >= 16), (at, stop)
        at = stop
    for first in (0x20, 0xA0):
        for run in re.finditer(rb"[%c-%c]{6,}" % (first, first + 0x5E), data):
            assert set(areas[run.start() : run.end()].tolist()) <= {Area.TEXT, Area.FILL, Area.REPEAT}


def test_the_areas_of_a_program_whose_source_we_have():
    """fixtures/tern/logger.s: code from C000, tables from D000 and D480, text from E180, FF after it."""
    areas = classify_bytes(Image.from_bytes(LOGGER))
    assert Counter(areas[:0x780].tolist())[Area.CODE] > 0.95 * 0x780
    assert Counter(areas[0x1000:0x1400].tolist())[Area.CODE] == 0
    assert Counter(areas[0x2200:0x2480].tolist())[Area.TEXT] > 0.95 * 0x280
    assert set(areas[0x2600:0x3F00].tolist()) == {Area.FILL}


def test_random_bytes_and_repeats():
    part = random.Random(7).randbytes(4096)
    areas = classify_bytes(Image.from_bytes(part + part))
    assert Counter(areas[:4096].tolist())[Area.CODE] == 0
    assert set(areas[4096:].tolist()) == {Area.REPEAT}


def test_gaps_are_their_own_area():
    areas = classify_bytes(Image.of([(0, bytes(16)), (32, bytes(16))]))
    assert areas.tolist() == [Area.FILL] * 16 + [Area.GAP] * 16 + [Area.FILL] * 16


def lightness(colour):
    r, g, b = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return (0.2126 * r + 0.7152 * g + 0.0722 * b) / 255  # ITU-R BT.709 luma


def test_areas_differ_without_colour():
    """Every two areas differ in their dots, or by a fifth of the range in their mean lightness."""
    looks = {}
    for area, (back, fore, rows) in TEXTURES.items():
        ink = "".join(rows).count("#") / 36
        looks[area] = "".join(rows), ink * lightness(fore) + (1 - ink) * lightness(back)
    for one in Area:
        for other in Area:
            if one < other:
                (dots, light), (dots2, light2) = looks[one], looks[other]
                assert dots != dots2 or abs(light - light2) >= 0.2, (one, other)
    assert looks[Area.CODE][1] < min(light for area, (_, light) in looks.items() if area != Area.CODE) - 0.2


@pytest.mark.parametrize("suffix", [".png", ".svg", ".SVG"])
def test_the_same_image_gives_the_same_bytes(suffix):
    image = Image.from_bytes(LOGGER, 0xC000)
    assert build_picture(image, "logger", suffix) == build_picture(image, "logger", suffix)


def svg_of(image, title="x"):
    return ET.fromstring(build_picture(image, title, ".svg"))


def png_of(image, title="x"):
    return Raster.open(io.BytesIO(build_picture(image, title, ".png")))


def test_both_painters_paint_the_same_cells():
    image = Image.of([(0xC000, LOGGER[:0x2800]), (0xF000, LOGGER[:0x800]), (0xF800, random.Random(2).randbytes(0x400))])
    svg, png = svg_of(image), png_of(image)
    assert png.size == (int(svg.get("width")), int(svg.get("height")))
    painted = {}
    for rect in svg.iter(f"{SVG}rect"):
        if name := re.fullmatch(r"url\(#(\w+)\)", rect.get("fill")):
            x, y, width, height = (int(rect.get(k)) for k in ("x", "y", "width", "height"))
            for left in range(x, x + width, CELL):
                painted[left, y] = Area[name[1].upper()], height
    chart = chart_of(image, "x")
    for index, area in enumerate(chart.cells.tolist()):
        assert painted[LEFT + index % COLUMNS * CELL, TOP + index // COLUMNS * CELL] == (area, CELL)
    for (x, y), (area, height) in painted.items():
        back, fore, rows = TEXTURES[area]
        for dy in range(height):
            for dx in range(CELL):
                colour = fore if rows[(y + dy) % 6][(x + dx) % 6] == "#" else back
                assert png.getpixel((x + dx, y + dy)) == tuple(int(colour[i : i + 2], 16) for i in (1, 3, 5))


def test_the_scale_and_the_legend_are_written():
    words = [text.text for text in svg_of(Image.from_bytes(LOGGER, 0xC000)).iter(f"{SVG}text")]
    assert {"C000", "C400", "FC00", "+100"} <= set(words)
    assert sum(name in " ".join(words) for name in ("code-like", "data", "text", "repeat", "fill")) == 5


@pytest.mark.parametrize(
    "title", ["<script>alert(1)</script>", "a&b", "x\x00\x1b[31m\udc80", "]]>", "n" * 500, "\u202e"]
)
def test_a_title_is_inert(title):
    svg = svg_of(Image.from_bytes(b"A"), title)
    assert not list(svg.iter(f"{SVG}script"))
    text = svg.find(f"{SVG}title").text
    assert len(text) <= 70 and text.isprintable()
    png_of(Image.from_bytes(b"A"), title)


@pytest.mark.parametrize("size", [1, 15, 16, 17, 1024, 1025, 65536, 65537, 3 << 20, 8 << 20])
def test_pictures_stay_of_reasonable_size(size):
    image = Image.from_bytes((LOGGER * (size // len(LOGGER) + 1))[:size])
    picture = build_picture(image, "x", ".png")
    assert Raster.open(io.BytesIO(picture)).size[1] <= 1100 and len(picture) < 200_000
    assert len(build_picture(image, "x", ".svg")) < 600_000


def test_other_endings_are_refused():
    with pytest.raises(OptionError, match="name ends in .gif"):
        build_picture(Image.from_bytes(b"A"), "x", ".gif")
