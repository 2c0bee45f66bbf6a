"""Links as they must be set: the jumper solid where it must be, dashed where it is, both in words."""

import re
import xml.etree.ElementTree as ET

import pytest
from sheets.measured import ends

from romwright.boards.library import board_names, require_board
from romwright.boards.model import Link
from romwright.sheets.jumpers import build_jumpers_svg, draw_jumpers
from romwright.sheets.vectors import read_drawing

SVG = "{http://www.w3.org/2000/svg}"
LINK = Link("LK1", {"1-2": "/SEL P20", "2-3": "P20 /ACC"}, "to position 20")


def drawn(must, now):
    return build_jumpers_svg([LINK], {"LK1": must}, {"LK1": now}).decode()


def test_a_jumper_to_move_is_drawn_where_it_must_be_and_where_it_is():
    svg = drawn("1-2", "2-3")
    assert svg.count("stroke-dasharray") == 1 and "SET 1-2:  /SEL = P20" in svg
    assert "is now 2-3:  P20 = /ACC  (dashed)" in svg
    solid = re.search(r'<rect x="(\d+)"[^>]*stroke-width="6"', svg)
    dashed = re.search(r'<rect x="(\d+)"[^>]*stroke-dasharray', svg)
    assert int(solid[1]) < int(dashed[1])


def test_a_jumper_that_stays_is_drawn_once():
    svg = drawn("1-2", "1-2")
    assert "stroke-dasharray" not in svg and "is now" not in svg


def test_nothing_calls_the_setting_to_be_the_present_one():
    text = "\n".join(draw_jumpers([LINK], {"LK1": "1-2"}, {"LK1": "2-3"}))
    assert re.search(r"> 1-2 .*/SEL = P20  SET$", text, re.M) and re.search(r"  2-3 .*P20 = /ACC  is now$", text, re.M)
    assert re.search(r"\[1\]#+\[2\] +\[3\]", text)
    assert "now" not in "\n".join(draw_jumpers([LINK], {"LK1": "1-2"}, None))


@pytest.mark.parametrize("name", board_names())
def test_every_board_in_every_setting_fits_paper_and_80_columns(name):
    board = require_board(name)
    for link in board.links:
        for must in link.positions:
            setting = {each.name: next(iter(each.positions)) for each in board.links} | {link.name: must}
            now = {each.name: [*each.positions][-1] for each in board.links}
            svg = build_jumpers_svg(board.links, setting, now)
            width = read_drawing(svg).width
            for element in ET.fromstring(svg).iter(f"{SVG}text"):
                start, end = ends(element, element.text)
                assert start >= 0 and end <= width, element.text
            lines = [*draw_jumpers(board.links, setting, now)]
            assert max(map(len, lines)) <= 80 and "".join(lines).count("SET") == len(board.links)
