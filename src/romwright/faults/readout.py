"""Reading a dump of the line finder: which lines are crossed, stuck, joined or inverted, with no other reference.

Once it is known what the data lines do, every word read says which level one address line of the ROM had at that
address. What the line carries is then what agrees with all that was said of it. Which data map is right is tried out:
with a wrong one the words say nothing that hangs together.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from romwright.faults.codebook import changes, find_data_maps, read_through
from romwright.faults.lines import Line, gather
from romwright.faults.patterns import LineFinder, mixed
from romwright.faults.tally import Tally, best_lines

SAMPLE = 1 << 14  # addresses of a large dump by which maps are tried; the best are then checked on every one
RARE = (0.04, 0.15, 0.4)  # words seen less often than this share of the commonest may come from wrong bits
ROUNDS = 6  # in which each address line is looked at again
FIRST = 3  # things that a line may carry that are tried in a round
FINALISTS = 24  # maps that are worked out to the end
GOOD = 0.05  # share of wrong bits up to which a dump is one of this pattern


@dataclass(frozen=True)
class Ways:
    """A way to read the dump: what the ROM's address lines and the reader's data lines carry, and the bits left wrong."""

    address: tuple[Line, ...]
    data: tuple[Line, ...]
    wrong: int

    @property
    def changed(self) -> int:
        """How many lines do not follow their own."""
        return changes(self.address) + changes(self.data)


class Readout:
    """A dump of the line finder, read. `best` is the way that leaves the fewest bits wrong, `others` leave no more."""

    def __init__(self, finder: LineFinder, words: np.ndarray) -> None:
        self.finder, self.dump = finder, words
        self.reader_lines = max(len(words) - 1, 0).bit_length()
        count = len(words)
        some = np.arange(min(SAMPLE, count), dtype=np.int64)
        if count > SAMPLE:
            some = np.unique(np.append(mixed(some) % count, 1 << np.arange(self.reader_lines)))
        self.addresses = some
        self.sample = words[some]
        self.tally = Tally(some, self.sample, self.reader_lines)
        self.straight = Ways(
            *(tuple(map(Line.follows, range(n))) for n in (finder.lines, finder.bits)), 0
        )
        self.best, *self.others = self._solve()

    @property
    def blank(self) -> bool:
        """Whether every word is the same."""
        return bool((self.dump == self.dump[0]).all())

    @property
    def explained(self) -> bool:
        """Whether the dump is one of this pattern."""
        return not self.blank and self.best.wrong <= GOOD * self.finder.bits * len(self.dump)

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
            if found and min(way.wrong for way in found.values()) <= GOOD * self.finder.bits * len(self.addresses):
                break
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
        for at in ranked[:FINALISTS]:
            address = [self.tally.best_lines(*pair)[0] for pair in zip(*self._shown(maps[at]))]
            yield from self._refined(address, maps[at])

    def _shown(self, data: Sequence[Line]) -> list[list[int]]:
        """Return for each address line the word that is read where it is low, and where it is high."""
        return [read_through(data, [pair[level] for pair in self.finder.code]) for level in (0, 1)]

    def _against(self, data: Sequence[Line]) -> float:
        """Count the words that go against every line straight, inverted or stuck, if the data lines are so."""
        return self.tally.against(*self._shown(data))

    def _refined(self, address: list[Line], data: tuple[Line, ...]) -> Iterator[Ways]:
        """Better one address line after the other, the rest held as they are; yield the best, and what fits as well."""
        best = self._way(address, data, self.addresses)
        for _ in range(ROUNDS):
            before = best
            for number in range(len(address)) if best.wrong else ():
                for line in self._fitting(best, number)[:FIRST]:
                    way = self._way(replaced(best.address, number, line), data, self.addresses)
                    best = min(best, way, key=lambda each: each.wrong)
            if best is before:
                break
        yield best
        for number, held in enumerate(best.address):
            for line in self._fitting(best, number):
                way = self._way(replaced(best.address, number, line), data, self.addresses)
                if line != held and way.wrong == best.wrong:
                    yield way

    def _fitting(self, way: Ways, number: int) -> list[Line]:
        """List what an address line may carry if all others are right, the best first.

        Every word that would be another with this line low than with it high says which of the two it was.
        """
        is_low, is_high = (
            self._read(replaced(way.address, number, Line.stuck(level)), way.data, self.addresses) == self.sample
            for level in (0, 1)
        )
        levels = self.tally.levels
        return best_lines(levels[is_low & ~is_high], levels[is_high & ~is_low])

    def _way(self, address: Sequence[Line], data: Sequence[Line], addresses: np.ndarray | None) -> Ways:
        """Return a way with the bits that it leaves wrong at these addresses, or at all."""
        seen = self.dump if addresses is None else self.sample
        changed = self._read(address, data, addresses) ^ seen
        return Ways(tuple(address), tuple(data), int(np.bitwise_count(changed).sum()))

    def _read(self, address: Sequence[Line], data: Sequence[Line], addresses: np.ndarray | None) -> np.ndarray:
        """Return the words that are read so at these addresses, or at all."""
        if addresses is None:
            cells = gather(address, len(self.dump))
        else:
            cells = np.zeros(len(addresses), np.int64)
            for number, line in enumerate(address):
                cells |= line.values(addresses) << number
        code = np.array(self.finder.code, np.int64)
        shown = np.array(read_through(data, code.ravel().tolist()), np.uint16)
        return shown[self.finder.cells[cells]]


def replaced(lines: Sequence[Line], number: int, line: Line) -> tuple[Line, ...]:
    """Return the lines with one of them changed."""
    return (*lines[:number], line, *lines[number + 1 :])
