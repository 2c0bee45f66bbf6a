"""Checksums: the sums that a programmer shows, CRCs by name, and digests.

The named CRCs are those of the crcmod library; tests hold each against its published check value.
"""

from __future__ import annotations

import hashlib
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

from romwright.errors import UnknownNameError


@dataclass(frozen=True, slots=True)
class Checksums:
    """The checksums of some bytes, as hex digits: CRC-32 and sums in capitals, digests in small letters.

    `sum8` and `sum16` add the bytes modulo 2^8 and 2^16; `ones` is the complement that brings the sum to all ones,
    `twos` the one that brings it to zero.
    """

    crc32: str
    md5: str
    sha1: str
    sha256: str
    sum8: str
    sum16: str
    sum8_ones: str
    sum8_twos: str
    sum16_ones: str
    sum16_twos: str


def measure(data: bytes) -> Checksums:
    """Compute the usual checksums.

    >>> measure(b"123456789").crc32, measure(b"123456789").sum16
    ('CBF43926', '01DD')
    """
    total = byte_sum(data)
    return Checksums(
        crc32=f"{zlib.crc32(data):08X}",
        md5=hashlib.md5(data, usedforsecurity=False).hexdigest(),
        sha1=hashlib.sha1(data, usedforsecurity=False).hexdigest(),
        sha256=hashlib.sha256(data).hexdigest(),
        sum8=f"{total & 0xFF:02X}",
        sum16=f"{total & 0xFFFF:04X}",
        sum8_ones=f"{~total & 0xFF:02X}",
        sum8_twos=f"{-total & 0xFF:02X}",
        sum16_ones=f"{~total & 0xFFFF:04X}",
        sum16_twos=f"{-total & 0xFFFF:04X}",
    )


def byte_sum(data: bytes) -> int:
    """Add all bytes."""
    if len(data) < 4096:  # not worth the import
        return sum(data)
    import numpy as np

    return int(np.frombuffer(data, np.uint8).sum(dtype=np.uint64))


def word_sum(data: bytes, order: str) -> int:
    """Add 16-bit words, `order` "big" or "little"; an odd last byte is padded with 00 on its right."""
    import numpy as np

    words = np.frombuffer(data + b"\0" * (len(data) % 2), ">u2" if order == "big" else "<u2")
    return int(words.sum(dtype=np.uint64))


@cache
def crc_function(name: str) -> Callable[[bytes], int]:
    """Return the CRC function of that name. Raises UnknownNameError, offering near names."""
    crc_width(name)
    if name == "crc-32":
        return zlib.crc32  # the same values, three times as fast
    from crcmod.predefined import mkPredefinedCrcFun

    return mkPredefinedCrcFun(name)


@cache
def crc_widths() -> dict[str, int]:
    """Return the width in bits of every CRC that can be named."""
    from crcmod.predefined import _crc_definitions

    return {row["name"]: row["poly"].bit_length() - 1 for row in _crc_definitions}


def crc(name: str, data: bytes) -> int:
    """Compute a CRC by its name.

    >>> f"{crc('xmodem', b'123456789'):04X}"
    '31C3'
    """
    return crc_function(name)(data)


def crc_width(name: str) -> int:
    """Return the width of a CRC in bits. Raises UnknownNameError."""
    if name not in crc_widths():
        raise UnknownNameError("CRC", name, crc_widths())
    return crc_widths()[name]
