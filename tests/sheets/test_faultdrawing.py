"""The lines between ROM and reader on paper: each wire is followed in the SVG from pad to pad, as an eye would."""

import re
import xml.etree.ElementTree as ET
from collections import defaultdict
from types import SimpleNamespace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sheets.measured import ends

from romwright.faults.lines import Law, Line, LineMap, State
from romwright.faults.search.ambiguity import Ambiguity
from romwright.sheets.faultdrawing import build_lines_svg

SVG = "{http://www.w3.org/2000/svg}"
PADDED = re.compile(r"M(\S+) (\S+)h8v(\S+)h-8z")
HOSTILE = ("<script>alert(1)</script>", "a&b", "x\x00\x1b[31m\udc80", "]]>", "n" * 500, "\u202e", "")
TURNED = tuple(map(Line.follows, reversed(range(8))))
CROSSED = LineMap(tuple(map(Line.follows, (3, 0, 7, 1, 9, 2, 8, 4, 6, 5))), TURNED)


def comparison(lines, reader_lines, **more):
    """What the drawing asks of a comparison."""
    said = {"explained": True, "blank": False, "identical": False, "findings": (), "others": (), "certain": True}
    best = SimpleNamespace(lines=lines, residual=0)
    return SimpleNamespace(best=best, reader_lines=reader_lines, ambiguity=Ambiguity(), **(said | more))


def draw(lines, reader_lines=None, title="dump.bin against good.bin"):
    count = len(lines.address) if reader_lines is None else reader_lines
    return build_lines_svg(comparison(lines, count), title)


@st.composite
def sides(draw, count, sending, kinds=("stuck", "joined", "again")):
    """Lines of one side: crossed, some stuck, some joined, some carrying what another carries too, some inverted."""
    carried = [Line.follows(n) for n in draw(st.permutations(range(sending)))[:count]]
    carried += [Line.stuck(draw(st.integers(0, 1))) for _ in range(count - len(carried))]
    if draw(st.booleans()):
        carried = [Line.follows(n) if n < sending else carried[n] for n in range(count)]
    for at in draw(st.lists(st.integers(0, max(count - 1, 0)), max_size=3)) if count else ():
        kind = draw(st.sampled_from(kinds))
        if kind == "stuck" or sending < 3:
            carried[at] = Line.stuck(draw(st.integers(0, 1)))
        elif kind == "again":
            carried[at] = Line.follows(draw(st.integers(0, sending - 1)))
        elif kind == "inverted":
            carried[at] = Line.inverted(draw(st.integers(0, sending - 1)))
        else:
            of = draw(st.lists(st.integers(0, sending - 1), min_size=2, max_size=3, unique=True))
            joined = Line.joined(draw(st.sampled_from(Law)), of)
            for line in {at, *(n for n in of if n < count)}:
                carried[line] = joined
    return tuple(carried)


@st.composite
def maps(draw):
    rom, reader = draw(st.integers(0, 22)), draw(st.integers(0, 22))
    return LineMap(draw(sides(rom, reader)), draw(sides(8, 8, ("stuck", "joined", "again", "inverted")))), reader


class Sheet:
    """What is on the sheet: pads by name, wires and straight lines in pieces, words, rings."""

    def __init__(self, svg):
        self.root = ET.fromstring(svg)
        self.width, self.height = map(float, self.root.get("viewBox").split()[2:])
        group = self.root.find(f"{SVG}g")
        self.shift = float(group.get("transform")[12:-1])
        self.texts = [(e, float(e.get("y")) + self.shift) for e in group.iter(f"{SVG}text")]
        self.texts += [(e, float(e.get("y"))) for e in self.root.findall(f"{SVG}text")]
        self.wires, self.straight, self.strokes, self.dashes, pads = defaultdict(list), defaultdict(list), {}, {}, []
        for path in group.iter(f"{SVG}path"):
            for key, found in (("data-wire", self.wires), ("data-line", self.straight)):
                if name := path.get(key):
                    found[name] += [spread(each) for each in pieces_of(path.get("d"))]
                    self.strokes[name] = float(path.get("stroke-width"))
                    self.dashes[name] = path.get("stroke-dasharray")
            if match := PADDED.match(path.get("d")):
                pads.append(tuple(map(float, match.groups())))
        names = [(e.text, float(e.get("x")), float(e.get("y"))) for e, _ in self.texts if e.get("font-size") == "18"]
        self.pads = {}  # (letter and number, "ROM" or "READER") -> x at which lines begin, middle height
        left = min(x for x, *_ in pads)
        self.reach = {}
        for x, top, high in pads:
            side = "ROM" if x == left else "READER"
            y = top + high - 22 if side == "ROM" else top
            (name,) = [n for n, tx, ty in names if abs(ty - 6.5 - y - 11) < 1.5 and abs(tx - x) < 30]
            self.pads[name, side] = (x + 8 if side == "ROM" else x, y + 11)
            self.reach[name, side] = top, top + high
        self.rings = [(float(c.get("cx")), float(c.get("cy"))) for c in group.iter(f"{SVG}circle") if c.get("r") == "7"]

    def end(self, x, y):
        """The pad at a place."""
        near = (name for name, (px, _) in self.pads.items() if abs(px - x) < 0.6)
        return [name for name in near if self.reach[name][0] < y < self.reach[name][1]]


