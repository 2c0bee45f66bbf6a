"""One way from a line of the CPU through a chip back to the CPU, and whether it is in time."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property

from msgspec import Struct
from msgspec.structs import replace

from romwright.images.words import listed
from romwright.timing.chip import FLOAT
from romwright.timing.quantity import Quantity

EVERY = "every read"
BUFFER_ON = "that the buffer of the data lines is switched on before the data come"


class Path(Struct, frozen=True, dict=True):
    """From `start`, a line of the CPU, to `pins` of the chip in a cycle, and on to the data.

    `window`: what the CPU leaves; `delay`: what lies between CPU and chip, there and back; `need`: what the chip takes,
    the time `key` of its page. `basis` says what the window's terms are, `assumes` what they take for granted.
    `only_if`: it counts only on a board of which this is so.
    """

    cycle: str
    start: str
    pins: str
    key: str
    window: Quantity
    delay: Quantity
    need: Quantity
    basis: str = ""
    assumes: str = ""
    only_if: str = ""

    @cached_property
    def margin(self) -> Quantity:
        """What is left: below 0 it is too late."""
        return self.window - self.delay - self.need

    @property
    def parts(self) -> tuple[Quantity, ...]:
        """Window, delay, what the chip needs, and the margin."""
        return self.window, self.delay, self.need, self.margin

    @property
    def is_release(self) -> bool:
        """Whether it is about letting go of the data lines."""
        return self.key == FLOAT

    @property
    def most_ns(self) -> float | None:
        """What is left at most: a delay that nobody has read takes some time, so less than without it; None: unknown.

        Where the margin is known, its upper end.
        """
        if self.margin.is_known:
            return self.margin.high_ns
        return self.window.high_ns - self.need.low_ns if self.window.is_known and self.need.is_known else None

    @property
    def fails(self) -> bool:
        """Whether it is too late by every source, and whatever a delay is that nobody has read."""
        return self.most_ns is not None and self.most_ns < 0

    @property
    def is_doubtful(self) -> bool:
        """Whether it is too late by one source and in time by another."""
        return self.margin.is_known and self.margin.low_ns < 0 <= self.margin.high_ns

    @property
    def unchecked(self) -> list[str]:
        """What it rests on that nobody has checked."""
        return [*self.margin.unchecked, *[f"the window of {self.start}"] * ("unchecked" in self.basis)]

    @property
    def name(self) -> str:
        """The way in words: `address to /CE, opcode fetch`."""
        return f"{self.start} to {self.pins}, {self.cycle}"

    @property
    def short(self) -> str:
        """The way in words, without its cycle if it is the same in all."""
        return f"{self.start} to {self.pins}" if self.cycle == EVERY else self.name

    def as_json(self) -> dict:
        """The path under the documented JSON keys."""
        return {
            "cycle": self.cycle, "from": self.start, "to": self.pins, "time": self.key,
            "window_ns": self.window.as_json(), "delay_ns": self.delay.as_json(), "needs_ns": self.need.as_json(),
            "margin_ns": self.margin.as_json(), "unknown": self.margin.lacks, "unchecked": self.unchecked,
            "source": self.basis, "assumes": self.assumes, "only_if": self.only_if,
            "inputs": [each.as_json() for each in self.margin.inputs],
        }  # fmt: skip


def binding(paths: Iterable[Path]) -> Path | None:
    """Return the path with the least margin of those that can be said; None if there is none."""
    said = [path for path in paths if path.margin.is_known]
    return min(said, key=lambda path: (path.margin.low_ns, path.margin.high_ns), default=None)


def merged(paths: Iterable[Path]) -> list[Path]:
    """Put paths that differ only in their cycle into one, its cycles named together: `every read` for all of them."""
    paths = list(paths)
    every = {path.cycle for path in paths}
    found: dict[tuple, list[str]] = {}
    for path in paths:
        key = tuple(getattr(path, name) for name in Path.__struct_fields__ if name != "cycle")
        found.setdefault(key, []).append(path.cycle)
    names = [name for name in Path.__struct_fields__ if name != "cycle"]
    return [Path(cycle=cycles_in_words(cycles, every), **dict(zip(names, key))) for key, cycles in found.items()]


def cycles_in_words(cycles: Iterable[str], every: set[str]) -> str:
    """Name some cycles; all there are, if several, are every read."""
    cycles = list(dict.fromkeys(cycles))
    return EVERY if set(cycles) == every and len(every) > 1 else listed(cycles)


def at_grade(paths: Iterable[Path], needs: dict[str, Quantity]) -> list[Path]:
    """Return the same paths through a chip with other times."""
    return [replace(path, need=needs[path.key]) for path in paths]
