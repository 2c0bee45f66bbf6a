"""Why a read is set aside: its size, its addresses, nothing in it, a line in that read only, other contents."""

from __future__ import annotations

from collections.abc import Iterator

from msgspec import Struct
from msgspec.structs import replace

from romwright.faults.comparison import Comparison, compare
from romwright.faults.lines import State
from romwright.faults.repeats.agreement import Agreement, Walk, plain
from romwright.faults.repeats.reads import Read, compatible
from romwright.images.formats import raw
from romwright.images.image import Image, hex_range
from romwright.images.words import in_bytes

LOOKED_INTO = 8  # groups beside the first that are compared with it, line by line
LOOKED_AT = 1 << 20  # bytes of them, together: to compare one of 256 KiB takes a second or two
MOST_NAMED = 3  # faults of lines that are named
OF_LINES = {"line-crossed", "line-stuck", "line-joined", "line-inverted", "starts-elsewhere"}
NOW_AND_THEN = {"contact-comes-and-goes"}
LOSING = (State.STUCK, State.JOINED)


class Aside(Struct, frozen=True):
    """A read that is not counted: `reason` is one of a few words, `detail` says it for people.

    `loses` is what the reads that it was compared with lose against it: then they may be the bad ones.
    """

    read: Read
    reason: str  # size, addresses, blank, lines, other contents
    detail: str
    loses: str = ""


def set_aside(agreement: Agreement, walk: Walk = plain) -> Iterator[Aside]:
    """Say of each read outside the first group why it does not agree with that group."""
    first, *others = agreement.groups
    against = replace(first[0], image=agreement.votes.image) if agreement.votes else first[0]
    for read in agreement.blank:
        value = read.image.segments[0].data[0]
        yield Aside(read, "blank", f"every byte reads {value:02X}: nothing answered, or there was no contact")
    left = LOOKED_AT
    for number, group in enumerate(walk(others, "looking for the reason")):
        left -= max(group[0].image.span_bytes, against.image.span_bytes)
        found = reason_of(against, group[0], number < LOOKED_INTO and left >= 0)
        yield from (replace(found, read=read) for read in group)


def reason_of(against: Read, read: Read, look: bool) -> Aside:
    """Say why a read does not agree with another; unless `look`, its lines are not looked into."""
    one, other = against.image, read.image
    if raw.NAME == read.format == against.format and read.size != against.size:
        reason, known = "size", f"it has {in_bytes(read.size)}, not {against.size:,}"
    elif not compatible(against, read):
        reason, known = "addresses", f"it has {spans(other)}, not {spans(one)}"
    else:
        reason, known = "", ""
        start, stop = max(one.start, other.start), min(one.stop, other.stop)
        one, other = one.cut(start, stop), other.cut(start, stop)
    if not look:
        return Aside(read, reason or "other contents", known or "it differs throughout; its lines were not looked into")
    comparison = compare(one, other)
    if reason and not comparison.plain[0]:
        return Aside(read, reason, f"{known}; counted from the first byte, the bytes that both have are equal")
    if reason:
        return Aside(read, reason, "; ".join(filter(None, (known, in_lines(comparison)))))
    if lines := in_lines(comparison):
        return Aside(read, "lines", lines)
    back = compare(other, one)
    loses = any(line.state in LOSING for line in (*back.best.lines.address, *back.best.lines.data))
    loses = in_lines(back) if loses and back.certain else ""
    return Aside(read, "other contents", in_lines(comparison, NOW_AND_THEN) or in_bits(comparison), loses)


def in_lines(comparison: Comparison, codes: set[str] = OF_LINES) -> str:
    """Say what is wrong with the lines, where that is what the comparison says."""
    titles = [finding.title for finding in comparison.findings if finding.code.name in codes]
    more = f" and {len(titles) - MOST_NAMED} more" if len(titles) > MOST_NAMED else ""
    return "; ".join(titles[:MOST_NAMED]) + more


def in_bits(comparison: Comparison) -> str:
    """Say how much differs where no line explains it."""
    different, rose, fell = comparison.plain
    return (
        f"{different:,} of {in_bytes(comparison.bytes_compared)} differ ({rose + fell:,} bits), and no crossed, stuck "
        "or joined line explains it: another ROM or version, or a read in which little worked"
    )


def spans(image: Image) -> str:
    """Return from where to where an image goes."""
    return hex_range(image.start, image.stop)
