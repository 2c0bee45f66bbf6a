"""From records to an image: walking through a file up to its end record, and what is odd on the way."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable, Iterator
from typing import BinaryIO

import numpy as np

from romwright.errors import OverlapError
from romwright.findings import Code, Finding, Severity
from romwright.images.formats.records import Records, chunks, decode
from romwright.images.grammar import Grammar
from romwright.images.image import Image

WRITTEN_LINE = re.compile(rb"[^\r\n\0\x1a \t][^\r\n]*")  # a line with more on it than blanks and end-of-file marks

MISSING_END = Code(
    "missing-end",
    Severity.FAULT,
    "a hex file closes with its end record",
    "A file without one may have been cut short, and nothing else in it would show that.",
    do="Get the file again from where it came, and compare its size with what you expect. Go on with --accept "
    "missing-end only if you know that it is whole.",
    example="the end record is missing",
)
AFTER_END = Code(
    "after-end",
    Severity.FAULT,
    "nothing follows the end record of a hex file",
    "Readers stop at the end record without a word, so bytes behind it are lost: often two files were joined.",
    do="Look at the file in a text editor at the line that is named. If two files were joined there, split them and "
    "use each by itself.",
    example="3 lines were not read: after the end record",
)
TWICE = Code(
    "given-twice",
    Severity.NOTE,
    "a hex file gives each address once",
    "Harmless, but unusual: a file made of overlapping parts.",
    do="Nothing, if you know how the file was made. Else look at the two lines that are named, and get the file again.",
    example="8 bytes are given twice, with equal values",
)


class Reader:
    """Walks through the records of one file. A format derives from it and says what its records mean."""

    grammar: Grammar
    end_name = "end record"

    def __init__(self, stream: BinaryIO) -> None:
        self.stream = stream
        self.findings: list[Finding] = []
        self.entry: int | None = None

    def place(self, records: Records, stop: int) -> Iterator[tuple[np.ndarray, ...]]:
        """Yield (index, address, count, payload) of the data among the first `stop` records."""
        raise NotImplementedError

    def ends(self, records: Records) -> np.ndarray:
        """Tell for each record whether it is the one that ends the file."""
        raise NotImplementedError

    def __iter__(self) -> Iterator[tuple[Records, np.ndarray, np.ndarray, np.ndarray, np.ndarray]]:
        """Yield (records, index, address, count, payload) of the data records, chunk by chunk, up to the end record."""
        last = "there is no record"
        for records in decode(self.stream, self.grammar):
            ends = self.ends(records)
            stop = int(ends.argmax()) + 1 if ends.any() else len(ends)
            for found in self.place(records, stop):
                yield records, *found
            last = f"the last record is on line {records.place(stop - 1)['line']}"
            if ends.any():
                self.look_behind(records, stop - 1)
                return
        self.report(
            MISSING_END,
            f"the {self.end_name} is missing",
            last,
            "compare the size with what you expect; get the file again",
        )

    def look_behind(self, records: Records, end: int) -> None:
        """Report what follows the end record."""
        self.stream.seek(records.offset + int(records.starts[end]))
        behind = sum(len(WRITTEN_LINE.findall(text)) for text, _, _ in chunks(self.stream)) - 1
        if behind:
            title = f"{behind:,} line{'s were' if behind > 1 else ' was'} not read: after the {self.end_name}"
            where = f"the {self.end_name} is on line {records.place(end)['line']}"
            self.report(AFTER_END, title, where, "if two files were joined, split them there")

    def report(self, code: Code, title: str, evidence: str = "", remedy: str = "") -> None:
        """Add a finding; only the first of its kind, which is where the reader of it must look."""
        if not any(finding.code is code for finding in self.findings):
            self.findings.append(Finding(code, title, evidence, remedy))


def assemble(stream: BinaryIO, kind: type[Reader]) -> tuple[Image, list[Finding]]:
    """Read a whole file into an image and what was odd about it; raises OverlapError with the lines, SpanError."""
    reader = kind(stream)
    found = [piece for _, _, address, count, payload in reader for piece in pieces(address, count, payload)]
    try:
        image = Image.of(found, reader.entry)
    except OverlapError as error:
        raise conflict(kind(stream), error.address) from None
    if twice := sum(len(data) for _, data in found) - image.size_bytes:
        address = first_given_twice(found)
        (_, line), (_, other), *_ = lines_giving(kind(stream), address)
        title = f"{twice:,} byte{'s are' if twice > 1 else ' is'} given twice, with equal values"
        reader.report(TWICE, title, f"the first is at {address:04X}, on line {line} and line {other}")
    return image, reader.findings


def first_given_twice(found: Iterable[tuple[int, bytes]]) -> int:
    """Return the lowest address that two of the pieces give."""
    stop = -1
    for address, data in sorted(found, key=lambda piece: piece[0]):
        if address < stop and data:
            return address
        stop = max(stop, address + len(data))
    raise ValueError("no address is given twice")


def conflict(reader: Reader, address: int) -> OverlapError:
    """Make the error that names the first two lines, in file order, that give different bytes for `address`."""
    given = lines_giving(reader, address)
    first, line = given[0]
    second, other = next((byte, line) for byte, line in given if byte != first)
    return OverlapError(address, first, second, where=f"line {line} and line {other}")


def lines_giving(reader: Reader, address: int) -> list[tuple[int, int]]:
    """Read a file again for the (byte, line) of every record that gives a byte for `address`, in file order."""
    reader.stream.seek(0)
    given = []
    for records, index, start, count, payload in reader:
        offset = np.cumsum(count) - count + address - start
        for hit in ((start <= address) & (address < start + count)).nonzero()[0]:
            given.append((int(payload[offset[hit]]), records.place(index[hit])["line"]))
    return given


def pieces(address: np.ndarray, count: np.ndarray, payload: np.ndarray) -> Iterator[tuple[int, bytes]]:
    """Yield (address, bytes) for data records with these addresses and counts, joining those that follow on."""
    if not len(address):
        return
    breaks = (address[1:] != (address + count)[:-1]).nonzero()[0] + 1
    offsets = np.concatenate(([0], np.cumsum(count)))
    edges = [0, *breaks.tolist(), len(address)]
    for a, b in itertools.pairwise(edges):
        yield int(address[a]), payload[offsets[a] : offsets[b]].tobytes()
