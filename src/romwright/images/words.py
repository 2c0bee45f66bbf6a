"""Counts in words for people."""

from __future__ import annotations


def counted(number: int, noun: str) -> str:
    """Return a number of things, the noun in the plural unless there is one.

    >>> counted(1, "state"), counted(0, "state")
    ('1 state', '0 states')
    """
    return f"{number:,} {noun}{'s' * (number != 1)}"


def in_bytes(size: int) -> str:
    """Return a size in words.

    >>> in_bytes(1), in_bytes(16384)
    ('1 byte', '16,384 bytes')
    """
    return counted(size, "byte")
