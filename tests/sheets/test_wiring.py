"""The wiring on paper: each wire is followed in the SVG, piece by piece, from number to number, as an eye would."""

import re
import xml.etree.ElementTree as ET
from collections import defaultdict
from dataclasses import dataclass, field

import pytest
from hypothesis import HealthCheck, given, settings
from msgspec.structs import replace
from plans import HARDEST, hardest, plan_of, plans
from sheets.measured import ends

from romwright.fit.plans.glue import PlacedGate, Tap
from romwright.fit.plans.rows import How
from romwright.sheets.placement import LIFT
from romwright.sheets.wiring import build_wiring_svg

DIODES = "two Schottky diodes and 4.7 k to VCC"
FOREIGN = '<b>"x"&</b>'
SVG = "{http://www.w3.org/2000/svg}"
PIN_SIZE, TAG_SIZE = "22", "13"
NAMES = ["-".join(pair[:2]) for pair in HARDEST]


@dataclass
class View:
    """One picture of the sheet, its coordinates taken out of the two transformations."""

    mirrored: bool
    pieces: dict = field(default_factory=lambda: defaultdict(list))  # wire -> (x1, y1, x2, y2)
    texts: list = field(default_factory=list)  # x, y, words, size, bold
    discs: list = field(default_factory=list)  # x, y, r

    def tags(self):
        """(wire, x, y) of each number in a ring."""
        return [
            (int(words), x, y)
            for x, y, words, size, bold in self.texts
            if size == TAG_SIZE and bold and words.isdigit() and any(near(x, y - 4.5, *d[:2]) for d in self.discs)
        ]


def near(x1, y1, x2, y2, by=1.0):
    return abs(x1 - x2) < by and abs(y1 - y2) < by


def pieces_of(way):
    """The straight pieces of a path of M, H and V."""
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


def views_of(svg):
    """The two pictures: from above and from the solder side."""
    root = ET.fromstring(svg)
    found = []
    for outer in (g for g in root.findall(f"{SVG}g") if g.get("transform", "").startswith("translate(0 ")):
        inner = outer.find(f"{SVG}g")
        turn = re.fullmatch(r"matrix\(-1 0 0 1 (\S+) 0\)", inner.get("transform") or "")
        view = View(bool(turn))
        place = (lambda x, turn=turn: float(turn[1]) - x) if turn else float
        for path in inner.iter(f"{SVG}path"):
            if path.get("data-wire"):
                for x1, y1, x2, y2 in pieces_of(path.get("d")):
                    view.pieces[int(path.get("data-wire"))].append((place(x1), y1, place(x2), y2))
        view.discs = [
            (place(float(c.get("cx"))), float(c.get("cy")), float(c.get("r"))) for c in inner.iter(f"{SVG}circle")
        ]
        view.texts = [
            (float(t.get("x")), float(t.get("y")), t.text, t.get("font-size"), t.get("font-weight") == "bold")
            for t in outer.findall(f"{SVG}text")
        ]
        found.append(view)
    return found


def is_upright(piece):
    return piece[0] == piece[2]


def spread(piece):
    """Where a piece lies: upright or not, its own coordinate, from, to."""
    x1, y1, x2, y2 = piece
    return (True, x1, *sorted((y1, y2))) if x1 == x2 else (False, y1, *sorted((x1, x2)))


def follow(view):
    """Follow every wire from each of its numbers; returns {wire: sets of the numbers' places that are reached}.

    A wire goes on where two pieces touch, and straight on over a gap in which a level piece of another wire passes.
    """
    level = [(wire, spread(p)) for wire, ps in view.pieces.items() for p in ps if not is_upright(p)]
    reached = {}
    for wire, pieces in view.pieces.items():
        spreads = [spread(piece) for piece in pieces]
        groups = list(range(len(spreads)))

        def top(n, groups=groups):
            while groups[n] != n:
                n = groups[n]
            return n

        for i, a in enumerate(spreads):
            for j, b in enumerate(spreads[:i]):
                if touch(a, b) or bridged(a, b, level, wire):
                    groups[top(i)] = top(j)
        ends = defaultdict(set)
        for number, x, y in view.tags():
            if number == wire:
                at = [n for n, piece in enumerate(pieces) if on(x, y - 4.5, piece)]
                assert at, f"number {number} at {x}, {y} stands on no piece of its wire"
                ends[top(at[0])].add((x, y))
        reached[wire] = list(ends.values())
        assert len({top(n) for n in range(len(spreads))}) == 1, f"wire {wire} falls apart"
    return reached


