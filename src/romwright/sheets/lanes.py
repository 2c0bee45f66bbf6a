"""Wires routed so that each can be followed by eye: a lane of its own, right angles, a gap where one passes another.

Every net has one upright line (its trunk) in the channel between two packages. Its ends come in from the left or the
right at a height that no other end has; what goes to the gates below turns off in a street under the packages.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from msgspec import Struct, field

Point = tuple[float, float]
LANE, STREET = 14, 14  # distances of lanes
GAP = 5  # half of the gap of a wire that passes under another
NEAR = 2 * LANE  # wires nearer than this, side by side, are best told apart by their dashes


class End(Struct, frozen=True):
    """One end of a net: the side of the channel (-1 left, 1 right), and the way from the pin to its border."""

    side: int
    way: tuple[Point, ...]

    @property
    def y(self) -> float:
        """The height at which it meets the trunk."""
        return self.way[-1][1]


class Route(Struct, frozen=True):
    """A net to be routed: its number, its ends at the packages, and the places of its pins of gates below."""

    number: int
    ends: tuple[End, ...]
    drops: tuple[float, ...] = ()


class Line(Struct, frozen=True):
    """A straight piece of a wire, upright or level, from `low` to `high`; `at` is its other coordinate."""

    upright: bool
    at: float
    low: float
    high: float


class Track(Struct):
    """A net as it is laid: its pieces, and the dots at which three of them meet."""

    number: int
    lines: list[Line] = field(default_factory=list)
    dots: list[Point] = field(default_factory=list)

    def go(self, *points: Point) -> None:
        """Draw from point to point."""
        for (x1, y1), (x2, y2) in zip(points, points[1:]):
            if (x1, y1) != (x2, y2):
                pair = (x1, *sorted((y1, y2))) if x1 == x2 else (y1, *sorted((x1, x2)))
                self.lines.append(Line(x1 == x2, *pair))


def order_lanes(routes: Sequence[Route], bottom: float) -> list[Route]:
    """Order nets from left to right so that few wires cross: each is moved to its best place until none gains."""
    spans = {route.number: span(route, bottom) for route in routes}
    over = {(a.number, b.number): crossings(a, b, spans) for a in routes for b in routes if a is not b}
    order = sorted(routes, key=lambda route: (sum(spans[route.number]), route.number))
    better = True
    while better:
        better = False
        for route in list(order):
            rest = [each for each in order if each is not route]
            costs = [0]  # of standing first, second, ...; against standing first
            for each in rest:
                costs.append(costs[-1] + over[each.number, route.number] - over[route.number, each.number])
            place = order.index(route)
            best = min(range(len(costs)), key=lambda at: (costs[at], abs(at - place)))
            if costs[best] < costs[place]:
                order, better = [*rest[:best], route, *rest[best:]], True
    return order


def span(route: Route, bottom: float) -> tuple[float, float]:
    """Return the heights between which a net has its trunk."""
    heights = [end.y for end in route.ends] + [bottom] * bool(route.drops)
    return min(heights), max(heights)


def crossings(left: Route, right: Route, spans: dict[int, tuple[float, float]]) -> int:
    """Count how often two nets cross if the one stands left of the other."""

    def inside(route: Route, side: int, other: Route) -> int:
        low, high = spans[other.number]
        return sum(end.side == side and low < end.y < high for end in route.ends)

    return inside(left, 1, right) + inside(right, -1, left)


def lay_tracks(routes: Sequence[Route], left: float, street: float, gates: float) -> list[Track]:
    """Lay each net in a lane of the channel from `left` on, and in a street from the height `street` on.

    `gates` is the height at which the pins of gates begin.
    """
    order = order_lanes([route for route in routes if route.ends], street)
    tracks = {route.number: Track(route.number) for route in routes}
    below = [route for route in routes if route.drops]
    lanes = {route.number: left + lane * LANE for lane, route in enumerate(order)}
    for level, route in enumerate(order_streets(below, lanes)):
        track = tracks[route.number]
        y, here = street + level * STREET, [*route.drops, *([lanes[route.number]] if route.ends else [])]
        track.go((min(here), y), (max(here), y))
        for x in route.drops:
            track.go((x, y), (x, gates))
        track.dots += [(x, y) for x in here if min(here) < x < max(here)]
        if route.ends:
            track.go((lanes[route.number], min(end.y for end in route.ends)), (lanes[route.number], y))
    for route in order:
        x, heights = lanes[route.number], [end.y for end in route.ends]
        if not route.drops:
            tracks[route.number].go((x, min(heights)), (x, max(heights)))
        for end in route.ends:
            tracks[route.number].go(*end.way, (x, end.y))
            if min(heights) < end.y and (end.y < max(heights) or route.drops):
                tracks[route.number].dots.append((x, end.y))
    return sorted(tracks.values(), key=lambda track: track.number)


def order_streets(routes: Sequence[Route], lanes: dict[int, float]) -> list[Route]:
    """Order the nets that go to gates from the upper street to the lower so that few wires cross."""

    def cost(upper: Route, lower: Route) -> int:
        low, high = reach(upper, lanes)
        found = int(lower.number in lanes and low < lanes[lower.number] < high)
        low, high = reach(lower, lanes)
        return found + sum(low < x < high for x in upper.drops)

    order = list(routes)
    for _ in order:
        for at in range(len(order) - 1):
            if cost(order[at + 1], order[at]) < cost(order[at], order[at + 1]):
                order[at], order[at + 1] = order[at + 1], order[at]
    return order


def reach(route: Route, lanes: dict[int, float]) -> tuple[float, float]:
    """Return how far to the left and to the right a net goes in its street."""
    places = [*route.drops, *([lanes[route.number]] if route.number in lanes else [])]
    return min(places), max(places)


def choose_dashes(tracks: Sequence[Track], kinds: int) -> dict[int, int]:
    """Choose a kind of dashes for each net, so that those that run side by side are unlike."""
    chosen: dict[int, int] = {}
    for track in tracks:
        beside = [0.0] * kinds
        for other in tracks:
            if other.number in chosen:
                beside[chosen[other.number]] += nearness(track, other)
        chosen[track.number] = min(range(kinds), key=lambda kind: (beside[kind], (kind - track.number) % kinds))
    return chosen


def nearness(one: Track, other: Track) -> float:
    """Return how far two nets run side by side, the nearer the more."""
    return sum(
        (NEAR - abs(a.at - b.at)) * max(0, min(a.high, b.high) - max(a.low, b.low))
        for a in one.lines
        for b in other.lines
        if a.upright == b.upright and abs(a.at - b.at) < NEAR
    )


def cut(tracks: Iterable[Track]) -> dict[int, list[Line]]:
    """Return the pieces of each net, the upright ones with a gap wherever a level one of another net passes."""
    tracks = list(tracks)
    found = {}
    for track in tracks:
        level = [line for other in tracks if other is not track for line in other.lines if not line.upright]
        found[track.number] = [part for line in track.lines for part in (gaps(line, level) if line.upright else [line])]
    return found


def gaps(line: Line, level: Iterable[Line]) -> list[Line]:
    """Split an upright piece where level ones pass over it."""
    parts, low = [], line.low
    for y in sorted(
        other.at for other in level if other.low < line.at < other.high and line.low < other.at < line.high
    ):
        if y - GAP > low:
            parts.append(Line(True, line.at, low, y - GAP))
        low = y + GAP
    return [*parts, Line(True, line.at, low, line.high)] if low < line.high else parts
