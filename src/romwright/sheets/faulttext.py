"""The lines at fault between a ROM and a reader, in lines of text of 80 columns, without box characters."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence

from romwright.faults.lines import Law
from romwright.sheets.faultlines import LEVELS, READER, ROM, Group, Net, in_ranges
from romwright.sheets.lanes import End, Route, order_lanes

COLUMNS, MOST_ROWS, MOST_LANES = 80, 16, 8  # more is for paper
EDGE, FIRST, LANE = 10, 22, 5  # columns: of the first sign of a line, of the first lane, between lanes
STUCK, OPEN, RING, OVER = "[L] stuck low, [H] stuck high", "x reaches nothing", "O inverted", "| crosses -, not joined"
KEPT = "\xa0"  # a blank at which no line is broken
LAWS = {Law.AND: "AND joined, low wins", Law.OR: "OR joined, high wins"}


def draw_lines(groups: Sequence[Group]) -> list[str]:
    """Draw the lines at fault of both groups, and say which run straight; nothing if there are too many, or none.

    >>> from romwright.faults.lines import Line, LineMap
    >>> from romwright.sheets.faultlines import groups_of
    >>> crossed = LineMap((Line.follows(1), Line.follows(0)), tuple(map(Line.follows, range(8))))
    >>> for line in draw_lines(groups_of(crossed, 2))[:4]: print(line)
          ROM                                 READER
       A0 ----------------.    .--------------- A0
       A1 ----------------|----'
                          '-------------------- A1
    """
    pictures = [Picture(group) for group in groups]
    rows = sum(len(picture.rows) for picture in pictures)
    if not 0 < rows <= MOST_ROWS or any(picture.crowded for picture in pictures):
        return []
    width = max(picture.width for picture in pictures)
    drawn = [line for picture in pictures if picture.rows for line in ("", *picture.draw(width))][1:]
    head = f"{'ROM':>{EDGE - 1}}{'READER':>{width - EDGE + 7}}"
    return [head, *drawn, *explain(pictures)]


def explain(pictures: Sequence[Picture]) -> Iterator[str]:
    """Yield what the signs mean that occur, and which lines are not drawn."""
    nets = [net for picture in pictures for net in picture.nets]
    rows = [(picture.group, number) for picture in pictures for number in picture.rows]
    said = [
        words for words, occurs in (
            (OVER, sum(len(picture.lanes) for picture in pictures) > 1),
            (STUCK, any(number in group.stuck for group, number in rows)),
            (OPEN, any(number in group.unused for group, number in rows)),
            (RING, any(net.inverted for net in nets)),
            *((words, any(net.law is law for net in nets)) for law, words in LAWS.items()),
        ) if occurs
    ]  # fmt: skip
    straight = [in_ranges(picture.group.straight, picture.group.letter) for picture in pictures]
    for label, parts in (("signs: ", said), ("straight: ", [part for part in straight if part])):
        if parts:
            whole = ("; " if said is parts else ", ").join(part.replace(" ", KEPT) for part in parts)
            lines = textwrap.wrap(label + whole, COLUMNS, initial_indent="   ", subsequent_indent="     ")
            yield from (line.replace(KEPT, " ") for line in lines)


class Picture:
    """The lines at fault of a group: a row for each, a column for each lane."""

    def __init__(self, group: Group) -> None:
        self.group = group
        self.rows = [number for number in group.faulty if not group.spare(number)]
        self.nets = [net for net in group.nets if not net.straight]
        routed = [net for net in self.nets if not net.direct]
        self.lanes = {
            route.number: FIRST + LANE * lane for lane, route in enumerate(order_lanes([*map(self.route, routed)], 0))
        }

    @property
    def crowded(self) -> bool:
        """Whether text has no room for the lanes, or two nets begin at one line."""
        sources = [source for net in self.group.nets for source in net.sources]
        return len(self.lanes) > MOST_LANES or len(sources) > len(set(sources))

    @property
    def width(self) -> int:
        """The column in which the lines end."""
        return max(FIRST + LANE * (len(self.lanes) + 2), 36)

    def route(self, net: Net) -> Route:
        """Return a net as something to be laid: the ends at the reader a little lower than those at the ROM."""
        places = ((side, 10 * number + side) for side, number in self.group.ends(net))
        return Route(net.number, tuple(End(side, ((0, y),)) for side, y in places))

    def at(self, side: int, number: int) -> Net | None:
        """Return the net that is drawn at an end."""
        return next((net for net in self.nets if (side, number) in self.group.ends(net)), None)

    def place_rows(self) -> tuple[dict[tuple[int, int], int], dict[int, int]]:
        """Return the line of text of each end, and that of the node of each net of joined lines.

        Where two nets would lie over each other, the reader's end is one line lower.
        """
        lines, nodes, y = {}, {}, 0
        for number in self.rows:
            for net in self.nets:  # a node has a line of its own above the last row of its net
                if net.law and number == max(n for _, n in self.group.ends(net)):
                    nodes[net.number] = y
            y += y in nodes.values()
            left, right = self.at(ROM, number), self.at(READER, number)
            lines[ROM, number] = y
            over = left and right and left is not right
            y += bool(over and self.lanes.get(left.number, 0) > self.lanes.get(right.number, 0))
            lines[READER, number] = y
            y += 1
        return lines, nodes

    def draw(self, width: int) -> Iterator[str]:
        """Draw all; lines end in that column."""
        lines, nodes = self.place_rows()
        grid = [[" "] * (width + 1) for _ in range(max(lines.values()) + 1)]
        for net in self.nets:
            self.draw_level(grid, lines, net, width)
        for net in self.nets:
            if net.number in self.lanes:
                self.draw_trunk(grid, lines, net)
        for net in self.nets:
            if net.law:
                x, word = self.lanes[net.number], net.law.upper()
                start = x - len(word) // 2
                grid[nodes[net.number]][start : start + len(word)] = word
            for sink in net.inverted:
                grid[lines[READER, sink]][width - 1] = "O"
        self.draw_ends(grid, lines, width)
        names = {side: {lines[side, n]: f"{self.group.letter}{n}" for n in self.rows if n < self.group.size(side)}
                 for side in (ROM, READER)}  # fmt: skip
        for y, row in enumerate(grid):
            body = "".join(row[EDGE - 4 :])
            yield f"{names[ROM].get(y, ''):>{EDGE - 5}} {body} {names[READER].get(y, '')}".rstrip()

    def draw_level(self, grid: list[list[str]], lines: dict, net: Net, width: int) -> None:
        """Draw the level pieces of a net."""
        for side, number in self.group.ends(net):
            lane = self.lanes.get(net.number, width)
            start, stop = (EDGE - 4, lane) if side == ROM else (lane, width)
            row = grid[lines[side, number]]
            row[start : stop + 1] = "-" * (stop + 1 - start)

    def draw_trunk(self, grid: list[list[str]], lines: dict, net: Net) -> None:
        """Draw the upright piece of a net, with its corners."""
        x, ends = self.lanes[net.number], [(lines[end], end[0]) for end in self.group.ends(net)]
        top, bottom = min(ends)[0], max(ends)[0]
        for y in range(top, bottom + 1):
            sides = {side for at, side in ends if at == y}
            corner = "." if y == top else "'" if y == bottom else "+"
            grid[y][x] = "|" if not sides else corner if len(sides) == 1 else "+"

    def draw_ends(self, grid: list[list[str]], lines: dict, width: int) -> None:
        """Draw what is stuck, and what reaches nothing."""
        group = self.group
        ends = [(group.sink_side, number, f"[{LEVELS[level]}]") for number, level in group.stuck.items()]
        ends += [(-group.sink_side, number, "x") for number in group.unused]
        for side, number, sign in ends:
            if number not in self.rows:
                continue
            row = grid[lines[side, number]]
            if side == ROM:
                row[EDGE - 4 : EDGE + 2 + len(sign)] = f"------{sign}"
            else:
                row[width - 5 - len(sign) : width + 1] = f"{sign}------"