def on(x, y, piece, by=17):
    """Whether a number stands on a piece, or just beside its end."""
    upright, at, low, high = spread(piece)
    along, across = (y, x) if upright else (x, y)
    return abs(across - at) < 3 and low - by <= along <= high + by


def touch(a, b):
    (ua, at, al, ah), (ub, bt, bl, bh) = a, b
    if ua == ub:
        return at == bt and al <= bh and bl <= ah
    return bl <= at <= bh and al <= bt <= ah


def bridged(a, b, level, wire):
    """Whether two upright pieces go on over a gap that is no wider than what passes through it needs."""
    (ua, at, al, ah), (ub, bt, bl, bh) = a, b
    if not (ua and ub and at == bt):
        return False
    low, high = (ah, bl) if ah < bl else (bh, al)
    through = [y for other, (_, y, left, right) in level if other != wire and low < y < high and left < at < right]
    return bool(through) and 4 <= min(through) - low <= 10 and 4 <= high - max(through) <= 10


def components(view, plan):
    """Which pin numbers, by place, are the socket's, the chip's, a gate's: told from the captions below them."""
    captions = {words.split()[0]: (x, y) for x, y, words, _, _ in view.texts if words.startswith(("SOCKET", "CHIP"))}
    found = {}
    for x, y, words, size, bold in view.texts:
        if size == PIN_SIZE and bold:
            if y > max(at for _, at in captions.values()):
                titles = [(abs(tx - x), w.split()[0]) for tx, ty, w, _, b in view.texts if b and re.match(r"X\d+  ", w)]
                found[x, y] = (min(titles)[1], words)
            else:
                owner = min(captions, key=lambda name: abs(captions[name][0] - x))
                found[x, y] = ({"SOCKET": "J1", "CHIP": "U1"}[owner], int(words))
    return found


def drawn(view, plan):
    """{wire: set of (component, pin)}: what the numbers join, each at the pin beside which it stands."""
    pins, joined = components(view, plan), defaultdict(set)
    for wire, x, y in view.tags():
        ref, pin = pins[min(pins, key=lambda at: distance(at, (x, y)))]
        joined[wire].add((ref, pin))
    return joined


def distance(pin, tag):
    """From a number in a ring to a pin: rows count much, unless the pin is a gate's, below it."""
    dx, dy = abs(pin[0] - tag[0]), abs(pin[1] - 2 - tag[1])
    return min(dx + 8 * dy, 8 * dx + dy)


def wanted(plan):
    """The sets of (component, pin) that wires join, from the rows and gates alone."""
    joined = defaultdict(set)
    for row in plan.rows:
        if row.how is How.WIRE:
            joined["J1", row.wire_to].add(("U1", row.chip))
        elif row.how is How.GATE:
            joined[row.gate].add(("U1", row.chip))
    for gate in plan.gates:
        joined[gate.name].add((gate.package, str(gate.output or "A")))
        for tap in gate.taps:
            if tap.position or tap.gate:
                joined[("J1", tap.position) if tap.position else tap.gate].add((gate.package, str(tap.pin or "K")))
    return [pins | ({key} if isinstance(key, tuple) else set()) for key, pins in joined.items()]


def check_sheet(plan):
    for view in views_of(build_wiring_svg(plan)):
        joined = drawn(view, plan)
        assert sorted(map(sorted_pins, joined.values())) == sorted(map(sorted_pins, wanted(plan)))
        reached = follow(view)
        for wire, pins in joined.items():
            assert len(reached[wire]) == 1
            assert len(reached[wire][0]) >= len(pins) >= 2
        check_apart(view)


