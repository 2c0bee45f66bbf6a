"""A dump and the bytes that were sampled of an image: the ground on which routes are found and judged.

A route says at which address of the dump each byte of the image is seen, and what has become of its bits. It is
improved step by step as long as the bytes speak better for it. They speak in bits: a sampled byte that is seen where
the route leads is evidence by how rare it is in the dump, one that is not speaks against the route. Blank bytes say
nothing. The sum is the logarithm of a likelihood ratio, so a wrong route gets T bits with a probability of 2^-T at
most, if other bytes are no better than drawn at random; from it the logarithm of the number of routes and images
that could have been tried is taken.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import islice
from math import log2
from typing import NamedTuple

import numpy as np
from msgspec.structs import replace

from romwright.faults.lines import Line, State, byte_table
from romwright.recognition.datalines import match_data
from romwright.recognition.dump import Dump
from romwright.recognition.evidence import Expected, Fit
from romwright.recognition.route import FREE, STRAIGHT_DATA, Route, Ways
from romwright.recognition.sketch import neighbours
from romwright.recognition.verdicts import PAGE_BYTES

MAY_BE_RIGHT = 0.5, 0.7, 0.95  # when one is judged
PRIOR = 2.0  # neighbours that are supposed to be as bytes in general are
TOO_OFTEN = 0.25  # share of neighbours that have the byte too, from which it tells nothing
ALL_AGAIN = 0.9  # share of bytes that are again at a neighbour, from which the dump repeats itself there
FEWEST_RIGHT, LEAST_RIGHT = 6, 0.1  # sampled bytes, and their share, from which a route is worth improving
STRICT_STEPS, LIKELIEST = 3, 6  # changes that are made by strict evidence, and how many are tried for each
FEWEST = 8  # bytes from which data lines are matched
REPEATS = 0.55  # share of bytes that must be there again where a line reaches nothing
MOST_LOST = 2  # data lines that may be stuck in a part of the dump only
LEAST_THERE = 0.55  # share of the bytes that are seen, fill and all, that are right
ERASED_OR_CLEARED = 0x00, 0xFF  # with which pages are overwritten
LEAST_RIGHT_PAGE = 0.4  # share of the bytes of a page that are right if it was not overwritten
ALL_WRONG_PAGE = 0.25  # share of the bytes of a page that are right if it was, and no page but such a one counts
MOST_OVERWRITTEN = 0.34  # share of pages
STEP = 32  # bytes: near enough to where the pages of a dump begin that has something before the image
SCATTERED, MOST_SCATTERED = 0.02, 0.3  # share of bytes with several wrong bits between right ones that is looked into,
# and from which they are of something else
ENTRIES = 8, 16, 24, 32  # bytes of an entry of a table: wrong ones are then at few of these places
LEAST_AT_PLACE = 0.25  # share of the bytes at one place of all entries that are right, if any are
FEWEST_AT_PLACES = 6  # wrong bytes at places where none are, beyond those that chance puts there


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

    def expect(self, data: tuple[Line, ...], at: np.ndarray | None = None) -> Expected:
        """Return what is expected of the bytes if the data lines run so.

        With the places of the bytes in the dump, what is there also at other levels of one or two address lines weighs
        less, and nothing if it is there often: tables and texts are alike in that way.
        """
        mask = sum(1 << n for n, line in enumerate(data) if line.state is not State.STUCK)
        masked = np.arange(256) & mask
        times = np.bincount(masked, weights=self.dump.times, minlength=256)
        blank = np.zeros(256, bool)
        blank[masked[self.dump.blank]] = True
        share = (times + 1) / (times[~blank].sum() + 256)
        values = byte_table(data)[self.samples] & mask
        chance = share[values]
        if at is not None:
            found = self.dump.values[at] & np.uint8(mask)
            for steps in neighbours(self.dump.lines):
                other = self.dump.values[at[:, None] ^ steps] & np.uint8(mask)
                again = other == values[:, None]
                again = again[:, (other == found[:, None]).mean(axis=0) < ALL_AGAIN]  # not where the dump just repeats
                chance = np.maximum(chance, (again.sum(axis=1) + PRIOR * share[values]) / (again.shape[1] + PRIOR))
        tells = self.telling & ~blank[values] & (chance < TOO_OFTEN)
        return Expected(values, tells, np.minimum(chance, 0.99), blank, np.uint8(mask))

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
            route = replace(route, data=match_data(self.dump.values[at[there]], self.samples[there], self.dump))
        due = self.expect(route.data)
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
        return replace(best, scattered=self.scattered(best.route))

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
        due = self.expect(fit.route.data)
        bits = due.bits(*self.agreement(*self.places(ways), due))
        here = replace(fit.route, data=STRAIGHT_DATA)
        yield from (
            self.fit(route)
            for row in np.argsort(ways.price - bits, kind="stable").tolist()
            if (route := ways.route(row)) != here
        )

    def strictly(self, fit: Fit) -> Fit:
        """Judge a fit again, so that its evidence may be believed, and whether the dump bears it out."""
        [at], [seen] = self.places(Ways.of(fit.route))
        due = self.expect(fit.route.data, at)
        equal, counted = self.agreement(at, seen, due)
        bits = max(float(due.bits(equal, counted, right)) for right in MAY_BE_RIGHT) - log2(len(MAY_BE_RIGHT))
        fit = replace(fit, bits=bits, equal=int((counted & equal).sum()), seen=int(counted.sum()))
        for route in (fit.route, *self.other_partners(fit.route)):
            if self.borne_out(route):
                return replace(fit, route=route)
        return replace(fit, borne_out=False)

    def scattered(self, route: Route) -> bool:
        """Tell whether wrong bytes are as between two like tables: not of single bits, nor in pages of their own.

        Faulty cells turn single bits; what was overwritten is wrong throughout, by pages of the image, of the dump, or
        of a dump that something was put before. Other damage is believed of a whole image that is where it belongs, if
        it is anywhere: of two tables always the same places of their entries differ. What is missing is less than what
        is there. Bytes that tell nothing if they are right are looked at too.
        """
        [at], [seen] = self.places(Ways.of(route))
        due = self.expect(route.data)
        found = self.dump.values[at] & due.mask
        equal = found == due.values
        if equal[seen].sum() < LEAST_THERE * seen.sum():
            return True
        counted = seen & (equal | ~due.blank[found] & ~np.isin(self.dump.values[at], ERASED_OR_CLEARED))
        starts = self.at, at, at + -route.base % PAGE_BYTES // STEP * STEP
        if splits_entries((self.at, at), starts, counted, equal):
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
        stuck = [n for n, line in enumerate(route.data) if line.state is State.STUCK and self.dump.constant[n] == FREE]
        if len(stuck) > MOST_LOST:
            return False
        lost = self.lines - route.held.count(FREE) - max(self.lines - self.dump.lines, 0)
        if lost <= 0 and not route.equal:
            return True
        [at], [seen] = self.places(Ways.of(route))
        due = self.expect(route.data)
        right_now = seen & due.tells & (self.dump.values[at] & due.mask == due.values)
        used = {line for line, level in zip(route.lines, route.held) if level == FREE}
        moved = route.base % (1 << min(self.lines, self.dump.lines)) and any(route.base >> line & 1 for line in used)

        def repeats(line: int, where: np.ndarray, level: int) -> bool:
            other = at + (1 - 2 * level << line) if moved else at ^ 1 << line
            there = where & (other >= 0) & (other < self.dump.size)
            found = self.dump.values[np.where(there, other, 0)] & due.mask
            there &= ~due.blank[found] | (found == due.values)
            return bool(there.any()) and (found == due.values)[there].mean() >= REPEATS

        unused = set(range(self.dump.lines)) - used
        idle = sum(any(repeats(line, right_now, level) for level in ((0, 1) if moved else (0,))) for line in unused)
        joined = all(
            any(
                all(repeats(route.lines[line], right_now & (self.bits[a] == level), level) for line in (a, b))
                for level in (0, 1)
            )
            for a, b in route.equal
        )
        return idle >= lost and joined


def overwritten(
    addresses: np.ndarray, counted: np.ndarray, equal: np.ndarray, least: float, most: float = 1.0
) -> np.ndarray:
    """Tell which bytes are in pages of which fewer than `least` are right, of those that count.

    None is if more than `most` of the pages would be: what is wrong in so many is wrong otherwise.
    """
    pages = addresses // PAGE_BYTES
    right, count = (np.bincount(pages[which], minlength=int(pages.max()) + 1) for which in (counted & equal, counted))
    lost = right < least * count
    return lost[pages] & (lost.sum() <= most * np.count_nonzero(count))


def splits_entries(
    each: Iterable[np.ndarray], starts: Iterable[np.ndarray], counted: np.ndarray, equal: np.ndarray
) -> bool:
    """Tell whether bytes are wrong at some places of all entries of a table, right at others.

    Two tables of jumps have their counts in common and no address; what was damaged is wrong wherever it is, but
    for pages from one of `starts` on. `each` are addresses of the bytes.
    """
    lost = [overwritten(addresses, counted, equal, ALL_WRONG_PAGE, MOST_OVERWRITTEN) for addresses in starts]
    counted = counted & ~max(lost, key=lambda pages: np.count_nonzero(pages & counted & ~equal))
    wrong = int((counted & ~equal).sum())
    rate = wrong / max(int(counted.sum()), 1)
    for places in (addresses[counted] % entry for addresses in each for entry in ENTRIES):
        count, right = np.bincount(places), np.bincount(places, weights=equal[counted])
        there = (count - right)[right <= LEAST_AT_PLACE * count].sum()
        if there > max(wrong / 2, FEWEST_AT_PLACES + (count * rate**count).sum()):
            return True
    return False
