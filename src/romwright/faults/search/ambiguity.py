"""What a dump cannot tell: lines that the contents never distinguish, and maps that fit as well as the best."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import combinations, islice, permutations, product

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from romwright.faults.lines import Line, LineMap, State
from romwright.faults.search.maps import Search
from romwright.faults.search.matching import quarters
from romwright.faults.search.planes import sound
from romwright.faults.search.prices import price_of_map
from romwright.faults.search.spectrum import MOST_LINES, signed_histograms

NEAR = 64  # lines are compared byte by byte if what they tell apart differs in so few bytes, twice over
MOST_WEIGHED = 720  # arrangements of lines that are alike
ROUNDS = 4
NAMES = "names"  # a class of the ROM's data lines, not of lines that carry them


class Ambiguity(Struct, frozen=True):
    """Lines by their names: classes that are alike, address lines that never matter, data lines that never change."""

    alike: tuple[tuple[str, ...], ...] = ()
    idle: tuple[str, ...] = ()
    constant: tuple[str, ...] = ()
    ways: tuple[LineMap, ...] = ()  # to connect lines that are alike: all read the same

    @classmethod
    def of(cls, search: Search) -> Ambiguity:
        """Look for what cannot be told about the best explanation; what fits about as well is added to the search."""
        best = search.best
        if not search.straight.residual or best.lines.start or best.lines.beyond is not None:
            return cls()
        for _ in range(ROUNDS):
            near = Nearness(search)
            for lines in near.neighbours():
                search.judge(lines)
            if search.best is best:
                break
            best = search.best
        classes = [*near.address_classes(), *near.data_classes()]
        straighter = best.lines
        for letter, members in classes:
            straighter = arrange(straighter, letter, members, straightened(straighter, letter, members))
        spare = near.spare_classes()
        for members in spare:
            straighter = best_named(search, straighter, members)
        named = {source for members in spare for source in members}
        varied = [each for each in classes if each[0] == "A" or not named.issuperset(data_sources(best.lines, each[1]))]
        some = islice(arrangements(straighter, [*varied, *((NAMES, members) for members in spare)]), MOST_WEIGHED)
        ways = tuple(dict.fromkeys((best.lines, straighter, *some)))
        for lines in ways:
            keep(search, best, lines)
        names = tuple(tuple(f"{letter}{line}" for line in members) for letter, members in classes)
        return cls(names, tuple(f"A{line}" for line in near.idle_lines()), near.constant_lines(), ways)

    def as_json(self) -> list[dict[str, object]]:
        """What cannot be told, under the documented JSON keys."""
        said = [{"kind": "alike", "lines": list(names)} for names in self.alike]
        said += [{"kind": "never matters", "lines": list(self.idle)}] * bool(self.idle)
        return said + [{"kind": "never changes", "lines": list(self.constant)}] * bool(self.constant)


class Nearness:
    """How little it would change to exchange two lines of the best explanation."""

    def __init__(self, search: Search) -> None:
        self.lines, self.reference, self.idle = search.best.lines, search.reference, search.idle
        size = 1 << search.reader_lines
        self.expected = (
            search.read(self.lines) if size == len(search.dump) else self.lines.apply(search.reference, size)
        )
        small = search.reader_lines <= MOST_LINES
        self.times = np.bincount(self.expected, minlength=256)
        self.signed = signed_histograms(self.expected) if small else None
        self.sources = {line.of[0]: rom for rom, line in enumerate(self.lines.address) if line.state is State.FOLLOWS}
        self.close = list(self.close_address_lines()) if small else []
        self.close_data = list(self.close_data_lines())

    def close_address_lines(self) -> Iterator[tuple[int, int, bool]]:
        """Yield pairs of the reader's lines that could be exchanged for few bytes, and whether for none at all."""
        joined = {source for line in self.lines.address if line.law for source in line.of}
        free = [line for line in range(len(self.signed)) if line not in joined]
        apart = np.abs(self.signed[free][:, None] - self.signed[free]).sum(axis=2) if free else []
        for a, b in combinations(range(len(free)), 2):
            if apart[a][b] <= NEAR and {free[a], free[b]} & self.sources.keys():
                yield free[a], free[b], np.array_equal(*quarters(self.expected, free[a], free[b]))

    def close_data_lines(self) -> Iterator[tuple[int, int, int]]:
        """Yield pairs of data lines, with in how many bytes of what is expected they differ."""
        own, data = sound().values, self.lines.data
        apart = (self.times.sum() - (own * self.times) @ own.T) / 2
        for a, b in zip(*np.nonzero(np.triu(apart <= NEAR / 2, 1))):
            if all(line.of and line.law is None for line in (data[a], data[b])):
                yield int(a), int(b), int(apart[a, b])

    def neighbours(self) -> Iterator[LineMap]:
        """Yield the maps with two lines exchanged that differ, but little."""
        for a, b, same in self.close:
            if not same:
                yield replace(self.lines, address=tuple(renamed(line, {a: b, b: a}) for line in self.lines.address))
        yield from self.without_joins()
        for a, b in self.alike_in_reference():
            address = list(self.lines.address)
            address[a], address[b] = address[b], address[a]
            yield replace(self.lines, address=tuple(address))
        for a, b, differ in self.close_data:
            if differ:
                data = list(self.lines.data)
                data[a], data[b] = data[b], data[a]
                yield replace(self.lines, data=tuple(data))

    def without_joins(self) -> Iterator[LineMap]:
        """Yield the maps with a group of address lines taken apart, or one line taken out of three.

        Contents may look as if lines were joined.
        """
        for joined in sorted({line for line in self.lines.address if line.law}, key=lambda line: line.of):
            members = [n for n, line in enumerate(self.lines.address) if line == joined]
            for carried in permutations(map(Line.follows, joined.of), len(members)):
                yield arrange(self.lines, "A", members, carried)
            for source, member in product(joined.of, members) if len(joined.of) > 2 else ():
                fewer = Line.joined(joined.law, [line for line in joined.of if line != source])
                carried = [Line.follows(source) if each == member else fewer for each in members]
                yield arrange(self.lines, "A", members, carried)

    def alike_in_reference(self) -> Iterator[tuple[int, int]]:
        """Yield pairs of the ROM's address lines, not both sound, that the ROM's contents do not tell apart."""
        address = self.lines.address
        lost = {n for n, line in enumerate(address) if line.state is not State.FOLLOWS}
        for a, b in combinations(range(len(address)), 2) if lost else ():
            if {a, b} & lost and address[a] != address[b] and np.array_equal(*quarters(self.reference, a, b)):
                yield a, b

    def address_classes(self) -> list[tuple[str, list[int]]]:
        """Return the ROM's address lines that could be exchanged and nothing would change."""
        same = [
            (self.sources[a], self.sources[b]) for a, b, same in self.close if same and {a, b} <= self.sources.keys()
        ]
        return [("A", members) for members in classes_of(same)]

    def data_classes(self) -> list[tuple[str, list[int]]]:
        """Return the data lines that could be exchanged and nothing would change."""
        return [("D", members) for members in classes_of((a, b) for a, b, differ in self.close_data if not differ)]

    def spare_classes(self) -> list[list[int]]:
        """Return the ROM's data lines that nothing read tells apart, if not each data line follows one of its own.

        Which of them is lost, joined or inverted cannot be told: that the others run straight is the simplest.
        """
        data = self.lines.data
        if len({line.of for line in data if line.state is State.FOLLOWS}) == len(data):
            return []
        own, times = sound().values, np.bincount(self.lines.cells(self.reference, len(self.expected)), minlength=256)
        apart = times.sum() - (own * times) @ own.T
        return classes_of((int(a), int(b)) for a, b in zip(*np.nonzero(np.triu(apart == 0, 1))))

    def idle_lines(self) -> list[int]:
        """Return the ROM's address lines that carry something and never matter."""
        halves = ((rom, self.expected.reshape(-1, 2, 1 << line)) for line, rom in sorted(self.sources.items()))
        idle = {rom for rom, half in halves if np.array_equal(half[:, 0], half[:, 1])}
        return sorted(idle.union(line for line in self.idle if self.lines.address[line].of))

    def constant_lines(self) -> tuple[str, ...]:
        """Return the data lines that carry a line of the ROM and are never seen to change."""
        values = np.flatnonzero(self.times)
        return tuple(
            f"D{n}" for n, line in enumerate(self.lines.data)
            if line.of and len(set((values >> n & 1).tolist())) == 1
        )  # fmt: skip


