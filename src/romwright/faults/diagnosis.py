"""Findings on a comparison: what is wrong with the read, and what to do about it at the bench."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import TYPE_CHECKING

from romwright.faults.lines import Law, Line, LineMap, State
from romwright.faults.residue import ONE_WAY, Cluster, Residue
from romwright.findings import Code, Finding, Severity
from romwright.images.words import in_bytes

if TYPE_CHECKING:
    from romwright.faults.comparison import Comparison

CROSSED = Code(
    "line-crossed", Severity.FAULT, "each line of a dump follows the line of its own number",
    "Every byte is right, but in another place, or with its bits in another order.",
)  # fmt: skip
STUCK = Code(
    "line-stuck", Severity.FAULT, "no line of a dump stays at one level whatever is read",
    "A part of the ROM was never read, or a data bit is missing from every byte.",
)  # fmt: skip
JOINED = Code(
    "line-joined", Severity.FAULT, "no two lines of a dump are joined",
    "Addresses or bits at which the two lines should differ were never seen.",
)  # fmt: skip
INVERTED = Code(
    "line-inverted", Severity.FAULT, "no data line of a dump is inverted",
    "One bit of every byte is wrong.",
)  # fmt: skip
MOVED = Code(
    "starts-elsewhere", Severity.FAULT, "a dump starts where its reference does",
    "What was read is a piece of something else, or was cut or joined at the wrong place.",
)  # fmt: skip
SIZE = Code(
    "size-differs", Severity.NOTE, "a dump is as long as its reference",
    "The reader was set to another size of chip, or the file was cut or doubled.",
)  # fmt: skip
GAPS = Code(
    "bytes-not-compared", Severity.NOTE, "a dump defines every byte from its first to its last",
    "What a hex file leaves out is neither right nor wrong.",
)  # fmt: skip
FILLED = Code(
    "reference-filled", Severity.NOTE, "a reference that lines are crossed in fills its chip",
    "What lies beyond a shorter file is taken as erased (FF); if the chip holds something else there, it looks wrong.",
)  # fmt: skip
UNEXPLAINED = Code(
    "not-explained", Severity.FAULT, "a dump is its reference read through lines that are crossed, stuck or joined",
    "It may be another ROM, or another version, or a read in which nothing answered.",
)  # fmt: skip
BLANK = Code(
    "reads-blank", Severity.FAULT, "a dump has more than one byte value",
    "Nothing was read: the chip is erased, was not selected, has no contact, or is not there.",
)  # fmt: skip
CHARGE = Code(
    "bits-rose", Severity.FAULT, "no bit of a dump is 1 where the reference has 0",
    "The erased state of an EPROM is all 1, so a cell that loses its charge turns from 0 to 1.",
)  # fmt: skip
FELL = Code(
    "bits-fell", Severity.FAULT, "no bit of a dump is 0 where the reference has 1",
    "Only programming makes a 0: a bit that fell is no charge loss.",
)  # fmt: skip
MARGINAL = Code(
    "bits-both-ways", Severity.FAULT, "no bits of a dump are wrong in both directions",
    "Cells that lost charge go one way only; a read at the limit of time or supply goes both.",
)  # fmt: skip
CONTACT = Code(
    "contact-comes-and-goes", Severity.FAULT, "no line was at the wrong level where bytes are wrong",
    "The cells are good: the line had the wrong level when they were read.",
)  # fmt: skip
VERSION = Code(
    "other-contents", Severity.FAULT, "the bytes that are wrong are wrong in single bits",
    "Bytes that are altogether different were written so: another version, or a patch.",
)  # fmt: skip

MOSTLY = 0.6  # share of the wrong bytes that one line must explain
FEW_MOVED = 4  # crossed lines that are named one by one
ALTOGETHER = 2.5  # wrong bits in a wrong byte from which it is another byte
UNSOURCED = "(reasoning, no source)"
RESEAT = "reseat the chip and the adapter, check its wiring, and read again"
LEVELS = ("low", "high")
PLACES = {"data bit": "in", "address line": "with", "column": "with", "page": "in page", "row": "at"}


def diagnose(comparison: Comparison) -> Iterator[Finding]:
    """Yield what is wrong, what is surest first."""
    lines, residue = comparison.best.lines, comparison.residue
    if comparison.identical:
        return
    yield from check_size(comparison)
    yield from check_assumed(comparison)
    if len(set(comparison.dump.tobytes())) == 1 and len(set(comparison.reference.tobytes())) > 1:
        value = int(comparison.dump[0])
        what = "the erased state of an EPROM, and what a bus that nobody drives often reads" if value == 0xFF else ""
        yield Finding(
            BLANK, f"every byte of the dump is {value:02X}", what,
            "check that the chip is selected (/CE, /OE, its select polarity) and supplied, then read again",
        )  # fmt: skip
        return
    if not comparison.explained:
        bits = 8 * len(comparison.dump)
        yield Finding(
            UNEXPLAINED, "no crossed, stuck or joined lines make this dump of that reference",
            f"with all lines straight {comparison.best.residual:,} of {bits:,} bits are wrong, "
            "and no other map comes near",
            "romwright identify may know the dump; if it should be this ROM, read it again and compare the two reads",
        )  # fmt: skip
        return
    yield from check_start(lines)
    yield from check_lines(lines.address, "A", "the ROM", comparison)
    yield from check_lines(lines.data, "D", "the reader", comparison)
    if residue.bits:
        yield check_bits(residue)


def check_size(comparison: Comparison) -> Iterator[Finding]:
    """Find a dump that is longer or shorter than its reference."""
    reference, dump = len(comparison.reference), len(comparison.dump)
    if reference == dump:
        return
    times, rest = divmod(dump, reference)
    if dump > reference and not rest and comparison.explained:
        what = f"it would hold the reference {times} times over"
    elif dump > reference:
        what = f"{in_bytes(dump - reference)} more than the reference"
    else:
        what = f"{in_bytes(reference - dump)} fewer than the reference"
        held = {
            n: line.level for n, line in enumerate(comparison.best.lines.address)
            if line.state is State.STUCK and n >= comparison.reader_lines
        }  # fmt: skip
        if comparison.explained and held:
            levels = " and ".join(f"A{n} {LEVELS[level]}" for n, level in held.items())
            what = f"it is the part of the reference with {levels}"
    yield Finding(SIZE, f"the dump has {in_bytes(dump)}, the reference {in_bytes(reference)}", what)


def check_assumed(comparison: Comparison) -> Iterator[Finding]:
    """Find what was not compared, and what was taken for granted."""
    if comparison.known is not None:
        gone = int((~comparison.known).sum())
        yield Finding(GAPS, f"{in_bytes(gone)} of the dump are not defined and were not compared")
    reference, filled = len(comparison.reference), len(comparison.filled)
    if reference < filled and comparison.best.lines != LineMap.straight(len(comparison.best.lines.address)):
        title = f"the reference has {in_bytes(reference)}; up to {in_bytes(filled)} it was taken as erased (FF)"
        yield Finding(FILLED, title)


def check_start(lines: LineMap) -> Iterator[Finding]:
    """Find a dump that starts elsewhere."""
    if lines.start or lines.beyond is not None:
        beyond = f"; past its end the dump reads {lines.beyond:02X}" if lines.beyond is not None else ""
        where = (
            f"at {lines.start:04X} of the reference" if lines.start >= 0 else f"{-lines.start:04X} before the reference"
        )
        yield Finding(
            MOVED, f"the dump starts {where}", f"from there on its bytes are those of the reference{beyond}",
            f"cut or place it with romwright prepare (--base), or read again from the start {UNSOURCED}",
        )  # fmt: skip


def check_lines(lines: Sequence[Line], letter: str, side: str, comparison: Comparison) -> Iterator[Finding]:
    """Find lines of one side that do not follow their own."""
    width = comparison.reader_lines if letter == "A" else 8
    for number, line in enumerate(lines):
        if line.state is State.STUCK and number < width:
            yield stuck(f"{letter}{number}", line.level, letter)
        if line.state is State.INVERTED:
            yield Finding(
                INVERTED, f"D{number} is inverted", f"it shows the opposite of D{line.of[0]} of the ROM in every byte",
                "look for an inverting buffer between the chip and the reader",
            )  # fmt: skip
    for line, members in groupby(sorted((line for line in lines if line.law), key=lambda line: line.of)):
        yield joined(line, [f"{letter}{n}" for n, each in enumerate(lines) if each == line], len(list(members)), letter)
    moved = [n for n, line in enumerate(lines) if line.state is State.FOLLOWS and line.of[0] != n]
    if moved:
        yield crossed(lines, moved, letter, side)


def stuck(name: str, level: int, letter: str) -> Finding:
    """Say that a line does not move."""
    if letter == "D":
        what = f"it reads {level} in every byte"
        do = f"check its contact at the chip and the adapter, and the reader's input: compare another chip {UNSOURCED}"
    else:
        what = f"only the half of the ROM with {name} {LEVELS[level]} was read, twice"
        do = f"check {name}'s contact and its way to the reader for a short to {'GND' if level == 0 else 'VCC'}"
    return Finding(STUCK, f"{name} is stuck {LEVELS[level]}", what, do)


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
        title = f"{', '.join(names[:-1])} and {names[-1]} are crossed" if len(names) > 1 else f"{way}"
    else:
        kind = "address" if letter == "A" else "data"
        title = f"{len(moved)} of {len(lines)} {kind} lines are crossed"
    return Finding(CROSSED, title, f"{'of the ROM' if letter == 'A' else 'at the reader'}: {way}", RESEAT)


def check_bits(residue: Residue) -> Finding:
    """Say what the wrong bits suggest."""
    bits, rose, fell = residue.bits, residue.rose, residue.fell
    clusters = residue.clusters()
    where = "; ".join(map(in_words, clusters[:3])) or f"in {in_bytes(len(residue.addresses))}, scattered"
    count = in_bits(bits)
    doubtful = residue.doubtful_lines()
    if doubtful and len(residue.addresses) >= 3 and doubtful[0][1] >= MOSTLY * len(residue.addresses):
        line, times = doubtful[0]
        return Finding(
            CONTACT, f"A{line} makes contact only now and then",
            f"at {times:,} of {len(residue.addresses):,} wrong bytes the dump has the byte that A{line} at the other "
            f"level leads to; {where}",
            RESEAT,
        )  # fmt: skip
    if bits >= ALTOGETHER * len(residue.addresses) and len(residue.addresses) > 1:
        return Finding(
            VERSION, f"{in_bytes(len(residue.addresses))} are altogether different",
            f"{count} of them, {rose:,} 0→1 and {fell:,} 1→0; {where}",
            "if a second read shows the same bytes, it is another version: romwright identify may know it",
        )  # fmt: skip
    place = next((cluster for cluster in clusters if cluster.kind in ("page", "row")), None)
    if place and 2 * place.wrong > place.of and not residue.way:
        return Finding(
            VERSION, f"{in_bytes(len(residue.addresses))} are different, most of them close together",
            f"{count}, {rose:,} 0→1 and {fell:,} 1→0; {where}",
            "if a second read shows the same bytes, it is another version: romwright identify may know it",
        )  # fmt: skip
    line = next((each.detail for each in clusters if each.kind == "data bit" and each.wrong >= ONE_WAY * bits), None)
    if line and bits > 3 and (residue.way != "rose" or not place):
        return Finding(
            CONTACT, f"{line} makes contact only now and then", f"{rose:,} bits 0→1, {fell:,} bits 1→0; {where}", RESEAT
        )
    if residue.way == "rose":
        return Finding(
            CHARGE, f"{in_bits(rose)} rose 0→1" + f", {fell:,} fell" * bool(fell), where,
            "if the chip is an EPROM, it is losing charge: read it several times, at a lower supply too (4.5 V), and "
            f"keep for each bit a 0 that is ever read {UNSOURCED}; then write a fresh chip",
        )  # fmt: skip
    if residue.way == "fell":
        return Finding(
            FELL, f"{in_bits(fell)} fell 1→0" + f", {rose:,} rose" * bool(rose), where,
            f"no charge loss: look for a bad contact, an open or shorted line, a second chip on the bus {UNSOURCED}; "
            "then read again",
        )  # fmt: skip
    return Finding(
        MARGINAL, f"{count} are wrong, {rose:,} 0→1 and {fell:,} 1→0", where,
        f"a read at the limit: read several times, slower and at 4.5, 5.0 and 5.5 V, and compare {UNSOURCED}",
    )  # fmt: skip


def in_bits(count: int) -> str:
    """Return a number of bits in words."""
    return f"{count:,} bit{'s' * (count != 1)}"


def in_words(cluster: Cluster) -> str:
    """Say where wrong bits lie together."""
    share = "all" if cluster.wrong == cluster.of else f"{cluster.wrong:,} of {cluster.of:,}"
    return f"{share} {PLACES[cluster.kind]} {cluster.detail}"
