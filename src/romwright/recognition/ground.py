"""A dump and the bytes that were sampled of an image: the ground on which routes are found and judged.

A route says at which address of the dump each byte of the image is seen, and what has become of its bits. It is
improved step by step as long as the bytes speak better for it. They speak in bits: a sampled byte that is seen where
the route leads is evidence by how rare it is in the dump, one that is not speaks against the route. Blank bytes say
nothing. The sum is the logarithm of a likelihood ratio, so a wrong route gets T bits with a probability of 2^-T at
most, if other bytes are no better than drawn at random; from it the logarithm of the number of routes and images
that could have been tried is taken.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from itertools import islice
from math import log2
from typing import NamedTuple

import numpy as np
from msgspec.structs import replace

from romwright.faults.lines import byte_table
from romwright.recognition.datalines import match_data
from romwright.recognition.dump import Dump
from romwright.recognition.entries import ENTRIES, amid_equals, overwritten, splits_entries
from romwright.recognition.evidence import Expected, Fit
from romwright.recognition.route import FREE, STRAIGHT_DATA, Route, Ways
from romwright.recognition.sketch import neighbours
from romwright.recognition.verdicts import PAGE_BYTES

MAY_BE_RIGHT = 0.5, 0.7, 0.95  # when one is judged
PRIOR = 2.0  # neighbours that are supposed to be as bytes in general are
ALL_AGAIN = 0.9  # share of bytes that are again at a neighbour, from which the dump repeats itself there
FEWEST_RIGHT, LEAST_RIGHT = 6, 0.1  # sampled bytes, and their share, from which a route is worth improving
STRICT_STEPS, LIKELIEST = 3, 6  # changes that are made by strict evidence, and how many are tried for each
FEWEST = 8  # bytes from which data lines are matched
REPEATS = 0.55  # share of bytes that must be there again where a line reaches nothing
MOST_DISORDERED = 0.5  # share of the image's lines that are out of the order of the dump's
MOST_LOST = 2  # data lines that may be loose, or stuck in a part of the dump only
LEAST_THERE = 0.55  # share of the bytes that are seen, fill and all, that are right
FEWEST_VALUES = 12  # different bytes that are right and tell anything: fewer may be of any table
ERASED_OR_CLEARED = 0x00, 0xFF  # with which pages are overwritten
LEAST_RIGHT_PAGE = 0.4  # share of the bytes of a page that are right if it was not overwritten
SCATTERED, MOST_SCATTERED = 0.02, 0.3  # share of bytes with several wrong bits between right ones that is looked into,
# and from which they are of something else


class Sampled(NamedTuple):
    """The sampled bytes of an image of so many address lines, where they are, and which values are fill."""

    lines: int
    places: np.ndarray
    values: np.ndarray
    fill: np.ndarray


class Ground:
    """A dump and the sampled bytes of one image, on which routes are judged."""

    def __init__(self, dump: Dump, known: Sampled) -> None:
        self.dump, self.samples, self.lines = dump, known.values, known.lines
        self.at = known.places
        self.bits = known.places >> np.arange(known.lines)[:, None] & 1
        fill = known.fill.copy()
        fill[[0x00, 0xFF]] = True
        self.telling = ~fill[self.samples]

    def places(self, ways: Ways) -> tuple[np.ndarray, np.ndarray]:
        """Return for each way the dump's address of each sampled byte, and whether it can be seen there."""
        at = np.full((len(ways.lines), len(self.samples)), ways.base)
        seen = np.ones(at.shape, bool)
        for line, high in enumerate(self.bits):  # a product of matrices waits for other processes' threads
            levels = ways.held[:, line]
            at += np.where(levels == FREE, 1 << ways.lines[:, line], 0)[:, None] * high
            for level in (0, 1):
                seen[levels == level] &= high == level
        for pair in range(ways.equal.shape[1]):
            a, b = ways.equal[:, pair].T
            seen &= self.bits[a] == self.bits[b]
        seen &= (at >= 0) & (at < self.dump.size)
        return np.where(seen, at, 0), seen

    def expect(self, route: Route) -> Expected:
        """Return what is expected of the bytes if the data lines run as those of a route."""
        mask = 0xFF - sum(1 << n for n in route.lost_data)
        masked = np.arange(256) & mask
        times = np.bincount(masked, weights=self.dump.times, minlength=256)
        blank = np.zeros(256, bool)
        blank[masked[self.dump.blank]] = True
        values = byte_table(route.data)[self.samples] & mask
        chance = ((times + 1) / (times[~blank].sum() + 256))[values]
        return Expected(values, self.telling & ~blank[values], chance, blank, np.uint8(mask)).limited()

    def expect_strictly(self, route: Route, at: np.ndarray, seen: np.ndarray) -> Expected:
        """Return what is expected of the bytes at their places in the dump.

        What is there also at other levels of one or two address lines weighs less, and nothing if it is there often:
        tables and texts are alike in that way. Where the dump repeats itself it says nothing: at lines that reach
        nothing, and any at which it is nearly all there again.
        """
        due = self.expect(route)
        found = self.dump.values[at] & due.mask
        reaching = sum(1 << line for line in route.reaching)
        chance = due.chance
        for steps in neighbours(self.dump.lines):
            other = self.dump.values[at[:, None] ^ steps] & due.mask
            repeats = (other == found[:, None])[seen].sum(axis=0) >= ALL_AGAIN * seen.sum()
            again = (other == due.values[:, None])[:, ~repeats & (steps & reaching > 0)]
            chance = np.maximum(chance, (again.sum(axis=1) + PRIOR * due.chance) / (again.shape[1] + PRIOR))
        return due._replace(chance=chance).limited()

    def agreement(self, at: np.ndarray, seen: np.ndarray, due: Expected) -> tuple[np.ndarray, np.ndarray]:
        """Return which bytes are as expected, and which of all count: blank ones may be missing."""
        found = self.dump.values[at] & due.mask
        equal = found == due.values
        return equal, seen & due.tells & (equal | ~due.blank[found])

    def fit(self, route: Route) -> Fit:
        """Judge a route, with the data lines that suit it best."""
        way = Ways.of(route)
        [at], [seen] = self.places(way)
        there = seen & ~self.dump.blank[self.dump.values[at]]  # blank parts may be missing ones
        if there.sum() >= FEWEST:
            data, loose = match_data(self.dump.values[at[there]], self.samples[there], self.dump)
            route = replace(route, data=data, loose=loose)
        due = self.expect(route)
        equal, counted = self.agreement(at, seen, due)
        return Fit(route, float(due.bits(equal, counted)), int((counted & equal).sum()), int(counted.sum()))

    def improve(self, route: Route) -> Fit:
        """Change one thing after another, as long as there is more evidence for it; at last by strict evidence.

        A route of which next to nothing is right is left as it is.
        """
        best = max(map(self.fit, (route, *self.raised(route))), key=lambda fit: fit.worth)
        while self.promises(best):
            better = next(self.near(best), best)
            if better.worth <= best.worth:
                break
            best = better
        best = self.strictly(best)
        for _ in range(STRICT_STEPS):
            near = islice(self.near(best), LIKELIEST) if self.promises(best) else ()
            better = max([best, *map(self.strictly, near)], key=lambda fit: (fit.borne_out, fit.worth))
            if better is best:
                break
            best = better
        return replace(best, doubtful=best.skips or self.scattered(best.route))

    def raised(self, route: Route) -> Iterator[Route]:
        """Yield the route with a line that chooses between parts of a larger dump stuck high: one part is another's."""
        for n, line in enumerate(route.lines):
            if self.lines <= line < self.dump.lines and route.held[n] == FREE:
                lines, held = (
                    (*part[:n], value, *part[n + 1 :]) for part, value in ((route.lines, n), (route.held, 1))
                )
                yield replace(route, lines=lines, held=held, base=route.base + (1 << line))

    def promises(self, fit: Fit) -> bool:
        """Tell whether enough of a fit is right to improve it."""
        return fit.equal >= max(FEWEST_RIGHT, LEAST_RIGHT * fit.seen)

    def near(self, fit: Fit) -> Iterator[Fit]:
        """Yield fits of the routes in which one thing is different, the likeliest first."""
        ways = Ways.near(fit.route, self.dump.lines)
        due = self.expect(fit.route)
        bits = due.bits(*self.agreement(*self.places(ways), due))
        here = replace(fit.route, data=STRAIGHT_DATA, loose=())
        yield from (
            self.fit(route)
            for row in np.argsort(ways.price - bits, kind="stable").tolist()
            if (route := ways.route(row)) != here
        )

    def strictly(self, fit: Fit) -> Fit:
        """Judge a fit again, so that its evidence may be believed, and whether the dump bears it out."""
        [at], [seen] = self.places(Ways.of(fit.route))
        due = self.expect_strictly(fit.route, at, seen)
        equal, counted = self.agreement(at, seen, due)
        bits = max(float(due.bits(equal, counted, right)) for right in MAY_BE_RIGHT) - log2(len(MAY_BE_RIGHT))
        fit = replace(fit, bits=bits, equal=int((counted & equal).sum()), seen=int(counted.sum()))
        for route in (fit.route, *self.other_partners(fit.route)):
            if self.borne_out(route):
                return replace(fit, route=route, skips=self.skips(route))
        return replace(fit, borne_out=False)

    def scattered(self, route: Route) -> bool:
        """Tell whether wrong bytes are as between two like tables: not of single bits, nor in pages of their own.

        Faulty cells turn single bits; what was overwritten is wrong throughout, by pages of the image, of the dump, or
        of a dump that something was put before. Other damage is believed of a whole image that is where it belongs, if
        it is anywhere: of two tables always the same places of their entries differ. What is missing is less than what
        is there, which is of many different bytes. Bytes that tell nothing if they are right are looked at too.
        """
        [at], [seen] = self.places(Ways.of(route))
        due = self.expect(route)
        found = self.dump.values[at] & due.mask
        equal = found == due.values
        if equal[seen].sum() < LEAST_THERE * seen.sum():
            return True
        if len(np.unique(due.values[seen & equal & due.tells])) < FEWEST_VALUES:
            return True
        counted = seen & (equal | ~due.blank[found] & ~np.isin(self.dump.values[at], ERASED_OR_CLEARED))
        starts = self.at, at, at + -route.base % PAGE_BYTES
        exact = self.dump.values[at] == byte_table(route.data)[self.samples] if route.loose else equal
        if splits_entries((self.at, at), starts, counted & ~amid_equals(self.at, self.samples), exact):
            return True
        several = counted & (np.bitwise_count(found ^ due.values) > 1)
        wrong = min(
            (several & ~overwritten(addresses, counted, equal, LEAST_RIGHT_PAGE) for addresses in starts),
            key=np.count_nonzero,
        )
        number = int(wrong.sum())
        if number <= max(1, SCATTERED * int(counted.sum())):
            return False
        if route != Route.straight(self.lines) or self.lines != self.dump.lines:
            return True
        return number > MOST_SCATTERED * int(counted.sum()) or any(
            len(np.unique(self.at[wrong] % entry)) <= min(number / 2, 3 * entry / 8) for entry in ENTRIES
        )

    def other_partners(self, route: Route) -> Iterator[Route]:
        """Yield the route with other lines joined: OR with a low line that reaches nothing changes nothing."""
        spare = [line for line in range(self.dump.lines) if line not in route.lines]
        for end in {end for pair in route.equal for end in pair}:
            for line in spare:
                yield replace(route, lines=(*route.lines[:end], line, *route.lines[end + 1 :]))

    def borne_out(self, route: Route) -> bool:
        """Tell whether the dump shows the bytes again where stuck and joined lines make it do so.

        With a line stuck, one of the dump's reaches nothing. With two joined, changing one of them changes nothing
        where both are low (AND), or high (OR).
        """
        if sum(self.dump.constant[n] == FREE for n in route.lost_data) > MOST_LOST:
            return False
        lost = self.lines - route.held.count(FREE) - max(self.lines - self.dump.lines, 0)
        if lost <= 0 and not route.equal:
            return True
        again = self.repeats(route)
        joined = all(
            any(all(again(route.lines[line], (level,), self.bits[a] == level) for line in (a, b)) for level in (0, 1))
            for a, b in route.equal
        )
        return joined and sum(map(again, set(range(self.dump.lines)) - route.reaching)) >= lost

    def skips(self, route: Route) -> bool:
        """Tell whether the image's lines pass over some of the dump's that do something, and are out of order.

        By lines of which most are in order these choose between chips side by side, or between banks.
        """
        passed = set(range(max(route.reaching, default=0))) - route.reaching
        return route.disordered > MOST_DISORDERED * self.lines and not all(map(self.repeats(route), passed))

    def repeats(self, route: Route) -> Callable[..., bool]:
        """Return what tells whether right bytes are there again where one of the dump's lines is at its other level.

        It takes the line, from which levels on, and which bytes count.
        """
        [at], [seen] = self.places(Ways.of(route))
        due = self.expect(route)
        right_now = seen & due.tells & (self.dump.values[at] & due.mask == due.values)
        moved = route.base % (1 << min(self.lines, self.dump.lines)) and any(
            route.base >> line & 1 for line in route.reaching
        )

        def again(line: int, levels: Iterable[int] = (0, 1) if moved else (0,), which: np.ndarray = seen) -> bool:
            return any(repeats(line, level, right_now & which) for level in levels)

        def repeats(line: int, level: int, where: np.ndarray) -> bool:
            other = at + (1 - 2 * level << line) if moved else at ^ 1 << line
            there = where & (other >= 0) & (other < self.dump.size)
            found = self.dump.values[np.where(there, other, 0)] & due.mask
            there &= ~due.blank[found] | (found == due.values)
            return bool(there.any()) and (found == due.values)[there].mean() >= REPEATS

        return again
