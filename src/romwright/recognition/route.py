"""The way from a known image to a dump: which line of the dump each of the image's follows, and where it starts."""

from __future__ import annotations

from functools import cached_property
from itertools import combinations
from math import log2
from typing import NamedTuple

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from romwright.faults.lines import Line, State

FREE = -1  # a line that is not held
MOST_JOINED = 2  # pairs of address lines
HELD_PRICE, JOIN_PRICE = 5.0, 8.0  # bits that it takes to name a line and a level, or two lines
STRAIGHT_DATA = tuple(map(Line.follows, range(8)))


class Route(Struct, frozen=True, dict=True):
    """Where an image's lines go in a dump.

    `lines` has for each address line of the image the dump's line that it follows; `held` the level at which it is
    held instead, or FREE; `equal` the pairs of lines that are joined. `base` is added to the address. `loose` are data
    lines of which the levels have nothing to do with the image.
    """

    lines: tuple[int, ...]
    held: tuple[int, ...]
    equal: tuple[tuple[int, int], ...] = ()
    base: int = 0
    data: tuple[Line, ...] = STRAIGHT_DATA
    loose: tuple[int, ...] = ()

    @classmethod
    def straight(cls, lines: int, base: int = 0) -> Route:
        """Return the route of an image that is seen as it is, from one address of the dump on."""
        return cls(tuple(range(lines)), (FREE,) * lines, base=base)

    @property
    def crossed(self) -> list[int]:
        """The image's address lines that follow another line."""
        return [n for n, line in enumerate(self.lines) if line != n and self.held[n] == FREE]

    @property
    def faulty(self) -> bool:
        """Whether any line does not run straight."""
        return replace(self, base=0) != Route.straight(len(self.lines))

    @property
    def lost_data(self) -> list[int]:
        """The data lines that tell nothing of the image: they are stuck, or loose."""
        return [n for n, line in enumerate(self.data) if line.state is State.STUCK or n in self.loose]

    @property
    def reaching(self) -> set[int]:
        """The dump's address lines that reach the image."""
        return {line for line, level in zip(self.lines, self.held) if level == FREE}

    @property
    def disordered(self) -> int:
        """How many of the image's lines are not in the order of the dump's that they follow."""
        lines = [line for line, level in zip(self.lines, self.held) if level == FREE]
        return sum(line != in_order for line, in_order in zip(lines, sorted(lines)))

    @cached_property
    def price(self) -> float:
        """The logarithm of how many routes are no more complicated than this one."""
        lines, moved = len(self.lines), len(self.crossed)
        bits = sum(log2(lines - n) for n in range(moved)) + moved * log2(max(lines, 2)) * (moved < lines / 2)
        bits += sum(1 + log2(lines) for level in self.held if level != FREE) + 2 * log2(max(lines, 2)) * len(self.equal)
        bits += log2(abs(self.base) + 1)
        straight = {Line.follows(n) for n in range(8)}
        crossed = sum(line != Line.follows(n) for n, line in enumerate(self.data) if line.state is State.FOLLOWS)
        turned = sum(line not in straight for line in self.data) + len(self.loose)
        return bits + min(crossed * 3.0, 15.3) + min(turned * 4.0, 8.0 if turned == 8 else 32.0)


class Ways(NamedTuple):
    """Many routes from one base, as arrays: a row for each."""

    lines: np.ndarray
    held: np.ndarray
    equal: np.ndarray  # pairs; a line paired with itself is no pair
    base: int
    price: np.ndarray  # of what is held and joined

    @classmethod
    def of(cls, route: Route) -> Ways:
        """Return a route as the only row."""
        equal = np.array(route.equal or [(0, 0)])
        return cls(np.array([route.lines]), np.array([route.held]), equal[None], route.base, np.zeros(1))

    @classmethod
    def near(cls, route: Route, room: int) -> Ways:
        """Return the route and all in which one thing is different; `room` is the number of the dump's lines."""
        count = len(route.lines)
        pairs = np.array(list(combinations(range(count), 2)))
        spare = [n for n in range(room) if n not in route.lines and not route.base >> n & 1]
        joinable = [(a, b) for a, b in pairs.tolist() if route.held[a] == route.held[b] == FREE]
        joinable = joinable if len(route.equal) < MOST_JOINED else []
        shares = (1 + len(pairs), 2 * count, count * (route.held.count(FREE) < count), count * len(spare))
        total = sum(shares) + len(joinable) + len(route.equal)
        lines, held = (np.tile(part, (total, 1)) for part in (route.lines, route.held))
        equal = np.tile(np.array([*route.equal, *[(0, 0)] * (MOST_JOINED - len(route.equal))]), (total, 1, 1))
        at = 1
        rows = np.arange(len(pairs)) + at
        for part in (lines, held):
            part[rows, pairs[:, 0]], part[rows, pairs[:, 1]] = part[0, pairs[:, 1]], part[0, pairs[:, 0]]
        at += len(pairs)
        for level in (0, 1, FREE)[: 2 + (shares[2] > 0)]:
            for n in range(count):
                used = {line for k, line in enumerate(route.lines) if route.held[k] == FREE and k != n}
                if level != FREE or (lines[0, n] not in used and lines[0, n] < room):
                    held[at + n, n] = level
            at += count
        for line in spare:
            lines[np.arange(count) + at, np.arange(count)] = line
            at += count
        for pair in joinable:
            equal[at, len(route.equal)] = pair
            at += 1
        for number in range(len(route.equal)):
            equal[at, number] = 0
            at += 1
        price = (held != FREE).sum(axis=1) * HELD_PRICE + (equal[:, :, 0] != equal[:, :, 1]).sum(axis=1) * JOIN_PRICE
        return cls(lines, held, equal, route.base, price)

    def route(self, row: int) -> Route:
        """Return one row as a route."""
        equal = tuple((a, b) for a, b in self.equal[row].tolist() if a != b)
        return Route(tuple(self.lines[row].tolist()), tuple(self.held[row].tolist()), equal, self.base)