def sorted_pins(pins):
    return sorted((ref, str(pin)) for ref, pin in pins)


def check_apart(view):
    """No two wires share a piece or run closer than an eye can tell; where they cross, the upright one has a gap."""
    lines = [(wire, *spread(piece)) for wire, pieces in view.pieces.items() for piece in pieces]
    for n, (wire, upright, at, low, high) in enumerate(lines):
        for other, up, at2, low2, high2 in lines[:n]:
            if wire == other:
                continue
            if upright == up:
                assert abs(at - at2) >= 7 or high <= low2 or high2 <= low, (wire, other)
            else:
                assert not (low - 3 < at2 < high + 3 and low2 < at < high2), f"wires {wire} and {other} touch"


@pytest.mark.parametrize("plan", hardest(), ids=NAMES)
def test_each_wire_of_the_hardest_pairs_can_be_followed(plan):
    check_sheet(plan)


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(plans())
def test_each_wire_of_any_plan_can_be_followed(plan):
    check_sheet(plan)
    check_text(build_wiring_svg(plan))


def with_gates():
    """A plan with the gates that the library rarely needs, put in by hand: diodes, and a decoder behind them."""
    plan = plan_of("rom-2364-24", "27C512", ((20, "L"),))
    gate = {20: "X1", 22: "X2.15"}
    rows = [
        replace(row, how=How.GATE, gate=gate[row.chip], wire_to=None) if row.chip in gate else row for row in plan.rows
    ]
    gates = (
        PlacedGate("X1", "X1", DIODES, "diodes", (Tap(None, 20), Tap(None, 18)), None, None),
        PlacedGate("X2.15", "X2", "74LS138", "3-to-8", (
            Tap(1, 20), Tap(2, level="L"), Tap(3, level="L"), Tap(6, level="H"), Tap(4, gate="X1"), Tap(5, level="L"),
        ), 15, 41.0),
    )  # fmt: skip
    return replace(plan, rows=tuple(rows), gates=gates)


def test_diodes_and_a_decoder_stand_side_by_side():
    plan = with_gates()
    svg = build_wiring_svg(plan)
    check_text(svg)
    words = [text for view in views_of(svg) for _, _, text, _, _ in view.texts]
    assert words.count("pin 16 to VCC, pin 8 to GND") == 2 and words.count("3-to-8: 1, 2, 3, 6, 4, 5 → 15") == 2
    for view in views_of(svg):
        assert sorted(view.pieces) == [1, 2, 3, 4, 5] and {len(ends) for ends in follow(view).values()} == {1}
        check_apart(view)


@pytest.mark.parametrize("plan", hardest(), ids=NAMES)
def test_every_pin_says_what_is_done_with_it(plan):
    """A ring for each pin that is bent up and for no other; a sign beside each pin that is tied to a supply."""
    for view in views_of(build_wiring_svg(plan)):
        rows = {number: y - 7.5 for (_, y), (ref, number) in components(view, plan).items() if ref == "U1"}
        side = {number: x for (x, _), (ref, number) in components(view, plan).items() if ref == "U1"}
        middle = sum(side.values()) / len(side)
        rings = [(x, y) for x, y, r in view.discs if r == 5 and abs(x - middle) < 150]
        for row in (row for row in plan.rows if row.chip):
            y, right = rows[row.chip], side[row.chip] > middle
            lifted = [ring for ring in rings if abs(ring[1] - y + LIFT) < 1 and (ring[0] > middle) == right]
            beside = {
                words for x, at, words, _, _ in view.texts
                if abs(at - y) < 12 and (x > middle) == right and 100 < abs(x - middle) < 170
            }  # fmt: skip
            idle = row.function == "NC" and row.socket is None
            assert bool(lifted) == (row.how is not How.STRAIGHT and not idle), row
            for how, sign in ((How.VCC, "VCC"), (How.GND, "GND"), (How.OPEN, "open")):
                assert (sign in beside) == (row.how is how and not idle), row
            if row.how is How.STRAIGHT and row.socket != row.chip:
                assert f"in {row.socket}" in beside


