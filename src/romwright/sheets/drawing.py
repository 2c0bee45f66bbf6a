"""A package seen from above: as lines of text, and as SVG for a printer without colours.

Pin 1 is told three ways (notch, dot, its number in reverse), and what is not a signal by line style: a supply's leg is
filled, a leg that is not connected is dashed. The same part gives the same bytes.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from romwright.parts.model import Part, Pin, Role
from romwright.sheets.shapes import BODY, LEG, PITCH, body, leg, page, text

PAGE, TOP, FOOT, LINE = 920, 108, 40, 26  # widths and heights in pixels
WARNING_COLUMNS = 64  # of bold letters, so that the widest sans-serif face stays on the page too
LEFT, RIGHT = (PAGE - BODY) // 2, (PAGE + BODY) // 2  # edges of the body
SHOWN = {"pins", "supplies", "package", "row_pitch_mm", "words", "bits", "read_levels", "select", "options"}  # on paper
PLAIN = str.maketrans("┌┐└┘─│┤├╮╭╰╯●", "++++-|||++++*")  # for a stream that has no box characters


def columns_of(part: Part) -> list[tuple[Pin, Pin]]:
    """List the pins side by side as they stand: pin 1 and the highest first, downwards."""
    half = part.pin_count // 2
    return list(zip(part.pins[:half], reversed(part.pins[half:])))


def note_of(part: Part, pin: Pin) -> str:
    """Say what a pin needs or does: its volts, its level in read, whether the decoder's select goes there."""
    if pin.role is Role.SUPPLY:
        volts = part.supplies[pin.function]
        return f"{volts:+g} V" if volts else "0 V"
    if pin.function in part.read_levels:
        level = part.read_levels[pin.function]
        return f"{'H/L' if pin.function in part.read_either else level} in read"
    words = ["select"] if pin.function == part.select else ["output"] if pin.role is Role.OUTPUT else []
    if pin.function.endswith("?"):
        words.append("/".join(part.choices()[pin.number]))
    return " ".join(words)


def draw_text(part: Part, boxes: bool = True) -> list[str]:
    """Draw a package in lines of at most 80 columns; without `boxes` in ASCII.

    >>> from romwright.parts.library import require_part
    >>> for line in draw_text(require_part("27128"))[:3]: print(line.strip())
    ┌───────╮  ╭───────┐
    H in read       VPP ─┤● 1    ╰──╯     28├─ VCC       +5 V
    A12 ─┤  2             27├─ /PGM      H in read
    """
    rows = columns_of(part)
    width = max(18, len(part.name) + 8)
    width += width % 2
    edge, indent = "─" * (width // 2 - 2), " " * 26
    lines = [f"{indent}┌{edge}╮  ╭{edge}┐"]
    for index, (left, right) in enumerate(rows):
        middle = "╰──╯" if index == 0 else part.name if index == len(rows) // 2 else ""
        body = f"{'●' if index == 0 else ' '}{left.number:>2}{middle.center(width - 6)} {right.number:>2}"
        lines.append(
            f"{note_of(part, left):>14} {left.name:>9} ─┤{body}├─ {right.name:<9} {note_of(part, right)}".rstrip()
        )
    lines.append(f"{indent}└{'─' * width}┘")
    return lines if boxes else [line.translate(PLAIN) for line in lines]


def build_svg(part: Part) -> bytes:
    """Draw a package on a page for a printer without colours, with its size, and a warning if it is unchecked."""
    rows = columns_of(part)
    height = TOP + len(rows) * PITCH + FOOT + 2 * LINE + 12
    warning = _warning(part)
    height += LINE * len(warning)
    lines = [
        text(PAGE // 2, 40, part.name, 32, "middle", bold=True),
        text(PAGE // 2, 68, size_of(part), 18, "middle"),
        *body(LEFT, RIGHT, TOP, len(rows) * PITCH),
    ]
    for index, (left, right) in enumerate(rows):
        y = TOP + index * PITCH + PITCH // 2
        lines += _pin(part, left, y, LEFT, -1)
        lines += _pin(part, right, y, RIGHT, 1)
    y = TOP + len(rows) * PITCH + FOOT
    lines.append(text(PAGE // 2, y, "seen from above, pins away from you", 16, "middle"))
    lines += [text(PAGE // 2, y + LINE * n + 8, line, 18, "middle", bold=True) for n, line in enumerate(warning, 1)]
    return page(PAGE, height, part.name, lines)


def size_of(part: Part) -> str:
    """Say what a part is: size, family, package and the distance of its rows of pins."""
    return f"{part.words:,} x {part.bits} {part.family}, {part.package}, rows {part.row_pitch_mm:g} mm apart"


def _warning(part: Part) -> list[str]:
    unread = part.unchecked_about(*SHOWN)
    return textwrap.wrap(f"UNCHECKED: {'; '.join(unread)}", WARNING_COLUMNS) if unread else []


def _pin(part: Part, pin: Pin, y: int, edge: int, side: int) -> Iterator[str]:
    """Draw a leg, its number inside the body, its name and note outside; `side` is -1 on the left, 1 on the right."""
    yield from leg(pin.number, y, edge, side, filled=pin.role is Role.SUPPLY, dashed=pin.role is Role.NC)
    anchor = "end" if side < 0 else "start"
    beside = edge + side * (LEG + 12)
    yield text(beside, y + 8, pin.name, 23, anchor, bold=pin.role not in (Role.NC, Role.ADDRESS, Role.DATA))
    if note := note_of(part, pin):
        yield text(edge + side * (LEG + 168), y + 6, note, 15, anchor)
