"""Addresses, ranges and bytes as people write them, each with an error that says what was expected.

`option` names the place where the text was given: an option of the command line, or a key of a file.
"""

from __future__ import annotations

import re

from romwright.errors import OptionError


def parse_address(text: str, option: str) -> int:
    """Read hex digits, with 0x or $ in front or h behind if you like. Raises OptionError."""
    match = re.fullmatch(r"(?:0x|\$)?([0-9a-f]{1,8})h?", text.strip(), re.IGNORECASE)
    if not match:
        raise OptionError(f"{text!r} is no address", where=option, expected="hex digits, for instance C000")
    return int(match[1], 16)


def parse_byte(text: str, option: str) -> int:
    """Read a byte of two hex digits. Raises OptionError."""
    try:
        value = parse_address(text, option)
    except OptionError:
        value = -1
    if not 0 <= value <= 0xFF:
        raise OptionError(f"{text!r} is no byte", where=option, expected="two hex digits, 00 to FF")
    return value


def parse_range(text: str, option: str) -> tuple[int, int]:
    """Read FIRST-LAST, both included, as (first, after the last). Raises OptionError."""
    first, dash, last = text.partition("-")
    if not dash:
        raise OptionError(f"{text!r} is no range", where=option, expected="FIRST-LAST, for instance C000-FFFF")
    start, stop = parse_address(first, option), parse_address(last, option) + 1
    if stop <= start:
        raise OptionError(
            f"the range {text} ends before it starts", where=option, expected="FIRST-LAST, the lower address first"
        )
    return start, stop
