"""Polarities that the factory chose, as people write them."""

from __future__ import annotations

import re

from romwright.errors import OptionError


def parse_polarity(text: str | None, option: str) -> dict[int, str]:
    """Read `20=L,22=H,27=NC` into levels by pin number. Raises OptionError."""
    stated: dict[int, str] = {}
    for entry in (text or "").split(",") if text else ():
        match = re.fullmatch(r"\s*(\d+)\s*=\s*(H|L|NC)\s*", entry, re.IGNORECASE)
        if not match:
            raise OptionError(
                f"{option} {text}: {entry.strip() or 'an empty entry'} is no polarity",
                expected="PIN=L (active low), PIN=H (active high) or PIN=NC, with commas between, such as 20=L,27=H",
            )
        pin, level = int(match[1]), match[2].upper()
        if stated.setdefault(pin, level) != level:
            raise OptionError(f"{option} {text}: pin {pin} is given as {stated[pin]} and as {level}")
    return stated
