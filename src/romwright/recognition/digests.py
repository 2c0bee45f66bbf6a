"""The checksums that a reference list may hold, and rows of them.

KINDS is in order of preference: a row is looked up by the first kind that it has. SHA-256 leads, since an image added
as bytes always has it.
"""

from __future__ import annotations

import hashlib
import zlib
from collections.abc import Callable
from typing import NamedTuple

_MIRROR = bytes(int(f"{byte:08b}"[::-1], 2) for byte in range(256))


def posix_cksum(data: bytes) -> bytes:
    """Compute the CRC that POSIX `cksum` prints, most significant byte first.

    POSIX sends the high bit of each byte first, zlib the low bit, with the same polynomial: on mirrored bytes zlib's
    register is the mirror image of the one wanted. The length follows the data, low byte first, in as few bytes as it
    needs.

    >>> int.from_bytes(posix_cksum(b"123456789"))  # coreutils 9.1 prints the same
    930766865
    """
    length = len(data).to_bytes((len(data).bit_length() + 7) // 8, "little")
    register = zlib.crc32(length.translate(_MIRROR), zlib.crc32(bytes(data).translate(_MIRROR), 0xFFFFFFFF))
    return register.to_bytes(4, "little").translate(_MIRROR)


def sha256_on_the_way(data: bytes, stop: int) -> tuple[bytes, bytes]:
    """Compute the SHA-256 of the first `stop` bytes and that of all in one pass.

    >>> [digest.hex()[:8] for digest in sha256_on_the_way(b"abcabc", 3)]  # of "abc": FIPS 180-4
    ['ba7816bf', 'bbb59da3']
    """
    view = memoryview(data)
    first = hashlib.sha256(view[:stop])
    whole = first.copy()
    whole.update(view[stop:])
    return first.digest(), whole.digest()


KINDS: dict[str, Callable[[bytes], bytes]] = {
    "sha256": lambda data: hashlib.sha256(data).digest(),
    "sha512": lambda data: hashlib.sha512(data).digest(),
    "blake2b": lambda data: hashlib.blake2b(data).digest(),
    "sha384": lambda data: hashlib.sha384(data).digest(),
    "sha224": lambda data: hashlib.sha224(data).digest(),
    "sha1": lambda data: hashlib.sha1(data, usedforsecurity=False).digest(),
    "md5": lambda data: hashlib.md5(data, usedforsecurity=False).digest(),
    "crc32": lambda data: zlib.crc32(data).to_bytes(4),
    "cksum": posix_cksum,
}
NUMBERS = {kind: number for number, kind in enumerate(KINDS)}
BYTES = {kind: len(function(b"")) for kind, function in KINDS.items()}


class Row(NamedTuple):
    """One ROM of a reference list: its name, its size in bytes if known, and its digests by kind."""

    name: str
    size: int | None
    digests: dict[str, bytes]

    @property
    def kind(self) -> str:
        """The kind of digest that it is looked up by."""
        return min(self.digests, key=NUMBERS.__getitem__)

    @property
    def key(self) -> int:
        """The number that it is looked up by."""
        return key_of(self.kind, self.digests[self.kind])


def key_of(kind: str, digest: bytes) -> int:
    """Make a 64-bit signed number of a digest, for the index of the store; the whole digest is compared afterwards."""
    if len(digest) < 8:
        return NUMBERS[kind] << 32 | int.from_bytes(digest)
    return int.from_bytes(digest[:8], signed=True)
