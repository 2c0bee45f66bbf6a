"""Everything that one dump shows by itself: the checks, in the order in which they are said."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from romwright.faults.alone.answers import BUSES, ZERO, check_answers, check_reads_address
from romwright.faults.alone.breaks import check_breaks
from romwright.faults.alone.crowd import check_crowd
from romwright.faults.alone.idle import check_address_lines
from romwright.faults.alone.signs import Check, Dump, Sign
from romwright.faults.alone.still import check_joined, check_one_value, check_stuck
from romwright.findings import Severity
from romwright.images.image import Image

NOTHING_READ: tuple[Check, ...] = (check_one_value, check_reads_address)
LINES: tuple[Check, ...] = (check_stuck, check_joined, check_address_lines)


def find_signs(image: Image, checks: Sequence[Check] = ()) -> list[Sign]:
    """Return all signs of a bad read that an image shows, and those that the caller's own checks find."""
    if not image.segments:
        return []
    dump = Dump(image)
    signs = find(dump, NOTHING_READ) or list(contents(dump))
    return [*signs, *find(dump, checks)]


def find(dump: Dump, checks: Sequence[Check]) -> list[Sign]:
    """Return what some checks find."""
    return [sign for check in checks for sign in check(dump)]


def contents(dump: Dump) -> Iterator[Sign]:
    """Yield the signs of a dump in which something was read."""
    yield from (lines := find(dump, LINES))
    yield from (crowd := find(dump, (check_crowd,)))
    lines_fail = any(sign.finding.severity is Severity.FAULT for sign in lines)
    buses = [bus for bus in BUSES if not (crowd and bus is ZERO)]  # two programs at once leave many 00
    yield from check_answers(dump, buses, lines_fail)
    if not lines_fail:
        yield from check_breaks(dump)
