"""The windows of a CPU at a clock: how long after its lines are good it takes the data in."""

from __future__ import annotations

from msgspec import Struct

from romwright.timing.model import PERIOD, Between, Grade, Release, Terms, Timing, Window
from romwright.timing.quantity import ZERO, Given, Quantity, known, quantity, unknown


class Pace(Struct, frozen=True):
    """What a CPU runs at: its grade and its clock; nanoseconds are worked out from both. None: not known.

    `assumed`: nobody stated the grade, and this is the slowest that may run at that clock.
    """

    page: Timing
    clock_mhz: float | None
    grade: Grade | None
    assumed: bool = False

    @property
    def period(self) -> Quantity:
        """The clock period."""
        if self.clock_mhz is None:
            return unknown(f"the {self.page.clock}")
        return known(f"{PERIOD}, the period of {self.clock_mhz:g} MHz", 1000 / self.clock_mhz, "the clock as stated")

    @property
    def is_too_fast(self) -> bool:
        """Whether the clock is above what the grade is made for."""
        return bool(self.grade and self.clock_mhz and 1000 / self.clock_mhz < self.grade.ns[self.page.period] - 1e-6)

    def parameter(self, name: str) -> Quantity:
        """Return a parameter of the grade with its source; unknown if the page does not have it."""
        if self.grade is None:
            return unknown(f"the grade of the {self.page.name}", "not stated")
        label = f"{name}, {self.page.parameters[name]} ({self.grade.name})"
        value = self.grade.ns.get(name)
        if value is None:
            return unknown(label, "no document that gives it was read")
        texts, marked = self.page.sources, name in self.grade.unchecked
        if isinstance(value, Between):
            ends = value.low, value.high, texts[value.low_source], texts[value.high_source]
            return quantity(Given(label, *ends, unchecked=marked))
        return known(label, value, texts[self.grade.sources.get(name, self.grade.source)], marked)

    def total(self, terms: Terms) -> Quantity:
        """Return the sum of some terms."""
        found = ZERO
        for name, factor in terms.items():
            found += (self.period if name == PERIOD else self.parameter(name)).times(factor)
        return found

    def window(self, window: Window, waits: int = 0, stretch_ns: float = 0) -> Quantity:
        """Return how long a window is with so many waits, and the clock held for so long."""
        found = self.total(window.terms)
        if waits:
            unread = unknown(f"what a wait adds for {window.label} of the {self.page.name}")
            found += unread if window.wait is None else self.total(window.wait).times(waits)
        return found + known("the clock held by the board", stretch_ns, "as stated") if stretch_ns else found

    def release(self, release: Release) -> Quantity:
        """Return how long a chip may take to let go of the data lines."""
        return self.total(release.terms)


def pace(page: Timing, clock_mhz: float | None, grade: Grade | None = None) -> Pace:
    """Return what a CPU runs at; unless a grade is stated, the slowest is taken that may run at that clock.

    >>> from romwright.timing.library import find_timing
    >>> pace(find_timing("Z80"), 3.5).grade.name
    'Z80A'
    """
    if grade or clock_mhz is None:
        return Pace(page, clock_mhz, grade)
    able = [each for each in page.grades if each.ns[page.period] <= 1000 / clock_mhz + 1e-6]
    fallback = min(page.grades, key=lambda each: each.ns[page.period])
    return Pace(page, clock_mhz, max(able, key=lambda each: each.ns[page.period], default=fallback), True)
