"""What a search for corrections came to, in a technician's words, with what it does not prove."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from romwright.faults.causes import in_bits
from romwright.faults.repairs.corrections import Corrections, Digest
from romwright.faults.repairs.syndromes import Condition
from romwright.findings import Code, Finding, Severity
from romwright.images.image import hex_range
from romwright.images.words import in_bytes

WRONG = Code(
    "checksum-wrong", Severity.FAULT, "the checksums of a dump, as stated or as its header promises, hold",
    "A checksum that fails shows a bad read, a rotten chip, another version, or a checksum stated wrongly.",
    do="Read the chip again, reseated, and compare the two reads. Make sure that the checksum, its range and its "
    "place are as stated.",
    example="the sum16 over 0000-0FFF is 0AD5, not 0ABD",
)  # fmt: skip
NONE = Code(
    "no-correction", Severity.FAULT, "some correction within the bounds makes the checksums hold",
    "Then more bits are wrong than were tried, or other cells, or bits went the other way, or the checksum is not what "
    "was stated.",
    do="Read the chip again. Then allow more: --decay either, or more --bits; and make sure that the checksum, its "
    "range and its place are as stated.",
    example="no correction of up to 2 bits in 8,234 cells makes the checksums hold",
)  # fmt: skip
ONE = Code(
    "one-correction", Severity.CAUTION, "exactly one correction within the bounds makes the checksums hold",
    "Only one within the bounds is no proof: with more wrong bits than were tried the true one is not among them.",
    do="Check it against a second read or a known good copy, before you burn it.",
    example="one correction of up to 2 bits in 16,435 cells makes the checksums hold",
)  # fmt: skip
SEVERAL = Code(
    "several-corrections", Severity.CAUTION, "not more than one correction makes the checksums hold",
    "All fulfil the checksums alike: which one is true, if any, must come from somewhere else.",
    do="Do not choose by the rank alone. Another checksum (--sum), a second read (--read) or a list of weak cells "
    "(--weak) narrows the list.",
    example="1,042 corrections of up to 1 bit in 8,225 cells make the checksums hold; at most one is true",
)  # fmt: skip
UNSEEN = Code(
    "not-in-a-checksum", Severity.CAUTION, "every byte of a dump enters a checksum",
    "Bits that are wrong outside all checksums change none, so they are neither seen nor corrected.",
    do="Compare those bytes with a second read or a known good copy.",
    example="16 bytes enter no checksum: what is wrong there stays unseen",
)  # fmt: skip
SMALL = 1e-6  # chance of a wrong candidate below which one alone is not called doubtful in its title
LONG = 10**18
NARROW = "another checksum (--sum), a second read (--read) or a list of weak cells (--weak) narrows the list"


def wrong_sums(data: bytes, start: int, conditions: Sequence[Condition], digests: Sequence[Digest]) -> list[Finding]:
    """Say which checksums do not hold."""
    found = []
    for each in conditions:
        if not each.holds(data):
            text, wanted = each.kind.text, each.wanted(data)
            where = f", as stored at {hex_range(*(at + start for at in each.at))}" if each.value is None else ""
            found.append(Finding(
                WRONG, f"the {named(each, start)} is {text(each.computed(data))}, not {text(wanted)}{where}",
                f"a header says so; its bytes at {relied(each, start)} are taken to be right" if each.relied_on else "",
            ))  # fmt: skip
    found += [
        Finding(WRONG, f"the {each.name} of the whole dump is not {each.value}")
        for each in digests if not each.holds(data)
    ]  # fmt: skip
    return found


def relied(condition: Condition, start: int) -> str:
    """Return where the bytes of a header stand that promise a checksum."""
    return ", ".join(hex_range(begin + start, end + start) for begin, end in condition.relied_on)


def named(condition: Condition, start: int) -> str:
    """Name a checksum and its range, at the file's own addresses."""
    return f"{condition.kind.name} over {hex_range(*(each + start for each in condition.over))}"


def outcome(corrections: Corrections) -> Iterator[Finding]:
    """Say how many corrections there are, and what that does not prove."""
    count, most = corrections.count, corrections.most
    bounds = f"of up to {in_bits(most)} in {len(corrections.suspects):,} cells"
    more = f"more than {in_bits(most)} may be wrong"
    chance = chance_words(corrections)
    doubt = "; that is no proof that it is the true one" * (corrections.any_by_chance > SMALL)
    tried_words = "every one was looked at or counted" if len(corrections.suspects) else "no cell is left to turn"
    if not count:
        yield Finding(
            NONE, f"no correction {bounds} makes the checksums hold", tried_words,
            f"{more}, or other cells, or bits went the other way: read again, try --decay either or more --bits; make "
            "sure that the checksum, its range and its place are as stated",
        )  # fmt: skip
    elif count == 1:
        yield Finding(
            ONE, f"one correction {bounds} makes the checksums hold" + doubt, f"{chance}; {more}",
            "check it against a second read or a known good copy before you burn it",
        )  # fmt: skip
    else:
        yield Finding(
            SEVERAL, f"{counted(count)} corrections {bounds} make the checksums hold; at most one is true",
            f"{chance}; {more}", f"do not choose by the rank alone: {NARROW}",
        )  # fmt: skip


def chance_words(corrections: Corrections) -> str:
    """Say how many wrong corrections chance alone would let through."""
    tried, width = counted(corrections.tried), corrections.width
    if corrections.by_chance >= 1:
        said = f"about {counted(round(corrections.by_chance))} wrong ones would hold by chance"
    else:
        said = f"the chance that a wrong one holds is {corrections.any_by_chance:.2g}"
    said = f"{tried} correction{'s' * (corrections.tried != 1)} tried; {said} ({tried} / 2^{width})"
    return said if corrections.even else f"{said}, and more than that, since in a sum or XOR many bits do the same"


def counted(number: int) -> str:
    """Write a number whole, or, where it is too long to read, with its power of ten.

    >>> counted(5884009440), counted(10**40)
    ('5,884,009,440', '1.0e+40')
    """
    return f"{number:,}" if number < LONG else f"{number:.1e}"


def unseen(count: int) -> Finding:
    """Say how many bytes enter no checksum."""
    return Finding(UNSEEN, f"{in_bytes(count)} enter no checksum: what is wrong there stays unseen")
