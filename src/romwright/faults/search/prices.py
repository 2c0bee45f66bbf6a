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
RELATED = 0.2  # share of the bits of a page that may be wrong, at first
FEW = 0.05  # share of the bits of a page up to which it is related in any case
PAGE = 256  # bytes that are taken together
PAGE_BITS = 8 * PAGE
SHIFTED = 24.0  # that the dump starts elsewhere


def price_of_map(lines: LineMap, reader_lines: int) -> float:
    """Return what it costs to say how the lines run, for a reader with so many address lines."""
    address = price_of_lines(lines.address, max(reader_lines, 1))
    return address + price_of_lines(lines.data, 8) + price_of_start(lines)


def price_of_start(lines: LineMap) -> float:
    """Return what it costs to say where a dump starts; the middle is little dearer than the highest line inverted."""
    if lines.beyond is None and 2 * abs(lines.start) == 1 << len(lines.address):
        return FAULT + log2(len(lines.address)) + 1
    return SHIFTED * bool(lines.start or lines.beyond is not None)


def price_of_lines(lines: tuple[Line, ...], sources: int) -> float:
    """Return what it costs to say how the lines of one side run; lines that the reader does not have cost little."""
    single = (State.FOLLOWS, State.INVERTED)
    moved = sum(line.state in single and line.of[0] != number for number, line in enumerate(lines))
    price = moved * log2(max(sources, 2)) + CROSSED * bool(moved)
    price += sum(
        1.0 if number >= sources else FAULT + 1 + log2(len(lines))
        for number, line in enumerate(lines)
        if line.state is State.STUCK
    )
    price += sum(FAULT + log2(len(lines)) for line in lines if line.state is State.INVERTED)
    price += sum(
        (FAULT * (len(line.of) - 1) + 1 + log2(comb(sources, len(line.of)))) / len(line.of)
        + (log2(max(sources, 2)) if number not in line.of else 0)
        for number, line in enumerate(lines)
        if line.state is State.JOINED
    )
    return price


def price_of_wrong(wrong: np.ndarray, page_prices: np.ndarray) -> float:
    """Return what it costs to say which bits are wrong, from how many are in each page.

    A page that has little to do with what is expected costs what it takes to write it down as it is: none of its bits
    is evidence. Else the bits of another version would seem to speak for whatever map fits them by chance.

    >>> prices = np.full(32, 1600.0)
    >>> price_of_wrong(np.zeros(32), prices), round(price_of_wrong(np.array([1] + [0] * 31), prices))
    (0.0, 20)
    >>> round(price_of_wrong(np.array([900] + [0] * 31), prices))
    1609
    """
    total = int(wrong.sum())
    if not total:
        return 0.0
    related = wrong <= RELATED * PAGE_BITS
    for _ in range(2):
        bits, of = int(wrong[related].sum()), max(int(related.sum()), 1) * PAGE_BITS
        rate = (bits + 0.5) / (of + 1)
        alone = wrong * log2(1 / rate) - (PAGE_BITS - wrong) * log2(1 - rate)
        related = (alone < page_prices) | (wrong <= FEW * PAGE_BITS)
    bits, pages = int(wrong[related].sum()), int(related.sum())
    price = price_of_choice(bits, pages * PAGE_BITS) + price_of_choice(len(wrong) - pages, len(wrong))
    return price + float(page_prices[~related].sum())


def price_of_choice(chosen: int, of: int) -> float:
    """Return what it costs to say how many are chosen, and which."""
    if not chosen:
        return 0.0
    ways = (lgamma(of + 1) - lgamma(chosen + 1) - lgamma(of - chosen + 1)) / log(2)
    return ways + log2(chosen + 1) + 3


def odds(prices: list[float]) -> list[float]:
    """Return the probabilities of explanations from their costs, if one of them is true.

    >>> odds([10.0, 11.0, 11.0])
    [0.5, 0.25, 0.25]
    """
    least = min(prices)
    weights = [2.0 ** (least - price) if price - least < 1000 else 0.0 for price in prices]
    return [weight / sum(weights) for weight in weights]


def prices_of_pages(dump: np.ndarray) -> np.ndarray:
    """Return what it costs to write down each page of a dump as it is: value and length of each run of bytes."""
    starts = np.flatnonzero(np.concatenate(([True], dump[1:] != dump[:-1])))
    share = np.bincount(dump[starts], minlength=256) / len(starts)
    value = -np.log2(share, out=np.zeros(256), where=share > 0)
    lengths = np.diff(starts, append=len(dump))
    run_prices = value[dump[starts]] + 1 + 2 * np.log2(lengths)
    return np.bincount(starts // PAGE, run_prices, minlength=-(-len(dump) // PAGE))