def pieces_of(way):
    x = y = 0.0
    for kind, rest in re.findall(r"([MHV])([^MHV]+)", way):
        numbers = [float(n) for n in rest.split()]
        if kind == "M":
            x, y = numbers
        elif kind == "H":
            yield x, y, numbers[0], y
            x = numbers[0]
        else:
            yield x, y, x, numbers[0]
            y = numbers[0]


def spread(piece):
    x1, y1, x2, y2 = piece
    return (True, x1, *sorted((y1, y2))) if x1 == x2 else (False, y1, *sorted((x1, x2)))


def joined_pieces(pieces, level, wire):
    """Sets of pieces that an eye follows: they touch, or go straight on over a gap in which another wire passes."""
    groups = [{n} for n in range(len(pieces))]
    for i, a in enumerate(pieces):
        for j, b in enumerate(pieces[:i]):
            if touch(a, b) or bridged(a, b, level, wire):
                one, two = next(g for g in groups if i in g), next(g for g in groups if j in g)
                if one is not two:
                    groups.remove(two)
                    one |= two
    return groups


def touch(a, b):
    (ua, at, al, ah), (ub, bt, bl, bh) = a, b
    if ua == ub:
        return at == bt and al <= bh and bl <= ah
    return bl <= at <= bh and al <= bt <= ah


def bridged(a, b, level, wire):
    (ua, at, al, ah), (ub, bt, bl, bh) = a, b
    if not (ua and ub and at == bt):
        return False
    low, high = (ah, bl) if ah < bl else (bh, al)
    through = [y for other, (_, y, left, right) in level if other != wire and low < y < high and left < at < right]
    return bool(through) and 4 <= min(through) - low <= 10 and 4 <= high - max(through) <= 10


def wanted(lines, reader_lines):
    """The sets of ends that one wire joins, each end a name and a side; and what is straight, from the map alone."""
    nets, straight = defaultdict(set), set()
    for letter, side, sink, source in (("A", lines.address, "ROM", "READER"), ("D", lines.data, "READER", "ROM")):
        groups = defaultdict(list)
        for number, line in enumerate(side):
            if line.of:
                groups[line.of, line.law].append((number, line.state))
        for (of, law), sinks in groups.items():
            if law is None and sinks == [(of[0], State.FOLLOWS)]:
                straight.add(f"{letter}{of[0]}")
            else:
                both = [(n, source) for n in of] + [(n, sink) for n, _ in sinks]
                nets[letter, of, law] = {(f"{letter}{n}", where) for n, where in both}
    return list(nets.values()), straight


def check(lines, reader_lines):
    svg = draw(lines, reader_lines)
    sheet = Sheet(svg)
    assert len(sheet.pads) == len(lines.address) + reader_lines + 16
    level = [(wire, p) for wire, pieces in sheet.wires.items() for p in pieces if not p[0]]
    found = []
    for wire, pieces in sheet.wires.items():
        assert len(joined_pieces(pieces, level, wire)) == 1, f"wire {wire} falls apart"
        reached = [pad for up, at, low, high in pieces if not up for x in (low, high) for pad in sheet.end(x, at)]
        assert len(reached) == len(set(reached))
        found.append(set(reached))
    nets, straight = wanted(lines, reader_lines)
    assert sorted(map(sorted, found)) == sorted(map(sorted, nets))
    assert set(sheet.straight) == straight
    for name, pieces in sheet.straight.items():
        (x1, y1), (x2, y2) = sheet.pads[name, "ROM"], sheet.pads[name, "READER"]
        assert y1 == y2 and {at for _, at, _, _ in pieces} == {y1}
        assert (min(p[2] for p in pieces), max(p[3] for p in pieces)) == (x1, x2)
    check_apart(sheet)
    check_signs(sheet, lines, reader_lines)
    return svg, sheet


