"""The outlines of SVG as segments: lines and curves between absolute points. Circles, boxes, paths of M L H V A C Z."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping

ROUND = 0.5522847498  # of a radius: how far the handles of a quarter circle reach
LENGTH = r"-?\d+(?:\.\d+)?(?:e-\d+)?"
TOKEN = re.compile(rf"([MLHVACZ])|({LENGTH})|[ ,]+", re.IGNORECASE)
ARGUMENTS = {"M": 2, "L": 2, "H": 1, "V": 1, "A": 7, "C": 6, "Z": 0}
Point = tuple[float, float]
Segment = tuple[str, tuple[Point, ...]]  # M and L with a point, C with two handles and a point, Z without


def length(word: str) -> float:
    """Return a number without a unit."""
    if not re.fullmatch(LENGTH, word):
        raise ValueError(f"a number was expected, not {word!r}")
    return float(word)


def lengths(word: str) -> tuple[float, ...]:
    """Return numbers with spaces between."""
    return tuple(map(length, word.split()))


def measure(of: Mapping[str, str], *names: str) -> Iterator[float]:
    """Yield the numbers of attributes. Raises ValueError for one that is missing."""
    for name in names:
        if name not in of:
            raise ValueError(f"the attribute {name} is missing")
        yield length(of[name])


def circle_way(of: Mapping[str, str]) -> Iterator[Segment]:
    """Yield a circle."""
    x, y, r = measure(of, "cx", "cy", "r")
    return rounded(x - r, y - r, 2 * r, 2 * r, r)


def rect_way(of: Mapping[str, str]) -> Iterator[Segment]:
    """Yield a box; with rx its corners are round."""
    x, y, width, height, rx = measure({"x": "0", "y": "0", "rx": "0", **of}, "x", "y", "width", "height", "rx")
    return rounded(x, y, width, height, min(rx, width / 2, height / 2))


def rounded(x: float, y: float, width: float, height: float, r: float = 0) -> Iterator[Segment]:
    """Yield a box whose corners have a radius, clockwise."""
    right, bottom, h = x + width, y + height, r * (1 - ROUND)
    yield "M", ((x + r, y),)
    for to, *corner in (
        ((right - r, y), (right - h, y), (right, y + h), (right, y + r)),
        ((right, bottom - r), (right, bottom - h), (right - h, bottom), (right - r, bottom)),
        ((x + r, bottom), (x + h, bottom), (x, bottom - h), (x, bottom - r)),
        ((x, y + r), (x, y + h), (x + h, y), (x + r, y)),
    ):
        yield "L", (to,)
        if r:
            yield "C", tuple(corner)
    yield "Z", ()


def path_way(of: Mapping[str, str]) -> Iterator[Segment]:
    """Yield the segments of a path of M, L, H, V, A, C and Z, large or small."""
    x, y, first = 0.0, 0.0, (0.0, 0.0)
    for letter, values in commands(of.get("d", "")):
        kind, (left, top) = letter.upper(), (x, y) if letter.islower() else (0.0, 0.0)
        if kind == "Z":
            yield "Z", ()
            x, y = first
            continue
        before = x, y
        x = x if kind == "V" else left + values[-1 if kind == "H" else -2]
        y = y if kind == "H" else top + values[-1]
        if kind == "M":
            first = x, y
        if kind == "A":
            yield from arc(before, (x, y), *values[:5])
        elif kind == "C":
            yield "C", tuple((left + dx, top + dy) for dx, dy in zip(values[::2], values[1::2]))
        else:
            yield "M" if kind == "M" else "L", ((x, y),)


def commands(way: str) -> Iterator[tuple[str, tuple[float, ...]]]:
    """Yield each letter of a path with its numbers; after M follow lines, as in SVG."""
    letter, numbers, at = "", [], 0
    while at < len(way):
        token = TOKEN.match(way, at)
        if not token or (not letter and token[1] not in (None, "M")):
            raise ValueError(f"M, L, H, V, A, C, Z or a number was expected in a path, not {way[at : at + 20]!r}")
        at = token.end()
        if token[1]:
            if numbers:
                raise ValueError(f"too few numbers for {letter} in the path {way!r}")
            letter = token[1]
        elif token[2]:
            numbers.append(float(token[2]))
        if letter and (token[1] or token[2]) and len(numbers) == ARGUMENTS[letter.upper()]:
            if token[2] and letter in "Zz":
                raise ValueError(f"a number after Z in the path {way!r}")
            yield letter, tuple(numbers)
            letter, numbers = {"M": "L", "m": "l"}.get(letter, letter), []
    if numbers:
        raise ValueError(f"too few numbers for {letter} in the path {way!r}")


def arc(start: Point, end: Point, rx: float, ry: float, turn: float, large: float, sweep: float) -> Iterator[Segment]:
    """Yield part of a circle as curves (SVG 1.1, F.6.5: centre from end points). Raises ValueError for an ellipse."""
    if rx != ry or turn or rx <= 0 or not {large, sweep} <= {0, 1}:
        raise ValueError(f"an arc of a circle was expected, not A{rx} {ry} {turn} {large} {sweep}")
    (x1, y1), (x2, y2) = start, end
    dx, dy = (x2 - x1) / 2, (y2 - y1) / 2
    half = math.hypot(dx, dy)
    if not half:
        return
    r = max(rx, half)
    away = math.sqrt(max(0, r * r - half * half)) / half * (1 if large != sweep else -1)
    cx, cy = (x1 + x2) / 2 - away * dy, (y1 + y2) / 2 + away * dx
    begin, stop = math.atan2(y1 - cy, x1 - cx), math.atan2(y2 - cy, x2 - cx)
    angle = (stop - begin) % math.tau if sweep else -((begin - stop) % math.tau)
    count = max(1, math.ceil(abs(angle) / (math.pi / 2) - 1e-9))
    step = angle / count
    reach = 4 / 3 * math.tan(step / 4) * r
    for n in range(count):
        one, two = begin + n * step, begin + (n + 1) * step
        p, q = (cx + r * math.cos(one), cy + r * math.sin(one)), (cx + r * math.cos(two), cy + r * math.sin(two))
        handle = p[0] - reach * math.sin(one), p[1] + reach * math.cos(one)
        other = q[0] + reach * math.sin(two), q[1] - reach * math.cos(two)
        yield "C", (handle, other, end if n == count - 1 else q)


WAYS = {"path": path_way, "rect": rect_way, "circle": circle_way}
