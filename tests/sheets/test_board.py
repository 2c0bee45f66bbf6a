"""The drawing of a board: what it says is what the file says, on paper and in ASCII, whatever the names are."""

import re
import xml.etree.ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sheets.measured import ends

from romwright.boards.library import require_board
from romwright.boards.model import Board, Gate, Link, Resistor, Socket
from romwright.sheets.board import build_board_svg, draw_socket
from romwright.sheets.links import Layout, chain, draw_link, numbered
from romwright.sheets.shapes import wrap

SVG = "{http://www.w3.org/2000/svg}"
TERN = require_board("tern-tl-1")
NOW = {"LK1": "2-3", "LK2": "1-2"}
LINKS = {
    "three pads": Link("LK1", {"1-2": "/SEL P20", "2-3": "P20 /ACC"}, "to position 20"),
    "three pads, written the other way": Link("LK1", {"1-2": "P20 /SEL", "2-3": "/ACC P20"}),
    "two pads": Link("JP1", {"1-2": "+5V P20", "off": ""}),
    "a block of pairs": Link("JP4", {"1-2": "A P20", "3-4": "B P20", "5-6": "C P20", "7-8": "D P20"}),
    "four named positions": Link("JP2", {"A": "/SEL P20", "B": "A14 P20", "C": "A15 P20", "D": "GND P20"}),
    "crossed or straight": Link("JP3", {"straight": "A P1, B P2", "crossed": "A P2, B P1"}),
    "three at once": Link("JP5", {"all": "A P1 GND", "none": ""}),
    "always open": Link("JP6", {"a": "", "b": ""}),
}


def wide(**changes):
    """A board of 40 positions with every sort of link."""
    left, right = ("+5V NC U1.3 GND " + " ".join(f"A{n}" for n in range(16)), " ".join(f"D{n}" for n in range(20)))
    words = {
        "name": "wide", "title": "A wide board", "cpu": "68000", "source": "invented", "rails": {"+5V": 5, "GND": 0},
        "sockets": (Socket("U1", left, right.replace("D0 ", "P20 "), "program"),), "map": (),
        "links": tuple(LINKS.values()),
        "gates": (Gate("U5A", "nand", "A1 A2", "A15"),), "resistors": (Resistor("R1", 4700, "+5V P20"),),
    }  # fmt: skip
    return Board(**words | changes)


def texts_of(svg):
    root = ET.fromstring(svg)
    return root, [(float(e.get("x")), float(e.get("y")), e.text or "", e) for e in root.iter(f"{SVG}text")]


@pytest.mark.parametrize("board", [TERN, wide()], ids=lambda board: board.name)
def test_every_position_stands_where_the_socket_has_it(board):
    (socket,) = board.sockets
    root, texts = texts_of(build_board_svg(board))
    numbers = [(x, y, int(t)) for x, y, t, e in texts if t.isdigit() and e.get("font-size") == "26"]
    assert sorted(n for *_, n in numbers) == list(range(1, socket.pin_count + 1))
    middle = float(root.get("viewBox").split()[2]) / 2
    for x, y, number in numbers:
        (name,) = [
            t
            for at, row, t, e in texts
            if e.get("font-size") == "23" and abs(row - y) < 4 and (at < middle) == (x < middle)
        ]
        assert name == ("?" if socket.nodes[number] == "U1.3" else socket.nodes[number])
    legs = [e for e in root.iter(f"{SVG}rect") if e.get("width") == "54"]
    filled = sum(node in board.rails for node in socket.nodes.values())
    dashed = sum(node == "NC" for node in socket.nodes.values())
    assert len(legs) == socket.pin_count and sum(e.get("fill") == "#000" for e in legs) == filled
    assert sum("stroke-dasharray" in e.attrib for e in legs) == dashed


@pytest.mark.parametrize("board, now", [(TERN, None), (TERN, NOW)])
def test_pin_1_is_told_three_ways(board, now):
    root, texts = texts_of(build_board_svg(board, now))
    assert [t for *_, t, e in texts if e.get("fill") == "#fff"] == ["1"]
    outline = next(e.get("d") for e in root.iter(f"{SVG}path"))
    assert "A30 30 0 0 0" in outline
    dot = next(e for e in root.iter(f"{SVG}circle") if e.get("r") == "9")
    y = next(y for _, y, t, e in texts if t == "1" and e.get("font-size") == "26")
    assert abs(float(dot.get("cy")) - y) < 15


