"""Everything that one dump shows by itself: the checks, in the order in which they are said."""

from __future__ import annotations

from collections.abc import Sequence

from romwright.faults.answers import check_answers
from romwright.faults.crowd import check_crowd
from romwright.faults.idle import check_idle, check_joined_lines, check_silent
from romwright.faults.signs import Check, Sign, find_signs
from romwright.faults.still import check_joined, check_one_value, check_stuck
from romwright.images.image import Image

CHECKS: tuple[Check, ...] = (
    check_one_value, check_stuck, check_joined, check_idle, check_joined_lines, check_silent, check_answers, check_crowd,
)  # fmt: skip


def find_all_signs(image: Image, more: Sequence[Check] = ()) -> list[Sign]:
    """Return all signs of a bad read that an image shows, and those that the caller's own checks find."""
    return list(find_signs(image, (*CHECKS, *more)))
