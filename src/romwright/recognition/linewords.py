"""What has become of address or data lines, in the words of the bench."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from romwright.faults.lines import Line, State
from romwright.images.words import listed

FEW_CROSSED = 6  # lines that are named one by one


def say_lines(lines: Sequence[Line], letter: str) -> Iterator[str]:
    """Say what is wrong with lines, one fault at a time.

    >>> list(say_lines([Line.stuck(1), Line.follows(1), Line.inverted(2)], "D"))
    ['D2 inverted', 'D0 stuck high']
    >>> from romwright.faults.lines import Law
    >>> list(say_lines([Line.joined(Law.AND, (0, 1)), Line.joined(Law.AND, (0, 1)), Line.follows(2)], "A"))
    ['A0 and A1 joined: each reads as A0 AND A1']
    """
    yield from crossings(lines, letter)
    inverted = [n for n, line in enumerate(lines) if line.state is State.INVERTED]
    if len(inverted) == len(lines):
        yield "all data lines inverted"
    elif inverted:
        yield f"{named(inverted, letter)} inverted"
    for n, line in enumerate(lines):
        if line.state is State.STUCK:
            yield f"{letter}{n} stuck {('low', 'high')[line.level]}"
    joined = {line for line in lines if line.state is State.JOINED}
    for line in sorted(joined, key=lambda line: line.of):
        ends = [n for n, other in enumerate(lines) if other == line]
        both = f" {str(line.law).upper()} ".join(f"{letter}{n}" for n in line.of)
        yield f"{named(ends, letter)} joined: each reads as {both}"


def named(lines: Sequence[int], letter: str) -> str:
    """Name lines in words.

    >>> named([8, 9, 12], "A")
    'A8, A9 and A12'
    """
    return listed([f"{letter}{n}" for n in lines])


def crossings(lines: Sequence[Line], letter: str) -> Iterator[str]:
    """Say which lines are crossed, each ring of them by itself.

    >>> list(crossings([Line.follows(1), Line.follows(0), Line.follows(2)], "A"))
    ['A0 and A1 crossed']
    """
    goes = {n: line.of[0] for n, line in enumerate(lines) if line.of and line.law is None}
    moved = [n for n, to in goes.items() if to != n]
    if len(moved) > FEW_CROSSED:
        yield f"{len(moved)} of {len(lines)} {('address', 'data')[letter == 'D']} lines crossed"
        return
    pairs = [n for n in moved if goes.get(goes[n]) == n and n < goes[n]]
    yield from (f"{letter}{n} and {letter}{goes[n]} crossed" for n in pairs)
    rest = [n for n in moved if n not in pairs and goes[n] not in pairs]
    if rest:
        yield "crossed: " + ", ".join(f"{letter}{n} follows {letter}{goes[n]}" for n in rest)