def test_beside_a_position_stands_where_it_comes_from():
    _, texts = texts_of(build_board_svg(TERN, NOW))
    words = {t for *_, t, _ in texts}
    assert {"LK1: /ACC", "LK2: /ROMSEL", "from U6A", "0 V"} <= words
    _, texts = texts_of(build_board_svg(wide()))
    words = {t for *_, t, _ in texts}
    assert "to be found out" in words and "JP2, from U5A" in words
    assert any("R1 to +5V" in t and "JP4" in t for t in words)


def test_jumpers_are_drawn_where_they_are_now():
    def jumpers(svg):
        root, texts = texts_of(svg)
        found = []
        for e in root.iter(f"{SVG}rect"):
            if e.get("rx") == "14":
                x, y, w, h = (float(e.get(k)) for k in ("x", "y", "width", "height"))
                found.append([t for at, row, t, _ in texts if x < at < x + w and y < row - 9 < y + h and t.isdigit()])
        return found, [t for *_, t, _ in texts].count("NOW")

    assert jumpers(build_board_svg(TERN)) == ([], 0)
    assert jumpers(build_board_svg(TERN, NOW)) == ([["2", "3"], ["1", "2"]], 2)
    assert jumpers(build_board_svg(TERN, {"LK1": "1-2", "LK2": "1-2"})) == ([["1", "2"], ["1", "2"]], 2)


ALL_NOW = {
    "LK1": "2-3", "JP1": "off", "JP4": "5-6", "JP2": "C", "JP3": "crossed", "JP5": "all", "JP6": "a",
}  # fmt: skip


def twin_free(board):
    """The board without the second LK1, which only the tests of single links need."""
    links = [link for key, link in LINKS.items() if key != "three pads, written the other way"]
    return wide(links=tuple(links), **board)


HOSTILE = '<script>"x"&\u0007' + "W" * 30


@pytest.mark.parametrize("now", [None, ALL_NOW])
@pytest.mark.parametrize(
    "changes", [{}, {"title": "M" * 200}, {"title": HOSTILE, "unchecked": ("sockets: " + HOSTILE,)}]
)
def test_no_text_runs_off_the_page(now, changes):
    root, texts = texts_of(build_board_svg(twin_free(changes), now))
    for _, y, words, element in texts:
        start, end = ends(element, words)
        assert start >= 8 and end <= int(root.get("viewBox").split()[2]) - 8, words
        assert 0 < y < int(root.get("viewBox").split()[3])


def test_names_above_the_pads_do_not_touch():
    from PIL import ImageFont

    try:
        face = ImageFont.truetype("DejaVuSans-Bold.ttf", 20)
    except OSError:
        pytest.skip("the font DejaVuSans-Bold.ttf is not installed")
    link = Link("J", {"1-2": "/WWWWWW MMMMMMMM", "2-3": "MMMMMMMM W"})
    _, texts = texts_of(build_board_svg(wide(links=(link,))))
    names = sorted((x, t) for x, _, t, e in texts if e.get("font-size") == "20" and e.get("text-anchor") == "middle")
    ends = [(x - face.getlength(t) / 2, x + face.getlength(t) / 2) for x, t in names]
    assert len(names) == 3 and all(one[1] < two[0] for one, two in zip(ends, ends[1:]))


def test_the_same_each_time_without_colours_or_anything_from_outside():
    svg = build_board_svg(TERN, NOW)
    assert svg == build_board_svg(TERN, NOW) != build_board_svg(TERN)
    assert set(re.findall(rb'(?:fill|stroke)="([^"]+)"', svg)) == {b"#000", b"#fff"}
    assert b"href" not in svg and b"url(" not in svg and b"<style" not in svg


def test_it_prints_on_one_sheet_of_a4_or_letter():
    """ISO 216 and ANSI Y14.1 sizes, with margins of 10 mm."""
    for board in (TERN, wide(), wide(links=tuple(LINKS.values()) * 3)):
        root = ET.fromstring(build_board_svg(board))
        wide_mm, high_mm = (float(root.get(key).removesuffix("mm")) for key in ("width", "height"))
        assert wide_mm <= min(210, 215.9) - 20 and high_mm <= min(297, 279.4) - 20
        units = root.get("viewBox").split()
        assert abs(wide_mm / high_mm - int(units[2]) / int(units[3])) < 0.01


def test_foreign_names_are_harmless():
    board = wide(
        title=HOSTILE,
        sockets=(Socket(HOSTILE, "A1 <b>", "&amp; A2", HOSTILE),),
        links=(Link("<i>", {"<1>": "<b> &amp;", "x": ""}, HOSTILE),),
    )
    root, texts = texts_of(build_board_svg(board, {"<i>": "<1>"}))
    assert {"<b>", "&amp;", "<i>", "<1>", "<b> = &amp;"} <= {t for *_, t, _ in texts}
    assert root.find(f"{SVG}title").text == HOSTILE.replace("\u0007", "\ufffd")
    assert {e.tag.removeprefix(SVG) for e in root.iter()} <= {"svg", "title", "rect", "path", "circle", "text"}


