"""The package drawing: what it says is what the page says, in 80 columns and as well-formed SVG."""

import re
import xml.etree.ElementTree as ET

import pytest
from sheets.measured import ends

from romwright.parts.library import read_all, require_part
from romwright.sheets.drawing import build_svg, columns_of, draw_text

PARTS = read_all()
SVG = "{http://www.w3.org/2000/svg}"
LINE = re.compile(r"^(?P<note>.*?) *(?P<left>\S+) ─┤(?P<dot>[● ])(?P<low>..).*?(?P<high>..)├─ (?P<right>\S+)")


@pytest.mark.parametrize("part", PARTS, ids=lambda part: part.name)
def test_every_pin_stands_where_the_package_has_it(part):
    lines = draw_text(part)
    assert max(map(len, lines)) <= 80
    found = {}
    for line in lines[1:-1]:
        match = LINE.match(line)
        found |= {int(match["low"]): match["left"], int(match["high"]): match["right"]}
        assert (match["dot"] == "●") == (int(match["low"]) == 1)
    # the columns of the file, as its author wrote them: left downwards, right downwards from the highest pin
    left, right = part.left.split(), part.right.split()
    assert [found[n] for n in range(1, len(left) + 1)] == left
    assert [found[n] for n in range(part.pin_count, len(left), -1)] == right
    assert any(part.name in line for line in lines)
    assert "╮  ╭" in lines[0] and "╰──╯" in lines[1]
    edges = {line.index("┤") for line in lines[1:-1]} | {line.index("┌") for line in lines[:1]}
    assert len(edges) == 1 and len({line.index("├") for line in lines[1:-1]} | {len(lines[0]) - 1}) == 1


def test_ascii_where_there_are_no_box_characters():
    lines = draw_text(require_part("28C64"), boxes=False)
    assert "".join(lines).isascii() and lines[1].split()[:3] == ["output", "RDY|/BUSY", "-|*"]


@pytest.mark.parametrize("part", PARTS, ids=lambda part: part.name)
def test_svg_has_every_pin_and_stays_on_its_page(part):
    root = ET.fromstring(build_svg(part))
    texts = [(int(e.get("x")), int(e.get("y")), e.text, int(e.get("font-size"))) for e in root.iter(f"{SVG}text")]
    width, height = map(int, root.get("viewBox").split()[2:])
    assert all(0 <= x <= width and 0 < y < height for x, y, _, _ in texts)
    numbers = [(x, y, int(text)) for x, y, text, size in texts if text.isdigit() and size == 26]
    assert sorted(n for _, _, n in numbers) == list(range(1, part.pin_count + 1))
    middle = width // 2
    for x, y, number in numbers:  # the name beside each number, in its row, is the pin's
        beside = [t for at, row, t, size in texts if size == 23 and abs(row - y) < 4 and (at < middle) == (x < middle)]
        assert beside == [part.pins[number - 1].name]
    for first, last in zip(numbers, numbers[2:]):  # downwards on the left, upwards on the right
        assert last[1] > first[1] and (last[2] > first[2]) == (first[0] < middle)


@pytest.mark.parametrize("part", PARTS, ids=lambda part: part.name)
def test_no_text_of_the_svg_runs_off_the_page(part):
    root = ET.fromstring(build_svg(part))
    for element in root.iter(f"{SVG}text"):
        start, end = ends(element, element.text)
        assert start >= 8 and end <= int(root.get("viewBox").split()[2]) - 8, element.text


def test_svg_is_the_same_each_time_and_without_colours():
    svg = build_svg(require_part("27C256"))
    assert svg == build_svg(require_part("27C256"))
    assert set(re.findall(rb'(?:fill|stroke)="([^"]+)"', svg)) == {b"#000", b"#fff"}


def test_pin_1_is_told_in_reverse_and_by_a_dot():
    root = ET.fromstring(build_svg(require_part("2716")))
    assert [e.text for e in root.iter(f"{SVG}text") if e.get("fill") == "#fff"] == ["1"]
    (dot,) = root.iter(f"{SVG}circle")
    one = next(e for e in root.iter(f"{SVG}text") if e.text == "1" and e.get("font-size") == "26")
    assert abs(int(dot.get("cy")) - int(one.get("y"))) < 15 and int(dot.get("cx")) > int(one.get("x"))
    (outline,) = root.iter(f"{SVG}path")
    assert "A30 30 0 0 0" in outline.get("d")  # the notch, drawn into the top edge


def test_unchecked_pins_are_said_on_paper():
    assert b"UNCHECKED: pins" in build_svg(require_part("27C100"))
    assert b"UNCHECKED" not in build_svg(require_part("27128A"))


def test_a_foreign_name_is_harmless():
    from msgspec.structs import replace

    part = replace(require_part("2716"), name='<b>"x"&</b>')
    assert ET.fromstring(build_svg(part)).find(f"{SVG}title").text == '<b>"x"&</b>'


def test_columns_are_the_pins_side_by_side():
    assert [(a.number, b.number) for a, b in columns_of(require_part("prom-82s23"))] == [
        (n, 17 - n) for n in range(1, 9)
    ]
