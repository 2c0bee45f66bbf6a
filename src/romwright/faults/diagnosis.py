"""Findings on a comparison: what is wrong with the read, and what to do about it at the bench."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import TYPE_CHECKING

from romwright.faults.causes import RESEAT, UNSOURCED, find_causes, in_bits, slipped_behind
from romwright.faults.extent import check_assumed, check_size, check_start, shows_every_second
from romwright.faults.lines import LEVELS, Law, Line, State
from romwright.faults.search.spectrum import MOST_LINES
from romwright.findings import Code, Finding, Severity
from romwright.images.runs import is_uniform
from romwright.images.words import listed

if TYPE_CHECKING:
    import numpy as np

    from romwright.faults.comparison import Comparison

CROSSED = Code(
    "line-crossed", Severity.FAULT, "each line of a dump follows the line of its own number",
    "Every byte is right, but in another place, or with its bits in another order.",
    do="Check the wiring of the adapter line by line against the chip's pins, reseat, and read again (reasoning, no "
    "source).",
    example="A2 and A9 are crossed",
)  # fmt: skip
STUCK = Code(
    "line-stuck", Severity.FAULT, "no line of a dump stays at one level whatever is read",
    "A part of the ROM was never read, or a data bit is missing from every byte.",
    do="Check the contact of that line at the chip and the adapter, and the way to the reader for a short to GND or "
    "VCC; reseat and read again. If another chip shows it too, it is the reader (reasoning, no source).",
    example="A3 is stuck low",
)  # fmt: skip
JOINED = Code(
    "line-joined", Severity.FAULT, "no two lines of a dump are joined",
    "Addresses or bits at which the two lines should differ were never seen.",
    do="Look for solder or a whisker between the pins of the two lines, reseat the chip and the adapter, and read "
    "again (reasoning, no source).",
    example="A3 and A4 are joined",
)  # fmt: skip
INVERTED = Code(
    "line-inverted", Severity.FAULT, "no line of a dump is inverted",
    "One bit of every byte is wrong, or every byte is at the address that differs in that one line.",
    do="Look for an inverting buffer between the chip and the reader (reasoning, no source). If every data line is "
    "inverted, prepare --invert turns them back.",
    example="D6 is inverted",
)  # fmt: skip
UNEXPLAINED = Code(
    "not-explained", Severity.FAULT, "a dump is its reference read through lines that are crossed, stuck or joined",
    "It may be another ROM, or another version, or a read in which nothing answered.",
    do="Ask romwright identify what the dump is. If it should be this ROM, reseat the chip, read it again and "
    "compare the two reads.",
    example="no map of lines was found that makes this dump of that reference",
)  # fmt: skip
NO_REFERENCE = Code(
    "blank-reference", Severity.FAULT, "a reference has more than one byte value",
    "With nothing in it there is nothing to compare: perhaps the two files are exchanged.",
    do="Give the good image first and the dump second.",
    example="every byte of the reference is FF",
)  # fmt: skip
BLANK = Code(
    "reads-blank", Severity.FAULT, "a dump has more than one byte value",
    "Nothing was read: the chip is erased, was not selected, has no contact, or is not there.",
    do="Check that the chip is selected (/CE, /OE and the polarity of its selects) and supplied, and that it sits "
    "the right way round; then read again.",
    example="every byte of the dump is FF",
)  # fmt: skip
FEW_NAMED = 3  # lines in a row that are named one by one
FEW_MOVED = 4  # crossed lines that are named one by one
LOOKED_FOR = (
    "lines crossed in any order with up to three address lines stuck or joined, more of these where the other address "
    "lines run straight; address lines inverted; data lines stuck, joined or inverted; another start, with no address "
    "line at fault"
)


def diagnose(comparison: Comparison) -> Iterator[Finding]:
    """Yield what is wrong, what is surest first."""
    lines, residue = comparison.best.lines, comparison.residue
    if comparison.identical:
        return
    yield from check_size(comparison)
    yield from check_assumed(comparison)
    if uniform(comparison.reference):
        yield Finding(
            NO_REFERENCE, f"every byte of the reference is {int(comparison.reference[0]):02X}", "",
            "give the good image first, the dump second",
        )  # fmt: skip
        return
    if uniform(comparison.dump):
        value = int(comparison.dump[0])
        what = "the erased state of an EPROM, and what a bus that nobody drives often reads" if value == 0xFF else ""
        yield Finding(
            BLANK, f"every byte of the dump is {value:02X}", what,
            "check that the chip is selected (/CE, /OE, its select polarity) and supplied, then read again",
        )  # fmt: skip
        return
    if not comparison.explained and not residue.telling:
        yield unexplained(comparison)
        return
    slip = residue.slip if lines.start else None
    in_place = slip is not None and slip.in_front and slip.late == lines.start  # it does not start elsewhere
    yield from [slipped_behind(slip)] if in_place else check_start(comparison)
    yield from check_lines(lines.address, "A", "the ROM", comparison)
    yield from check_lines(lines.data, "D", "the reader", comparison)
    if not in_place:
        yield from find_causes(residue)


def uniform(data: np.ndarray) -> bool:
    """Tell whether there are several bytes, all the same."""
    return len(data) > 1 and is_uniform(data)


def unexplained(comparison: Comparison) -> Finding:
    """Say that nothing was found, and among what."""
    looked = LOOKED_FOR if comparison.reader_lines <= MOST_LINES else "only straight lines, as it is over 4 MiB"
    return Finding(
        UNEXPLAINED, "no map of lines was found that makes this dump of that reference",
        f"with all lines straight {comparison.best.residual:,} of {8 * len(comparison.dump):,} bits are wrong; "
        f"looked for: {looked}",
        "romwright identify may know the dump; if it should be this ROM, read it again and compare the two reads",
    )  # fmt: skip


def check_lines(lines: Sequence[Line], letter: str, side: str, comparison: Comparison) -> Iterator[Finding]:
    """Find lines of one side that do not follow their own."""
    width = comparison.reader_lines if letter == "A" else 8
    if letter == "A" and shows_every_second(comparison):
        return
    for level in (0, 1):
        held = [n for n, line in enumerate(lines[:width]) if line.state is State.STUCK and line.level == level]
        if held:
            yield stuck(held, level, letter, comparison.residue.dump)
    turned = [n for n, line in enumerate(lines) if line.state is State.INVERTED]
    if turned:
        yield inverted(lines, turned, letter)
    for line, members in groupby(sorted((line for line in lines if line.law), key=lambda line: line.of)):
        yield joined(line, [f"{letter}{n}" for n, each in enumerate(lines) if each == line], len(list(members)), letter)
    moved = [n for n, line in enumerate(lines) if line.state is State.FOLLOWS and line.of[0] != n]
    if moved:
        yield crossed(lines, moved, letter, side)


def named(numbers: Sequence[int], letter: str) -> tuple[str, str]:
    """Return the names of lines, and the verb that goes with them.

    >>> named([3], "A"), named([0, 1, 2], "D"), named([2, 4, 5, 6, 7], "A")
    (('A3', 'is'), ('D0, D1 and D2', 'are'), ('A2 and A4-A7', 'are'))
    """
    names: list[str] = []
    for _, run in groupby(enumerate(numbers), lambda each: each[1] - each[0]):
        lines = [f"{letter}{number}" for _, number in run]
        names += lines if len(lines) <= FEW_NAMED else [f"{lines[0]}-{lines[-1]}"]
    verb = "is" if len(numbers) == 1 else "are"
    return listed(names), verb


def stuck(numbers: Sequence[int], level: int, letter: str, dump: np.ndarray) -> Finding:
    """Say that lines do not move, all at one level."""
    names, verb = named(numbers, letter)
    if letter == "D":
        others = sum(int(((dump >> number & 1) != level).sum()) for number in numbers)
        reads = f"it reads {level}" if len(numbers) == 1 else f"each reads {level}"
        what = f"{reads} in every byte" if not others else f"{reads} but for {in_bits(others)}"
        do = f"check the contact at the chip and the adapter, and the reader's input: compare another chip {UNSOURCED}"
    else:
        any_of = "any of them" if len(numbers) > 1 else names
        what = f"nothing of the ROM with {any_of} {LEVELS[1 - level]} was read"
        rail = "VCC, or for an open line that is pulled up" if level else "GND"
        do = f"check the contact of {names} and the way to the reader for a short to {rail} {UNSOURCED}"
    return Finding(STUCK, f"{names} {verb} stuck {LEVELS[level]}", what, do)


def inverted(lines: Sequence[Line], numbers: Sequence[int], letter: str) -> Finding:
    """Say that lines are inverted."""
    names, verb = named(numbers, letter)
    shown, _ = named([lines[number].of[0] for number in numbers], letter)
    what = f"{'it is' if len(numbers) == 1 else 'they are'} the opposite of "
    what += f"{shown} of the ROM in every byte" if letter == "D" else f"the reader's {shown}"
    do = f"look for an inverting buffer between the chip and the reader {UNSOURCED}"
    if letter == "D" and len(numbers) == len(lines):
        do += "; romwright prepare --invert turns every bit"
    elif letter == "A" and numbers == [0]:
        what += ": the two bytes of each 16-bit word are exchanged"
        do = f"if the program is made of 16-bit words, romwright prepare --swap 2 exchanges them back; else {do}"
    elif letter == "A" and numbers == [len(lines) - 1]:
        what += ": the two halves are exchanged"
    return Finding(INVERTED, f"{names} {verb} inverted", what, do)


def joined(line: Line, names: Sequence[str], count: int, letter: str) -> Finding:
    """Say that lines are joined."""
    them = " and ".join(names)
    wins = LEVELS[0] if line.law is Law.AND else LEVELS[1]
    carried = " and ".join(f"{letter}{source}" for source in line.of)
    carried = f"the reader's {carried}" if letter == "A" else f"{carried} of the ROM"
    what = f"where {carried} differ, {'both' if count == 2 else 'all'} are {wins} ({line.law.upper()})"
    return Finding(JOINED, f"{them} are joined", what, "look for solder or a whisker between their pins; " + RESEAT)


def crossed(lines: Sequence[Line], moved: Sequence[int], letter: str, side: str) -> Finding:
    """Say which lines are crossed."""
    pairs = {
        frozenset((n, lines[n].of[0])) for n in moved if lines[n].of[0] in moved and lines[lines[n].of[0]].of == (n,)
    }
    names = [f"{letter}{n}" for n in moved]
    way = ", ".join(f"{letter}{n} follows {letter}{lines[n].of[0]}" for n in moved)
    if 2 * len(pairs) == len(moved) and len(pairs) <= 2:
        title = "; ".join(
            " and ".join(f"{letter}{n}" for n in sorted(pair)) + " are crossed" for pair in sorted(pairs, key=min)
        )
    elif len(moved) <= FEW_MOVED:
        title = f"{listed(names)} are crossed" if len(names) > 1 else f"{way}"
    else:
        kind = "address" if letter == "A" else "data"
        title = f"{len(moved)} of {len(lines)} {kind} lines are crossed"
    return Finding(CROSSED, title, f"{'of the ROM' if letter == 'A' else 'at the reader'}: {way}", RESEAT)
