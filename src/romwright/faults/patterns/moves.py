"""What is tried to better the address lines of a map: one line, or two that only together come right."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations, product

from romwright.faults.lines import Law, Line

MOST_FREE = 6  # of the reader's lines that reach nothing, up to which two of the ROM's are tried together


def moves(address: Sequence[Line], number: int, lines: Sequence[Line]) -> Iterator[dict[int, Line]]:
    """Yield changes that give one line of the ROM one of these: alone, and a join together with another of its lines.

    Of two lines that are joined, each for itself seems right when it follows the same one of the reader's.
    """
    for line in lines:
        yield {number: line}
        if line.law:
            others = [n for n, held in enumerate(address) if n != number and set(held.of) & set(line.of)]
            yield from ({number: line, other: line} for other in others)


def pairs_in_doubt(address: Sequence[Line], reader_lines: int) -> Iterator[dict[int, Line]]:
    """Yield changes that give two stuck or joined lines of the ROM lines of the reader's that no other has."""
    doubtful = [number for number, line in enumerate(address) if len(line.of) != 1]
    for pair in combinations(doubtful, 2):
        used = {of for number, line in enumerate(address) if number not in pair for of in line.of}
        free = [number for number in range(reader_lines) if number not in used]
        if len(free) > MOST_FREE:  # so many that nearly nothing is told
            continue
        yield {pair[0]: address[pair[1]], pair[1]: address[pair[0]]}
        alone = [*map(Line.stuck, (0, 1)), *map(Line.follows, free), *map(Line.inverted, free)]
        yield from (dict(zip(pair, lines)) for lines in product(alone, repeat=2))
        yield from (dict.fromkeys(pair, Line.joined(law, both)) for law in Law for both in combinations(free, 2))
