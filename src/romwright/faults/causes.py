"""What the bits that are wrong besides the lines suggest: charge loss, a bad contact, another version, dead regions."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from romwright.faults.residue import FEWEST, ONE_WAY, Cluster, Half, Region, Residue
from romwright.faults.slip import Slip
from romwright.findings import Code, Finding, Severity
from romwright.images.image import hex_range
from romwright.images.words import in_bytes

CHARGE = Code(
    "bits-rose", Severity.FAULT, "no bit of a dump is 1 where the reference has 0",
    "The erased state of an EPROM is all 1, so a cell that loses its charge turns from 0 to 1.",
    do="If the chip is an EPROM, read it several times, at a lower supply too (4.5 V), and keep for each bit a 0 "
    "that is ever read (reasoning, no source); then write a fresh chip.",
    example="20 bits rose 0→1",
)  # fmt: skip
FELL = Code(
    "bits-fell", Severity.FAULT, "no bit of a dump is 0 where the reference has 1",
    "Only programming makes a 0: a bit that fell is no charge loss.",
    do="Look for a bad contact, an open or shorted line, or a second chip on the bus (reasoning, no source); then "
    "read again.",
    example="29 bits fell 1→0",
)  # fmt: skip
MARGINAL = Code(
    "bits-both-ways", Severity.FAULT, "no bits of a dump are wrong in both directions",
    "Cells that lost charge go one way only; a read at the limit of time or supply goes both.",
    do="Read several times, slower and at 4.5, 5.0 and 5.5 V, and compare (reasoning, no source): romwright settle "
    "does.",
    example="34 bits are wrong, 21 0→1 and 13 1→0",
)  # fmt: skip
CONTACT = Code(
    "contact-comes-and-goes", Severity.FAULT, "no line was at the wrong level where bytes are wrong",
    "The cells are good: the line had the wrong level when they were read.",
    do="Reseat the chip and the adapter, check the wiring of the line that is named, and read again (reasoning, no "
    "source).",
    example="A7 makes contact only now and then",
)  # fmt: skip
VERSION = Code(
    "other-contents", Severity.FAULT, "the bytes that are wrong are wrong in single bits",
    "Bytes that are altogether different were written so: another version, or a patch.",
    do="Read the chip a second time. If it reads the same, it is another version and good as it is: keep the dump, "
    "and ask romwright identify.",
    example="255 bytes are altogether different",
)  # fmt: skip
REGION = Code(
    "reads-one-value", Severity.FAULT, "no stretch of a dump reads one value where the reference has others",
    "Nothing answered there, or nothing was ever written: what reads FF in one piece is no charge loss, bit by bit.",
    do="Read again, slower. If it reads the same, that part is dead, erased, or was never written; if not, look at "
    "the contacts of the highest address lines and of the selects (reasoning, no source).",
    example="0800-0FFF reads FF",
)  # fmt: skip

SLIPPED = Code(
    "bytes-slipped", Severity.FAULT, "every byte of a dump has the place that it has in the reference",
    "Bytes were lost or put in between the reader and the file: all that follows is right, and at the wrong addresses.",
    do="Read the chip again, slower or over another cable or port; the chip itself need not be at fault. If it reads "
    "the same, it is another version (reasoning, no source).",
    example="from 2710 on the dump is late by 1 byte",
)  # fmt: skip

MOSTLY = 0.6  # share of the wrong bytes that one line must explain
ALTOGETHER = 2.5  # wrong bits in a wrong byte from which it is another byte
NAMED = 4  # regions that are named
UNSOURCED = "(reasoning, no source)"
RESEAT = f"reseat the chip and the adapter, check its wiring, and read again {UNSOURCED}"
PLACES = {"data bit": "in", "address line": "with", "column": "with", "page": "in page", "row": "at"}


def find_causes(residue: Residue) -> Iterator[Finding]:
    """Say what the wrong bits suggest: first what reads one value, a half or regions, then the bits of the rest."""
    if residue.half:
        yield in_half(residue.half)
    if residue.regions:
        yield in_regions(residue.regions)
    if residue.rest.bits:
        yield cause_of_bits(residue.rest)


def in_half(half: Half) -> Finding:
    """Say that every byte at one level of an address line reads one value."""
    return Finding(
        REGION, f"{half.name} reads {half.value:02X}", f"{in_bytes(half.wrong)} that should be something else",
        f"nothing answered there: of a pair of chips the one that A{half.line} stands for was not selected, has no "
        f"supply or no contact, or is dead; a half that was filled when files were joined looks the same {UNSOURCED}",
    )  # fmt: skip


def in_regions(regions: Sequence[Region]) -> Finding:
    """Say which regions read one value."""
    names = [f"{hex_range(region.start, region.stop)} reads {region.value:02X}" for region in regions[:NAMED]]
    more = f" and {len(regions) - NAMED} more" if len(regions) > NAMED else ""
    return Finding(
        REGION, ", ".join(names) + more,
        f"{in_bytes(sum(region.wrong for region in regions))} that should be something else",
        "read again, slower: if it reads the same, that part of the chip is dead or erased, or it is another version "
        f"with nothing there; if not, look at the contacts of the highest address lines and of the selects {UNSOURCED}",
    )  # fmt: skip


def cause_of_bits(residue: Residue) -> Finding:
    """Say what the wrong bits suggest: a contact, another version, or the way that they went."""
    bits, bytes_wrong, clusters = residue.bits, len(residue.addresses), residue.clusters()
    scattered = f"at {residue.addresses[0]:04X}" if bytes_wrong == 1 else f"in {in_bytes(bytes_wrong)}, scattered"
    where = "; ".join(map(in_words, clusters[:3])) or scattered
    ways = f"{residue.rose:,} 0→1 and {residue.fell:,} 1→0"
    all_ways = f"{in_bits(bits)}, {ways}; {where}"
    line, times = residue.doubtful_line
    if bytes_wrong >= FEWEST and times >= MOSTLY * bytes_wrong:
        seen = f"at {times:,} of {bytes_wrong:,} wrong bytes the dump has the byte that A{line} at the other level "
        return Finding(CONTACT, f"A{line} makes contact only now and then", f"{seen}leads to; {where}", RESEAT)
    place = next((cluster for cluster in clusters if cluster.kind in ("page", "row")), None)
    what = ""
    if bits >= ALTOGETHER * bytes_wrong and not residue.one_way:
        what = f"{'is' if bytes_wrong == 1 else 'are'} altogether different"
    elif place and 2 * place.wrong > place.of and not residue.way:
        what = "are different, most of them close together"
    if what and residue.slip:
        return slipped(residue.slip, len(residue.dump))
    if what:
        return Finding(
            VERSION, f"{in_bytes(bytes_wrong)} {what}", all_ways,
            "if a second read shows the same bytes, it is another version: romwright identify may know it",
        )  # fmt: skip
    single = next((each.detail for each in clusters if each.kind == "data bit" and each.wrong >= ONE_WAY * bits), None)
    if single and bits > FEWEST and (residue.way != "rose" or not place):
        return Finding(CONTACT, f"{single} makes contact only now and then", all_ways, RESEAT)
    return cause_of_way(residue, where, ways)


def slipped(slip: Slip, size: int) -> Finding:
    """Say where bytes were lost or put in."""
    place = "lower" if slip.late > 0 else "higher"
    seen = f"{slip.alike:,} of {in_bytes(slip.bytes)} are those that belong {abs(slip.late):X} (hex) {place}"
    to_end = slip.last + 1 >= size - abs(slip.late)
    where = f"from {slip.first:04X} on" if to_end else f"at {hex_range(slip.first, slip.last + 1)}"
    return out_of_place(slip.first, where, slip.late, seen)


def slipped_behind(front: Slip) -> Finding:
    """Say where bytes were lost or put in of a dump that was taken to start elsewhere, and whose front is in place."""
    first, seen = front.last + 1, f"{front.alike:,} of {in_bytes(front.bytes)} before that are in their place"
    return out_of_place(first, f"from {first:04X} on", -front.late, seen)


def out_of_place(first: int, where: str, late: int, seen: str) -> Finding:
    """Say that bytes come late (below 0: early) from an address on."""
    many, way, what = in_bytes(abs(late)), *(("put in", "late") if late > 0 else ("lost", "early"))
    do = f"{many} {way} at or shortly before {first:04X} on the way to the file, as a serial line does: "
    do += f"read again, slower; if it reads the same, it is another version {UNSOURCED}"
    return Finding(SLIPPED, f"{where} the dump is {what} by {many}", seen, do)


def cause_of_way(residue: Residue, where: str, ways: str) -> Finding:
    """Say what it suggests which way the wrong bits went."""
    rose, fell = residue.rose, residue.fell
    few = "so few bits prove no cause: read again first; " if residue.bits < FEWEST else ""
    if residue.way == "rose":
        return Finding(
            CHARGE, f"{in_bits(rose)} rose 0→1" + f", {fell:,} fell" * bool(fell), where,
            f"{few}if the chip is an EPROM, it is losing charge: read it several times, at a lower supply too "
            f"(4.5 V), and keep for each bit a 0 that is ever read {UNSOURCED}; then write a fresh chip",
        )  # fmt: skip
    if residue.way == "fell":
        return Finding(
            FELL, f"{in_bits(fell)} fell 1→0" + f", {rose:,} rose" * bool(rose), where,
            f"{few}no charge loss: look for a bad contact, an open or shorted line, a second chip on the bus "
            f"{UNSOURCED}; then read again",
        )  # fmt: skip
    return Finding(
        MARGINAL, f"{in_bits(residue.bits)} are wrong, {ways}", where,
        f"a read at the limit: read several times, slower and at 4.5, 5.0 and 5.5 V, and compare {UNSOURCED}",
    )  # fmt: skip


def in_bits(count: int) -> str:
    """Return a number of bits in words."""
    return f"{count:,} bit{'s' * (count != 1)}"


def in_words(cluster: Cluster) -> str:
    """Say where wrong bits lie together."""
    share = "all" if cluster.wrong == cluster.of else f"{cluster.wrong:,} of {cluster.of:,}"
    return f"{share} {PLACES[cluster.kind]} {cluster.detail}"
