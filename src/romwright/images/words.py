"""Counts and lists in words for people."""

from __future__ import annotations

from collections.abc import Sequence


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


def listed(words: Sequence[str], last: str = "and") -> str:
    """List words.

    >>> listed(["A8", "A9", "A12"]), listed(["A8", "A9"], "or"), listed(["A8"]), listed([])
    ('A8, A9 and A12', 'A8 or A9', 'A8', '')
    """
    return f" {last} ".join(filter(None, [", ".join(words[:-1]), *words[-1:]]))


def run_of(lines: Sequence[str]) -> str:
    """Write lines, a run of them short.

    >>> run_of(["D0", "D1", "D2"]), run_of(["D0", "D2"])
    ('D0-D2', 'D0, D2')
    """
    numbers = [int(each[1:]) for each in lines if each[1:].isdigit()]
    run = len(numbers) == len(lines) > 2 and numbers == list(range(numbers[0], numbers[0] + len(numbers)))
    return f"{lines[0]}-{lines[-1]}" if run else ", ".join(lines)
