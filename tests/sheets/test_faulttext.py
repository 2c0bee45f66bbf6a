"""The lines at fault in text: every wire is followed from name to name, sign by sign, as an eye would."""

import re

import pytest
from hypothesis import HealthCheck, given, settings
from sheets.test_faultdrawing import CASES, CROSSED, maps, wanted

from romwright.faults.lines import Law, Line, LineMap, State
from romwright.sheets.faultlines import groups_of
from romwright.sheets.faulttext import draw_lines

NAME = re.compile(r"[AD]\d+")
STRAIGHT = LineMap.straight(13)


def lines_with(address=(), data=()):
    both = [list(STRAIGHT.address), list(STRAIGHT.data)]
    for side, changes in zip(both, (dict(address), dict(data))):
        for number, line in changes.items():
            side[number] = line
    return LineMap(*map(tuple, both))


def follow(rows, y, x, step):
    """Every place that is reached from a place in a direction: (row, column, columns to go)."""
    reached, ends, work = set(), set(), [(y, x, 0, step)]
    while work:
        y, x, down, right = state = work.pop()
        if state in reached:
            continue
        reached.add(state)
        sign = rows[y][x] if 0 <= y < len(rows) and 0 <= x < len(rows[y]) else " "
        if right and sign in "-O|":  # straight on, over a wire that passes
            work.append((y, x + right, 0, right))
        elif down and sign in "|ANDOR":
            work.append((y + down, x, down, 0))
        elif sign in ".'+":
            work += [(y, x + side, 0, side) for side in (-1, 1) if rows[y][x + side : x + side + 1] in ("-", "O")]
            work += [(y + way, x, way, 0) for way in {".": (1,), "'": (-1,), "+": (-1, 1)}[sign]]
        elif sign == " " and right:
            ends.add((y, right))
        elif sign in "x[]":
            ends.add((y, sign))
    return ends


def joined(drawn):
    """The sets of ends that the text joins; the stuck lines with their level, and those that reach nothing."""
    rows = [line for line in drawn[1:] if not line.startswith("   signs") and "straight:" not in line[:14]]
    rows = [row for row in rows if not re.match(r"     \S", row) or "-" in row]
    names = {}
    for y, row in enumerate(rows):
        for match in NAME.finditer(row):
            if match.start() < 6:
                names[y, "ROM"] = (match[0], match.end() + 1, 1)
            elif match.end() == len(row):
                names[y, "READER"] = (match[0], match.start() - 2, -1)
    nets, rails, nothing = set(), {}, set()
    for (y, side), (name, x, step) in names.items():
        found = follow(rows, y, x, step)
        signs = {sign for _, sign in found if isinstance(sign, str)}
        if "x" in signs:
            nothing.add((name, side))
        elif signs:
            rails[name, side] = re.findall(r"\[([LH])\]", rows[y])[0 if side == "ROM" else -1]
        else:
            nets.add(frozenset((names[at, {1: "READER", -1: "ROM"}[way]][0], {1: "READER", -1: "ROM"}[way])
                               for at, way in found) | {(name, side)})  # fmt: skip
    return nets, rails, nothing


def check(lines, reader_lines):
    groups = groups_of(lines, reader_lines)
    drawn = draw_lines(groups)
    if not drawn:
        return drawn
    assert max(map(len, drawn)) <= 80 and "".join(drawn).isascii()
    nets, rails, nothing = joined(drawn)
    assert nets == {frozenset(net) for net in wanted(lines, reader_lines)[0]}
    for letter, side, where, count in (("A", lines.address, "ROM", reader_lines), ("D", lines.data, "READER", 8)):
        for number, line in enumerate(side):
            if line.state is State.STUCK and number < count:
                assert rails.pop((f"{letter}{number}", where)) == "LH"[line.level]
    assert not rails
    used = {(letter, n) for letter, each in (("A", lines.address), ("D", lines.data)) for line in each for n in line.of}
    assert nothing == {
        (f"{letter}{n}", where) for letter, count, most, where in (
            ("A", reader_lines, len(lines.address), "READER"), ("D", 8, 8, "ROM"),
        ) for n in range(min(count, most)) if (letter, n) not in used
    }  # fmt: skip
    return drawn


FEW = {
    "one pair": lines_with({11: Line.follows(12), 12: Line.follows(11)}),
    "stuck": lines_with({3: Line.stuck(0), 12: Line.stuck(1)}),
    "joined": lines_with(dict.fromkeys((3, 4), Line.joined(Law.AND, (3, 4)))),
    "three joined": lines_with(dict.fromkeys((2, 5, 9), Line.joined(Law.OR, (2, 5, 9)))),
    "joined around a pair": lines_with(
        {**dict.fromkeys((2, 9), Line.joined(Law.OR, (2, 9))), 4: Line.follows(6), 6: Line.follows(4)}
    ),
    "data": lines_with({}, {3: Line.stuck(1), 6: Line.inverted(2), 2: Line.follows(6), 7: Line.inverted(7)}),
    "turned": lines_with({}, {n: Line.follows(7 - n) for n in range(8)}),
}


@pytest.mark.parametrize("name", FEW)
def test_each_wire_can_be_followed(name):
    assert check(FEW[name], 13)


@settings(max_examples=80, deadline=None, suppress_health_check=list(HealthCheck))
@given(maps())
def test_any_map_can_be_followed_or_is_left_to_paper(case):
    check(*case)


def test_too_many_and_none():
    assert draw_lines(groups_of(CROSSED, 10)) == []
    assert draw_lines(groups_of(STRAIGHT, 13)) == []
    assert draw_lines(groups_of(*CASES["a part"])) == []  # the half that is not read is no fault of a line


def test_what_is_straight_is_said():
    drawn = draw_lines(groups_of(FEW["one pair"], 13))
    assert drawn[-1] == "   straight: A0-A10, D0-D7"
    assert "not joined" in drawn[-2]
