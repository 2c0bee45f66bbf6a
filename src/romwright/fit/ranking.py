"""All settings of a board's links in order, the best first, worked out for the links that make a difference."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Sequence
from functools import cached_property

from romwright.findings import Code, Severity
from romwright.fit.tastes import Taste

WORKS = "works"
Positions = tuple[str, ...]
Table = tuple[tuple[int, ...], dict[Positions, int]]  # places of links in a setting; by their positions marks as bits


class Ranking:
    """Every setting, as positions in the order of the links, with the codes found: iterate over it.

    First by the kinds of finding of each severity, worst first, then by the number of tastes, then as the board's file
    has the positions. `idle` names the links whose position changes neither.
    """

    def __init__(
        self, links: Sequence[tuple[str, Positions]], tables: Iterable[Table], marks: Sequence[Code | Taste]
    ) -> None:
        moving, always = [], 0
        for places, table in tables:
            kinds = set(table.values())
            moving += [(places, table)] if len(kinds) > 1 else []
            always |= kinds.pop() if len(kinds) == 1 else 0
        self.links, self.live = links, sorted({place for places, _ in moving for place in places})
        self.idle = [name for place, (name, _) in enumerate(links) if place not in self.live]
        inner = [(tuple(map(self.live.index, places)), table) for places, table in moving]
        found = list(combined([links[place][1] for place in self.live], inner, always))
        sets = {bits: [mark for i, mark in enumerate(marks) if bits >> i & 1] for bits in {bits for _, bits in found}}
        self.codes = {bits: frozenset(mark for mark in some if isinstance(mark, Code)) for bits, some in sets.items()}
        order = {bits: (*rank_of(codes), len(sets[bits]) - len(codes)) for bits, codes in self.codes.items()}
        self._found = sorted(found, key=lambda pair: order[pair[1]])

    def __len__(self) -> int:
        found = len(self._found)
        for name, positions in self.links:
            found *= len(positions) if name in self.idle else 1
        return found

    def __iter__(self) -> Iterator[tuple[Positions, frozenset[Code]]]:
        free = [positions if name in self.idle else ("",) for name, positions in self.links]
        for held, bits in self._found:
            for positions in itertools.product(*free) if self.idle else (held,):
                yield self._placed(positions, held), self.codes[bits]

    def distinct(self) -> Iterator[Positions]:
        """Yield the settings in which idle links stay in their first position, the best first."""
        first = tuple(positions[0] for _, positions in self.links)
        return (self._placed(first, held) for held, _ in self._found)

    def place(self, positions: Positions) -> int:
        """Return how many settings stand before one, idle links aside."""
        return self._places[tuple(positions[place] for place in self.live)]

    def codes_at(self, positions: Positions) -> frozenset[Code]:
        """Return the codes found in one setting."""
        return self.codes[self._found[self.place(positions)][1]]

    @cached_property
    def _places(self) -> dict[Positions, int]:
        return {held: number for number, (held, _) in enumerate(self._found)}

    def nearest(self, present: Positions) -> Positions:
        """Return the setting with the least that is wrong; of several, the one with the fewest links moved."""
        now = tuple(present[place] for place in self.live)
        cost = {bits: rank_of(some) if verdict_of(some) != WORKS else () for bits, some in self.codes.items()}

        def moved(found: tuple[Positions, int]) -> tuple:
            return cost[found[1]], sum(one != other for one, other in zip(now, found[0]))

        return self._placed(present, min(self._found, key=moved)[0])

    def _placed(self, positions: Positions, held: Positions) -> Positions:
        """Return positions with those of the links that make a difference put in."""
        if not self.idle:
            return held
        placed = list(positions)
        for place, position in zip(self.live, held):
            placed[place] = position
        return tuple(placed)


def combined(choices: Sequence[Positions], tables: Sequence[Table], always: int) -> Iterator[tuple[Positions, int]]:
    """Yield every combination of choices with the bits of all tables; each half is combined by itself first."""
    half = len(choices) // 2
    heads, tails = within(choices, range(half), tables), within(choices, range(half, len(choices)), tables)
    across = [(places, table) for places, table in tables if places[0] < half <= places[-1]]
    for (head, of_head), (tail, of_tail) in itertools.product(heads, tails):
        positions, bits = head + tail, always | of_head | of_tail
        for places, table in across:
            bits |= table[tuple([positions[place] for place in places])]
        yield positions, bits


def within(choices: Sequence[Positions], links: range, tables: Sequence[Table]) -> list[tuple[Positions, int]]:
    """Return every combination of positions of some links, with what the tables of these links alone say."""
    own = [(places, table) for places, table in tables if all(place in links for place in places)]
    found = []
    for positions in itertools.product(*choices[links.start : links.stop]):
        bits = 0
        for places, table in own:
            bits |= table[tuple(positions[place - links.start] for place in places)]
        found.append((positions, bits))
    return found


def verdict_of(codes: Iterable[Code]) -> str:
    """Return the worst of the codes as a verdict: `works`, `fault` or `stop`."""
    worst = min((code.severity for code in codes), key=lambda severity: severity.rank, default=Severity.NOTE)
    return str(worst) if worst in (Severity.STOP, Severity.FAULT) else WORKS


def rank_of(codes: Iterable[Code]) -> tuple[int, ...]:
    """Return how many kinds of finding there are, of each severity, worst first."""
    codes = list(codes)
    return tuple(sum(code.severity is severity for code in codes) for severity in Severity)
