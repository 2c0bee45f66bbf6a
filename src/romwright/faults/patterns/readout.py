"""Reading a dump of the line finder: which lines are crossed, stuck, joined or inverted, with no other reference.

Once it is known what the data lines do, every word read says which level one address line of the ROM had at that
address. What the line carries is then what agrees with all that was said of it. Which data map is right is tried out:
with a wrong one the words say nothing that hangs together.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import cache, cached_property

import numpy as np
from msgspec import Struct

from romwright.faults.lines import Line, gather
from romwright.faults.patterns.codebook import changes, find_data_maps, read_through
from romwright.faults.patterns.doubles import changed, double_faults
from romwright.faults.patterns.image import LineFinder, mixed
from romwright.faults.patterns.moves import moves, pairs_in_doubt
from romwright.faults.patterns.tally import Tally, best_line, best_lines

SAMPLE = 1 << 14  # addresses of a large dump by which maps are tried; the best are then checked on every one
RARE = (0.04, 0.15, 0.4)  # words seen less often than this share of the commonest may come from wrong bits
ROUNDS = 6  # in which each address line is looked at again
TRIED = 3 * SAMPLE  # words that are read to try what a line may carry
UNKNOWN = 5  # address lines that are taken as unknown at once
THROWS = 6
THOROUGH = 3  # of the finalists, for which every start is tried
FINALISTS = 12  # maps that are worked out to the end
SMALL, SMALLISH = 256, 2048  # words up to which all double faults are tried in any case, or if nothing else fits
GOOD = 0.05  # share of wrong bits up to which a dump is one of this pattern
NEAR = 0.2  # up to which two lines at once are tried
STRAY = 0.02  # share of words that are there, but belong to another address, up to which no line was missed
CROWDED = 0.25  # share of all words that are code words, from which a wrong bit easily makes one of another


class Ways(Struct, frozen=True):
    """A way to read the dump: what the ROM's address lines and the reader's data lines carry; the bits left wrong."""

    address: tuple[Line, ...]
    data: tuple[Line, ...]
    wrong: int

    @property
    def changed(self) -> int:
        """How many lines do not follow their own."""
        return changes(self.address) + changes(self.data)


class Readout:
    """A dump of the line finder, read. `best` is the way that leaves the fewest bits wrong, `others` leave no more."""

    def __init__(self, finder: LineFinder, words: np.ndarray, progress: Callable[[list], Iterable] = iter) -> None:
        """Read a dump; `progress` hands on the items of a list that takes long, one by one."""
        self.finder, self.dump, self.progress = finder, words, progress
        self.reader_lines = max(len(words) - 1, 0).bit_length()
        count = len(words)
        some = np.arange(min(SAMPLE, count), dtype=np.int64)
        if count > SAMPLE:
            some = np.unique(np.append(mixed(some) % count, 1 << np.arange(self.reader_lines)))
        self.addresses = some
        self.sample = words[some]
        self._table = cache(self._code_shown)
        self._levels = cache(lambda line: line.values(some))  # of a line at each address of the sample
        self.tally = Tally(some, self.sample, self.reader_lines)
        missing = range(self.reader_lines, finder.lines)  # lines that a reader set to a smaller chip holds low
        self.straight = Ways(
            changed(tuple(map(Line.follows, range(finder.lines))), dict.fromkeys(missing, Line.stuck(0))),
            tuple(map(Line.follows, range(finder.bits))), 0,
        )  # fmt: skip
        self.best, *self.others = self._solve()

    @property
    def blank(self) -> bool:
        """Whether every word is the same."""
        return bool((self.dump == self.dump[0]).all())

    @property
    def explained(self) -> bool:
        """Whether the dump is one of this pattern."""
        return not self.blank and self._fits(self.best, None)

    @cached_property
    def expected(self) -> np.ndarray:
        """What the best way gives at every address."""
        return self._read(self.best.address, self.best.data, None)

    def _solve(self) -> list[Ways]:
        """Return the best way and all that were found which leave no more bits wrong, the plainest first."""
        found: dict[tuple, Ways] = {}
        for share in RARE if not self.blank else ():
            for way in self._finalists(share):
                found[way.address, way.data] = way
            if any(map(self._good, found.values())):
                break
        small = len(self.dump) <= SMALL or (len(self.dump) <= SMALLISH and not any(map(self._good, found.values())))
        if small and not self.blank:
            found |= {(way.address, way.data): way for way in self._doubles()}
        kept = sorted(found.values(), key=lambda way: (way.wrong, way.changed))[: 2 * FINALISTS]
        whole = [self._way(way.address, way.data, None) for way in kept]
        if not whole:
            return [self._way(self.straight.address, self.straight.data, None)]
        least = min(way.wrong for way in whole)
        return sorted((way for way in whole if way.wrong == least), key=lambda way: way.changed)

    def _finalists(self, share: float) -> Iterator[Ways]:
        """Yield the ways of the data maps that hang together best, and what fits as well as each."""
        seen = self.tally.common(share)
        maps = find_data_maps(seen, self.tally.partners(seen), self.finder.code, self.finder.bits)
        ranked = sorted(range(len(maps)), key=lambda at: self._against(maps[at]))
        for place, at in enumerate(self.progress(ranked[:FINALISTS])):
            way = self._settled(maps[at], thorough=place < THOROUGH)
            yield way
            yield from self._equals(way)

    def _doubles(self) -> list[Ways]:
        """Return the single and double faults that leave the fewest bits wrong."""
        kept: list[Ways] = []
        for address, data in double_faults(self.straight.address, self.straight.data):
            if max((line for each in address for line in each.of), default=0) >= self.reader_lines:
                continue
            way = self._way(address, data, self.addresses)
            if not kept or way.wrong < kept[0].wrong:
                kept = [way]
            elif way.wrong == kept[0].wrong:
                kept.append(way)
        return kept

    def _settled(self, data: tuple[Line, ...], thorough: bool) -> Ways:
        """Return the best address lines found for a data map, from one start after the other until one is good."""
        address, sure = zip(*(self.tally.best_line(*pair) for pair in zip(*self._shown(data))))
        doubtful = sorted(range(len(sure)), key=sure.__getitem__)
        told, straight = (self._way(lines, data, self.addresses) for lines in (address, self.straight.address))
        best = min(told, straight, key=lambda way: way.wrong)
        for joins_last in (True, False)[: 1 + thorough]:
            for start in (told, straight, None)[: 2 + thorough]:
                if start is None:
                    start = self._anew(address, data, doubtful)
                best = self._better(best, self._bettered(start, joins_last))
                if self._good(best):
                    return best
        if thorough and best.wrong <= NEAR * self.finder.bits * len(self.addresses):
            best = self._bettered(self._together(best), joins_last=False)
        return best

    def _together(self, way: Ways) -> Ways:
        """Better two address lines at once, again and again, until that does not help.

        Two that are joined often seem stuck both, and neither alone is better: so the search would end there.
        """
        for _ in range(ROUNDS):
            before = way
            for pair in pairs_in_doubt(before.address, self.reader_lines):
                way = self._better(way, self._way(changed(before.address, pair), way.data, self.addresses))
            if way is before or self._good(way):
                break
        return way

    @staticmethod
    def _better(one: Ways, other: Ways) -> Ways:
        """Return the way that leaves fewer bits wrong, the first of equals."""
        return min(one, other, key=lambda way: way.wrong)

    def _good(self, way: Ways) -> bool:
        """Tell whether few enough bits of the sample are left wrong."""
        return self._fits(way, self.addresses)

    def _fits(self, way: Ways, addresses: np.ndarray | None) -> bool:
        """Tell whether the bits left wrong may be wrong bits: few, and not the words of other addresses."""
        seen = self.dump if addresses is None else self.sample
        if way.wrong > GOOD * self.finder.bits * len(seen):
            return False
        if not way.wrong or 2 * self.finder.lines > CROWDED * (1 << self.finder.bits):
            return True
        other = seen[self._read(way.address, way.data, addresses) != seen]
        return int(np.isin(other, self._table(way.data)).sum()) <= max(STRAY * len(seen), 1)

    def _shown(self, data: Sequence[Line]) -> list[list[int]]:
        """Return for each address line the word that is read where it is low, and where it is high."""
        return [read_through(data, [pair[level] for pair in self.finder.code]) for level in (0, 1)]

    def _against(self, data: Sequence[Line]) -> float:
        """Count the words that go against every line straight, inverted or stuck, if the data lines are so."""
        return self.tally.against(*self._shown(data))

    def _bettered(self, way: Ways, joins_last: bool) -> Ways:
        """Better one address line after the other, the rest held as they are, until that does not help.

        While other lines are wrong, a join with one of them often seems to fit; so joins may come last.
        """
        tried = TRIED // len(self.addresses)
        for joins in (False, True) if joins_last else (True,):
            for _ in range(ROUNDS):
                before = way
                for number in range(len(way.address)) if way.wrong else ():
                    lines = [line for line in self._fitting(way, number) if joins or not line.law]
                    for move in moves(way.address, number, lines[:tried]):
                        other = self._way(changed(way.address, move), way.data, self.addresses)
                        way = self._better(way, other)
                if way is before:
                    break
        return way

    def _anew(self, address: Sequence[Line], data: tuple[Line, ...], doubtful: list[int]) -> Ways:
        """Take the address lines that are least sure as unknown, and settle the surest of them first.

        While a line is unknown it has levels thrown at random: it then hides what the others carry, but does not
        speak for anything that is wrong.
        """
        unknown, address = doubtful[:UNKNOWN], list(address)
        while unknown:
            found = []
            for number in unknown:
                lines, margin = self._thrown(address, data, number, unknown)
                found.append((margin, number, lines))
            _, number, line = max(found, key=lambda each: each[0])
            address[number] = line
            unknown.remove(number)
        return self._way(address, data, self.addresses)

    def _thrown(self, address, data, number: int, unknown: list[int]) -> tuple[Line, float]:
        """Return what a line carries, the unknown ones thrown, and how sure that is."""
        low, high = [], []
        cells = self._cells(address, self.addresses)
        for throw in range(THROWS):
            thrown = cells.copy()
            for other in unknown:
                level = mixed(self.addresses, 7919 * (throw * 32 + other + 1)) >> 16 & 1
                thrown = thrown & ~(1 << other) | level << other
            is_low, is_high = (
                self._shows(thrown & ~(1 << number) | level << number, data) == self.sample for level in (0, 1)
            )
            low.append(self.tally.levels[is_low & ~is_high])
            high.append(self.tally.levels[is_high & ~is_low])
        return best_line(np.concatenate(low), np.concatenate(high))

    def _equals(self, way: Ways) -> Iterator[Ways]:
        """Yield each way with one address line changed that leaves no more bits wrong."""
        for number, held in enumerate(way.address):
            for line in self._fitting(way, number):
                other = self._way(changed(way.address, {number: line}), way.data, self.addresses)
                if line != held and other.wrong == way.wrong:
                    yield other

    def _fitting(self, way: Ways, number: int) -> list[Line]:
        """List what an address line may carry if all others are right, the best first.

        Every word that would be another with this line low than with it high says which of the two it was.
        """
        is_low, is_high = (
            self._read(changed(way.address, {number: Line.stuck(level)}), way.data, self.addresses) == self.sample
            for level in (0, 1)
        )
        levels = self.tally.levels
        return best_lines(levels[is_low & ~is_high], levels[is_high & ~is_low])

    def _way(self, address: Sequence[Line], data: Sequence[Line], addresses: np.ndarray | None) -> Ways:
        """Return a way with the bits that it leaves wrong at these addresses, or at all."""
        seen = self.dump if addresses is None else self.sample
        turned = self._read(address, data, addresses) ^ seen
        return Ways(tuple(address), tuple(data), int(np.bitwise_count(turned).sum()))

    def _read(self, address: Sequence[Line], data: Sequence[Line], addresses: np.ndarray | None) -> np.ndarray:
        """Return the words that are read so at these addresses, or at all."""
        return self._shows(self._cells(address, addresses), data)

    def _cells(self, address: Sequence[Line], addresses: np.ndarray | None) -> np.ndarray:
        """Return the addresses that reach the ROM."""
        if addresses is None:
            return gather(address, len(self.dump))
        cells = np.zeros(len(addresses), np.int64)
        for number, line in enumerate(address):
            cells |= self._levels(line) << number
        return cells

    def _shows(self, cells: np.ndarray, data: Sequence[Line]) -> np.ndarray:
        """Return the words that a reader with these data lines sees of cells of the ROM."""
        return self._table(tuple(data))[self.finder.cells[cells]]

    def _code_shown(self, data: tuple[Line, ...]) -> np.ndarray:
        """Return each code word as a reader with these data lines sees it."""
        return np.array(read_through(data, [word for pair in self.finder.code for word in pair]), np.uint16)
