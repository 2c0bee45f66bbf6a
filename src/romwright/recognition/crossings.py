"""A dump that becomes a program once its data lines are crossed or inverted: a hint at a wrong wiring, no more.

Only simple slips are tried: two lines exchanged, all in reverse order, the halves of the byte exchanged, one line or
all inverted. Each try is one more chance to be fooled, so its evidence must outweigh the number of tries.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cache
from itertools import combinations
from math import log2

from romwright.findings import Code, Finding, Severity
from romwright.images import runs
from romwright.recognition.cpus import NEEDED, Judgement, judge_cpus

IF_CROSSED = Code(
    "cpu-if-crossed", Severity.NOTE, "a dump is no program until its data lines are crossed or inverted",
    "Data lines exchanged on a board or an adapter, or an inverting buffer, hide a program from its CPU, and from us.",
    do="Compare the data pins of chip, adapter and reader with the data sheet. If the board itself crosses or "
    "inverts them, the chip is right as it is.",
    example="with all data lines inverted it would look like a program for the 6502",
)  # fmt: skip

LARGEST = 1 << 18  # bytes of an image that is tried
MARGIN = 10.0  # bits by which the score must rise over that of the dump as it is
EVIDENCE = 2  # statements shown


@cache
def slips() -> tuple[tuple[str, bytes], ...]:
    """Return the slips that are tried, in words, with the byte that each makes of every byte.

    >>> len(slips()), slips()[0][0], slips()[0][1][:4].hex()
    (39, 'D0 and D1 exchanged', '00020103')
    """
    straight = list(range(8))
    orders = []
    for a, b in combinations(straight, 2):
        order = straight.copy()
        order[a], order[b] = b, a
        orders.append((f"D{a} and D{b} exchanged", order, 0))
    orders += [
        ("D0 to D7 in reverse order", straight[::-1], 0),
        ("D0-D3 and D4-D7 exchanged", [4, 5, 6, 7, 0, 1, 2, 3], 0),
    ]
    orders += [("all data lines inverted", straight, 0xFF), *((f"D{n} inverted", straight, 1 << n) for n in straight)]
    return tuple(
        (words, bytes(sum((value >> source & 1) << n for n, source in enumerate(order)) ^ turn for value in range(256)))
        for words, order, turn in orders
    )


def find_crossings(data: bytes, start: int, judged: Sequence[Judgement]) -> Iterator[Finding]:
    """Say with which slip undone a dump looks like a program, if it does not as it is."""
    if not judged or len(data) > LARGEST or any(judgement.cpu != "unknown" for judgement in judged):
        return
    needed = max(NEEDED + log2(len(slips())), judged[0].score + MARGIN)
    tries = [(judge_cpus(data.translate(table), start)[0], words, table) for words, table in slips()]
    good = [(one, words, table) for one, words, table in tries if one.cpu != "unknown" and one.score >= needed]
    if not good:
        return
    best, words, table = max(good, key=lambda each: each[0].score)
    others = [f"{words} ({one.score:.0f})" for one, words, _ in good if one is not best]
    text, text_now = (f"{runs.text_share(each):.1%}" for each in (data.translate(table), data))
    beside = f"; nearly as good: {', '.join(others[:3])}" if others else ""
    yield Finding(
        IF_CROSSED, f"with {words} it would look like a program for the {best.cpu}",
        f"evidence score {best.score:.0f} instead of {judged[0].score:.0f}; {needed:.0f} needed, as "
        f"{len(tries)} slips were tried: {'; '.join(best.evidence[:EVIDENCE])}; text in {text} of the "
        f"bytes instead of {text_now}{beside}. A hint, no proof",
        "compare the data pins of chip, adapter and reader with the data sheet; if the board crosses them, the chip is "
        "right as it is",
    )  # fmt: skip
