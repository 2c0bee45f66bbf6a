"""The map of wrong bits: every mark is counted and placed again from the SVG, against a loop over the bits."""

import io
import re
import xml.etree.ElementTree as ET
from collections import Counter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image as Raster
from sheets.measured import ends
from sheets.test_faultdrawing import HOSTILE

from romwright.faults.bitmap import Grid, Wrong
from romwright.faults.comparison import compare
from romwright.faults.lines import Line, LineMap
from romwright.images.image import Image
from romwright.sheets.bitchart import LEFT, SPAN, Chart
from romwright.sheets.bitdrawing import LISTED, build_bits_picture
from romwright.sheets.plot import SCALE, Plot

SVG = "{http://www.w3.org/2000/svg}"
PROGRAM = np.random.default_rng(6).integers(0, 256, 1 << 19).astype(np.uint8)


def spoilt(size, count, seed=0, lines=None):
    """A comparison of a program with a read of it in which so many bits are turned."""
    rng, good = np.random.default_rng(seed), PROGRAM[:size]
    dump = lines.apply(good, size) if lines else good.copy()
    for at in rng.choice(8 * size, count, replace=False).tolist():
        dump[at >> 3] ^= 1 << (at & 7)
    return compare(Image.from_bytes(good.tobytes()), Image.from_bytes(dump.tobytes()))


def loop(comparison):
    """Every wrong bit (address, data line, rose), by a plain loop."""
    found = set()
    for at, (due, seen) in enumerate(zip(comparison.expected.tolist(), comparison.dump.tolist())):
        for bit in range(8):
            if (due ^ seen) >> bit & 1:
                found.add((at, bit, bool(seen >> bit & 1)))
    return found


def sheet(comparison, title="dump.bin against good.bin"):
    return ET.fromstring(build_bits_picture(comparison, title, ".svg"))


def marks(root, name):
    """The middle, width and direction of every triangle of that name."""
    found = []
    for path in root.iter(f"{SVG}path"):
        if path.get("data-name") != name:
            continue
        for way in path.get("d").split("M")[1:]:
            (x1, y1), (x2, _), (_, y3) = (tuple(map(float, p.split())) for p in way.rstrip("z").split("L"))
            found.append(((x1 + x2) / 2, (y1 + y3) / 2, x2 - x1, y3 < y1))
    return found


def top_of(root):
    """Where the first grid begins: its frame."""
    frame = next(p for p in root.iter(f"{SVG}path") if p.get("stroke-width") == "2.5")
    return float(re.match(r"M\S+ ([\d.]+)", frame.get("d"))[1])


