"""The read times of a chip, grade by grade: what its page says, and unknown where it says nothing."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import NamedTuple

from romwright.errors import OptionError
from romwright.parts.model import Part
from romwright.timing.quantity import Quantity, known, unknown

ACCESS, ENABLE, OUTPUT, FLOAT = "access_ns", "enable_ns", "output_enable_ns", "float_ns"
WORDS = {
    ACCESS: "address to output", ENABLE: "select to output", OUTPUT: "output enable to output",
    FLOAT: "output enable off to floating outputs",
}  # fmt: skip


def grades_of(part: Part) -> Sequence[float]:
    """Return the speed grades on a part's page: its access times, in the page's order; none if it has none."""
    return part.times.access_ns if part.times else ()


def time_of(part: Part, key: str, grade: float | None) -> Quantity:
    """Return a read time of a part at a grade, the slowest where the grade is not one of its page's.

    Lists on a page run in step with the grades: where one is shorter, the time of that grade was not read.
    """
    grades = grades_of(part)
    values = getattr(part.times, key) if part.times else ()
    place = grades.index(grade) if grade in grades else 0
    label = f"{WORDS[key]} of {part.name}" + (f" at {grade:g} ns" if grade in grades else "")
    if (grade is not None and grade not in grades) or place >= len(values):
        return unknown(label, "not on its page")
    marked = bool(part.unchecked_about(f"times.{key}"))
    return known(label, values[place], "; ".join(part.sources_of("times")) or "its page, unchecked", marked)


def key_of(function: str) -> str:
    """Return which read time counts from a control pin: output enables are named so, all else is a select.

    >>> key_of("/OE"), key_of("OE1?"), key_of("/CE"), key_of("CS1?")
    ('output_enable_ns', 'output_enable_ns', 'enable_ns', 'enable_ns')
    """
    return OUTPUT if re.fullmatch(r"/?O[ED]\d*\??", function) else ENABLE


def address_words(part: Part) -> str:
    """Name the address pins: `A0-A13`."""
    return f"A0-A{part.address_bits - 1}"


class Grade(NamedTuple):
    """A speed grade of a chip's page in ns, None if its page has none; `assumed`: the slowest, as nobody stated it."""

    ns: float | None
    assumed: bool = False


def require_grade_ns(
    part: Part, stated: float | None, marked: float | None = None, where: str = "--grade"
) -> Grade:  # fmt: skip
    """Return the grade to judge: the one stated, the one in the marking, or the page's slowest.

    `where` it is stated is told with the error. Raises OptionError if the stated one is not on the page.
    """
    grades = grades_of(part)
    if stated is not None and stated not in grades:
        known_as = ", ".join(f"{each:g}" for each in grades) or "none: its page has no access times"
        raise OptionError(
            f"the page of {part.name} has no grade of {stated:g} ns", where=where,
            expected=f"one of its grades: {known_as}",
            help="a page of your own (a file with .toml) can have any grade; pinmaps/README.md says how",
        )  # fmt: skip
    found = stated or (marked if marked in grades else None)
    return Grade(found) if found else Grade(max(grades, default=None), bool(grades))