def keep(search: Search, best, lines: LineMap) -> None:
    """Add to the explanations one that reads exactly as another does."""
    if lines == best.lines:
        return
    search.found.setdefault(lines, replace(best, lines=lines, price=best.price + difference(search, best.lines, lines)))


def difference(search: Search, first: LineMap, second: LineMap) -> float:
    """Return by how much more it costs to say the second map."""
    return price_of_map(second, search.reader_lines) - price_of_map(first, search.reader_lines)


def renamed(line: Line, names: dict[int, int]) -> Line:
    """Return a line with its sources renamed, if it follows one."""
    return Line.follows(names.get(line.of[0], line.of[0])) if line.state is State.FOLLOWS else line


def with_names(lines: LineMap, names: dict[int, int]) -> LineMap:
    """Return the map with the ROM's data lines renamed."""
    data = (replace(line, of=tuple(sorted(names.get(source, source) for source in line.of))) for line in lines.data)
    return replace(lines, data=tuple(data))


def best_named(search: Search, lines: LineMap, members: Sequence[int]) -> LineMap:
    """Exchange names of the ROM's data lines, two at a time, as long as the map becomes cheaper to say."""
    while True:
        swapped = (with_names(lines, {a: b, b: a}) for a, b in combinations(members, 2))
        nearer = min(swapped, key=lambda each: price_of_map(each, search.reader_lines))
        if difference(search, lines, nearer) >= 0:
            return lines
        lines = nearer


