"""A link as its pads in a row, with the pads that each position joins below them: as lines of text, and as SVG."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator, Mapping

from msgspec import Struct

from romwright.boards.model import Link
from romwright.sheets.shapes import INK, PAPER, text, width_of

PAD, GAP, ROW = 46, 30, 38  # pixels: width of a pad, distance of the names above pads, height of a position
MOST_TRIES = 4096  # orders of nodes that are tried to number the pads


class Pad(Struct, frozen=True):
    """A pad: its number on the board, if the positions tell it, and its node."""

    number: str
    node: str


class Row(Struct, frozen=True):
    """One line of a drawing: the pads, by their places in the row, that a position joins; `first` of its position."""

    position: str
    groups: tuple[tuple[int, ...], ...]
    first: bool = True


class Layout:
    """The pads of a link in a row, and a line or more for each position."""

    def __init__(self, link: Link) -> None:
        self.link = link
        numbers = numbered(link)
        nodes = {str(number): numbers[number] for number in sorted(numbers)} if numbers else {}
        self.pads = [Pad(*pair) for pair in nodes.items()] or [Pad("", node) for node in chain(link)]
        self.rows = [row for position in link.positions for row in self._rows(position)]

    def groups(self, position: str) -> list[tuple[int, ...]]:
        """List the groups of pads that a position joins, by their places in the row."""
        groups = self.link.groups(position)
        if groups and self.pads[0].number:
            order = [pad.number for pad in self.pads]
            return [tuple(sorted(order.index(number) for number in position.split("-")))]
        order = [pad.node for pad in self.pads]
        return list(dict.fromkeys(tuple(sorted({order.index(node) for node in group})) for group in groups))

    def _rows(self, position: str) -> Iterator[Row]:
        """Yield lines in which no two groups lie over each other."""
        left, first = sorted(self.groups(position)), True
        while left or first:
            taken: list[tuple[int, ...]] = []
            for group in left:
                if not taken or group[0] > taken[-1][-1]:
                    taken.append(group)
            left = [group for group in left if group not in taken]
            yield Row(position, tuple(taken), first)
            first = False

    def words(self, position: str) -> str:
        """Say what a position joins: `/ROMSEL = P20`."""
        return "; ".join(" = ".join(group) for group in self.link.groups(position)) or "open: no jumper"


def numbered(link: Link) -> dict[int, str]:
    """Return the node of each pad if the positions are named after pads, `1-2`; where both ends fit, as written.

    >>> numbered(Link("LK1", {"1-2": "/SEL P20", "2-3": "/ACC P20"}))
    {1: '/SEL', 2: 'P20', 3: '/ACC'}
    """
    asked = []
    for position in link.positions:
        groups = link.groups(position)
        if not groups:
            continue
        pads = position.split("-")
        if not re.fullmatch(r"\d{1,3}(-\d{1,3})+", position) or len(groups) > 1 or len(groups[0]) != len(set(pads)):
            return {}
        asked.append((tuple(map(int, pads)), list(itertools.permutations(groups[0]))))
    tries = 0

    def place(index: int, found: dict[int, str]) -> dict[int, str]:
        nonlocal tries
        if index == len(asked):
            return found
        pads, orders = asked[index]
        for order in orders:
            tries += 1
            agrees = tries <= MOST_TRIES and all(found.get(pad, node) == node for pad, node in zip(pads, order))
            if agrees and (whole := place(index + 1, found | dict(zip(pads, order)))):
                return whole
        return {}

    return place(0, {}) if asked else {}


def chain(link: Link) -> list[str]:
    """List the nodes in a row: those that a position joins side by side where that is possible, else as written.

    >>> chain(Link("LK1", {"left": "A C", "right": "B C"}))
    ['A', 'C', 'B']
    """
    groups = [group for position in link.positions for group in link.groups(position)]
    written = list(dict.fromkeys(node for group in groups for node in group))
    beside: dict[str, list[str]] = {node: [] for node in written}
    for group in groups:
        for one, two in itertools.pairwise(dict.fromkeys(group)):
            if two not in beside[one]:
                beside[one].append(two)
                beside[two].append(one)
    if any(len(others) > 2 for others in beside.values()):
        return written
    found: list[str] = []
    ends = [node for node in written if len(beside[node]) < 2]
    for start in [*ends, *written]:
        while start not in found:
            found.append(start)
            start = next((node for node in beside[start] if node not in found), start)
    return found


def draw_link(link: Link, now: str | None = None, told: Mapping[str, str] | None = None) -> list[str]:
    """Draw a link in ASCII, with the jumpers of the position `now`: between neighbours, else as wires below the pads.

    `told` has what is said beside positions; of `now`, that it is now, unless told otherwise.

    >>> print("\\n".join(draw_link(Link("LK1", {"1-2": "/SEL P20", "2-3": "P20 /ACC"}), "2-3")))
      LK1
                   /SEL     P20      /ACC
                   [1]      [2]######[3]
        1-2         o========o               /SEL = P20
      > 2-3                  o========o      P20 = /ACC  now
    """
    layout = Layout(link)
    pitch = max([8, *(len(pad.node) + 2 for pad in layout.pads)]) | 1
    label = 6 + max(6, *map(len, link.positions))
    at = [label + pitch // 2 + pitch * n for n in range(len(layout.pads))]
    joined = {pair for group in (layout.groups(now) if now else ()) for pair in itertools.pairwise(group)}
    wires = [" " * at[one] + "#" * (at[two] - at[one] + 1) for one, two in sorted(joined) if two > one + 1]
    names = "".join(pad.node.center(pitch) for pad in layout.pads)
    pads = "".join(f"[{pad.number or ' '}]".center(pitch) for pad in layout.pads)
    for one, two in joined:
        if two == one + 1:
            start, stop = (pads.index(mark, at[n] - label - 2) for n, mark in ((one, "]"), (two, "[")))
            pads = pads[: start + 1] + "#" * (stop - start - 1) + pads[stop:]
    told = told or ({now: "now"} if now else {})
    lines = [f"  {link.name}  {link.title}", " " * label + names, " " * label + pads, *wires]
    for row in layout.rows:
        marks = [" "] * (label + pitch * len(at))
        for group in row.groups:
            first, last = at[group[0]], at[group[-1]]
            marks[first : last + 1] = "=" * (last - first + 1)
            for place in group:
                marks[at[place]] = "o"
        here = row.first and row.position == now
        head = f"  {'>' if here else ' '} {row.position if row.first else ''}".ljust(label)
        tail = f"  {layout.words(row.position)}" if row.first else ""
        said = f"  {told[row.position]}" if row.first and row.position in told else ""
        lines.append(head + "".join(marks[label:]) + tail + said)
    return [line.rstrip() for line in lines]


def link_pitch(layout: Layout) -> int:
    """Return the distance of two pads in pixels, so that the names above them do not touch."""
    return max([110, *(width_of(pad.node, 20) + GAP for pad in layout.pads)])


def link_size(link: Link) -> tuple[int, int]:
    """Return the width and height of a link's drawing."""
    layout = Layout(link)
    pads = link_pitch(layout) * max(1, len(layout.pads))
    words = max(width_of(layout.words(position), 17) for position in link.positions)
    title = width_of(link.name, 26) + 30 + width_of(link.title, 18)
    return max(title, _label(layout) + pads + 30 + words + 80), 156 + ROW * (len(layout.rows) - 1) + 34


