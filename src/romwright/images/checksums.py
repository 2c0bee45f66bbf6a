"""Checksums: the sums that a programmer shows, CRCs by name, and digests.

The named CRCs are those of the crcmod library; tests hold each against its published check value.
"""

from __future__ import annotations

import hashlib
import zlib
from collections.abc import Callable
from functools import cache

from msgspec import Struct

from romwright.errors import UnknownNameError


class Checksums(Struct, frozen=True):
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


def byte_xor(data: bytes) -> int:
    """Exclusive-or all bytes."""
    import numpy as np

    return int(np.bitwise_xor.reduce(np.frombuffer(data, np.uint8))) if data else 0


def word_sum(data: bytes, order: str) -> int:
    """Add 16-bit words, `order` "big" or "little"; an odd last byte is padded with 00 on its right."""
    import numpy as np

    words = np.frombuffer(data + b"\0" * (len(data) % 2), ">u2" if order == "big" else "<u2")
    return int(words.sum(dtype=np.uint64))


# The names of the public catalogue of parametrised CRC algorithms (fixtures/vectors/crc.toml) for crcmod's.
CATALOGUE = {
    "CRC-16/ARC": "crc-16", "CRC-16/DDS-110": "crc-16-dds-110", "CRC-16/DECT-R": "crc-16-dect",
    "CRC-16/DNP": "crc-16-dnp", "CRC-16/EN-13757": "crc-16-en-13757", "CRC-16/GENIBUS": "crc-16-genibus",
    "CRC-16/IBM-3740": "crc-ccitt-false", "CRC-16/IBM-SDLC": "x-25", "CRC-16/KERMIT": "kermit",
    "CRC-16/MAXIM-DOW": "crc-16-maxim", "CRC-16/MCRF4XX": "crc-16-mcrf4xx", "CRC-16/MODBUS": "modbus",
    "CRC-16/RIELLO": "crc-16-riello", "CRC-16/SPI-FUJITSU": "crc-aug-ccitt", "CRC-16/T10-DIF": "crc-16-t10-dif",
    "CRC-16/TELEDISK": "crc-16-teledisk", "CRC-16/UMTS": "crc-16-buypass", "CRC-16/USB": "crc-16-usb",
    "CRC-16/XMODEM": "xmodem", "CRC-24/FLEXRAY-A": "crc-24-flexray-a", "CRC-24/FLEXRAY-B": "crc-24-flexray-b",
    "CRC-24/OPENPGP": "crc-24", "CRC-32/AIXM": "crc-32q", "CRC-32/BASE91-D": "crc-32d", "CRC-32/BZIP2": "crc-32-bzip2",
    "CRC-32/CKSUM": "posix", "CRC-32/ISCSI": "crc-32c", "CRC-32/ISO-HDLC": "crc-32", "CRC-32/JAMCRC": "jamcrc",
    "CRC-32/MPEG-2": "crc-32-mpeg", "CRC-32/XFER": "xfer", "CRC-64/WE": "crc-64-we", "CRC-8/DARC": "crc-8-darc",
    "CRC-8/I-432-1": "crc-8-itu", "CRC-8/I-CODE": "crc-8-i-code", "CRC-8/MAXIM-DOW": "crc-8-maxim",
    "CRC-8/ROHC": "crc-8-rohc", "CRC-8/SMBUS": "crc-8", "CRC-8/WCDMA": "crc-8-wcdma",
}  # fmt: skip


def folded(name: str) -> str:
    """Return a name as it is compared: small letters and digits only."""
    return "".join(c for c in name.casefold() if c.isalnum())


@cache
def crc_spellings() -> dict[str, str]:
    """Return the name of every CRC by its folded spellings: crcmod's name and identifier, the catalogue's name."""
    from crcmod.predefined import _crc_definitions

    rows = [(spelling, row["name"]) for row in _crc_definitions for spelling in (row["name"], row["identifier"])]
    return {folded(spelling): name for spelling, name in [*CATALOGUE.items(), *rows]}


def crc_name(text: str) -> str:
    """Return crcmod's name for a CRC, however its case, dashes and blanks are written.

    >>> crc_name("CRC32"), crc_name("CRC-16/ARC"), crc_name("Crc_CCITT_False")
    ('crc-32', 'crc-16', 'crc-ccitt-false')

    Raises UnknownNameError, offering near names.
    """
    name = crc_spellings().get(folded(text))
    if name is None:
        raise UnknownNameError("CRC", text, crc_widths())
    return name


@cache
def crc_function(name: str) -> Callable[[bytes], int]:
    """Return the CRC function of that name. Raises UnknownNameError, offering near names."""
    name = crc_name(name)
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
    return crc_widths()[crc_name(name)]
