"""Motorola S-records, S0 to S9.

Sources: M68000 Family Programmer's Reference Manual, Appendix C; M68EVB912B32 User's Manual, pages A-3 and A-4; the
Unix manual page srec(5). S4 is reserved and S6 a 24-bit count: from memory, unchecked.
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
from romwright.images.grammar import S_RECORD
from romwright.images.image import Image

NAME = S_RECORD.name
LIMIT_BYTES = TEXT_LIMIT
ADDRESS_BYTES = np.array([2, 2, 3, 4, 2, 2, 3, 4, 3, 2])  # of S0 to S9
COUNTS, STARTS = (5, 6), (7, 8, 9)

RESERVED = Code(
    "reserved-record",
    Severity.CAUTION,
    "an S-record file has no records of the reserved type S4",
    "Nothing says what such a record means, so it is left out.",
    do="Look at the line that is named and find out what made the file. Get the file without such records, or "
    "compare the size with what you expect.",
    example="records of the reserved type S4 were left out",
)
ADDRESS_PASSED = Code(
    "past-address-width",
    Severity.CAUTION,
    "no data record runs past the highest address that its type can name",
    "No source says where its rest belongs; it is placed above.",
    do="Look at the line that is named, and check where the bytes of its end belong. Write the file again with wider "
    "addresses.",
    example="a data record runs past its last address",
)


def parse(stream: BinaryIO) -> tuple[Image, list[Finding]]:
    """Read S-records into an image and what was odd about it.

    Raises FormatError (malformed record, wrong checksum, a count record that does not agree), OverlapError, SpanError.
    """
    return assemble(stream, MotorolaReader)


class MotorolaReader(Reader):
    """Counts the data records, so that count records can be checked."""

    grammar = S_RECORD
    end_name = "S7, S8 or S9 record"

    def __init__(self, stream: BinaryIO) -> None:
        super().__init__(stream)
        self.seen = 0  # data records so far

    def ends(self, records: Records) -> np.ndarray:
        return np.isin(records.tags - ord("0"), STARTS)

    def place(self, records: Records, stop: int) -> Iterator[tuple[np.ndarray, ...]]:
        at, types = records.at[:stop], records.tags[:stop] - ord("0")
        width = ADDRESS_BYTES[types]
        count = records.length[:stop] - width - 2
        if np.any(count < 0):
            i = int((count < 0).argmax())
            raise FormatError(
                f"count byte {records.data[at[i]]:02X} in an S{types[i]} record",
                expected=f"at least {width[i] + 1:02X}: {width[i]} address bytes and the checksum",
                **records.place(i),
            )
        if np.any((types > 4) & (count > 0)):
            i = int(((types > 4) & (count > 0)).argmax())
            raise FormatError(f"S{types[i]} record, count of data bytes {count[i]}", expected="0", **records.place(i))
        address = np.zeros(stop, np.int64)
        for depth in range(4):
            there = width > depth
            address[there] = (address[there] << 8) | records.data[at[there] + 1 + depth]

        data = (types >= 1) & (types <= 3)
        self._check_counts(records, types, address, self.seen + np.cumsum(data))
        self.seen += int(data.sum())
        if np.any(types == 4):
            line = records.place((types == 4).argmax())["line"]
            self.report(RESERVED, "records of the reserved type S4 were left out", f"line {line}")
        past = data & (address + count > np.int64(1) << (8 * width))
        if past.any():
            self.report(
                ADDRESS_PASSED,
                "a data record runs past its last address",
                f"line {records.place(past.argmax())['line']}",
            )
        if types[-1] in STARTS and address[-1]:
            self.entry = int(address[-1])

        index = data.nonzero()[0]
        keep = np.zeros(len(records.at), bool)
        keep[index] = True
        skip = np.zeros(len(records.at), np.int64)
        skip[:stop] = 1 + width
        yield index, address[index], count[index], records.payload(skip, keep)

    @staticmethod
    def _check_counts(records: Records, types: np.ndarray, stated: np.ndarray, seen: np.ndarray) -> None:
        modulus = np.int64(1) << (8 * ADDRESS_BYTES[types])
        wrong = np.isin(types, COUNTS) & (stated != seen % modulus)
        if wrong.any():
            i = int(wrong.argmax())
            raise FormatError(
                f"S{types[i]} counts {stated[i]} data records, but {seen[i]} came before it",
                expected="equal counts",
                help="records were lost or added: get the file again",
                **records.place(i),
            )


def build(image: Image, record_bytes: int = 32) -> bytes:
    """Write S-records: an empty S0, data in the narrowest type that reaches the last byte, a count, the start address.

    No gap is filled; line ends are CR LF. Raises SpanError above 4 GiB.
    """
    width = next((w for w in (2, 3) if max(image.stop - 1, image.entry or 0) < 1 << (8 * w)), 4)
    lines = [record(b"S0", 0, 2)]
    count = 0
    for segment in writing.split_at(image.segments, 1 << 16, limit=1 << 32):
        for start, rows in writing.rows(segment, record_bytes):
            count += len(rows)
            lines.append(writing.lines(b"S%d" % (width - 1), start, width, rows, counted=width + 1, total=0xFF))
    if count < 1 << 24:
        lines.append(record(b"S5", count, 2) if count < 1 << 16 else record(b"S6", count, 3))
    lines.append(record(b"S%d" % (11 - width), image.entry or 0, width))
    return b"".join(lines)


def record(lead: bytes, address: int, width: int) -> bytes:
    """Write one record without data."""
    return writing.lines(lead, address, width, np.empty((1, 0), np.uint8), counted=width + 1, total=0xFF)