def check_apart(sheet):
    """No two wires share a piece or run closer than an eye can tell; where two cross, one of them has a gap."""
    lines = [(n, *p) for found in (sheet.wires, sheet.straight) for n, pieces in found.items() for p in pieces]
    for n, (wire, upright, at, low, high) in enumerate(lines):
        for other, up, at2, low2, high2 in lines[:n]:
            if wire == other:
                continue
            if upright == up:
                assert abs(at - at2) >= 4 or high < low2 or high2 < low, (wire, other)
            else:
                assert not (low - 2 < at2 < high + 2 and low2 - 2 < at < high2 + 2), f"{wire} and {other} touch"
    for wire in sheet.wires:
        assert sheet.strokes[wire] >= 2.5 * min((sheet.strokes[name] for name in sheet.straight), default=1.5)


def check_signs(sheet, lines, reader_lines):
    """Rails, crosses, rings and nodes stand where the map has them, and nowhere else."""

    def row(words, size):
        texts = (e for e, _ in sheet.texts if e.get("font-size") == size and e.text in words)
        return sorted((e.text, float(e.get("y"))) for e in texts)

    rails = [("LH"[line.level], sheet.pads[f"{letter}{n}", side][1] + 7)
             for letter, each, side in (("A", lines.address, "ROM"), ("D", lines.data, "READER"))
             for n, line in enumerate(each) if line.state is State.STUCK]  # fmt: skip
    near(row("LH", "20"), sorted(rails))
    inverted = [n for n, line in enumerate([*lines.data]) if line.state is State.INVERTED]
    assert len(sheet.rings) == sum(line.state is State.INVERTED for line in (*lines.data, *lines.address))
    for n in inverted:
        x, y = sheet.pads[f"D{n}", "READER"]
        assert any(abs(rx - x + 8) < 1 and abs(ry - y) < 12 for rx, ry in sheet.rings)
    used = {(letter, n) for letter, each in (("A", lines.address), ("D", lines.data)) for line in each for n in line.of}
    unused = [n for letter, count in (("A", reader_lines), ("D", 8)) for n in range(count) if (letter, n) not in used]
    assert [e.text for e, _ in sheet.texts].count("reaches nothing") == len(unused)
    laws = {(letter, line.of, line.law) for letter, each in (("A", lines.address), ("D", lines.data))
            for line in each if line.law}  # fmt: skip
    nodes = [(e.text, float(e.get("x")), float(e.get("y")) - 5) for e, _ in sheet.texts if e.get("font-size") == "14"]
    assert sorted(text for text, _, _ in nodes) == sorted(law.upper() for _, _, law in laws)
    for _, x, y in nodes:  # on its own trunk; nothing else passes through the box
        here = [name for name, pieces in sheet.wires.items() for up, at, low, high in pieces
                if up and abs(at - x) < 1 and low <= y <= high]  # fmt: skip
        assert len(here) == 1
        for found in (sheet.wires, sheet.straight):
            for name, pieces in found.items():
                for up, at, low, high in pieces:
                    inside = abs(at - x) < 20 and low < y + 9 and high > y - 9 if up else (
                        abs(at - y) < 9 and low < x + 20 and high > x - 20)  # fmt: skip
                    assert not inside or name == here[0]


def near(found, expected):
    assert [name for name, _ in found] == [name for name, _ in expected]
    assert all(abs(a - b) < 1 for (_, a), (_, b) in zip(found, expected))


def boxes(sheet):
    """Each text with the box that it takes."""
    for element, y in sheet.texts:
        start, end = ends(element, element.text)
        size = int(element.get("font-size"))
        yield element.text, start, end, y - 0.76 * size, y + 0.2 * size


def check_text(sheet):
    """No text runs off the page, over another text, or over a wire."""
    found = list(boxes(sheet))
    for n, (words, left, right, top, bottom) in enumerate(found):
        assert left >= 0 and right <= sheet.width and top >= 0 and bottom <= sheet.height, words
        for other, left2, right2, top2, bottom2 in found[:n]:
            assert right <= left2 or right2 <= left or bottom <= top2 or bottom2 <= top, (words, other)
        if words in ("AND", "OR"):
            continue
        for lines in (sheet.wires, sheet.straight):
            for pieces in lines.values():
                for up, at, low, high in pieces:
                    x1, x2, y1, y2 = (at, at, low, high) if up else (low, high, at, at)
                    over = x1 < right and left < x2 + 0.1 and y1 + sheet.shift < bottom and top < y2 + sheet.shift
                    assert not over, f"a wire passes through {words}"


