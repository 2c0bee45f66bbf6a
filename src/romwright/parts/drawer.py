"""The drawer: which parts a technician has, as a plain text list."""

from __future__ import annotations

import re

from romwright.errors import FormatError, RomwrightError
from romwright.parts.library import require_part
from romwright.parts.model import Part


def parse_drawer(text: str, file: str = "") -> dict[str, tuple[Part, int]]:
    """Read a drawer list into parts by name, with counts.

    A line is a part and how many of it there are (1 if nothing is said); blank lines and what follows # do not count.
    Raises FormatError with the line for a part that is not known or a count that is no number.

    >>> [(name, count) for name, (_, count) in parse_drawer("28C256  2  # tested\\n27C512\\n28C256 1").items()]
    [('28C256', 3), ('27C512', 1)]
    """
    drawer: dict[str, tuple[Part, int]] = {}
    record = 0
    for number, line in enumerate(text.splitlines(), 1):
        words = line.partition("#")[0].strip()
        if not words:
            continue
        record += 1
        marking, count = re.fullmatch(r"(.+?)(?:[\s,;]+(\d+))?", words).groups()
        try:
            part = require_part(marking)
        except RomwrightError as error:
            raise FormatError(
                error.found, line=number, record=record, file=file, expected=error.expected, help=error.help
            ) from None
        drawer[part.name] = (part, drawer.get(part.name, (part, 0))[1] + int(count or 1))
    return drawer
