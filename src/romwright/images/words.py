"""Sizes in words for people."""

from __future__ import annotations


def in_bytes(size: int) -> str:
    """Return a size in words.

    >>> in_bytes(1), in_bytes(16384)
    ('1 byte', '16,384 bytes')
    """
    return f"{size:,} byte{'s' * (size != 1)}"
