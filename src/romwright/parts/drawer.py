"""The drawer: which parts a technician has, as a plain text list."""

from __future__ import annotations

import re
from unicodedata import normalize

from msgspec import Struct

from romwright.errors import FormatError, InputError, RomwrightError
from romwright.findings import Finding
from romwright.parts.library import require_marked
from romwright.parts.model import Part
from romwright.parts.reading import Reading

LINE = "a part, a blank and how many there are, such as 28C256 2"
COUNTED = re.compile(r"(?P<marking>.+?)[\s,;]+(?P<count>\d{1,6})")
NO_COUNT = re.compile(
    r".*[\s,;]([x×*]\s?\d+|\d+\s?[x×*]|[-+.][\d\s.]*|\d{1,2}|\d{7,}|\d+\.\d*|chips?|pcs\.?|pieces?)", re.IGNORECASE
)


class Held(Struct, frozen=True):
    """A part in the drawer: how many of it, and the cautions of what its lines call it."""

    part: Part
    count: int
    findings: tuple[Finding, ...] = ()


def parse_drawer(text: str, file: str = "") -> dict[str, Held]:
    """Read a drawer list into what it holds, by the names of the parts.

    A line is a part and how many of it there are (1 if nothing is said); blank lines and what follows # do not count,
    nor does a part of which there are 0. Raises FormatError for a line with an unknown part or a count that is no
    number, InputError if there are several such lines.

    >>> [(name, held.count) for name, held in parse_drawer("28C256  2  # tested\\n27C512\\n28C256 1").items()]
    [('28C256', 3), ('27C512', 1)]
    """
    drawer: dict[str, Held] = {}
    faults: list[FormatError] = []
    lines = ((number, line.partition("#")[0].strip()) for number, line in enumerate(text.splitlines(), 1))
    for record, (number, words) in enumerate((entry for entry in lines if entry[1]), 1):
        try:
            part, reading, count = parse_line(words)
        except RomwrightError as error:
            more = {"expected": error.expected, "help": error.help}
            faults.append(FormatError(error.found, line=number, record=record, file=file, **more))
            continue
        before = drawer.get(part.name, Held(part, 0))
        findings = dict.fromkeys((*before.findings, *reading.findings))
        drawer[part.name] = Held(part, before.count + count, tuple(findings))
    if len(faults) == 1:
        raise faults[0]
    if faults:
        told = [f"    line {f.line}: {f.found}" + (f"; {f.help}" if f.help else "") for f in faults]
        raise InputError("\n".join([f"{len(faults)} lines are wrong", *told]), where=file, expected=f"on each: {LINE}")
    return {name: held for name, held in drawer.items() if held.count}


def parse_line(words: str) -> tuple[Part, Reading, int]:
    """Read one line: the part, how it is called, how many there are. Raises RomwrightError for a line that is wrong."""
    words = normalize("NFKC", words)
    counted = COUNTED.fullmatch(words)
    if not counted and (wrong := NO_COUNT.fullmatch(words)):
        raise InputError(f"{wrong[1]!r} is no count", expected=LINE)
    try:
        return *require(counted["marking"] if counted else words), int(counted["count"]) if counted else 1
    except RomwrightError:
        if not counted or len(counted["count"]) < 3:
            raise
        try:
            return *require(words), 1  # a maker's name before the number: the last word is no count
        except RomwrightError:
            pass
        raise


def require(marking: str) -> tuple[Part, Reading]:
    """Find the part of a marking. Raises RomwrightError."""
    if wrong := NO_COUNT.fullmatch(marking):
        raise InputError(f"{wrong[1]!r} is no count", expected=LINE)
    try:
        return require_marked(marking)
    except (OSError, ValueError) as error:  # ValueError: a path with a zero byte
        reason = getattr(error, "strerror", None) or error
        raise InputError(f"the page {marking} cannot be read: {reason}", expected=LINE) from None
