"""Transforms of bytes. Each names its inverse."""

from __future__ import annotations

from collections.abc import Sequence

from romwright.errors import OptionError

INVERSION = bytes(255 - value for value in range(256))


def split(data: bytes, lanes: int) -> list[bytes]:
    """Deal bytes out to `lanes` chips in turn: lane 0 gets bytes 0, lanes, 2*lanes, ... Inverse: join.

    >>> split(b"ABCDEF", 2)
    [b'ACE', b'BDF']

    Raises OptionError unless `lanes` divides the size.
    """
    require_multiple(data, lanes, f"a {lanes}-way split")
    return [data[lane::lanes] for lane in range(lanes)]


def join(lanes: Sequence[bytes]) -> bytes:
    """Interleave the contents of several chips, one byte of each in turn. Inverse: split.

    >>> join([b"ACE", b"BDF"])
    b'ABCDEF'

    Raises OptionError unless all have one size.
    """
    sizes = {len(lane) for lane in lanes}
    if len(sizes) > 1:
        raise OptionError(
            f"the files to join have {', '.join(f'{len(lane):,}' for lane in lanes)} bytes",
            expected="equal sizes",
            help="a dump of the wrong length or of another chip is among them",
        )
    out = bytearray(sum(map(len, lanes)))
    for index, lane in enumerate(lanes):
        out[index :: len(lanes)] = lane
    return bytes(out)


def swap(data: bytes, group: int = 2) -> bytes:
    """Reverse the bytes of every group of `group`. Its own inverse.

    >>> swap(b"ABCDEFGH"), swap(b"ABCDEFGH", 4)
    (b'BADCFEHG', b'DCBAHGFE')

    Raises OptionError unless `group` divides the size.
    """
    require_multiple(data, group, f"swapping in groups of {group}")
    return join(split(data, group)[::-1])


def invert(data: bytes) -> bytes:
    """Turn every bit. Its own inverse.

    >>> invert(bytes([0x0F, 0xFF]))
    b'\\xf0\\x00'
    """
    return data.translate(INVERSION)


def repeat(data: bytes, size_bytes: int) -> bytes:
    """Repeat the bytes until they fill `size_bytes`. Inverse: take the first period.

    Raises OptionError unless the size is a multiple of the data's.
    """
    if not data or size_bytes % len(data):
        raise OptionError(
            f"{len(data):,} bytes do not repeat evenly in {size_bytes:,}", expected="a size that divides the chip's"
        )
    return data * (size_bytes // len(data))


def require_multiple(data: bytes, of: int, what: str) -> None:
    """Raise OptionError unless `of` divides the size of the data."""
    if len(data) % of:
        raise OptionError(f"{len(data):,} bytes cannot be dealt with by {what}", expected=f"a size that {of} divides")
