"""What an explanation costs, in bits: the shorter it is to say, the likelier it is.

To say that a wrong bit is at one place of M takes about log2 M bits; to say that a line is crossed takes few. The
odds of two explanations are 2 to the difference of their costs. The prices of faults are a judgement (common practice,
no source); as one wrong bit costs more than most of them, they decide only where the bytes do not.
"""

from __future__ import annotations

from math import comb, lgamma, log, log2

import numpy as np

from romwright.faults.lines import Line, LineMap, State

CROSSED = 6.0  # that any line is crossed at all, besides which
FAULT = 8.0  # that a line is stuck, joined or inverted, besides which and how
UNRELATED = 40.0  # that the dump has nothing to do with the reference
SHIFTED = 24.0  # that the dump starts elsewhere


def price_of_map(lines: LineMap, reader_lines: int) -> float:
    """Return what it costs to say how the lines run, for a reader with so many address lines."""
    address = price_of_lines(lines.address, max(reader_lines, 1))
    return address + price_of_lines(lines.data, 8) + SHIFTED * bool(lines.start or lines.beyond is not None)


def price_of_lines(lines: tuple[Line, ...], sources: int) -> float:
    """Return what it costs to say how the lines of one side run; lines that the reader does not have cost little."""
    moved = sum(line.state is State.FOLLOWS and line.of[0] != number for number, line in enumerate(lines))
    price = moved * log2(max(sources, 2)) + CROSSED * bool(moved)
    price += sum(
        1.0 if number >= sources else FAULT + 1 + log2(len(lines))
        for number, line in enumerate(lines)
        if line.state is State.STUCK
    )
    price += sum(FAULT + log2(8) for line in lines if line.state is State.INVERTED)
    price += sum(
        (FAULT * (len(line.of) - 1) + 1 + log2(comb(sources, len(line.of)))) / len(line.of)
        + (log2(max(sources, 2)) if number not in line.of else 0)
        for number, line in enumerate(lines)
        if line.state is State.JOINED
    )
    return price


def price_of_bits(wrong: int, of: int) -> float:
    """Return what it costs to say which bits are wrong.

    >>> price_of_bits(0, 65536), round(price_of_bits(1, 65536))
    (0.0, 20)
    """
    if not wrong:
        return 0.0
    ways = (lgamma(of + 1) - lgamma(wrong + 1) - lgamma(of - wrong + 1)) / log(2)
    return ways + log2(wrong + 1) + 3


def odds(prices: list[float]) -> list[float]:
    """Return the probabilities of explanations from their costs, if one of them is true.

    >>> odds([10.0, 11.0, 11.0])
    [0.5, 0.25, 0.25]
    """
    least = min(prices)
    weights = [2.0 ** (least - price) if price - least < 1000 else 0.0 for price in prices]
    return [weight / sum(weights) for weight in weights]


def price_of_nothing(dump: np.ndarray) -> float:
    """Return what it costs to write a dump down as it is, by how often each of its bytes occurs."""
    share = np.bincount(dump, minlength=256) / len(dump)
    share = share[share > 0]
    return float(-(share * np.log2(share)).sum()) * len(dump) + UNRELATED
