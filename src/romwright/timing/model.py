"""When a CPU takes data in: its data sheet's timing page as a frozen object. pinmaps/README.md describes every key.

A window is a sum of terms: each is a parameter, or the clock period T, times a number. So every CPU is data.
"""

from __future__ import annotations

from functools import cached_property
from typing import Literal

from msgspec import Struct

from romwright.boards.model import expand

PERIOD = "T"  # the clock period as the board gives it, among the terms
Terms = dict[str, float]
Kind = Literal["address", "select", "strobe", "latch"]


class Between(Struct, frozen=True, forbid_unknown_fields=True):
    """A parameter for which a document gives two values; each end names its source."""

    low: float
    high: float
    low_source: str
    high_source: str


class Grade(Struct, frozen=True, forbid_unknown_fields=True):
    """A speed grade: the parameters in nanoseconds; a parameter that it leaves out was not read.

    `source` is that of all of them, but for those that `sources` names; `unchecked` are from memory.
    """

    name: str
    source: str
    ns: dict[str, float | Between]
    aliases: tuple[str, ...] = ()
    title: str = ""
    sources: dict[str, str] = {}
    unchecked: tuple[str, ...] = ()


class Window(Struct, frozen=True, forbid_unknown_fields=True):
    """The time from when CPU lines are good to when data must be there, in some cycles.

    `wait` is what each wait adds; None: nobody has read it; `wait_source`, where that stands, if not with the rest.
    `assumes` says what the terms take for granted.
    """

    cycles: tuple[str, ...]
    lines: str
    kind: Kind
    terms: Terms
    source: str
    wait: Terms | None = None
    wait_source: str = ""
    assumes: str = ""

    @property
    def names(self) -> tuple[str, ...]:
        """The lines, one by one."""
        return expand(self.lines)

    def basis(self, waits: int) -> str:
        """Where it stands, with so many waits."""
        return f"{self.source}; waits: {self.wait_source}" if waits and self.wait_source else self.source

    @property
    def label(self) -> str:
        """The lines in a word: `address`, `/MREQ`."""
        return "address" if self.kind == "address" else self.lines


class Release(Struct, frozen=True, forbid_unknown_fields=True):
    """The time from when a line ends the read to when something else may drive the data lines."""

    cycles: tuple[str, ...]
    lines: str
    terms: Terms
    source: str


class Timing(Struct, frozen=True, forbid_unknown_fields=True, dict=True):
    """The timing of a CPU. `clock` says which clock T is the period of, `period` which parameter is the shortest T.

    `multiplexed` are address lines that the CPU gives only at the beginning of a cycle, so that a latch outside holds
    them.
    """

    name: str
    clock: str
    period: str
    sources: dict[str, str]
    parameters: dict[str, str]
    grades: tuple[Grade, ...]
    windows: tuple[Window, ...]
    releases: tuple[Release, ...] = ()
    multiplexed: str = ""
    cautions: tuple[str, ...] = ()
    unchecked: tuple[str, ...] = ()

    @cached_property
    def cycles(self) -> tuple[str, ...]:
        """The cycles that have a window, in the order of the file."""
        return tuple(dict.fromkeys(cycle for window in self.windows for cycle in window.cycles))

    def windows_of(self, cycle: str) -> list[Window]:
        """The windows of a cycle."""
        return [window for window in self.windows if cycle in window.cycles]
