"""A board's links as they are to be set: pads with the jumper where it must be, and the place that it leaves.

For the bench, beside the order to move it: what must be is solid, what is left is dashed, and both are told in words.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise

from romwright.boards.model import Link
from romwright.sheets.links import PAD, Layout, draw_link, link_pitch
from romwright.sheets.shapes import INK, PAPER, page, text, width_of, wrap
from romwright.sheets.text import COLUMNS

WIDTH, WIDEST, LEAST = 920, 1180, 430  # pixels: of the page; at most, if two links lie side by side; of a link
MARGIN, SPACE = 12, 24  # at the page's edges; between two links
NAMES, PADS, WORDS, LINE = 54, 98, 158, 22  # pixels down from the top: node names, pads, first line below them; a line
BELOW = 52  # how far below the pads a wire runs between two that are not neighbours
TITLE_LINES = 2  # of a link's title that are kept
SET, LEAVE = "SET", "is now"


def build_jumpers_svg(links: Sequence[Link], setting: Mapping[str, str], now: Mapping[str, str] | None) -> bytes:
    """Draw links side by side as a setting has them; `now` is how they are, if that is known."""
    lines: list[str] = []
    x, y, lowest = MARGIN, MARGIN, MARGIN
    one = max(width_of_link(link) for link in links)
    two = 2 * one + SPACE + 2 * MARGIN
    wide = two if len(links) > 1 and two <= WIDEST else max(WIDTH, one + 2 * MARGIN)
    for link in links:
        width = width_of_link(link)
        if x > MARGIN and x + width > wide - MARGIN:
            x, y = MARGIN, lowest + SPACE
        drawn, height = shapes_of(link, x, y, setting[link.name], (now or setting)[link.name], width)
        lines += drawn
        x, lowest = x + width + SPACE, max(lowest, y + height)
    return page(wide, lowest + MARGIN, "links", lines)


def width_of_link(link: Link) -> int:
    """Return how wide a link's drawing is: at least as wide as what is said of any of its positions."""
    layout = Layout(link)
    said = max(width_of(f"{SET} {position}:  {layout.words(position)}", 18) for position in link.positions)
    return max(link_pitch(layout) * max(1, len(layout.pads)), said, LEAST)


def shapes_of(link: Link, left: int, top: int, must: str, now: str, width: int) -> tuple[list[str], int]:
    """Draw one link; returns the shapes and its height."""
    layout = Layout(link)
    pitch = link_pitch(layout)
    at = [left + pitch // 2 + pitch * place for place in range(len(layout.pads))]
    lines = [text(left, top + 24, link.name, 26, "start", bold=True)]
    beside = left + width_of(link.name, 26) + 14
    for place, line in enumerate(wrap(link.title, 15, left + width - beside)[:TITLE_LINES]):
        lines.append(text(beside, top + 13 + 17 * place, line, 15, "start"))
    middle = top + PADS
    if now != must:
        lines += jumpers(layout.groups(now), at, middle, dashed=True)
    lines += jumpers(layout.groups(must), at, middle)
    for x, pad in zip(at, layout.pads):
        lines += [text(x, top + NAMES, pad.node, 20, "middle", bold=True), *pad_shapes(x, middle, pad.number)]
    below = any(two > one + 1 for position in (must, now) for one, two in steps(layout.groups(position)))
    y = top + WORDS + (BELOW - 30) * below
    lines.append(text(left, y, f"{SET} {must}:  {layout.words(must)}", 18, "start", bold=True))
    if now != must:
        lines.append(text(left, y + LINE, f"{LEAVE} {now}:  {layout.words(now)}  (dashed)", 16, "start"))
    return lines, y - top + LINE * (now != must) + 6


def steps(groups: Sequence[tuple[int, ...]]) -> Iterator[tuple[int, int]]:
    """Yield the places of each two pads that a jumper or a wire joins."""
    for group in groups:
        yield from pairwise(group)


def jumpers(groups: Sequence[tuple[int, ...]], at: Sequence[int], y: int, dashed: bool = False) -> Iterator[str]:
    """Draw what joins pads: a jumper over neighbours, a wire below the pads between others; dashed: taken off."""
    half, dashes = PAD // 2 + (14 if dashed else 9), ' stroke-dasharray="7 7"' * dashed
    stroke = 3 if dashed else 6
    for one, two in steps(groups):
        if two == one + 1:
            x, width = at[one] - half, at[two] - at[one] + 2 * half
            yield (
                f'<rect x="{x}" y="{y - half}" width="{width}" height="{2 * half}" rx="14" fill="none" '
                f'stroke="{INK}" stroke-width="{stroke}"{dashes}/>'
            )
            if not dashed:
                yield f'<path d="M{at[one]} {y}H{at[two]}" stroke="{INK}" stroke-width="20"/>'
        else:
            down = y + BELOW - 8 * dashed
            yield (
                f'<path d="M{at[one]} {y}V{down}H{at[two]}V{y}" fill="none" stroke="{INK}" '
                f'stroke-width="{stroke + 1}" stroke-linejoin="round"{dashes}/>'
            )


def pad_shapes(x: int, y: int, number: str) -> Iterator[str]:
    """Draw a pad: its number, or a hole where the board's file gives none."""
    yield (
        f'<rect x="{x - PAD // 2}" y="{y - PAD // 2}" width="{PAD}" height="{PAD}" rx="6" fill="{PAPER}" '
        f'stroke="{INK}" stroke-width="4"/>'
    )
    if number:
        yield text(x, y + 9, number, 24, "middle", bold=True)
    else:
        yield f'<circle cx="{x}" cy="{y}" r="8" fill="{PAPER}" stroke="{INK}" stroke-width="3"/>'


def draw_jumpers(links: Sequence[Link], setting: Mapping[str, str], now: Mapping[str, str] | None) -> Iterator[str]:
    """Yield the same in ASCII: the jumpers sit as they must be; where they are now is told at that position."""
    for link in links:
        told = {(now or setting)[link.name]: LEAVE} | {setting[link.name]: SET}
        words = [Layout(link).words(position) for position in link.positions]
        for line in draw_link(link, setting[link.name], told):
            at = max(line.rfind(f"  {each}") for each in words) if len(line) > COLUMNS else len(line)
            yield line[:at].rstrip()
            if at < len(line):
                yield f"{'':6}{line[at:].strip()}"