def test_unchecked_is_said_on_paper():
    assert b"UNCHECKED: links: not seen" in build_board_svg(wide(unchecked=("links: not seen",)))
    assert b"UNCHECKED" not in build_board_svg(TERN)


@pytest.mark.parametrize("link", LINKS.values(), ids=LINKS)
def test_each_position_joins_the_pads_that_the_file_says(link):
    layout = Layout(link)
    for position in link.positions:
        drawn = [[layout.pads[place].node for place in group] for group in layout.groups(position)]
        assert sorted(map(sorted, drawn)) == sorted(map(sorted, link.groups(position)))
        lines = [row for row in layout.rows if row.position == position]
        assert sorted(group for row in lines for group in row.groups) == sorted(layout.groups(position))
        assert [row.first for row in lines] == [True] + [False] * (len(lines) - 1)
        for row in lines:  # groups on one line do not lie over each other
            assert all(one[-1] < two[0] for one, two in zip(row.groups, row.groups[1:]))


def test_pads_have_numbers_where_the_positions_tell_them():
    assert numbered(LINKS["three pads"]) == {1: "/SEL", 2: "P20", 3: "/ACC"}
    assert numbered(LINKS["three pads, written the other way"]) == {1: "/SEL", 2: "P20", 3: "/ACC"}
    assert numbered(LINKS["two pads"]) == {1: "+5V", 2: "P20"}
    assert numbered(LINKS["a block of pairs"])[6] == "P20"
    assert numbered(LINKS["four named positions"]) == {}
    assert numbered(Link("J", {"1-2": "A B", "2-3": "C D"})) == {}  # pad 2 cannot be two nodes
    assert numbered(Link("J", {"1-1": "A B", "2": "A C"})) == {}
    many = Link("J", {f"{n}-{n + 40}": f"N{n} M{n}" for n in range(1, 40)} | {"1-99": "X Y"})
    assert numbered(many) == {}  # and in no long time


def test_a_chain_has_the_common_pad_in_the_middle():
    assert chain(Link("J", {"left": "A C", "right": "B C"})) == ["A", "C", "B"]
    assert chain(Link("J", {"a": "A B", "b": "B C", "c": "C A"})) == ["A", "B", "C"]  # a ring


names = st.sampled_from(["A", "B", "C", "GND", "/SEL", "P20"])
groups = st.lists(st.lists(names, min_size=2, max_size=3, unique=True).map(" ".join), max_size=2).map(", ".join)


@given(st.dictionaries(st.sampled_from(["1-2", "2-3", "3-4", "1-3", "a", "open"]), groups, min_size=2))
def test_ascii_shows_what_each_position_joins(positions):
    """Read the drawing back: the pads under which a line has an o, and where = goes on between them."""
    link = Link("LK1", positions)
    for now in (None, next(iter(positions))):
        lines = draw_link(link, now)
        assert all(line.isascii() for line in lines)
        pads = [match.start() + 1 for match in re.finditer(r"\[[\d ]\]", lines[2])]
        layout = Layout(link)
        assert len(pads) == len(layout.pads)
        found, position = {}, None
        for line in (line for line in lines[3:] if "#" not in line):
            head = re.match(r"  ([> ]) (\S*)", line)
            position = head[2] or position
            assert (head[1] == ">") == (bool(head[2]) and position == now)
            for run in re.finditer(r"o[=o]*o", line):
                joined = [place for place, at in enumerate(pads) if run.start() <= at < run.end() and line[at] == "o"]
                found.setdefault(position, []).append(tuple(joined))
        assert {p: sorted(joined) for p, joined in found.items()} == {
            p: sorted(layout.groups(p)) for p in positions if link.groups(p)
        }


def test_ascii_socket():
    lines = draw_socket(TERN, TERN.sockets[0], NOW)
    assert lines[1].split() == ["+5V", "--|*1", "28", "|--", "+5V"]
    assert "27 |-- P27" in lines[2] and lines[2].endswith("LK2: /ROMSEL")
    assert lines[14].split()[:4] == ["0", "V", "GND", "--|"] and "\\_/" in lines[0]
    assert all(line.isascii() for line in lines) and max(map(len, lines)) <= 80


@given(st.text(min_size=1, max_size=80), st.integers(60, 900))
def test_wrapped_lines_keep_every_letter(words, width):
    lines = wrap(words, 20, width)
    assert "".join(lines).replace(" ", "") == "".join(words.split())
