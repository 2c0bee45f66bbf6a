"""Raw binary: the bytes themselves, the first at address 0."""

from __future__ import annotations

from typing import BinaryIO

from romwright.errors import SpanError
from romwright.findings import Finding
from romwright.images.image import SPAN_LIMIT, Image

NAME = "raw"
SUFFIX = ".bin"


def recognises(head: bytes) -> bool:
    """Anything can be raw binary, so this format is asked last."""
    return True


def parse(stream: BinaryIO) -> tuple[Image, list[Finding]]:
    """Read all bytes. Raises SpanError over 64 MiB."""
    data = stream.read(SPAN_LIMIT + 1)
    if len(data) > SPAN_LIMIT:
        raise SpanError(0, max(stream.seek(0, 2), len(data)), SPAN_LIMIT)
    return Image.from_bytes(data), []


def build(image: Image) -> bytes:
    """Return the bytes from the lowest address on. Raises GapError: raw binary has no way to write a gap."""
    return image.flat()
