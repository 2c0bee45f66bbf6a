"""Everything that one dump shows by itself: the checks, in the order in which they are said."""

from __future__ import annotations

from collections.abc import Sequence

from romwright.faults.answers import check_answers
from romwright.faults.crowd import check_crowd
from romwright.faults.idle import check_address_lines
from romwright.faults.signs import Check, Dump, Sign
from romwright.faults.still import check_joined, check_one_value, check_stuck
from romwright.findings import Severity
from romwright.images.image import Image

LINES: tuple[Check, ...] = (check_one_value, check_stuck, check_joined, check_address_lines)


def find_signs(image: Image, checks: Sequence[Check] = ()) -> list[Sign]:
    """Return all signs of a bad read that an image shows, and those that the caller's own checks find."""
    if not image.segments:
        return []
    dump = Dump(image)
    signs = [sign for check in LINES for sign in check(dump)]
    lines_fail = any(sign.finding.severity is Severity.FAULT for sign in signs)
    signs += [*check_answers(dump, lines_fail), *check_crowd(dump)]
    return [*signs, *(sign for check in checks for sign in check(dump))]
