"""A time that is known, lies between two ends, or is unknown; with everything that it was worked out from."""

from __future__ import annotations

from collections.abc import Iterable

from msgspec import Struct
from msgspec.structs import replace

DIGITS = 6  # of a nanosecond, so that sums of decimal fractions come out even
SHOWN = 1  # of these in words and in JSON


class Given(Struct, frozen=True):
    """A number that went in: its name, both ends in nanoseconds (None: nobody has read it), and where they stand.

    A range names what each end rests on, `low_source` and `high_source`. `unchecked`: from memory, or marked so.
    """

    name: str
    low_ns: float | None
    high_ns: float | None
    source: str = ""
    high_source: str = ""
    unchecked: bool = False

    @property
    def is_known(self) -> bool:
        """Whether both ends are known."""
        return self.low_ns is not None and self.high_ns is not None

    def as_json(self) -> dict:
        """The number under the documented JSON keys."""
        return {
            "name": self.name, "ns": ends(self.low_ns, self.high_ns), "sources": self.sources,
            "unchecked": self.unchecked,
        }  # fmt: skip

    @property
    def sources(self) -> list[str]:
        """What its ends rest on: one source, or one for each."""
        return list(dict.fromkeys(filter(None, (self.source, self.high_source))))


class Quantity(Struct, frozen=True):
    """A time in nanoseconds: `low_ns` and `high_ns` are alike if it is known, and None if it is unknown.

    >>> window = known("window", 355, "a sheet") - unknown("decoder")
    >>> window.words, window.lacks
    ('unknown', ['decoder'])
    """

    low_ns: float | None
    high_ns: float | None
    inputs: tuple[Given, ...] = ()

    def __add__(self, other: Quantity) -> Quantity:
        inputs = tuple(dict.fromkeys((*self.inputs, *other.inputs)))
        if self.low_ns is None or other.low_ns is None:
            return Quantity(None, None, inputs)
        low, high = self.low_ns + other.low_ns, self.high_ns + other.high_ns
        return Quantity(round(low, DIGITS), round(high, DIGITS), inputs)

    def __sub__(self, other: Quantity) -> Quantity:
        return self + other.times(-1)

    def times(self, factor: float) -> Quantity:
        """Return so many of it: the ends change places below 0."""
        if self.low_ns is None:
            return self
        low, high = sorted((self.low_ns * factor, self.high_ns * factor))
        return replace(self, low_ns=round(low, DIGITS), high_ns=round(high, DIGITS))

    @property
    def is_known(self) -> bool:
        """Whether it can be said, as a number or a range."""
        return self.low_ns is not None

    @property
    def lacks(self) -> list[str]:
        """The names of the inputs that nobody has read."""
        return [given.name for given in self.inputs if not given.is_known]

    @property
    def unchecked(self) -> list[str]:
        """The names of the inputs that were not checked."""
        return [given.name for given in self.inputs if given.unchecked]

    @property
    def words(self) -> str:
        """The time in words: `355 ns`, `530 to 605 ns`, `unknown`."""
        return words_for(self.low_ns, self.high_ns)

    def as_json(self) -> list[float] | None:
        """Both ends, rounded; null if unknown."""
        return ends(self.low_ns, self.high_ns)


ZERO = Quantity(0, 0)  # a plain wire


def quantity(given: Given) -> Quantity:
    """Return a number that went in as a quantity; it is unknown if either end is."""
    both = (given.low_ns, given.high_ns) if given.is_known else (None, None)
    return Quantity(*both, (given,))


def known(name: str, ns: float, source: str, unchecked: bool = False) -> Quantity:
    """Return a time that is one number."""
    return quantity(Given(name, ns, ns, source, unchecked=unchecked))


def unknown(name: str, why: str = "") -> Quantity:
    """Return a time that nobody has read, with what is missing."""
    return quantity(Given(name, None, None, why))


def latest(ways: Iterable[Quantity]) -> Quantity:
    """Return what the slowest of several ways takes: unknown if any of them is, 0 if there is none."""
    ways = list(ways)
    inputs = tuple(dict.fromkeys(given for way in ways for given in way.inputs))
    if not all(way.is_known for way in ways):
        return Quantity(None, None, inputs)
    low, high = (max((end(way) for way in ways), default=0) for end in (lambda q: q.low_ns, lambda q: q.high_ns))
    # of the ways that can be the slowest: what is faster in any case has no part in the answer
    slow = [way for way in ways if way.high_ns >= low]
    return Quantity(low, high, tuple(dict.fromkeys(given for way in slow for given in way.inputs)))


def ends(low_ns: float | None, high_ns: float | None) -> list[float] | None:
    """Return both ends rounded, None if either is unknown."""
    return None if low_ns is None or high_ns is None else [round(low_ns, SHOWN), round(high_ns, SHOWN)]


def words_for(low_ns: float | None, high_ns: float | None) -> str:
    """Say a time: `355 ns`, `530 to 605 ns`, `unknown`."""
    if low_ns is None or high_ns is None:
        return "unknown"
    low, high = (f"{round(each, SHOWN):.10g}" for each in (low_ns, high_ns))
    return f"{low} ns" if low == high else f"{low} to {high} ns"
