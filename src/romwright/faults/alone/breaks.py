"""Stretches that read FF, cut out of a dump at any address: a chip that stopped answering for a while.

Padding begins where a program ends, but it ends, as tables of FF do, at an even address: in 56 real ROM images no
stretch begins and ends at an odd one (tests/benchmarks/bench_alone.py counts them). A contact that opens and closes by
itself does both in a quarter of the stretches.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from romwright.faults.alone.signs import UNSOURCED, Dump, Sign
from romwright.findings import Code, Finding, Severity
from romwright.images.image import hex_range
from romwright.images.words import in_bytes

BREAKS = Code(
    "stretches-missing", Severity.CAUTION, "stretches that read FF begin or end where programs have their padding",
    "A chip that stops answering for a while leaves such holes; what should stand there was never read.",
    do="Read again and compare: holes that move are a contact or a supply that fails. Clean the pins, reseat, and do "
    "not touch the chip while it is read (common practice, no source).",
    example="2 stretches of FF begin and end at odd addresses: 4BEB-4CAC, 4E5F-4EE0",
)  # fmt: skip

FEWEST = 2  # stretches that begin and end at odd addresses
NAMED = 3
BESIDE, FEW_FF = (
    8,
    2,
)  # bytes on either side, which are a program's if hardly any is FF, and not padding with wrong bits
LETTERS = np.isin(np.arange(256), [0x20, *range(0x41, 0x5B), *range(0x61, 0x7B)])


def check_breaks(dump: Dump) -> Iterator[Sign]:
    """Find runs of FF that begin and end at odd addresses."""
    rows, data = dump.blanks, dump.data
    rows = rows[(data[rows[:, 0]] == 0xFF) & (rows[:, 0] >= BESIDE) & (rows[:, 1] <= len(data) - BESIDE)]
    sides = np.lib.stride_tricks.sliding_window_view(data == 0xFF, BESIDE) if len(rows) else data[:0]
    rows = rows[np.array([max(sides[a - BESIDE].sum(), sides[b].sum()) <= FEW_FF for a, b in rows], bool)]
    first, stop = dump.view.addresses(rows[:, 0]), dump.view.addresses(rows[:, 1] - 1) + 1
    odd = (first & 1 == 1) & (stop & 1 == 1)
    if odd.sum() < FEWEST:
        return
    in_text = int((LETTERS[data[rows[:, 0] - 1]] & LETTERS[data[rows[:, 1]]]).sum())
    names = [hex_range(int(a), int(b)) for a, b in zip(first[odd][:NAMED], stop[odd][:NAMED])]
    more = f" and {int(odd.sum()) - NAMED} more" * (int(odd.sum()) > NAMED)
    text = f"; {in_text} {'stands' if in_text == 1 else 'stand'} between two letters" * bool(in_text)
    lost = int((rows[:, 1] - rows[:, 0]).sum())
    yield Sign(
        Finding(
            BREAKS, f"{int(odd.sum())} stretches of FF begin and end at odd addresses: {', '.join(names)}{more}",
            f"of {len(rows)} stretches of FF within the dump, {in_bytes(lost)}; padding seldom does so, breaks at "
            f"random do in one of four{text}. Innocent in pictures and tables of FF",
            "read again and compare: holes that move are a contact or a supply that fails; clean the pins, reseat, "
            f"and do not touch the chip while it is read {UNSOURCED}",
        ),
        {"value": "FF", "stretches": len(rows), "odd": int(odd.sum()), "bytes": lost, "in_text": in_text,
         "places": [[int(a), int(b) - 1] for a, b in zip(first[odd], stop[odd])][:64]},
    )  # fmt: skip
