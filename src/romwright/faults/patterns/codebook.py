"""Which data lines may be crossed, inverted, stuck or joined, if the words that were read are code words seen so.

Only the set of words counts here, not where they were read: whatever the address lines do, a code word stays one.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from functools import cache
from itertools import combinations, islice

from romwright.faults.lines import Law, Line, State

MOST = 1500  # data maps that are looked at: where so few words were seen that more would do, nothing can be told


def carried(line: Line, words: Sequence[int]) -> list[int]:
    """Return the level of a line for each word.

    >>> carried(Line.joined(Law.AND, (0, 1)), [0b01, 0b11])
    [0, 1]
    """
    if line.state is State.STUCK:
        return [line.level] * len(words)
    mask = sum(1 << each for each in line.of)
    if line.law:
        return [int(word & mask == mask if line.law is Law.AND else word & mask != 0) for word in words]
    turned = line.state is State.INVERTED
    return [int(bool(word & mask) != turned) for word in words]


def read_through(lines: Sequence[Line], words: Sequence[int]) -> list[int]:
    """Return each word as a reader with these data lines sees it."""
    columns = [carried(line, words) for line in lines]
    return [sum(level << number for number, level in enumerate(levels)) for levels in zip(*columns)]


def find_data_maps(
    seen: Sequence[int], pairs: Sequence[tuple[int, int]], code: Sequence[tuple[int, int]], bits: int
) -> list[tuple[Line, ...]]:
    """List the data maps under which all words seen are code words, those with the fewest changes first.

    `pairs` are words seen that belong to one line, in either order.
    """
    rows = [tuple(word >> number & 1 for word in seen) for number in range(bits)]
    groups: dict[tuple[int, ...], list[int]] = {}
    for number, row in enumerate(rows):
        groups.setdefault(row, []).append(number)
    known = {word: at for at, word in enumerate(seen)}
    partners = [(known[one], known[other]) for one, other in pairs]
    search = _Search(code, partners, bits)
    found = islice(search.assign(list(groups.items()), [0] * len(seen), [0] * len(search.words), {}), MOST)
    return sorted(found, key=changes)


def changes(lines: Sequence[Line]) -> int:
    """Count the lines that do not follow the line of their own number."""
    return sum(line != Line.follows(number) for number, line in enumerate(lines))


class _Search:
    """Gives groups of reader's lines that show the same, one after the other, each line that they may carry.

    Bits given so far make a prefix of each word seen and of each code word. Words that differ come from code words
    that differ, so no prefix is seen in more words than bear it; and so for the two words of a line.
    """

    def __init__(self, code: Sequence[tuple[int, int]], partners: Sequence[tuple[int, int]], bits: int) -> None:
        self.words = sorted({word for pair in code for word in pair})
        at = {word: number for number, word in enumerate(self.words)}
        self.column = cache(lambda line: carried(line, self.words))
        self.code, self.partners, self.bits = [(at[low], at[high]) for low, high in code], partners, bits

    def assign(self, groups: list, seen: list[int], prefixes: list[int], taken: dict) -> Iterator[tuple[Line, ...]]:
        """Yield every data map that goes on from these prefixes; `taken` has the lines given."""
        if not groups:
            yield tuple(taken[number] for number in range(self.bits))
            return
        (row, numbers), *rest = groups
        now = [prefix << 1 | level for prefix, level in zip(seen, row)]
        many, couples = Counter(now), pairs_of(now, self.partners)
        used = {line for each in taken.values() for line in each.of}
        for line in _ways(row, numbers, used, self.bits):
            longer = [prefix << 1 | level for prefix, level in zip(prefixes, self.column(line))]
            if many <= Counter(longer) and couples <= pairs_of(longer, self.code):
                yield from self.assign(rest, now, longer, taken | dict.fromkeys(numbers, line))


def pairs_of(prefixes: Sequence[int], pairs: Sequence[tuple[int, int]]) -> Counter:
    """Count the pairs of prefixes, in no order."""
    return Counter(
        (one, other) if one <= other else (other, one)
        for one, other in ((prefixes[first], prefixes[second]) for first, second in pairs)
    )


def _ways(row: tuple[int, ...], numbers: Sequence[int], used: set[int], bits: int) -> Iterator[Line]:
    """Yield what reader's lines that all show this row may carry, the plainest first."""
    if len(set(row)) == 1:
        yield Line.stuck(row[0])
        return
    free = [line for line in range(bits) if line not in used]
    if len(numbers) > 1:
        for law in Law:
            first = tuple(numbers)
            groups = [first] if set(first) <= set(free) else []
            groups += [each for each in combinations(free, len(numbers)) if each != first]
            yield from (Line.joined(law, each) for each in groups)
    own = [line for line in numbers if line in free]
    order = own + [line for line in free if line not in own]
    yield from map(Line.follows, order)
    yield from map(Line.inverted, order)
