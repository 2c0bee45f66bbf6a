"""Bytes to lines of hex digits, many at a time."""

from __future__ import annotations

import binascii
from collections.abc import Iterable, Iterator

import numpy as np

from romwright.errors import SpanError
from romwright.images.image import Segment


def split_at(segments: Iterable[Segment], block: int, limit: int) -> Iterator[Segment]:
    """Yield the segments cut at every multiple of `block`. Raises SpanError at addresses from `limit` on."""
    for segment in segments:
        if segment.stop > limit or segment.start < 0:
            raise SpanError(min(segment.start, 0), segment.stop, limit)
        start = segment.start
        while start < segment.stop:
            stop = min((start // block + 1) * block, segment.stop)
            yield Segment(start, segment.data[start - segment.start : stop - segment.start])
            start = stop


def rows(segment: Segment, width: int) -> Iterator[tuple[int, np.ndarray]]:
    """Yield (address of the first row, rows of `width` bytes); the last, shorter row comes alone."""
    data = np.frombuffer(segment.data, np.uint8)
    whole = len(data) // width * width
    if whole:
        yield segment.start, data[:whole].reshape(-1, width)
    if whole < len(data):
        yield segment.start + whole, data[whole:].reshape(1, -1)


def lines(
    lead: bytes, start: int, address_bytes: int, data: np.ndarray, *, middle: bytes = b"", counted: int, total: int
) -> bytes:
    """Return one record a row: lead, count, address, middle, data, checksum, CR LF.

    `counted` is how many bytes the count covers besides the data; `total` is what a record's bytes sum to, modulo 256.
    """
    count, width = data.shape
    address = start + width * np.arange(count, dtype=np.int64)
    record = np.empty((count, 1 + address_bytes + len(middle) + width + 1), np.uint8)
    record[:, 0] = width + counted
    for i in range(address_bytes):
        record[:, 1 + i] = address >> (8 * (address_bytes - 1 - i))
    for i, byte in enumerate(middle):
        record[:, 1 + address_bytes + i] = byte
    record[:, 1 + address_bytes + len(middle) : -1] = data
    record[:, -1] = total - record[:, :-1].sum(axis=1, dtype=np.uint8)
    digits = np.frombuffer(binascii.hexlify(record.tobytes()).upper(), np.uint8).reshape(count, -1)
    text = np.empty((count, len(lead) + digits.shape[1] + 2), np.uint8)
    text[:, : len(lead)] = np.frombuffer(lead, np.uint8)
    text[:, len(lead) : -2] = digits
    text[:, -2:] = (13, 10)
    return text.tobytes()
