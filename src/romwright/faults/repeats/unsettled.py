"""Findings on repeated reads: what is not settled, and how many more reads would do."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from romwright.faults.causes import RESEAT, UNSOURCED, in_bits
from romwright.faults.diagnosis import BLANK
from romwright.faults.repeats.chances import MOST_READS
from romwright.findings import Code, Finding, Severity
from romwright.images.image import hex_range
from romwright.images.runs import is_uniform
from romwright.images.words import in_bytes

if TYPE_CHECKING:
    from romwright.faults.repeats.asides import Aside
    from romwright.faults.repeats.settling import Settlement

DISAGREE = Code(
    "reads-disagree", Severity.FAULT, "enough reads of a chip agree with each other",
    "If reads differ throughout and neither kind has a majority, nothing in them says which are right.",
    do="Reseat the chip and the adapter, check the wiring, and read at least three times more (reasoning, no "
    "source). Leave out a read that is known to be bad.",
    example="the reads differ throughout, in 2 kinds: neither can be called right",
)  # fmt: skip
UNDECIDED = Code(
    "bits-undecided", Severity.FAULT, "no bit is left undecided by the reads of a chip",
    "A tie settles nothing, and a bare majority of few reads is nearly as often wrong as right.",
    do="Read the chip again, seated anew, and give all reads to romwright settle.",
    example="2 bits are undecided",
)  # fmt: skip
EVEN = Code(
    "bits-about-even", Severity.FAULT, "no bit of a chip is read as 0 about as often as 1",
    "As it looks, no number of reads will settle such a bit.",
    do="Seat the chip anew, read slower and at other supplies (reasoning, no source), or take the bit from another "
    "chip with this ROM or from the ROM's own checksum.",
    example="1 bit read 0 about as often as 1",
)  # fmt: skip
MORE = Code(
    "more-reads", Severity.FAULT, "there are enough reads of a chip for the chance of a wrong bit that is allowed",
    "A cell that reads either way by chance looks stable in a few reads.",
    do="Read the chip again as often as is said, taken out and seated anew each time.",
    example="5 reads are not enough",
)  # fmt: skip
ONCE = Code(
    "read-once", Severity.FAULT, "every byte of a chip is in at least two reads",
    "Of what was read once it is not known whether it reads alike again.",
    do="Read all of the chip again.",
    example="256 bytes are in one read only",
)  # fmt: skip
ASIDE = Code(
    "read-set-aside", Severity.CAUTION, "all reads of a chip agree but for a few bits",
    "A read of another chip, or through a bad line, would spoil the majority of many bits.",
    do="Look at the reason that is given for that read: reseat the chip, set the reader to this type, and read once "
    "more.",
    example="U7-3.bin is set aside",
)  # fmt: skip
SAME = Code(
    "same-read-twice", Severity.CAUTION, "no file is given twice among reads of a chip",
    "The same file twice is no second read: it agrees with itself.",
    do="Read the chip once more, into a file of its own.",
    example="U7-1.bin is not counted",
)  # fmt: skip
NOWHERE = Code(
    "byte-in-no-read", Severity.CAUTION, "every byte of a chip is in some read",
    "What no read has stays undefined in the settled image.",
    do="Read all of the chip. If those addresses are never to be read, fill them with --fill when you write the image.",
    example="256 bytes are in no read",
)  # fmt: skip
NAMED = 4  # files and ranges that are named
REMEDIES = {
    "size": "read it again with the reader set to this chip",
    "addresses": "if it is this chip, read it again; romwright prepare can cut and move it",
    "blank": "look at the select, the supply and the contacts of that read, and read again",
    "lines": RESEAT,
    "other contents": "is it a read of this chip? romwright identify may know it; else read again",
}


def judge(found: Settlement) -> Iterator[Finding]:
    """Yield what is wrong with some reads, what hinders most first."""
    for file, of in found.given.same:
        yield Finding(
            SAME, f"{file} is not counted", f"it is the same read as {of}: the same file, or its name and its contents",
            "read the chip once more; a read of its own that happens to have this name needs another name",
        )  # fmt: skip
    if found.votes is None:
        yield disagree(found)
        return
    yield from asides(found.asides)
    settled = found.votes.settled[found.votes.known]
    if len(settled) > 1 and is_uniform(settled):
        yield Finding(
            BLANK, f"every byte of the chip reads {int(settled[0]):02X}", "",
            "check that the chip is selected (/CE, /OE, its select polarity) and supplied, then read again",
        )  # fmt: skip
    if found.wobble:
        yield found.wobble.finding()
    yield from undecided(found)
    if found.once:
        yield Finding(
            ONCE, f"{in_bytes(sum(b - a for a, b in found.once))} are in one read only", ranges(found.once),
            "read the chip again, all of it",
        )  # fmt: skip
    if found.gaps:
        yield Finding(NOWHERE, f"{in_bytes(sum(b - a for a, b in found.gaps))} are in no read", ranges(found.gaps))
    if not found.settled:
        yield more(found)


def asides(found: Sequence[Aside]) -> Iterator[Finding]:
    """Say which reads are set aside, those for one reason together."""
    together: dict[tuple[str, str], list[str]] = {}
    for each in found:
        together.setdefault((each.reason, each.detail), []).append(each.read.file)
    for (reason, detail), files in together.items():
        yield Finding(
            ASIDE, f"{named(files)} {'is' if len(files) == 1 else 'are'} set aside", detail, REMEDIES[reason]
        )  # fmt: skip


def undecided(found: Settlement) -> Iterator[Finding]:
    """Say which unstable bits are not settled, and which never will be."""
    if found.never:
        yield Finding(
            EVEN, f"{in_bits(len(found.never))} read 0 about as often as 1",
            f"each value in two fifths of the reads or more: {named(found.never)}",
            "no number of reads will settle such a bit if it goes on so: seat the chip anew, read slower and at other "
            f"supplies {UNSOURCED}, or take the bit from another chip with this ROM, or from the ROM's own checksum",
        )  # fmt: skip
    if found.undecided:
        tied = found.number("tied")
        yield Finding(
            UNDECIDED, f"{in_bits(found.undecided)} {'is' if found.undecided == 1 else 'are'} undecided",
            (f"{tied:,} tied; " * bool(tied))
            + f"the settled bits may be wrong with a chance of up to {chance(found.risk_unstable)}, "
            f"{chance(found.risk)} is allowed",
            "read the chip again",
        )  # fmt: skip


def more(found: Settlement) -> Finding:
    """Say that these reads are not enough, and how many would be."""
    n, left = found.fewest, len(found.never) or found.number("tied")
    if found.reads_needed is None:
        do = f"not even {MOST_READS:,} reads would do if the bits go on so: find the cause first"
    elif left:
        do = (
            f"for the other bits {found.reads_needed} reads in all would do if they go on so; for {in_bits(left)} that "
            "cannot be said yet"
        )
    elif found.unstable:
        do = f"about {found.reads_needed} reads in all would do if the bits go on so"
    else:
        do = f"{found.reads_needed} reads in all would do if they are alike too"
    counted = len(found.agreement.counted)
    some = f": some bytes are in {n} of them only" if n < counted else ""
    return Finding(
        MORE, f"{counted} reads are not enough{some}",
        f"any bit of the settled image may be wrong with a chance of up to {chance(found.risk_reached)}, "
        f"{chance(found.risk)} is allowed", do,
    )  # fmt: skip


def disagree(found: Settlement) -> Finding:
    """Say that no reads can be called right."""
    groups, blank = found.agreement.groups, found.agreement.blank
    do = f"{RESEAT}, at least three times"
    if found.agreement.votes:
        each = next(each for each in found.asides if each.loses)
        title = "the reads that agree may be the bad ones"
        seen = f"against {each.read.file}, {each.loses} in them: it has what they lose"
        do += f"; if {each.read.file} is known to be bad, leave it out"
    elif len(groups) == 1:
        title = "only one read is left"
        seen = f"{named([read.file for read in blank])} {'is' if len(blank) == 1 else 'are'} blank"
    else:
        neither = "neither" if len(groups) == 2 else "none"
        title = f"the reads differ throughout, in {len(groups)} kinds: {neither} can be called right"
        against = groups[0][0].file
        seen = "; ".join(
            f"{against} against {each.read.file}: {each.loses}" if each.loses
            else f"{each.read.file} against {against}: {each.detail}"
            for each in found.asides[:NAMED]
        )  # fmt: skip
    return Finding(DISAGREE, title, seen, do)


def named(files: Sequence[str]) -> str:
    """Return the names of files, the first few."""
    more = f" and {len(files) - NAMED} more" if len(files) > NAMED else ""
    return ", ".join(files[:NAMED]) + more


def ranges(found: Sequence[tuple[int, int]]) -> str:
    """Return ranges of addresses, the first few."""
    return named([hex_range(*each) for each in found])


def chance(value: float) -> str:
    """Write a chance in percent, with three digits that count.

    >>> chance(0.01), chance(0.001953), chance(1.0), chance(0.0000004)
    ('1%', '0.195%', '100%', '0.00004%')
    """
    percent = 100 * value
    if 0 < percent < 1e-6:
        return "<0.000001%"
    return f"{float(f'{percent:.3g}'):.8f}".rstrip("0").rstrip(".") + "%"
