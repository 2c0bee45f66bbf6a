"""What a dump has more or less than its reference: another size, another start, bytes around it, bytes missing."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from romwright.faults.causes import UNSOURCED
from romwright.faults.lines import LEVELS, Line, State
from romwright.findings import Code, Finding, Severity
from romwright.images.image import hex_range
from romwright.images.runs import is_uniform
from romwright.images.words import in_bytes

if TYPE_CHECKING:
    from romwright.faults.comparison import Comparison

MOVED = Code(
    "starts-elsewhere", Severity.FAULT, "a dump starts where its reference does",
    "What was read is a piece of something else, or was cut or joined at the wrong place.",
    do="Read again from the chip's first address (reasoning, no source), or cut the file where it is said: prepare "
    "--cut.",
    example="the dump starts 03E8 before the reference",
)  # fmt: skip
SIZE = Code(
    "size-differs", Severity.NOTE, "a dump is as long as its reference",
    "The reader was set to another size of chip, or the file was cut or doubled.",
    do="Set the reader to the type of chip that is in it, and read again. If the file was doubled or is one half of "
    "a 16-bit pair on purpose, do nothing.",
    example="the dump has 16,384 bytes, the reference 8,192 bytes",
)  # fmt: skip
GAPS = Code(
    "bytes-not-compared", Severity.NOTE, "a dump and its reference define every byte",
    "What a hex file leaves out, or lies past the end of a short file, is neither right nor wrong.",
    do="Nothing, if you know why bytes are missing. Else read all of the chip again.",
    example="16 bytes of the dump were not compared",
)  # fmt: skip
EXTRA = Code(
    "extra-bytes", Severity.NOTE, "a dump has nothing before or after the bytes of its reference",
    "A file may be padded, or bear a header or a line end: that is no fault of the chip.",
    do="Nothing at the chip. prepare --cut with the range that is named takes the rest.",
    example="the dump has 256 bytes more after the reference",
)  # fmt: skip


def check_size(comparison: Comparison) -> Iterator[Finding]:
    """Find a dump that is longer or shorter than its reference."""
    reference, dump, lines = len(comparison.reference), comparison.size_dump, comparison.best.lines
    if comparison.extra.bytes:
        yield from check_extra(comparison)
        return
    if reference == dump:
        return
    times, rest = divmod(dump, reference)
    if dump > reference and not rest and comparison.explained and not lines.start and lines.beyond is None:
        what = f"it holds the reference {times} times over"
    elif dump > reference:
        what = f"{in_bytes(dump - reference)} more than the reference"
    else:
        what = f"{in_bytes(reference - dump)} fewer than the reference"
        held = {
            n: line.level for n, line in enumerate(lines.address)
            if line.state is State.STUCK and n >= comparison.reader_lines
        }  # fmt: skip
        if comparison.explained and held:
            levels = " and ".join(f"A{n} {LEVELS[level]}" for n, level in held.items())
            what = f"it is the part of the reference with {levels}"
    do = ""
    if shows_every_second(comparison):
        what = f"it is every second byte of the reference, those with A0 {LEVELS[lines.address[0].level]}"
        do = "one chip of a 16-bit pair holds that: romwright prepare --split 2 cuts the reference into two such files"
    yield Finding(SIZE, f"the dump has {in_bytes(dump)}, the reference {in_bytes(reference)}", what, do)


def shows_every_second(comparison: Comparison) -> bool:
    """Tell whether a dump half as long as its reference has its even bytes, or its odd ones."""
    first, *rest = comparison.best.lines.address or [Line.stuck(0)]
    half = 2 * comparison.size_dump == len(comparison.filled) > 2
    return half and first.state is State.STUCK and rest == [Line.follows(n) for n in range(len(rest))]


def check_extra(comparison: Comparison) -> Iterator[Finding]:
    """Find bytes before or after those of the reference."""
    extra = comparison.extra
    for count, data, where in ((extra.before, extra.head, "before"), (extra.after, extra.tail, "after")):
        if count:
            filled = f"all {int(data[0]):02X}: padding, or a larger chip of which only a part is used"
            what = filled if is_uniform(data) else f"they begin {data[:8].tobytes().hex(' ').upper()}"
            counted = "; addresses below are counted from the first byte after them" if where == "before" else ""
            yield Finding(
                EXTRA, f"the dump has {in_bytes(count)} more {where} the reference", what + counted,
                f"with romwright prepare, --cut {extra.range}" + f" --base {extra.before:04X}" * bool(extra.before)
                + " takes the rest",
            )  # fmt: skip


def check_assumed(comparison: Comparison) -> Iterator[Finding]:
    """Find what was not compared."""
    if comparison.known is not None and (gone := int((~comparison.known).sum())):
        yield Finding(GAPS, f"{in_bytes(gone)} of the dump were not compared", "one of the files does not define them")


def check_start(comparison: Comparison) -> Iterator[Finding]:
    """Find a dump that starts elsewhere."""
    lines, size = comparison.best.lines, len(comparison.reference)
    if lines.start or lines.beyond is not None:
        before = -lines.start
        beyond = f"; past its end the dump reads {lines.beyond:02X}" if lines.beyond is not None else ""
        where = f"at {lines.start:04X} of the reference" if lines.start >= 0 else f"{before:04X} before the reference"
        straight = all(line == Line.follows(n) for n, line in enumerate(lines.data))
        but = "" if straight and not comparison.best.residual else " but for what is said below"
        do = f"read again from the start {UNSOURCED}"
        if 0 < before <= len(comparison.dump) - size:
            whole = hex_range(before, before + size)
            do = f"with romwright prepare, --cut {whole} --base {before:04X} takes the reference's bytes"
        yield Finding(
            MOVED, f"the dump starts {where}", f"from there on its bytes are those of the reference{but}{beyond}", do
        )
