"""The lines between a ROM and a reader as a drawing for a printer without colours.

A line with which nothing is wrong is thin and straight. What is wrong is bold, and each kind has its own shape: a line
that is crossed has a lane of its own, joined lines meet at a node with the law of the level that wins, a line that is
stuck ends at a rail marked H or L, one that is inverted has a ring at the reader. The name of the far end stands at
each end. The same comparison gives the same bytes.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence

from romwright.faults.comparison import Comparison
from romwright.sheets.adapter import COLOURS, DASHES
from romwright.sheets.canvas import Canvas
from romwright.sheets.faultlines import LEVELS, READER, ROM, Group, Net, groups_of
from romwright.sheets.faultwords import notes_on, signs_of
from romwright.sheets.lanes import GAP, End, Line, Route, Track, choose_dashes, cut, order_lanes
from romwright.sheets.shapes import INK, PAPER, page, text, width_of, wrap

PITCH, GROUP_GAP = 34, 26  # pixels between rows, and more between address and data
EDGE, BODY, RAIL = 24, 226, 76  # margin, width of a body, room for rails beside it
LANE, NODE, NODE_GAP = 15, 46, 14  # distance of lanes; room for a node in one, and more room between its rows
LEAST = 260  # width of the channel
OFF = 6  # a line that is routed leaves the ROM above the middle of its pad, and the reader below; the next beyond it
PAD = 8, 22
BOLD, THIN, SMALL = 4, 1.5, 15  # strokes; letters of the names of far ends
TOP, LINE = 90, 23


class Drawing:
    """Where everything stands: rows downwards, the channel of the lanes between the two bodies."""

    def __init__(self, groups: Sequence[Group], known: bool) -> None:
        self.groups, self.known = groups, known
        self.begun = Counter(
            (group.letter, *end) for group in groups for net in group.nets if not net.direct for end in group.ends(net)
        )
        self.heights, y = {}, TOP + PITCH * 1.5
        for group in groups:
            nodes = {below(group, net) for net in group.nets if net.law}
            for row in range(group.rows):
                y += NODE_GAP * (row in nodes) + self.more(group, ROM, row)
                self.heights[group.letter, row] = y
                y += PITCH + self.more(group, READER, row)
            y += GROUP_GAP
        self.bottom = y - GROUP_GAP - PITCH / 2
        self.left, self.ends = EDGE + BODY + RAIL, self.place_ends()
        self.lanes, needed = {}, LEAST
        for group in groups:
            needed = max(needed, self.place_lanes(group) - self.left)
        self.right = self.left + needed
        self.width = self.right + RAIL + BODY + EDGE
        for group in groups:  # in the middle, now that the width of the channel is known
            nets = [net.number for net in group.nets if not net.direct]
            spare = (needed - (self.place_lanes(group) - self.left)) / 2
            self.lanes |= {number: self.lanes[number] + spare for number in nets}

    def more(self, group: Group, side: int, number: int) -> float:
        """How much longer a pad is at which several nets begin."""
        return OFF * 2 * max(self.begun[group.letter, side, number] - 1, 0)

    def y(self, group: Group, number: int) -> float:
        """The height of a row."""
        return self.heights[group.letter, number]

    def pad(self, side: int) -> float:
        """Where the pads of a side end and lines begin."""
        return EDGE + BODY + PAD[0] if side == ROM else self.right + RAIL - PAD[0]

    def place_ends(self) -> dict[int, list[tuple[int, float]]]:
        """Return the side and height of each end of each net that is routed; no two of one side are the same."""
        used: Counter = Counter()
        found: dict[int, list[tuple[int, float]]] = {}
        for group in self.groups:
            for net in group.nets:
                if net.direct:
                    continue
                found[net.number] = []
                for side, number in group.ends(net):
                    before = used[group.letter, side, number]
                    used[group.letter, side, number] += 1
                    found[net.number].append((side, self.y(group, number) + side * OFF * (1 + 2 * before)))
        return found

    def place_lanes(self, group: Group) -> float:
        """Give each net that is routed its lane, from the left; returns where the last ends."""
        nets = {net.number: net for net in group.nets if not net.direct}
        routes = [Route(n, tuple(End(side, ((0, y),)) for side, y in self.ends[n])) for n in nets]
        x = self.left
        for route in order_lanes(routes, 0):
            room = NODE if nets[route.number].law else LANE
            self.lanes[route.number] = x + room / 2
            x += room
        return x

    def track(self, net: Net) -> Track:
        """Lay a net that is routed: its trunk, its ends, a dot where three meet."""
        track, x, ends = Track(net.number), self.lanes[net.number], self.ends[net.number]
        heights = [y for _, y in ends]
        track.go((x, min(heights)), (x, max(heights)))
        for side, y in ends:
            track.go((self.pad(side), y), (x, y))
            if min(heights) < y < max(heights):
                track.dots.append((x, y))
        return track

    def tracks(self) -> list[Track]:
        """Lay all nets that are not straight."""
        found = []
        for group in self.groups:
            for net in group.nets:
                if not net.direct:
                    found.append(self.track(net))
                elif net.inverted:
                    found.append(Track(net.number, [self.level(group, net)]))
        return found

    def level(self, group: Group, net: Net) -> Line:
        """Return the one piece of a net whose line goes straight across."""
        return Line(False, self.y(group, net.sinks[0]), self.pad(ROM), self.pad(READER))

    def node(self, group: Group, net: Net) -> tuple[float, float]:
        """Return where the node of joined lines stands: between two rows, where no line of another net passes."""
        row = below(group, net)
        return self.lanes[net.number], self.y(group, row) - self.more(group, ROM, row) - (PITCH + NODE_GAP) / 2


def below(group: Group, net: Net) -> int:
    """Return the row above which the node of joined lines stands: about the middle of the net."""
    rows = [number for _, number in group.ends(net)]
    return (min(rows) + max(rows) + 1) // 2


def build_lines_svg(comparison: Comparison, title: str) -> bytes:
    """Draw the lines between ROM and reader as the best explanation has them, on a page that prints either way."""
    groups = groups_of(comparison.best.lines, comparison.reader_lines)
    known = comparison.explained and not comparison.blank
    drawing = Drawing(groups, known)
    canvas = Canvas(drawing.width)
    draw_bodies(canvas, drawing)
    if known:
        draw_straight(canvas, drawing)
        draw_faults(canvas, drawing)
        for group in groups:
            draw_ends(canvas, drawing, group)
    middle, room = round(drawing.width / 2), round(drawing.width - 2 * EDGE)
    heading = wrap(title, 24, room)[:2] or ["?"]
    y, shapes = 36, []
    for line in heading:
        shapes.append(text(middle, y, line, 24, "middle", bold=True))
        y += 30
    shapes.append(text(middle, y, "The lines between ROM and reader", 17, "middle"))
    shift = y - 66  # a title of two lines moves all below it down
    shapes += canvas.elements(shift)
    y = drawing.bottom + shift + PITCH + 20
    for words, bold in [*notes_on(comparison), *((words, False) for words in signs_of(groups) if known)]:
        for line in wrap(words, 16, room):
            shapes.append(text(EDGE, round(y), line, 16, "start", bold=bold))
            y += LINE
    return page(round(drawing.width), round(y), title, shapes, turns=True)


def draw_bodies(canvas: Canvas, drawing: Drawing) -> None:
    """Draw ROM and reader with a pad and a name for each line, and beside it where the line goes."""
    height = drawing.bottom - TOP + PITCH / 2 - 8
    for side, words in ((ROM, "ROM"), (READER, "READER")):
        x = EDGE if side == ROM else drawing.pad(READER) + PAD[0]
        canvas.box(x, TOP, BODY, height, 4)
        canvas.write(x + BODY / 2, TOP + 26, words, 20, "middle", bold=True)
        for group in drawing.groups:
            for number in range(group.size(side)):
                y = drawing.y(group, number)
                edge = drawing.pad(side)
                more = drawing.more(group, side, number)
                top = y - PAD[1] / 2 - (more if side == ROM else 0)
                canvas.box(edge - PAD[0] if side == ROM else edge, top, PAD[0], PAD[1] + more, 0, INK)
                loud = drawing.known and number in group.faulty and not group.spare(number)
                at = edge + side * (PAD[0] + 10)
                anchor = "end" if side == ROM else "start"
                canvas.write(at, y + 6.5, f"{group.letter}{number}", 18, anchor, bold=loud)
                if drawing.known and (words := whither(group, side, number)):
                    canvas.write(at + side * 46, y + 6, words, SMALL, anchor)
    if not drawing.known:
        middle = (drawing.left + drawing.right) / 2, (TOP + drawing.bottom) / 2
        canvas.write(*middle, "not known", 24, "middle", bold=True)


def whither(group: Group, side: int, number: int) -> str:
    """Say in a few letters where a line goes at its far end, unless it is straight."""
    if side != group.sink_side:
        reached = sorted({sink for net in group.nets if number in net.sources for sink in net.sinks})
        if not reached or reached == [number]:
            return "" if reached else "reaches nothing"
        return short(f"to {', '.join(f'{group.letter}{sink}' for sink in reached)}", f"to {len(reached)} lines")
    carried = group.carries(number)
    if number in group.stuck:
        return f"{'held' if group.spare(number) else 'stuck'} {carried}"
    line = group.lines[number]
    words = f"from {carried}" if carried.isalnum() else carried
    return short(words, f"{line.law and line.law.upper()} of {len(line.of)}")


def short(words: str, otherwise: str) -> str:
    """Return words if they fit into a body beside a name."""
    return words if width_of(words, SMALL) <= BODY - 66 else otherwise


def draw_straight(canvas: Canvas, drawing: Drawing) -> None:
    """Draw the lines with which nothing is wrong, with a gap where a bold one passes."""
    bold = [line for track in drawing.tracks() for line in track.lines if line.upright]
    for group in drawing.groups:
        for net in (net for net in group.nets if net.straight):
            line = drawing.level(group, net)
            way = "".join(f"M{low:g} {line.at:g}H{high:g}" for low, high in pieces(line, bold))
            canvas.path(way, THIN, extra=f' data-line="{group.letter}{net.sinks[0]}"')


def pieces(line: Line, upright: Iterable[Line]) -> Iterator[tuple[float, float]]:
    """Yield from where to where a level line goes between upright ones that pass over it."""
    low = line.low
    for x in sorted(each.at for each in upright if each.low - GAP < line.at < each.high + GAP):
        if x - GAP - low > LANE / 2:  # no crumbs
            yield low, x - GAP - 1
        low = x + GAP + 1
    yield low, line.high


def draw_faults(canvas: Canvas, drawing: Drawing) -> None:
    """Draw the lines that are routed or inverted: neighbours dashed otherwise, a node where lines are joined."""
    tracks = drawing.tracks()
    parts, styles = cut(tracks), choose_dashes(tracks, len(DASHES))
    for track in tracks:
        way = "".join(
            f"M{line.at:g} {line.low:g}V{line.high:g}" if line.upright else f"M{line.low:g} {line.at:g}H{line.high:g}"
            for line in parts[track.number]
        )
        style = styles[track.number]
        extra = f'{DASHES[style]} stroke-linecap="{"butt" if style else "square"}" data-wire="{track.number}"'
        canvas.path(way, BOLD, ink=COLOURS[style], extra=extra)
        for x, y in track.dots:
            canvas.disc(x, y, 5.5)
    for group in drawing.groups:
        for net in group.nets:
            if net.law:
                x, y = drawing.node(group, net)
                canvas.box(x - 20, y - 9, 40, 18, 2.5)
                canvas.write(x, y + 5, net.law.upper(), 14, "middle", bold=True)
            for sink in net.inverted:
                side = group.sink_side
                y = drawing.y(group, sink) + (0 if net.direct else side * OFF)
                canvas.disc(drawing.pad(side) - side * 8, y, 7, 3, PAPER)


def draw_ends(canvas: Canvas, drawing: Drawing, group: Group) -> None:
    """Draw the rails of lines that are stuck, and the ends of those that reach nothing."""
    for number, level in group.stuck.items():
        draw_rail(canvas, drawing, group, number, level)
    for number in group.unused:
        x, y, out = drawing.pad(-group.sink_side), drawing.y(group, number), group.sink_side
        at, stroke = x + out * 24, THIN if group.spare(number) else BOLD
        canvas.line((x, y), (at, y), stroke=stroke)
        for turn in (-1, 1):
            canvas.line((at - 7, y - 7 * turn), (at + 7, y + 7 * turn), stroke=3)


def draw_rail(canvas: Canvas, drawing: Drawing, group: Group, number: int, level: int) -> None:
    """Draw a line that ends at a rail: three bars below it for L, one above it for H."""
    x, y, out = drawing.pad(group.sink_side), drawing.y(group, number), -group.sink_side
    at, stroke = x + out * 34, THIN if group.spare(number) else BOLD
    canvas.line((x, y), (at, y), stroke=stroke)
    if level:
        canvas.line((at, y + stroke / 2), (at, y - 11), stroke=stroke)
        canvas.line((at - 14, y - 11), (at + 14, y - 11), stroke=5)
    else:
        canvas.line((at, y - stroke / 2), (at, y + 4), stroke=stroke)
        for width, down in ((14, 4), (9, 9), (4, 14)):
            canvas.line((at - width, y + down), (at + width, y + down), stroke=3)
    anchor = "start" if out > 0 else "end"
    canvas.write(at + out * 20, y + 7, LEVELS[level], 20, anchor, bold=True)