def check_text(svg):
    """No text runs off the page or into a page's foot; measured with DejaVu Sans, the widest of the usual faces."""
    root = ET.fromstring(svg)
    _, _, width, height = map(float, root.get("viewBox").split())
    pages = round(height / (width * 277 / 190))
    assert abs(height - pages * width * 277 / 190) <= pages / 2
    down = {t: float(g.get("transform")[12:-1]) for g in root.iter(f"{SVG}g")
            if g.get("transform", "").startswith("translate") for t in g.iter(f"{SVG}text")}  # fmt: skip
    for element in root.iter(f"{SVG}text"):
        start, end = ends(element, element.text)
        assert start >= 4 and end <= width - 4, element.text
        y = float(element.get("y")) + down.get(element, 0)
        assert 0 < y % (height / pages) < height / pages * 0.94, element.text


@pytest.mark.parametrize("plan", hardest(), ids=NAMES)
def test_no_text_runs_off_a_page(plan):
    check_text(build_wiring_svg(plan, "DO NOT BUILD THIS AS IT STANDS: " + "a long warning " * 6))


@pytest.mark.parametrize("plan", hardest(), ids=NAMES)
def test_no_names_of_pins_meet_inside_a_body(plan):
    from PIL import ImageFont

    try:
        faces = {size: ImageFont.truetype("DejaVuSans-Bold.ttf", size) for size in (14, 11)}
    except OSError:
        pytest.skip("the font DejaVuSans is not installed")
    view, mirrored = views_of(build_wiring_svg(plan))
    assert mirrored.mirrored and not view.mirrored
    pins = components(view, plan)
    for part, ref in ((plan.original, "J1"), (plan.chip, "U1")):
        rows = defaultdict(list)
        at = {number: xy for xy, (owner, number) in pins.items() if owner == ref}
        left, right = (min(x for x, _ in at.values()), max(x for x, _ in at.values()))
        for x, y, words, size, _ in view.texts:
            if left < x < right and size in ("14", "11"):
                rows[y].append(faces[int(size)].getlength(words))
        assert len(rows) == part.pin_count // 2
        assert all(len(both) == 2 and sum(both) + 44 <= right - left for both in rows.values())


def test_long_names_are_written_smaller_and_cut():
    plan = plan_of("2716", "2732")
    long = plan.original.left.replace("A5", "A5|CHARACTER_GENERATOR")
    view = views_of(build_wiring_svg(replace(plan, original=replace(plan.original, left=long))))[0]
    assert [(words, size) for _, _, words, size, _ in view.texts if "…" in words] == [("A5|CHARA…", "11")]


def test_colours_print_as_black_and_dashes_tell_the_wires_apart():
    svg = build_wiring_svg(plan_of("rom-6830", "rom-9316b-inhibit")).decode()
    colours = set(re.findall(r'(?:fill|stroke)="(#[0-9a-f]{3,6})"', svg)) - {"#fff"}
    for colour in colours:
        digits = colour[1:] if len(colour) == 7 else "".join(c * 2 for c in colour[1:])
        red, green, blue = (int(digits[i : i + 2], 16) for i in (0, 2, 4))
        assert 0.2126 * red + 0.7152 * green + 0.0722 * blue < 64  # BT.709 luma (from memory, unchecked)
    dashed = re.findall(r'stroke="(#\w+)" stroke-width="3"(?: stroke-dasharray="([^"]+)")? stroke-linecap', svg)
    assert len(set(dashed)) == len({colour for colour, _ in dashed}) == len({dash for _, dash in dashed}) == 4