def data_sources(lines: LineMap, members: Sequence[int]) -> set[int]:
    """Return the ROM's lines that these data lines follow."""
    return {lines.data[member].of[0] for member in members}


def sources(lines: LineMap, letter: str, members: Sequence[int]) -> list[Line]:
    """Return what these lines carry."""
    return [(lines.address if letter == "A" else lines.data)[member] for member in members]


def straightened(lines: LineMap, letter: str, members: Sequence[int]) -> list[Line]:
    """Return what these lines carry, dealt out so that each follows its own where that is among it."""
    carried = sources(lines, letter, members)
    own = {member: Line.follows(member) for member in members if Line.follows(member) in carried}
    rest = iter([line for line in carried if line not in own.values()])
    return [own[member] if member in own else next(rest) for member in members]


def arrange(lines: LineMap, letter: str, members: Sequence[int], carried: Iterable[Line]) -> LineMap:
    """Return the map in which these lines carry that."""
    new = dict(zip(members, carried))
    if letter == "A":
        return replace(lines, address=tuple(new.get(n, line) for n, line in enumerate(lines.address)))
    return replace(lines, data=tuple(new.get(n, line) for n, line in enumerate(lines.data)))


def arrangements(lines: LineMap, classes: Sequence[tuple[str, Sequence[int]]]) -> Iterator[LineMap]:
    """Yield the maps in which lines that are alike are connected in any way, one after the other."""
    if not classes:
        yield lines
        return
    (letter, members), *rest = classes
    if letter == NAMES:
        for names in permutations(members):
            yield from arrangements(with_names(lines, dict(zip(members, names))), rest)
        return
    for carried in permutations(sources(lines, letter, members)):
        yield from arrangements(arrange(lines, letter, members, carried), rest)


def classes_of(pairs: Iterable[tuple[int, int]]) -> list[list[int]]:
    """Return the classes that pairs of equals make.

    >>> classes_of([(1, 2), (5, 6), (2, 3)])
    [[1, 2, 3], [5, 6]]
    """
    classes: list[set[int]] = []
    for pair in pairs:
        touched = [members for members in classes if members & set(pair)]
        classes = [members for members in classes if members not in touched] + [set(pair).union(*touched)]
    return sorted(sorted(members) for members in classes)