STUCK = {3: Line.stuck(1), 5: Line.stuck(0)}
CASES = {
    "all crossed": (CROSSED, 10),
    "one pair": (LineMap(tuple(map(Line.follows, (1, 0, 2))), LineMap.straight(0).data), 3),
    "stuck": (LineMap(tuple(STUCK.get(n, Line.follows(n)) for n in range(8)), LineMap.straight(0).data), 8),
    "joined": (LineMap((Line.follows(0), *[Line.joined(Law.AND, (1, 2))] * 2), LineMap.straight(0).data), 3),
    "three joined": (LineMap((*[Line.joined(Law.OR, (0, 1, 2))] * 3, Line.follows(3)), LineMap.straight(0).data), 4),
    "two joins at one line": (LineMap((), (
        *[Line.joined(Law.AND, (0, 1))] * 2, Line.joined(Law.AND, (0, 1, 2)), *map(Line.follows, (1, 4, 5, 6, 7)))), 0),
    "data": (LineMap(LineMap.straight(13).address, tuple(
        STUCK.get(n, Line.inverted(6) if n == 6 else Line.follows(n)) for n in range(8))), 13),
    "all inverted": (LineMap(LineMap.straight(5).address, tuple(map(Line.inverted, range(8)))), 5),
    "a part": (LineMap((Line.follows(0), Line.stuck(1)), LineMap.straight(0).data), 1),
    "larger": (LineMap.straight(4), 6),
    "one byte": (LineMap.straight(0), 0),
    "4 MiB": (LineMap.straight(22), 22),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_each_wire_can_be_followed_from_pad_to_pad(name):
    _, sheet = check(*CASES[name])
    check_text(sheet)


@settings(max_examples=80, deadline=None, suppress_health_check=list(HealthCheck))
@given(maps())
def test_any_map_can_be_followed(case):
    _, sheet = check(*case)
    check_text(sheet)


def test_a_missing_wire_is_noticed():
    """The checks of this file see a wire that goes to the wrong pad, is cut, or is not there."""
    lines, count = CASES["one pair"]
    other = LineMap(tuple(map(Line.follows, (0, 1, 2))), lines.data)
    assert sorted(map(sorted, wanted(lines, count)[0])) != sorted(map(sorted, wanted(other, count)[0]))
    sheet = Sheet(draw(lines))
    (wire, pieces), *_ = sheet.wires.items()
    assert len(joined_pieces([p for p in pieces if not p[0]], [], wire)) == 2


def test_far_ends_are_named():
    sheet = Sheet(draw(CASES["one pair"][0]))
    texts = [e.text for e, _ in sheet.texts]
    assert {"from A1", "from A0", "to A0", "to A1"} <= set(texts)


def test_black_and_white_and_the_same_each_time():
    svg = draw(CROSSED)
    assert svg == draw(CROSSED)
    colours = set(re.findall(r'(?:fill|stroke)="(#[0-9a-f]{3,6})"', svg.decode())) - {"#fff", "#000"}
    for colour in colours:  # dark enough to print as black; BT.709 luma (from memory, unchecked)
        red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
        assert 0.2126 * red + 0.7152 * green + 0.0722 * blue < 64
    assert b"http" not in svg.replace(b"http://www.w3.org/2000/svg", b"") and b"<script" not in svg


def test_it_fits_a_sheet_upright_and_lying():
    """A4 is 210 x 297 mm (ISO 216), Letter 215.9 x 279.4 mm (ANSI Y14.1); browsers leave about 10 mm at each edge."""
    for lines, count in CASES.values():
        svg = draw(lines, count).decode()
        wide, high = (float(re.search(rf'{key}="([\d.]+)mm"', svg)[1]) for key in ("width", "height"))
        assert wide <= 190 and high <= 259
        wide, high = map(float, re.search(r"landscape\)\{svg\{width:([\d.]+)mm;height:([\d.]+)mm", svg).groups())
        assert wide <= 259 and high <= 190


def test_what_is_not_known_is_not_drawn():
    svg = build_lines_svg(comparison(LineMap.straight(5), 5, explained=False), "x")
    sheet = Sheet(svg)
    assert not sheet.wires and not sheet.straight and any(e.text == "not known" for e, _ in sheet.texts)


@pytest.mark.parametrize("title", HOSTILE)
def test_a_title_is_inert(title):
    sheet = Sheet(draw(CROSSED, title=title))
    assert not list(sheet.root.iter(f"{SVG}script"))
    check_text(sheet)
