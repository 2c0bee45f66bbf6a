"""The reader of drawings: every drawing that the package makes, and nothing else."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace
from plans import hardest, plans
from sheet_model import view_svg

from romwright.boards.library import board_names, require_board
from romwright.parts.library import read_all
from romwright.sheets.board import build_board_svg
from romwright.sheets.drawing import build_svg
from romwright.sheets.shapes import page
from romwright.sheets.vectors import Lettering, Outline, read_drawing
from romwright.sheets.wiring import build_wiring_svg

PARTS = read_all()


def within(svg):
    """Read a drawing; every point and word of it lies on its sheet."""
    drawing = read_drawing(svg)
    for mark in drawing.marks:
        points = [mark.at] if isinstance(mark, Lettering) else [point for _, points in mark.way for point in points]
        for x, y in points:
            assert -1 <= x <= drawing.width + 1 and -1 <= y <= drawing.height + 1, mark
    assert sum(isinstance(mark, Lettering) for mark in drawing.marks) == svg.count(b"<text ")
    assert sum(isinstance(mark, Outline) for mark in drawing.marks) == sum(
        svg.count(kind) for kind in (b"<path ", b"<rect ", b"<circle ")
    )
    return drawing


@pytest.mark.parametrize("part", PARTS, ids=lambda part: part.name)
def test_every_package_is_read(part):
    within(build_svg(part))


@pytest.mark.parametrize("name", board_names())
def test_every_board_is_read_with_and_without_jumpers(name):
    board = require_board(name)
    within(build_board_svg(board))
    within(build_board_svg(board, {link.name: next(iter(link.positions)) for link in board.links}))
    within(build_board_svg(board, {link.name: list(link.positions)[-1] for link in board.links}))


@pytest.mark.parametrize("number", range(len(hardest())))
def test_the_hardest_plans_are_read(number):
    plan = hardest()[number]
    within(build_wiring_svg(plan))
    for mirrored in (False, True):
        within(view_svg(plan, mirrored))


@settings(max_examples=60, deadline=None)
@given(plans())
def test_any_plan_is_read(plan):
    within(build_wiring_svg(plan))


def test_a_view_from_the_other_side_is_mirrored_and_its_words_are_not():
    above, below = (read_drawing(view_svg(hardest()[1], mirrored)) for mirrored in (False, True))
    for one, two in zip(above.marks[1:], below.marks[1:]):  # without the sheet itself
        if isinstance(one, Outline):
            told = {"dashes": one.pen.dashes, "fill": one.pen.fill}  # bodies and the banner tell the side
            assert [kind for kind, _ in one.way] == [kind for kind, _ in two.way]
            assert one.pen == replace(two.pen, **told)
            for (_, points), (_, turned) in zip(one.way, two.way):
                for (x, y), (u, v) in zip(points, turned):
                    assert abs(above.width - x - u) <= 0.6 and y == v
        else:
            assert one.words == two.words or (one.words, two.words) == ("FROM ABOVE", "SOLDER SIDE")
            assert {one.anchor, two.anchor} in ({"start", "end"}, {"middle"})


def way_of(path):
    _, mark = read_drawing(page(100, 100, "t", [f'<path d="{path}"/>'])).marks
    return mark.way


def test_a_path_large_and_small():
    way = way_of("M10 20h5v-5l-5 1zM1,2 3,4L5-6.5")
    assert way == (("M", ((10, 20),)), ("L", ((15, 20),)), ("L", ((15, 15),)), ("L", ((10, 16),)), ("Z", ()),
                   ("M", ((1, 2),)), ("L", ((3, 4),)), ("L", ((5, -6.5),)))  # fmt: skip
    assert way_of("M3 4zh2")[-1] == ("L", ((5, 4),))  # after Z a path goes on from where it began


arcs = st.tuples(st.integers(0, 90), st.integers(0, 90), st.integers(0, 90), st.integers(0, 90), st.integers(1, 99),
                 st.booleans(), st.booleans())  # fmt: skip


@given(arcs)
def test_an_arc_is_the_circle_that_svg_says(given_arc):
    """SVG 1.1, 8.3.8: one of the four arcs through both ends; the flags choose its length and its direction."""
    x1, y1, x2, y2, r, large, sweep = given_arc
    way = way_of(f"M{x1} {y1}A{r} {r} 0 {int(large)} {int(sweep)} {x2} {y2}")[1:]
    if (x1, y1) == (x2, y2):
        assert not way
        return
    half = math.dist((x1, y1), (x2, y2)) / 2
    r = max(r, half)
    assert way[-1][1][-1] == (x2, y2)
    points = [(x1, y1)]
    for _, (p, q, end) in way:
        start = points[-1]
        for t in (0.25, 0.5, 0.75, 1):
            a, b, c, d = (1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t * t * (1 - t), t**3
            points.append(tuple(a * start[n] + b * p[n] + c * q[n] + d * end[n] for n in (0, 1)))
    mx, my = (x1 + x2) / 2, (y1 + y2) / 2
    away = math.sqrt(max(0, r * r - half * half)) / (2 * half)
    centres = [(mx - s * away * (y2 - y1), my + s * away * (x2 - x1)) for s in (1, -1)]
    fits = [c for c in centres if all(abs(math.dist(c, point) - r) < 0.001 * r + 1e-6 for point in points)]
    assert fits
    turned = [
        sum(math.remainder(math.atan2(q[1] - c[1], q[0] - c[0]) - math.atan2(p[1] - c[1], p[0] - c[0]), math.tau)
            for p, q in zip(points, points[1:]))
        for c in fits
    ]  # fmt: skip
    assert any((t > 0) == sweep and (abs(abs(t) - math.pi) < 1e-3 or (abs(t) > math.pi) == large) for t in turned)


UNKNOWN = {
    "an element": '<image href="x"/>', "a script": "<script>1</script>",
    "an event": '<rect width="1" height="1" onload="x"/>',
    "a curve": '<path d="M0 0Q1 1 2 2"/>', "an ellipse": '<path d="M0 0A3 4 0 0 0 5 5"/>', "words": "hello",
    "a colour": '<circle cx="1" cy="1" r="1" fill="url(#a)"/>', "no number": '<circle cx="1" cy="1" r="NaN"/>',
    "a turn": '<g transform="rotate(4)"/>', "a scale": '<g transform="matrix(2 0 0 2 0 0)"/>', "an id": '<g id="a"/>',
    "too few": '<path d="M0"/>', "no start": '<path d="L0 0"/>', "no radius": '<circle cx="1" cy="1"/>',
    "an anchor": '<text x="1" y="1" font-size="9" text-anchor="up">a</text>', "a comment": "<!-- -->",
    "another namespace": '<rect xmlns="http://www.w3.org/1999/xhtml" width="1" height="1"/>',
    "a child of words": '<text x="1" y="1" font-size="9"><g/></text>', "open": "<g>", "words after": "<g/>a",
    "mirrored words": '<g transform="matrix(-1 0 0 1 9 0)"><text x="1" y="1" font-size="9">a</text></g>',
    "a number after Z": '<path d="M0 0Z5"/>', "a unit": '<rect width="1mm" height="1"/>',
}  # fmt: skip


@pytest.mark.parametrize("element", UNKNOWN.values(), ids=UNKNOWN)
def test_what_is_not_known_is_refused(element):
    with pytest.raises(ValueError, match="."):
        read_drawing(page(9, 9, "t", [element]))


@pytest.mark.parametrize("svg", [b"", b"<svg/>", b"\xff", b'<svg xmlns="http://www.w3.org/2000/svg"/>', b"<!DOCTYPE a>",
                                 b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 0 5"/>'])  # fmt: skip
def test_what_is_no_drawing_is_refused(svg):
    with pytest.raises(ValueError, match="."):
        read_drawing(svg)
