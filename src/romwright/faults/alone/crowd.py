"""Two ROMs that answer at once: where a low wins, a bit is 1 only if it is 1 in both.

Of two programs, each with a bit at 1 in nearly half of its bytes, a quarter of the bits is left, and the bits of a
byte hardly depend on each other any more. Programs alone have more ones, or lines that differ.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from romwright.faults.alone.signs import BLANK, UNSOURCED, Dump, Sign
from romwright.faults.alone.still import BITS
from romwright.findings import Code, Finding, Severity

CROWD = Code(
    "few-ones", Severity.CAUTION, "the bits of a dump are 1 about as often as those of a program",
    "Two chips that answer at once read as the AND of both: every byte may be wrong, and looks like a program's.",
    do="If two ROMs share these data lines, pull one and read again. Probe the /CE and /OE of both: they must never "
    "be active together.",
    example="few bits are 1, as if two ROMs answered at once",
)  # fmt: skip

FEWEST, VALUES = 1024, 64  # bytes that are neither FF nor 00, and byte values among them
MEAN, MOST = 0.32, 0.42  # share of ones: over all data lines, and on any one of them
BOUND = 0.56  # bits that the lines of a byte tell of each other


def check_crowd(dump: Dump) -> Iterator[Sign]:
    """Find a dump with as few ones as the AND of two programs."""
    counts = dump.counts.astype(np.float64)
    counts[0xFF] = 0
    bound = dependence(counts) if counts.sum() else 0.0
    counts[list(BLANK)] = 0
    total = counts.sum()
    if total < FEWEST or np.count_nonzero(counts) < VALUES:
        return
    ones = counts @ BITS / total
    if ones.mean() <= MEAN and ones.max() <= MOST and ones.min() > 0 and bound <= BOUND:
        each = " ".join(f"{share:.0%}" for share in ones)
        yield Sign(
            Finding(
                CROWD, "few bits are 1, as if two ROMs answered at once",
                f"of {int(total):,} bytes that are neither FF nor 00, D0 to D7 are 1 in {each}, where programs have "
                f"about half on some lines; the lines of a byte tell {bound:.2f} bits of each other, a program's "
                f"mostly over 0.6. Where a low wins against a high {UNSOURCED}, two leave a quarter of the ones. "
                "Innocent in tables of small numbers, pictures and sparse dots",
                "if two ROMs share these data lines, pull one and read again; probe the /CE and /OE of both: they must "
                "never be active together; romwright links predicts it for a board",
            ),
            {"bytes": int(total), "ones": [round(float(share), 4) for share in ones],
             "mean": round(float(ones.mean()), 4), "bound_bits": round(bound, 4)},
        )  # fmt: skip


def dependence(counts: np.ndarray) -> float:
    """Return how many bits the lines of a byte tell of each other: 0 if they are independent.

    >>> dependence(np.ones(256)), dependence(np.array([1.0, *[0] * 254, 1.0]))
    (0.0, 7.0)
    """
    share = counts / counts.sum()
    ones = share @ BITS
    alone = np.where(BITS, ones, 1 - ones).prod(axis=1)
    seen = share > 0
    return float(share[seen] @ np.log2(share[seen] / alone[seen]))
