"""Intel HEX, all six record types.

Source: Intel, Hexadecimal Object File Format Specification, Revision A, 6 January 1988. What it leaves open is reported
as a finding: the specification is silent on a missing end record, on what follows the end record, and on segment and
linear bases in one file.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import BinaryIO

import numpy as np

from romwright.errors import FormatError
from romwright.findings import Code, Finding, Severity
from romwright.images.formats import writing
from romwright.images.formats.reading import Reader, assemble
from romwright.images.formats.records import TEXT_LIMIT, Records
from romwright.images.grammar import INTEL_HEX
from romwright.images.image import Image

NAME = INTEL_HEX.name
LIMIT_BYTES = TEXT_LIMIT
DATA, END, SEGMENT, START_SEGMENT, LINEAR, START_LINEAR = range(6)
LENGTHS = {END: 0, SEGMENT: 2, START_SEGMENT: 4, LINEAR: 2, START_LINEAR: 4}  # data bytes of each type but DATA
WORDS = {
    END: "end of file",
    SEGMENT: "extended segment address",
    START_SEGMENT: "start segment address",
    LINEAR: "extended linear address",
    START_LINEAR: "start linear address",
}

MIXED_BASES = Code(
    "mixed-bases",
    Severity.FAULT,
    "segment (02) and linear (04) bases that are not zero do not meet in one file",
    "The specification is silent: some readers add the two bases, others let the newer replace the older.",
    do="Check the addresses that were read against what you expect, and write the file again with one kind of base "
    "before you give it to a programmer.",
    example="segment and linear bases are mixed; the newer replaced the older here",
)
WRAP = Code(
    "address-wrap",
    Severity.FAULT,
    "no data record runs past the end of its 64K segment",
    "By the specification it goes on at the start of the segment; common readers go on above it.",
    do="Find out where the bytes behind the end of the segment belong, and compare the sum with the programmer's "
    "display: another reader may place them elsewhere.",
    example="a data record runs past FFFF without a base record; its rest was placed at 10000",
)
STARTS_DIFFER = Code(
    "starts-differ",
    Severity.CAUTION,
    "a file names one start address at most",
    "Only one can be right; a memory chip does not use it.",
    do="Nothing for a memory chip, which does not use it. If a start address matters to you, look at both lines.",
    example="two start addresses: 179B8, then 179B9; the later one is kept",
)
END_OFFSET = Code(
    "end-with-address",
    Severity.NOTE,
    "the end record carries no address",
    "An old 8-bit habit to give the start address; the specification wants 0000.",
    do="Nothing. Remember it if you look for the program's start address.",
    example="the end record names start address 1234",
)


def parse(stream: BinaryIO) -> tuple[Image, list[Finding]]:
    """Read Intel HEX text into an image and what was odd about it.

    Raises FormatError (malformed record, wrong length or checksum, unknown type), OverlapError (an address given twice
    with different bytes; names both lines), SpanError.
    """
    return assemble(stream, IntelReader)


class IntelReader(Reader):
    """Keeps the base in force from record to record."""

    grammar = INTEL_HEX

    def __init__(self, stream: BinaryIO) -> None:
        super().__init__(stream)
        self.base, self.kind = 0, DATA  # kind DATA: no base record so far

    def ends(self, records: Records) -> np.ndarray:
        return records.data[records.at + 3] == END

    def place(self, records: Records, stop: int) -> Iterator[tuple[np.ndarray, ...]]:
        at = records.at[:stop]
        types = records.data[at + 3]
        offset = self._word(records, at, 1)
        self._check(records, types, offset)
        value = self._word(records, at, 4)
        base, kind = self._bases(records, types, value)
        for i in np.isin(types, (START_SEGMENT, START_LINEAR)).nonzero()[0]:
            low = int(self._word(records, at[i : i + 1], 6)[0])
            self._start((int(value[i]) << (4 if types[i] == START_SEGMENT else 16)) + low, records, i)
        if types[-1] == END and offset[-1]:
            self.report(END_OFFSET, f"the end record names start address {offset[-1]:04X}")
            self.entry = int(offset[-1]) if self.entry is None else self.entry

        index = (types == DATA).nonzero()[0]
        keep = np.zeros(len(records.at), bool)
        keep[index] = True
        payload = records.payload(np.full(len(records.at), 4), keep)
        base, kind, count = base[index], kind[index], records.data[at[index]].astype(np.int64)
        address = base + offset[index]
        over = (address + count > np.where(kind == LINEAR, 1 << 32, base + 0x10000)).nonzero()[0]
        if len(over):
            self._judge_wrap(records, index[over[0]], kind[over[0]])
            over = over[kind[over] != DATA]
            limit = np.where(kind == LINEAR, 1 << 32, base + 0x10000)[over]
            # Such a record is two pieces: one up to the limit, one that starts again at the base (or at 0).
            rest = count[over] - (limit - address[over])
            count[over] -= rest
            address = np.insert(address, over + 1, np.where(kind == LINEAR, 0, base)[over])
            count = np.insert(count, over + 1, rest)
            index = np.insert(index, over + 1, index[over])
        yield index, address, count, payload

    @staticmethod
    def _word(records: Records, at: np.ndarray, offset: int) -> np.ndarray:
        """Return the 16-bit word at `offset` of each record; in a record too short for one, whatever stands there."""
        at = np.minimum(at + offset, len(records.data) - 2)
        return (records.data[at].astype(np.int64) << 8) | records.data[at + 1]

    def _check(self, records: Records, types: np.ndarray, offset: np.ndarray) -> None:
        counts = records.data[records.at[: len(types)]]
        expected = np.array([LENGTHS.get(kind, -1) for kind in range(256)])[types]
        wrong = (types != DATA) & ((counts != expected) | (np.isin(types, (SEGMENT, LINEAR)) & (offset != 0)))
        if not wrong.any():
            return
        i = int(wrong.argmax())
        kind, place = int(types[i]), records.place(i)
        if kind not in WORDS:
            raise FormatError(f"record type {kind:02X}", expected="type 00 to 05", **place)
        kept = f"type {kind:02X} record ({WORDS[kind]})"
        if counts[i] != LENGTHS[kind]:
            raise FormatError(f"{kept}, count of data bytes {counts[i]}", expected=str(LENGTHS[kind]), **place)
        raise FormatError(f"{kept}, address field {offset[i]:04X}", expected="0000", **place)

    def _bases(self, records: Records, types: np.ndarray, value: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return the base in force at each record and the kind of record that set it."""
        shifted = np.where(types == LINEAR, value << 16, value << 4)
        setters = np.isin(types, (SEGMENT, LINEAR))
        # For each record, the latest base record up to it; -1 stands for what was in force when the chunk began.
        latest = np.maximum.accumulate(np.where(setters, np.arange(len(types)), -1))
        base = np.where(latest < 0, self.base, shifted[latest])
        kind = np.where(latest < 0, self.kind, types[latest])
        before_base, before_kind = np.concatenate(([self.base], base[:-1])), np.concatenate(([self.kind], kind[:-1]))
        mixed = (kind != before_kind) & (before_base != 0)
        if mixed.any():
            self.report(
                MIXED_BASES,
                "segment and linear bases are mixed; the newer replaced the older here",
                f"line {records.place(mixed.argmax())['line']}",
                "check the addresses against what you expect; write the file again with one kind of base",
            )
        self.base, self.kind = int(base[-1]), int(kind[-1])
        return base, kind

    def _judge_wrap(self, records: Records, index: int, kind: int) -> None:
        passed, went = {
            SEGMENT: ("offset FFFF of its segment", "at the start of the segment, as the specification says"),
            LINEAR: ("FFFFFFFF", "at 00000000, as the specification says"),
            DATA: ("FFFF without a base record", "at 10000"),
        }[int(kind)]
        title = f"a data record runs past {passed}; its rest was placed {went}"
        self.report(
            WRAP, title, f"line {records.place(index)['line']}", "check where those bytes belong: readers differ"
        )

    def _start(self, entry: int, records: Records, index: int) -> None:
        if self.entry not in (None, entry):
            title = f"two start addresses: {self.entry:X}, then {entry:X}; the later one is kept"
            self.report(STARTS_DIFFER, title, f"line {records.place(index)['line']}")
        self.entry = entry


def build(image: Image, record_bytes: int = 32) -> bytes:
    """Write Intel HEX text: type 04 bases where needed, the start address as type 05, CR LF line ends, no gap filled.

    Raises SpanError above 4 GiB. The records that carry no image bytes are made by the intelhex library.
    """
    from intelhex import Record

    lines: list[bytes] = []
    base = 0
    if image.entry is not None:
        lines.append(Record.start_linear_address(image.entry).encode() + b"\r\n")
    for segment in writing.split_at(image.segments, 0x10000, limit=1 << 32):
        if segment.start >> 16 != base:
            base = segment.start >> 16
            lines.append(Record.extended_linear_address(base).encode() + b"\r\n")
        for start, rows in writing.rows(segment, record_bytes):
            lines.append(writing.lines(b":", start & 0xFFFF, 2, rows, middle=b"\0", counted=0, total=0))
    lines.append(Record.eof().encode() + b"\r\n")
    return b"".join(lines)
