"""Raw binary: the bytes themselves, the first at address 0."""

from __future__ import annotations

from typing import BinaryIO

from romwright.errors import InputError
from romwright.findings import Finding
from romwright.images.image import SPAN_LIMIT, Image

NAME = "raw"
LIMIT_BYTES = SPAN_LIMIT


def parse(stream: BinaryIO) -> tuple[Image, list[Finding]]:
    """Read all bytes. Raises InputError over 64 MiB."""
    data = stream.read(SPAN_LIMIT + 1)
    if len(data) > SPAN_LIMIT:
        raise InputError(
            f"the file has more than {SPAN_LIMIT:,} bytes",
            expected=f"an image of at most {SPAN_LIMIT >> 20} MiB",
            help="is this the right file? if so, cut it into pieces first",
        )
    return Image.from_bytes(data), []


def build(image: Image) -> bytes:
    """Return the bytes from the lowest address on. Raises GapError: raw binary has no way to write a gap."""
    return image.flat()