def test_a_switch_for_banks_stands_beside_its_pin_and_in_the_list():
    plan = plan_of("27C64", "27C256", banks=("one", "two", "three", "four"))
    svg = build_wiring_svg(plan)
    check_sheet(plan)
    check_text(svg)
    pins = [row.chip for row in plan.rows if row.how is How.STRAP]
    assert len(pins) == 2
    for view in views_of(svg):
        at = {number: y - 7.5 for (_, y), (ref, number) in components(view, plan).items() if ref == "U1"}
        beside = {words: y for _, y, words, _, _ in view.texts if re.fullmatch(r"S\d", words)}
        assert (
            sorted(abs(at[pin] - y) < 8 for pin, y in zip(pins, [beside[plan.nets[pin].label] for pin in pins]))
            == [True] * 2
        )
    texts = [text.text for text in ET.fromstring(svg).findall(f"{SVG}text")]
    assert texts.count("switch") == 2 and any(text.startswith("chooses the bank") for text in texts)


def test_the_same_plan_gives_the_same_bytes_and_the_views_the_same_wires():
    plan = plan_of("rom-2364-24", "27C64", ((20, "H"),))
    svg = build_wiring_svg(plan)
    assert svg == build_wiring_svg(plan)
    above, below = views_of(svg)
    assert (above.mirrored, below.mirrored) == (False, True)
    assert {wire: len(pieces) for wire, pieces in above.pieces.items()} == {
        wire: len(pieces) for wire, pieces in below.pieces.items()
    }
    first = {number: x for (x, _), (ref, number) in components(above, plan).items() if ref == "U1"}
    turned = {number: x for (x, _), (ref, number) in components(below, plan).items() if ref == "U1"}
    assert first[1] < first[28] and turned[1] > turned[28]


def test_pin_1_is_told_in_reverse_by_an_arrow_and_by_the_notch():
    svg = build_wiring_svg(plan_of("27C64", "28C64")).decode()
    assert [each for each in re.findall(r'<text[^>]*fill="#fff">([^<]*)<', svg) if each.isdigit()] == ["1"] * 4
    assert svg.count(">pin 1<") == 4 and len(re.findall(r"A20 20 0 0 0", svg)) == 4


def test_the_two_sides_cannot_be_taken_for_each_other():
    """In words, white or black, and by the outline: behind the board it is dashed."""
    svg = build_wiring_svg(plan_of("27C64", "28C64")).decode()
    above, below = svg.split("matrix(-1 0 0 1", 1)
    outline = r'<path d="[^"]*A20 20[^>]*>'
    assert all("dasharray" not in each for each in re.findall(outline, above))
    assert [each.count("dasharray") for each in re.findall(outline, below)] == [1, 1]
    assert re.findall(r'fill="(#\w+)">(FROM ABOVE|SOLDER SIDE)<', svg) == [
        ("#000", "FROM ABOVE"), ("#fff", "SOLDER SIDE"),
    ]  # fmt: skip


def test_the_list_names_each_wire_and_each_tie():
    root = ET.fromstring(build_wiring_svg(plan_of("rom-2364-24", "27C64", ((20, "H"),))))
    texts = [text.text for text in root.findall(f"{SVG}text")]
    for row in (
        ["1", "socket 18 A11", "chip 23 A11", "address line"],
        ["2", "socket 20 CS", "X1 pin 1", "what the gate takes in"],
        ["4", "X1 pin 2", "chip 20 /CE", "L while socket 20 is H"],
        ["VCC", "socket 24", "chip 1 VPP, chip 27 /PGM", "must be H in read"],
    ):
        at = next(n for n in range(len(texts)) if texts[n : n + 4] == row)
        assert at
    assert "straight into the socket: chip pins 3-19, 21, 24-26" in texts
    assert any("UNCHECKED in the page of rom-2364-24" in text for text in texts)


def test_a_foreign_name_is_harmless():
    plan = plan_of("2716", "2732")
    root = ET.fromstring(build_wiring_svg(replace(plan, chip=replace(plan.chip, name=FOREIGN)), FOREIGN))
    assert root.find(f"{SVG}title").text.startswith(FOREIGN)
    assert not list(root.iter(f"{SVG}b")) and any(t.text == FOREIGN for t in root.iter(f"{SVG}text"))