@pytest.mark.parametrize("size", [1, 5, 32, 100, 256, 300, 512])
def test_small_dumps_have_a_mark_for_each_bit_where_it_belongs(size):
    comparison = spoilt(size, size)
    assert not comparison.residue.regions
    root, expected = sheet(comparison), loop(comparison)
    across = 4 if size <= 128 else 8 if size <= 256 else 16
    cell, top, found = SPAN / 8 / across, top_of(root), set()
    row = 24 if across == 4 and size <= 64 else 14
    for rose, name in ((True, "rose"), (False, "fell")):
        for x, y, _, up in marks(root, name):
            assert up is rose
            column, line = int((y - top) // row), (x - LEFT) / cell
            found.add((column * across + int(line // 8), 7 - int(line % 8), rose))
        assert len(marks(root, name)) == sum(way is rose for _, _, way in expected)
    assert found == expected


@pytest.mark.parametrize(
    ("size", "count"), [(1024, 300), (8192, 1), (16384, 300), (8192, 13000), (5000, 200), (1 << 19, 900)]
)
def test_the_marks_of_cells_say_how_many_bits(size, count):
    comparison = spoilt(size, count)
    root, grid = sheet(comparison), Grid.of(Wrong.of(comparison.residue))
    assert grid.each * 128 >= size > grid.each * 64 and grid.rows <= 32
    counts = Counter((at // grid.each, bit, rose) for at, bit, rose in loop(comparison))
    words = [t.text for t in root.iter(f"{SVG}text")]
    start = words.index("bits of a cell (rose left, fell right):") + 1
    steps = []
    for text in words[start : start + 4]:
        match = re.fullmatch(r"([\d,]+)(?: to ([\d,]+))?", text)
        steps += [int((match[2] or match[1]).replace(",", ""))] if match else []
    steps = steps[: len(grid.steps)]
    assert steps[-1] == max(counts.values()) and steps == sorted(set(steps))
    shown = sorted({width for name in ("legend rose", "legend fell") for _, _, width, _ in marks(root, name)})
    sizes = [width for width in shown if width < 12]
    assert len(sizes) == len(steps)
    top, found = top_of(root), {}
    for rose, name in ((True, "rose"), (False, "fell")):
        for x, y, width, up in marks(root, name):
            line = (x - LEFT) / 25
            assert up is rose and (line % 1 < 0.5) is rose
            at = int((y - top) // 14) * 4 + int(line // 8), 7 - int(line % 8), rose
            found[at] = min(range(len(sizes)), key=lambda n, width=width: abs(sizes[n] - width))
    assert found == {at: next(n for n, step in enumerate(steps) if times <= step) for at, times in counts.items()}


@pytest.mark.parametrize("size", [200, 8192, 1 << 18])
def test_few_wrong_bytes_are_shown_one_by_one(size):
    comparison = spoilt(size, 60)
    root = sheet(comparison)
    expected = loop(comparison)
    for rose, name in ((True, "listed rose"), (False, "listed fell")):
        assert len(marks(root, name)) == sum(way is rose for _, _, way in expected)
    words = [t.text for t in root.iter(f"{SVG}text")]
    for at in {at for at, _, _ in expected}:
        place = words.index(f"{comparison.expected[at]:02X}  {comparison.dump[at]:02X}")
        assert place and f"{at:0{max(4, len(f'{size - 1:X}'))}X}" in words


def test_many_wrong_bytes_are_shown_in_the_worst_pages():
    comparison = spoilt(16384, 1000)
    expected, root = loop(comparison), sheet(comparison)
    by_page = Counter(at >> 8 for at, _, _ in expected)
    worst = sorted(by_page, key=lambda page: (-by_page[page], page))[:2]
    words = " ".join(t.text for t in root.iter(f"{SVG}text"))
    for page in worst:
        assert f"page {page:02X}00-{page:02X}FF, {by_page[page]:,} wrong bits" in words
    for rose, name in ((True, "zoom rose"), (False, "zoom fell")):
        assert len(marks(root, name)) == sum(way is rose for at, _, way in expected if at >> 8 in worst)
    assert len({at for at, _, _ in expected}) > LISTED


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 3000), st.integers(0, 400), st.integers(0, 99))
def test_sums_are_those_of_a_loop(size, count, seed):
    rng = np.random.default_rng(seed)
    at = np.unique(rng.integers(0, size, count))
    rose = rng.integers(0, 256, len(at)).astype(np.uint8)
    fell = rng.integers(0, 256, len(at)).astype(np.uint8) & ~rose
    some = (rose | fell) != 0
    grid = Grid.of(Wrong(size, at[some], rose[some], fell[some]))
    rows, lines = Counter(), Counter()
    for address, up, down in zip(at.tolist(), rose.tolist(), fell.tolist()):
        for way, byte in enumerate((up, down)):
            rows[address // (grid.each * grid.across), way] += byte.bit_count()
            for line in range(8):
                lines[line, way] += byte >> line & 1
    assert grid.totals_by_row() == [(rows[row, 0], rows[row, 1]) for row in range(grid.rows)]
    assert grid.totals_by_line() == [(lines[line, 0], lines[line, 1]) for line in range(8)]
    assert sum(1 for _ in grid.marks()) == int((grid.rose > 0).sum() + (grid.fell > 0).sum())
    assert all(step >= 1 for step in grid.steps) and grid.steps == sorted(set(grid.steps)) and len(grid.steps) <= 4


def test_only_what_the_lines_do_not_explain_is_drawn():
    straight = LineMap.straight(13)
    crossed = LineMap(tuple(Line.follows({4: 9, 9: 4}.get(n, n)) for n in range(13)), straight.data)
    comparison = spoilt(8192, 7, lines=crossed)
    assert comparison.best.lines == crossed
    root = sheet(comparison)
    assert len(marks(root, "listed rose") + marks(root, "listed fell")) == 7
    assert any("besides the lines at fault" in t.text for t in root.iter(f"{SVG}text"))


def test_an_inverted_line_is_turned_back():
    straight = LineMap.straight(13)
    lines = LineMap(straight.address, tuple(Line.inverted(n) for n in range(8)))
    comparison = spoilt(8192, 30, lines=lines)
    root = sheet(comparison)
    assert len(marks(root, "listed rose")) == comparison.residue.rose
    assert len(marks(root, "listed fell")) == comparison.residue.fell


def outlined(comparison):
    """The cells that a region's outline encloses, by the even-odd rule on the middle of each."""
    root, found = sheet(comparison), set()
    top = top_of(root)
    for path in root.iter(f"{SVG}path"):
        if path.get("data-name") != "region":
            continue
        points = [tuple(map(float, p.split())) for p in path.get("d")[1:].split("L")]
        for row in range(32):
            for column in range(4):
                x, y = LEFT + (column + 0.5) * 200, top + (row + 0.5) * 14
                crossings = sum((y1 > y) != (y2 > y) and x < x1 + (y - y1) * (x2 - x1) / (y2 - y1)
                                for (x1, y1), (x2, y2) in zip(points, points[1:]))  # fmt: skip
                if crossings % 2:
                    found.add(row * 4 + column)
    return found


@pytest.mark.parametrize(
    ("start", "stop"), [(0xA30, 0x1740), (0x40, 0x80), (0x1F80, 0x2000), (0x0F0, 0x150), (0, 0x800)]
)
def test_regions_of_one_value_are_outlined(start, stop):
    dump = PROGRAM[:8192].copy()
    dump[start:stop] = 0xFF
    comparison = compare(Image.from_bytes(PROGRAM[:8192].tobytes()), Image.from_bytes(dump.tobytes()))
    (region,) = comparison.residue.regions
    assert outlined(comparison) == set(range(region.start // 64, (region.stop - 1) // 64 + 1))


def test_what_was_not_compared_is_struck_out():
    good = Image.of([(0, PROGRAM[:0x800].tobytes()), (0x1000, PROGRAM[0x1000:0x2000].tobytes())])
    dump = PROGRAM[:0x2000].copy()
    dump[5] ^= 1
    comparison = compare(good, Image.from_bytes(dump.tobytes()))
    root = sheet(comparison)
    (struck,) = (p for p in root.iter(f"{SVG}path") if p.get("data-name") == "not compared")
    assert struck.get("d").count("M") == 0x800 // 64


CASES = {
    "one bit": (8192, 1), "none": (8192, 0), "32 bytes": (32, 3), "300": (16384, 300), "20 %": (8192, 13000),
    "512K": (1 << 19, 900), "one byte": (1, 2), "listed": (1 << 18, LISTED - 5), "odd": (4999, 10),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_no_text_meets_another_or_runs_off(name):
    root = sheet(spoilt(*CASES[name]), title="a long name " * 20)
    width, height = map(float, root.get("viewBox").split()[2:])
    boxes = []
    for element in root.iter(f"{SVG}text"):
        (start, end), y, size = ends(element, element.text), float(element.get("y")), int(element.get("font-size"))
        assert start >= 0 and end <= width and size <= y <= height, element.text
        for words, left, right, top, bottom in boxes:
            # figures and capitals reach 0.73 of the size above their line
            assert right <= start or end <= left or y <= top or bottom <= y - 0.73 * size, (words, element.text)
        boxes.append((element.text, start, end, y - 0.73 * size, y))
    for path in root.iter(f"{SVG}path"):
        for x, y in re.findall(r"[ML]([-\d.]+) ([-\d.]+)", path.get("d")):
            assert 0 <= float(x) <= width and 0 <= float(y) <= height


def test_marks_differ_without_colour():
    """The two marks differ in their fill and in their direction; nothing is grey or coloured."""
    svg = build_bits_picture(spoilt(8192, 100), "x", ".svg").decode()
    assert set(re.findall(r'(?:fill|stroke)="([^"]+)"', svg)) <= {"#000", "#fff", "none"}
    rose, fell = (re.search(rf'fill="([^"]+)"[^>]*data-name="{name}"', svg)[1] for name in ("rose", "fell"))
    assert (rose, fell) == ("#000", "#fff")
    assert "<script" not in svg and "http" not in svg.replace("http://www.w3.org/2000/svg", "")


def test_both_painters_paint_the_same_marks():
    comparison = spoilt(8192, 100)
    root = sheet(comparison)
    picture = Raster.open(io.BytesIO(build_bits_picture(comparison, "x", ".png")))
    heights = [round(float(v)) for v in root.get("viewBox").split()[2:]]
    assert picture.mode == "L" and abs(picture.width - SCALE * heights[0]) <= 2
    for name, dark in (("listed rose", True), ("listed fell", False)):
        for x, y, _, up in marks(root, name):
            inside = picture.getpixel((round(x * SCALE), round((y + (1 if up else -1)) * SCALE)))
            assert (inside < 64) is dark and (inside > 192) is not dark


@pytest.mark.parametrize("suffix", [".png", ".svg", ".SVG"])
def test_the_same_comparison_gives_the_same_bytes(suffix):
    assert build_bits_picture(spoilt(4096, 50), "x", suffix) == build_bits_picture(spoilt(4096, 50), "x", suffix)


@pytest.mark.parametrize("title", HOSTILE)
def test_a_title_is_inert(title):
    comparison = spoilt(64, 3)
    assert not list(sheet(comparison, title).iter(f"{SVG}script"))
    Raster.open(io.BytesIO(build_bits_picture(comparison, title, ".png"))).load()


def test_a_chart_of_a_last_row_that_is_short():
    """The frame goes around what there is: 5 addresses are a row of four and one more."""
    wrong = Wrong(5, np.array([4]), np.array([1], np.uint8), np.array([0], np.uint8))
    chart = Chart(Plot(100), Grid.of(wrong), 0)
    (frame,) = chart.around(0, 5)
    assert frame[3] == (LEFT + 200, 24) and frame[5] == (LEFT, 48)


def test_pictures_stay_small_and_on_one_sheet():
    """A4 is 210 x 297 mm (ISO 216), Letter 215.9 x 279.4 mm (ANSI Y14.1); browsers leave about 10 mm at each edge."""
    for size, count in CASES.values():
        svg = build_bits_picture(spoilt(size, count), "x", ".svg").decode()
        assert len(svg) < 400_000
        wide, high = (float(re.search(rf'{key}="([\d.]+)mm"', svg)[1]) for key in ("width", "height"))
        assert wide <= 190 and high <= 259
        wide, high = map(float, re.search(r"landscape\)\{svg\{width:([\d.]+)mm;height:([\d.]+)mm", svg).groups())
        assert wide <= 259 and high <= 190