def _label(layout: Layout) -> int:
    return 50 + max(width_of(position, 20) for position in layout.link.positions)


def link_shapes(link: Link, left: int, top: int, now: str | None = None) -> Iterator[str]:
    """Draw a link; the jumpers of the position `now` sit on the pads."""
    layout = Layout(link)
    pitch = link_pitch(layout)
    label = _label(layout)
    at = [left + label + pitch // 2 + pitch * n for n in range(len(layout.pads))]
    ends = left + label + pitch * max(1, len(at))
    middle, first = top + 94, top + 164
    yield text(left, top + 26, link.name, 26, "start", bold=True)
    yield text(left + width_of(link.name, 26) + 24, top + 25, link.title, 18, "start")
    bottom = first + ROW * (len(layout.rows) - 1)
    yield from (
        f'<path d="M{x} {middle}V{bottom}" stroke="{INK}" stroke-width="1.5" stroke-dasharray="2 6"/>' for x in at
    )
    yield from _jumpers(layout.groups(now) if now else [], at, middle)
    for x, pad in zip(at, layout.pads):
        yield text(x, middle - 42, pad.node, 20, "middle", bold=True)
        yield (
            f'<rect x="{x - PAD // 2}" y="{middle - PAD // 2}" width="{PAD}" height="{PAD}" rx="6" fill="{PAPER}" '
            f'stroke="{INK}" stroke-width="4"/>'
        )
        yield (
            text(x, middle + 9, pad.number, 24, "middle", bold=True)
            if pad.number
            else (f'<circle cx="{x}" cy="{middle}" r="8" fill="{PAPER}" stroke="{INK}" stroke-width="3"/>')
        )
    for number, row in enumerate(layout.rows):
        y = first + ROW * number
        yield from _position(layout, row, at, y, left, label, ends, row.position == now)


def _jumpers(groups: list[tuple[int, ...]], at: list[int], y: int) -> Iterator[str]:
    """Draw what joins pads now: a jumper over neighbours, a wire below the pads between others."""
    half = PAD // 2 + 9
    for group in groups:
        for one, two in itertools.pairwise(group):
            if two == one + 1:
                x, width = at[one] - half, at[two] - at[one] + 2 * half
                yield (
                    f'<rect x="{x}" y="{y - half}" width="{width}" height="{2 * half}" rx="14" fill="{PAPER}" '
                    f'stroke="{INK}" stroke-width="6"/>'
                )
                yield f'<path d="M{at[one]} {y}H{at[two]}" stroke="{INK}" stroke-width="20"/>'
            else:
                path = f"M{at[one]} {y}V{y + 42}H{at[two]}V{y}"
                yield f'<path d="{path}" fill="none" stroke="{INK}" stroke-width="8" stroke-linejoin="round"/>'


def _position(
    layout: Layout, row: Row, at: list[int], y: int, left: int, label: int, ends: int, now: bool
) -> Iterator[str]:
    """Draw the line of a position: its name, dots on the pads that it joins, and the same in words."""
    if row.first:
        yield text(left + label - 16, y + 7, row.position, 20, "end", bold=True)
        words = layout.words(row.position)
        yield text(ends + 20, y + 6, words, 17, "start", bold=now)
        if now:
            yield f'<path d="M{left} {y - 11}L{left + 22} {y}L{left} {y + 11}Z"/>'
            yield text(ends + 30 + width_of(words, 17), y + 7, "NOW", 20, "start", bold=True)
    for group in row.groups:
        yield f'<path d="M{at[group[0]]} {y}H{at[group[-1]]}" stroke="{INK}" stroke-width="7"/>'
        yield from (f'<circle cx="{at[place]}" cy="{y}" r="10"/>' for place in group)
