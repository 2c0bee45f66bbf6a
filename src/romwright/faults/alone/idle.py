"""Address lines of a dump that reach nothing or are joined, and lines at whose one level nothing answers."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from romwright.faults.alone.pairs import FEWEST, VALUES, Pairs
from romwright.faults.alone.signs import BLANK, UNSOURCED, Dump, Sign
from romwright.faults.alone.still import together
from romwright.faults.causes import RESEAT
from romwright.faults.diagnosis import JOINED
from romwright.faults.lines import Law
from romwright.findings import Code, Finding, Severity
from romwright.images.words import in_bytes, listed

DEAD = Code(
    "line-reaches-nothing", Severity.FAULT, "a change of any address line changes what is read",
    "Half of the ROM was never read, and the other half was read twice.",
    do="Probe that line at the chip's pin while it is read. If it moves, a contact inside the chip is open; if not, "
    "clean and reseat the adapter, and look for a short to GND or VCC (common practice, no source).",
    example="A9 reaches nothing: changing it changes no byte",
)  # fmt: skip
DOUBLED = Code(
    "blocks-repeat", Severity.CAUTION, "no address line below the highest is without effect in large blocks",
    "A line that reaches nothing looks so, and so does a chip with several programs, each of them doubled.",
    do="Probe that line at the chip's pin while it is read, unless you know that the chip holds several programs, "
    "each twice.",
    example="A16 reaches nothing: changing it changes no byte",
)  # fmt: skip
REPEATS = Code(
    "image-repeats", Severity.NOTE, "the highest address lines of a dump have an effect",
    "An image is doubled to fill a bigger chip; but a line that reaches nothing repeats the ROM too.",
    do="Nothing, if the image was doubled to fill a bigger chip. Else probe that line at the chip's pin while it is "
    "read, and check which type the reader was set to.",
    example="the first 4,096 bytes come 2 times over (4K in a 8K image)",
)  # fmt: skip
UNSTEADY = Code(
    "repeats-differ", Severity.CAUTION, "what a dump shows twice is the same both times",
    "One cell read twice should give one value: cells near their limit, or two versions of one program, do not.",
    do="Read it several times and let romwright settle count the bits. If it reads the same each time, the copies "
    "are two versions.",
    example="the first 4,096 bytes come 2 times over (4K in a 8K image), but not quite equal",
)  # fmt: skip
SILENT = Code(
    "silent-by-address", Severity.FAULT, "a dump has contents at both levels of every address line",
    "The chip, or one of two, does not answer at that level: half of what it holds was not read.",
    do="Probe that line and the selects at the chip's pins while it is read; if two chips share the bus, see that "
    "both are selected in turn (common practice, no source).",
    example="reads FF wherever A8 is low",
)  # fmt: skip
PADDED = Code(
    "blocks-blank", Severity.CAUTION, "no large block of a dump is blank in one half as its neighbours are",
    "A chip that is silent at one level of a line looks so, and so do banks that are half full.",
    do="Probe that line and the selects at the chip's pins while it is read, unless you know that the chip's banks "
    "are half full (common practice, no source).",
    example="reads FF wherever A13 is high",
)  # fmt: skip
WORDS = Code(
    "words-half-zero", Severity.NOTE, "no byte of every word of 2, 4 or 8 bytes is 00",
    "Tables of small numbers look so, and so does a chip that is silent, its bus pulled down, at one level of a line.",
    do="Nothing, if the chip holds tables of small numbers. Else probe that line and the selects at the chip's pins "
    "while it is read (common practice, no source).",
    example="reads 00 wherever A1 is high",
)  # fmt: skip
HALF = Code(
    "half-blank", Severity.NOTE, "both halves of a dump have contents",
    "A small program in a bigger chip looks so, and so does a chip whose highest line only works at one level.",
    do="If the chip should be full, probe its highest line and the selects at the chip's pins while it is read "
    "(common practice, no source).",
    example="the upper half is blank: it reads FF",
)  # fmt: skip

SILENCE, SPEECH = 0.98, 0.95  # shares of blank bytes at the level that is silent, and at the other
BLOCK = 2048  # bytes: the smallest ROM that is likely to be one of several in a chip
WORD_LINES = 3  # address lines within a word
CONTENT = 0.3  # share of a block that is not blank, from which it has contents
BLOCKS, MOST_BLOCKS = 8, 0.8  # blocks with contents from which all others are judged; share of the banks that must have
BANKS = 2  # address lines above a block, up to which it may be a bank


def judged(dump: Dump) -> bool:
    """Whether a dump can be judged by its address lines."""
    return dump.whole and len(dump.data) >= 2 * FEWEST and np.count_nonzero(dump.tells & (dump.counts > 0)) >= VALUES


def check_address_lines(dump: Dump) -> Iterator[Sign]:
    """Find address lines that change nothing, that are joined, or at whose one level the dump is blank."""
    if judged(dump):
        pairs = Pairs(dump)
        idle = pairs.idle()
        yield from find_idle(dump, idle)
        for law in Law:
            for group in together(list(pairs.joined(law, idle))):
                yield joined(pairs, law, group)
        yield from find_silent(dump, pairs)


def find_idle(dump: Dump, idle: Sequence[int]) -> Iterator[Sign]:
    """Say which lines are idle: the highest together, each other one for itself."""
    top = dump.lines
    while top - 1 in idle:
        top -= 1
    if top < dump.lines:
        yield repeats(dump, list(range(top, dump.lines)))
    for banks in (False, True):
        if lost := [line for line in idle if line < top and may_be_banks(dump, line) == banks]:
            yield dead(dump, lost, banks)


def differing(dump: Dump, line: int) -> tuple[int, int]:
    """Count over the whole dump the pairs along a line in which a byte is no padding, and those that differ.

    Only pairs that differ are looked at one by one: of the others both bytes tell, or none.
    """
    step, data, tells = 1 << line, dump.data, dump.tells
    telling, wrong = int(dump.counts[tells].sum()), 0
    for start in range(0, len(data), max(1 << 18, 2 * step)):
        block = data[start : start + max(1 << 18, 2 * step)]
        whole = len(block) // (2 * step) * (2 * step)
        halves, rest = block[:whole].reshape(-1, 2, step), block[whole:]
        beyond = max(len(rest) - step, 0)  # bytes of the rest that have a partner
        telling -= int(tells[rest[beyond:step]].sum())
        for low, high in ((halves[:, 0], halves[:, 1]), (rest[:beyond], rest[step:])):
            differ = low != high
            first, second = tells[low[differ]], tells[high[differ]]
            telling -= int(first.sum()) + int(second.sum())
            wrong += int((first | second).sum())
    return wrong + telling // 2, wrong


def chance(dump: Dump) -> float:
    """Return how likely two bytes that are no padding are equal by chance."""
    share = dump.counts[dump.tells] / max(dump.counts[dump.tells].sum(), 1)
    return float(share @ share)


def repeats(dump: Dump, lines: Sequence[int]) -> Sign:
    """Say that an image is there twice, or more often, and whether it is the same each time."""
    names, period = [f"A{n}" for n in lines], 1 << lines[0]
    counted = [differing(dump, line) for line in lines]
    (told, wrong), most = counted[0], max(pair[1] for pair in counted)
    in_kib = not period % 1024 and not len(dump.data) % 1024
    kib = f" ({period >> 10}K in a {len(dump.data) >> 10}K image)" * in_kib
    evidence = (
        f"{told - wrong:,} of {told:,} pairs of bytes that differ only in {names[0]} and are no padding are equal; by "
        f"chance about {told * chance(dump):,.0f} would be"
    )
    facts = {"lines": names, "period": period, "pairs": told, "wrong": most}
    says = frozenset({("half", "both"), *(("address line", name) for name in names)} | {("repeat", str(period))})
    what = f"the first {period:,} bytes come {-(-len(dump.data) // period)} times over{kib}"
    if most:
        return Sign(
            Finding(
                UNSTEADY, f"{what}, but not quite equal",
                f"{evidence}. At {most:,} a second look at one cell may have given another value; or these are "
                "two versions of one program",
                f"read the chip three times and compare: bytes that change are cells near their limit {UNSOURCED}",
            ),
            facts, says,
        )  # fmt: skip
    verb = "has" if len(names) == 1 else "have"
    return Sign(
        Finding(
            REPEATS, what,
            f"{listed(names)} {verb} no effect: {evidence}. Right for a small program in a bigger chip, and for a "
            "chip read as a bigger one; else the line does not reach the chip",
            f"compare {in_bytes(period)} with what is printed on the chip; if it is bigger, probe {listed(names)} at "
            f"its pins while it is read {UNSOURCED}",
        ),
        facts, says,
    )  # fmt: skip


def may_be_banks(dump: Dump, line: int) -> bool:
    """Whether a line is so high that what repeats or is blank below may be a program in a bank of its own."""
    return 1 << line >= BLOCK and dump.lines - 1 - line <= BANKS


def dead(dump: Dump, lines: Sequence[int], banks: bool) -> Sign:
    """Say that lines below others that work change nothing."""
    names, one = [f"A{n}" for n in lines], len(lines) == 1
    counted = [differing(dump, line) for line in lines]
    told, wrong = max(counted, key=lambda pair: pair[1])
    innocent = f"Innocent if the chip holds programs of {in_bytes(1 << lines[0])}, each doubled" if banks else (
        "Innocent only in tables that hold everything twice"
    )  # fmt: skip
    but = f"; {wrong:,} differ" * bool(wrong)
    reach = "reaches nothing: changing it changes no byte" if one else "reach nothing: changing any changes no byte"
    moves = "it moves" if one else "they move"
    return Sign(
        Finding(
            DOUBLED if banks else DEAD, f"{listed(names)} {reach}",
            f"{told - wrong:,} of {told:,} pairs of bytes that differ only in {'it' if one else 'one of them'} and are "
            f"no padding are equal{but}; by chance about {told * chance(dump):,.0f} would be. {innocent}",
            f"probe {listed(names)} at the chip's pins while it is read: if {moves}, a contact inside is open; "
            f"if not, clean and reseat the adapter, and look for a short to GND or VCC {UNSOURCED}",
        ),
        {"lines": names, "state": "idle", "pairs": told, "wrong": wrong},
        frozenset(("address line", name) for name in names),
    )  # fmt: skip


def joined(pairs: Pairs, law: Law, group: Sequence[int]) -> Sign:
    """Say that lines are joined, with what was counted."""
    names, wins = [f"A{n}" for n in group], "low" if law is Law.AND else "high"
    a, b = group[0], group[1]
    high = pairs.pairs_high[a, b], pairs.wrong_high[a, b]
    low = pairs.pairs[a] - high[0], pairs.wrong[a] - high[1]
    quiet, free = (low, high) if law is Law.AND else (high, low)
    told, wrong, free_told, free_wrong = (int(n) for n in (*quiet, *free))
    counted = (
        f"with A{b} {wins}, A{a} changes {wrong:,} of {told:,} bytes looked at; with A{b} otherwise, {free_wrong:,} "
        f"of {free_told:,}"
    )
    return Sign(
        Finding(
            JOINED, f"{listed(names)} are joined: the {wins} one wins",
            f"{counted}; the same the other way round. Three of the four quarters that the two lines make are equal. "
            "Innocent only if one block was written three times on purpose",
            f"with the chip out, measure between {listed(names)} at the adapter and the reader: look for solder or "
            "a whisker; " + RESEAT,
        ),
        {"lines": names, "state": "joined", "law": str(law), "pairs": told, "wrong": wrong,
         "pairs_free": free_told, "wrong_free": free_wrong},
    )  # fmt: skip


def find_silent(dump: Dump, pairs: Pairs) -> Iterator[Sign]:
    """Find lines at whose one level the dump is blank."""
    high = pairs.levels.sum(axis=1)
    for value in BLANK:
        blank = (pairs.values == value).astype(np.float32)
        at_high = pairs.levels @ blank
        shares = np.stack([(blank.sum() - at_high) / np.maximum(blank.size - high, 1), at_high / np.maximum(high, 1)])
        for line in range(dump.lines):
            for level in (0, 1):
                likely = shares[level, line] >= SILENCE and shares[1 - level, line] <= SPEECH
                if likely and (line == dump.lines - 1 or in_all_blocks(dump, line, level)):
                    yield silent(dump, line, level, value, float(shares[level, line]), float(shares[1 - level, line]))


def in_all_blocks(dump: Dump, line: int, level: int) -> bool:
    """Whether blocks enough have contents where nothing is at the other level of a line: else one is simply short."""
    step = 1 << line
    blocks = dump.data[: len(dump.data) >> line + 1 << line + 1].reshape(-1, 2, step)[:, 1 - level]
    full = ((blocks != 0xFF) & (blocks != 0)).mean(axis=1) >= CONTENT
    return full.mean() >= MOST_BLOCKS if may_be_banks(dump, line) else full.sum() >= BLOCKS


def silent(dump: Dump, line: int, level: int, value: int, share: float, other: float) -> Sign:
    """Say that nothing answers at one level of a line."""
    side, facts = ("low", "high")[level], {"lines": [f"A{line}"], "level": level, "value": f"{value:02X}"}
    facts |= {"blank": round(share, 4), "blank_else": round(other, 4)}
    evidence = f"{share:.1%} of the bytes with A{line} {side} are {value:02X}, of the others {other:.1%}"
    probe = f"probe A{line} and the selects at the chip's pins while it is read {UNSOURCED}"
    if line == dump.lines - 1:
        half = ("lower", "upper")[level]
        facts |= {"half": half}
        return Sign(
            Finding(
                HALF, f"the {half} half is blank: it reads {value:02X}",
                f"{evidence}. Right for a small program in a bigger chip; else nothing answers there",
                f"if the chip should be full, {probe}",
            ),
            facts, frozenset({("half", half), ("fill", f"{dump.image.start + level * (1 << line)}+{1 << line}")}),
        )  # fmt: skip
    title = f"reads {value:02X} wherever A{line} is {side}"
    if not value and line < WORD_LINES:
        finding = Finding(
            WORDS, title,
            f"{evidence}. Right for numbers of {2 << line} bytes that are all small; else nothing answers there", probe,
        )  # fmt: skip
    elif not line or may_be_banks(dump, line):
        right = (
            f"banks of {2 << line >> 10}K that are half full" if line else "one of two chips that share a 16-bit word"
        )
        finding = Finding(PADDED, title, f"{evidence}. Right for {right}; else nothing answers there", probe)
    else:
        finding = Finding(SILENT, title, f"{evidence}. No program is so, unless its address lines are crossed", probe)
    return Sign(finding, facts)
