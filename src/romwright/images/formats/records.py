"""Lines of hex digits to bytes, many at a time: what Intel HEX and S-records have in common.

A whole chunk of text is decoded and checked with numpy; only if something in it is wrong is it read line by line, to
say what and where.
"""

from __future__ import annotations

import binascii
import re
from collections.abc import Iterator
from typing import BinaryIO

import numpy as np
from msgspec import Struct

from romwright.errors import FormatError, InputError
from romwright.images.grammar import Grammar

CHUNK_BYTES = 256 << 10
TEXT_LIMIT = 256 << 20  # bytes: 64 MiB in records of 8 bytes take less
LINE_ENDS = re.compile(rb"\r\n|\n|\r")


class Records(Struct, frozen=True):
    """Checked records in file order: record i is `data[at[i] : at[i] + length[i]]`, count byte to checksum byte."""

    text: bytes
    offset: int  # where `text` starts in the file
    first_line: int
    first_record: int
    starts: np.ndarray  # where each record starts in `text`
    tags: np.ndarray  # the last character before the hex digits
    data: np.ndarray
    at: np.ndarray
    length: np.ndarray

    def place(self, index: int) -> dict[str, int]:
        """Return the line and record number of record `index`, both counted from 1."""
        return {
            "line": self.first_line + lines_in(self.text[: self.starts[index]]),
            "record": self.first_record + int(index),
        }

    def payload(self, skip: np.ndarray, keep: np.ndarray) -> np.ndarray:
        """Return the data bytes of the records where `keep` is true, without `skip[i]` bytes in front and checksum."""
        mask = np.repeat(keep, self.length)
        mask[self.at + self.length - 1] = False
        for depth in range(int(skip.max(initial=0))):
            mask[(self.at + depth)[skip > depth]] = False
        return self.data[mask]


def lines_in(text: bytes) -> int:
    """Count line ends: LF, CR, or CR LF together."""
    return text.count(b"\n") + text.count(b"\r") - text.count(b"\r\n")


def chunks(stream: BinaryIO) -> Iterator[tuple[bytes, int, int]]:
    """Yield (text, its offset in the file, number of its first line) in pieces of whole lines.

    Raises InputError over 256 MiB of text.
    """
    rest, offset, line = b"", 0, 1
    while block := stream.read(CHUNK_BYTES):
        text = rest + block
        if offset + len(text) > TEXT_LIMIT:
            raise InputError(
                f"more than {TEXT_LIMIT:,} bytes of text",
                where=f"line {line}",
                expected=f"a hex file of at most {TEXT_LIMIT >> 20} MiB",
                help="look at the file's end: does it go on with something else?",
            )
        cut = max(text.rfind(b"\n"), text.rfind(b"\r", 0, -1)) + 1  # a last CR may be half of a CR LF
        if not cut and len(text) > CHUNK_BYTES:  # no record is as long as that: hand it on to be refused
            cut = len(text)
        text, rest = text[:cut], text[cut:]
        if text:
            yield text, offset, line
            line += lines_in(text)
            offset += len(text)
    rest = rest.rstrip(b"\x1a")  # the end-of-file mark of 8-bit systems
    if rest:
        yield rest, offset, line


def decode(stream: BinaryIO, grammar: Grammar) -> Iterator[Records]:
    """Yield the records of a file, in pieces; raises FormatError at the first faulty line, after what precedes it."""
    record = 1
    for text, offset, line in chunks(stream):
        found = decode_text(text, grammar, offset, line, record)
        if found is None:
            bad, index, fault = first_fault(text, grammar)
            good = decode_text(text[:bad], grammar, offset, line, record)
            if good is not None and len(good.at):
                yield good
            at_line = line + lines_in(text[:bad])
            raise FormatError(fault[0], line=at_line, record=record + index, expected=fault[1])
        if len(found.at):
            yield found
        record += len(found.at)


def decode_text(text: bytes, grammar: Grammar, offset: int, line: int, record: int) -> Records | None:
    """Decode and check whole lines at once; None if any of them is faulty."""
    chars = np.frombuffer(text, np.uint8)
    end = (chars == 10) | (chars == 13)
    edges = np.diff(end, prepend=True, append=True).nonzero()[0]  # blank lines vanish here
    starts, stops = edges[0::2], edges[1::2]
    digits = stops - starts - grammar.marks
    if np.any(digits < 4) or np.any(digits % 2) or np.any(chars[starts] != grammar.lead[0]):
        return None
    keep = ~end
    for mark in range(grammar.marks):
        keep[starts + mark] = False
    try:
        data = np.frombuffer(binascii.unhexlify(chars[keep].tobytes()), np.uint8)
    except binascii.Error:
        return None
    length = digits // 2
    at = np.cumsum(length) - length
    if len(at) and (
        np.any(data[at].astype(np.int64) + grammar.uncounted != length)
        or np.any(np.add.reduceat(data, at, dtype=np.uint8) != grammar.total)
    ):
        return None
    tags = chars[starts + grammar.marks - 1]
    if grammar.marks > 1 and np.any((tags < ord("0")) | (tags > ord("9"))):
        return None
    return Records(text, offset, line, record, starts, tags, data, at, length)


def first_fault(text: bytes, grammar: Grammar) -> tuple[int, int, tuple[str, str]]:
    """Find the first faulty line of a text that has one: its position, its index among the records, the fault."""
    position = index = 0
    for line in LINE_ENDS.split(text):
        if line:
            if fault := grammar.fault(line):
                return position, index, fault
            index += 1
        position += len(line)
        position += 2 if text[position : position + 2] == b"\r\n" else 1
    raise AssertionError("decode_text and Grammar.fault disagree")
