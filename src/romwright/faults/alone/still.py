"""Data lines that never move, or never differ: told from which byte values occur in a dump, nothing else.

A line is held against the others: of V patterns on them, each could come with the line low or high. If it were free,
all of them would agree with a chance of 1 in 2 to the V.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

import numpy as np

from romwright.faults.alone.signs import BLANK, UNSOURCED, Dump, Sign, all_lines, one_in
from romwright.faults.causes import RESEAT
from romwright.faults.diagnosis import JOINED, STUCK
from romwright.faults.lines import LEVELS
from romwright.findings import Code, Finding, Severity
from romwright.images import runs
from romwright.images.words import in_bytes, listed

STILL = Code(
    "line-still", Severity.CAUTION, "every data line of a dump moves, those at the edge of the byte too",
    "A dead line looks so, and so do bytes that are narrower: 7-bit text, a 4-bit PROM, dots of characters.",
    do="If the chip should hold a program, probe those lines at the chip and at the reader while it is read, and "
    "reseat (reasoning, no source). A table or a narrow PROM may be so.",
    example="D6 and D7 never move: D6 and D7 always high",
)  # fmt: skip
TEXT = Code(
    "seven-bit-text", Severity.NOTE, "D7 moves in a dump that is not text",
    "Plain text has D7 low in every byte, so it cannot show whether D7 works.",
    do="Nothing, if the chip should hold only text. Else probe D7 at the chip while it is read.",
    example="D7 is low in every byte, as in plain text",
)  # fmt: skip
NOTHING = Code(
    "one-value", Severity.CAUTION, "a dump has more than one byte value",
    "A blank chip reads so, and so does a chip that does not answer.",
    do="Probe /CE and /OE while the chip is read, look at its supply pins and at the polarity of its selects. Read "
    "the empty socket too: if that gives the same, nothing was read.",
    example="every byte is FF",
)  # fmt: skip

PATTERNS = 24  # on the other lines, from which a line is judged
EDGE_PATTERNS = 12
FEWEST = 256  # bytes
SPOILT, JOINED_SPOILT = 0.005, 0.01  # share of the bytes that may be wrong
MOVES = 0.02  # share of the bytes with the rarer level, from which a line can be compared with another
TEXT_SHARE = 0.9
BITS = np.arange(256)[:, None] >> np.arange(8) & 1
PRINTABLE = np.isin(np.arange(256), [*range(0x20, 0x7F), 0x09, 0x0A, 0x0D, 0x00, 0xFF])
READS = {
    0xFF: "the erased state of an EPROM, or nothing on the bus: a line with a pull-up, or TTL inputs left open, read 1",
    0x00: "the blank state of some PROMs, a wiped file, or nothing on the bus: lines with pull-downs read 0",
}


def check_one_value(dump: Dump) -> Iterator[Sign]:
    """Find a dump in which every byte is the same."""
    value, size = int(dump.counts.argmax()), len(dump.data)
    if dump.counts[value] == size >= runs.FILL_LEAST:
        where = READS.get(value, "nothing that a chip is delivered with: a bus that nobody drives may read so")
        yield Sign(
            Finding(
                NOTHING, f"every byte is {value:02X}", f"{in_bytes(size)}: {where} {UNSOURCED}",
                "if the chip should hold a program: probe /CE and /OE while it is read, look at its supply pins and at "
                "the polarity of its selects; read the empty socket: if that gives the same, nothing was read",
            ),
            {"value": f"{value:02X}"}, all_lines() | {("erased", ""), ("fill", f"{dump.image.start}+{size}")},
        )  # fmt: skip


def check_stuck(dump: Dump) -> Iterator[Sign]:
    """Find data lines that stay at one level wherever the dump is not blank: those at the ends of the byte together."""
    counts = dump.counts.copy()
    counts[list(BLANK)] = 0
    still = {n: level for n in range(8) if (level := still_at(counts, n)) is not None}
    still = {n: level for n, level in still.items() if still_at(dump.told, n) == level}
    if not still:
        return
    edge = edges(still)
    mask = sum(1 << n for n in range(8) if n not in still)
    others = len(np.unique(np.flatnonzero(dump.told) & mask))
    for n, level in still.items():
        wrong = int(dump.told @ (BITS[:, n] != level))
        if n not in edge and others >= PATTERNS and dump.told.sum() >= FEWEST:
            yield stuck(dump, n, level, others, wrong)
    enough = others >= EDGE_PATTERNS and dump.told.sum() >= FEWEST
    wrong = max((int(dump.told @ (BITS[:, n] != still[n])) for n in edge), default=0)
    if edge and enough and wrong <= SPOILT * dump.told.sum():
        yield at_edge(dump, {n: still[n] for n in sorted(edge)}, others, wrong)


def still_at(counts: np.ndarray, line: int) -> int | None:
    """Return the level at which a line stays but for a few wrong bytes; None if it moves."""
    ones, total = int(counts @ BITS[:, line]), int(counts.sum())
    if not total:
        return None
    return next((level for level, other in ((0, ones), (1, total - ones)) if other <= SPOILT * total), None)


def edges(still: dict[int, int]) -> set[int]:
    """Return the still lines that lie together at an end of the byte: what is narrower than 8 bits looks so."""
    top = next((n for n in range(7, -1, -1) if n not in still), -1)
    low = next((n for n in range(8) if n not in still), 8)
    return {n for n in still if n > top or n < low}


def stuck(dump: Dump, line: int, level: int, others: int, wrong: int) -> Sign:
    """Say that a line between lines that move does not."""
    but = f" but in {in_bytes(wrong)}" * bool(wrong)
    return Sign(
        Finding(
            STUCK, f"D{line} is stuck {LEVELS[level]}",
            f"it reads {level} in {in_bytes(int(dump.told.sum()))} that are not blank{but}, with {others} patterns on "
            f"the other lines; were it free, all would agree by chance {one_in(others)}. "
            "Innocent only in tables or dots that leave this bit out",
            f"probe D{line} at the chip and at the reader while it is read: if it moves at the chip, clean and reseat "
            f"the adapter; if not, look for a short to {('GND', 'VCC')[level]}; if another chip has D{line} so too, "
            f"it is the reader {UNSOURCED}",
        ),
        {"lines": [f"D{line}"], "state": "stuck", "level": level, "bytes": int(dump.told.sum()), "wrong": wrong,
         "patterns": others, "chance_bits": others},
        frozenset({("data bit", f"D{line}")}),
    )  # fmt: skip


def at_edge(dump: Dump, still: dict[int, int], others: int, wrong: int) -> Sign:
    """Say that lines at the edge do not move, and what else that may be."""
    told, names = int(dump.told.sum()), [f"D{n}" for n in still]
    printable = int(dump.told @ PRINTABLE) / told
    facts = {"lines": names, "state": "still", "levels": list(still.values()), "bytes": told, "wrong": wrong,
             "patterns": others, "chance_bits": others * len(still), "text_share": round(printable, 4)}  # fmt: skip
    says = frozenset(("data bit", name) for name in names)
    but = f"all but {in_bytes(wrong)}" if wrong else "every byte"
    if still == {7: 0} and printable >= TEXT_SHARE:
        finding = Finding(
            TEXT, f"D7 is low in {but}, as in plain text",
            f"{printable:.1%} of the bytes are printable; text does not show whether D7 works",
            "nothing, if the chip should hold only text; else probe D7 at the chip while it is read",
        )  # fmt: skip
        return Sign(finding, facts, says)
    levels = [f"{listed([f'D{n}' for n in still if still[n] == level])} always {LEVELS[level]}"
              for level in (0, 1) if level in still.values()]  # fmt: skip
    never = "never moves" if len(still) == 1 else "never move"
    innocent = f"a PROM of {8 - len(still)} bits, a table of smaller numbers, or the dots of characters"
    innocent = f"7-bit codes ({printable:.1%} are printable here), {innocent}" if still == {7: 0} else innocent
    return Sign(
        Finding(
            STILL, f"{listed(names)} {never}: {' and '.join(levels)}",
            f"in {but} of {told:,} that are not blank, with {others} patterns on the other lines; were "
            f"{'it' if len(still) == 1 else 'they'} free, all would agree by chance {one_in(others * len(still))}. "
            f"A line is stuck, or the contents are so: {innocent}",
            f"if this is a program, probe {listed(names)} at the chip and at the reader while it is read, and reseat "
            f"{UNSOURCED}",
        ),
        facts, says,
    )  # fmt: skip


def check_joined(dump: Dump) -> Iterator[Sign]:
    """Find data lines that are the same in every byte."""
    differ = [dump.counts @ (BITS[:, a] != BITS[:, b]) for a, b in combinations(range(8), 2)]
    if min(differ) > JOINED_SPOILT * len(dump.data):
        return
    counts, total = dump.told, int(dump.told.sum())
    ones = counts @ BITS / max(total, 1)
    moving = [n for n in range(8) if MOVES <= ones[n] <= 1 - MOVES]
    wrong = {(a, b): int(counts @ (BITS[:, a] != BITS[:, b])) for a, b in combinations(moving, 2)}
    equal = [pair for pair, count in wrong.items() if count <= JOINED_SPOILT * total]
    for group in together(equal):
        mask = sum(1 << n for n in group)
        same = np.flatnonzero(counts)[np.isin(np.flatnonzero(counts) & mask, (0, mask))]
        patterns = len(same)
        if patterns < PATTERNS or total < FEWEST:
            continue
        spoilt = max(wrong[pair] for pair in combinations(group, 2) if pair in wrong)
        names = [f"D{n}" for n in group]
        rest = float(np.mean([ones[n] for n in moving if n not in group] or [0.5]))
        share = float(ones[group[0]])
        law = "the low one wins" if share < rest else "the high one wins"
        but = f" but in {in_bytes(spoilt)}" * bool(spoilt)
        yield Sign(
            Finding(
                JOINED, f"{listed(names)} are joined",
                f"they are equal in {in_bytes(total)} that are not blank{but}, in {patterns} different bytes; were "
                f"they free, all would agree by chance {one_in(patterns)}. They are 1 in {share:.0%} of the "
                f"bytes, the other lines in {rest:.0%}: rather as if {law}. Innocent only in dots drawn double",
                f"with the chip out, measure between {listed(names)} at the adapter: look for solder or a whisker; "
                + RESEAT,
            ),
            {"lines": names, "state": "joined", "bytes": total, "wrong": spoilt, "patterns": patterns,
             "chance_bits": patterns, "ones": round(share, 4), "ones_of_others": round(rest, 4)},
            frozenset(("data bit", name) for name in names[1:]),
        )  # fmt: skip


def together(pairs: list[tuple[int, int]]) -> list[list[int]]:
    """Return the groups that pairs make.

    >>> together([(0, 1), (1, 4), (2, 3)])
    [[0, 1, 4], [2, 3]]
    """
    groups: list[set[int]] = []
    for pair in pairs:
        met = [group for group in groups if group & set(pair)]
        groups = [group for group in groups if group not in met] + [set(pair).union(*met)]
    return sorted(map(sorted, groups))
