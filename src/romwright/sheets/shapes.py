"""Shapes of a drawing as SVG text, for a printer without colours: letters, a body with its notch, a leg with its name.

Only black and white, heavy lines; what differs, differs in shape. Foreign strings are escaped, and what XML does not
allow in a text is replaced.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from html import escape

PITCH, LEG, BODY = 40, 54, 250  # pixels: distance of two legs, their length, width of a body
INK, PAPER = "#000", "#fff"
SHEET = 190, 255  # millimetres: what A4 and Letter both leave within their margins
LYING = 255, 187  # the same for paper that lies on its side
NARROW, WIDE = set("iljtfrIJ.,:;|!'()[]/ -"), set("MWmw@%")


def page(width: int, height: int, title: str, lines: Iterable[str], *, turns: bool = False) -> bytes:
    """Put shapes on a white page, which is printed as large as one sheet of A4 or Letter allows.

    One that `turns` is printed smaller, but whole, where the paper lies on its side.
    """
    size, lying = (min(sheet[0] / width, sheet[1] / height) for sheet in (SHEET, LYING))
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width * size:.1f}mm" height="{height * size:.1f}mm" '
        f'viewBox="0 0 {width} {height}" font-family="Helvetica, Arial, sans-serif" fill="{INK}">'
    )
    smaller = f"svg{{width:{width * lying:.1f}mm;height:{height * lying:.1f}mm}}"
    style = [f"<style>@media print and (orientation:landscape){{{smaller}}}</style>"] * turns
    paper = f'<rect width="{width}" height="{height}" fill="{PAPER}"/>'
    return ("\n".join([head, *style, f"<title>{plain(title)}</title>", paper, *lines, "</svg>"]) + "\n").encode("utf-8")


def plain(words: str) -> str:
    """Escape a text; what cannot be printed becomes a mark."""
    return escape("".join(c if c.isprintable() else "\ufffd" for c in words))


def text(x: int, y: int, words: str, size: int, anchor: str, *, bold: bool = False, ink: str = INK) -> str:
    """Write words; `anchor` is start, middle or end."""
    weight = ' font-weight="bold"' if bold else ""
    return f'<text x="{x}" y="{y}" font-size="{size}" text-anchor="{anchor}"{weight} fill="{ink}">{plain(words)}</text>'


def width_of(words: str, size: int) -> int:
    """Return how many pixels words take at most, in bold letters of DejaVu Sans, the widest of the usual faces."""

    def ems(c: str) -> float:
        if c in NARROW:
            return 0.5
        return 1.12 if c in WIDE or ord(c) > 0x24F else 0.72 if c.islower() or c.isdigit() else 0.88

    return round(sum(map(ems, words)) * size)


def wrap(words: str, size: int, width: int) -> list[str]:
    """Break words into lines no wider than `width` pixels; a single word that is wider is cut."""
    lines = [""]
    for word in words.split():
        if lines[-1] and width_of(f"{lines[-1]} {word}", size) <= width:
            lines[-1] += f" {word}"
            continue
        while word:
            stop = len(word)
            while stop > 1 and width_of(word[:stop], size) > width:
                stop -= 1
            lines.append(word[:stop])
            word = word[stop:]
    return [line for line in lines if line]


def body(left: int, right: int, top: int, height: int) -> Iterator[str]:
    """Draw a package or socket, notch up, with a dot at pin 1."""
    middle, bottom = (left + right) // 2, top + height
    outline = f"M{left} {top}H{middle - 30}A30 30 0 0 0 {middle + 30} {top}H{right}V{bottom}H{left}Z"
    yield f'<path d="{outline}" fill="{PAPER}" stroke="{INK}" stroke-width="5" stroke-linejoin="round"/>'
    yield f'<circle cx="{left + 76}" cy="{top + PITCH // 2}" r="9"/>'


def leg(number: int, y: int, edge: int, side: int, *, filled: bool = False, dashed: bool = False) -> Iterator[str]:
    """Draw a leg at an edge of a body, and its number inside; `side` is -1 on the left, 1 on the right."""
    x = edge - LEG if side < 0 else edge
    dashes = ' stroke-dasharray="6 5"' if dashed else ""
    yield (
        f'<rect x="{x}" y="{y - 9}" width="{LEG}" height="18" fill="{INK if filled else PAPER}" stroke="{INK}" '
        f'stroke-width="3"{dashes}/>'
    )
    inside = edge - side * 32
    if number == 1:
        yield f'<rect x="{inside - 20}" y="{y - 17}" width="40" height="34" rx="4"/>'
    yield text(inside, y + 9, str(number), 26, "middle", bold=True, ink=PAPER if number == 1 else INK)
