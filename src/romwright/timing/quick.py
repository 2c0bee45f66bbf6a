"""A chip at a CPU, without a board: the paths as they run on nearly every board, with the delays that are stated."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from msgspec import Struct, field

from romwright.boards.model import expand
from romwright.parts.model import Part
from romwright.timing.chip import ACCESS, ENABLE, FLOAT, OUTPUT, address_words, key_of, time_of
from romwright.timing.chip import Grade as Fitted
from romwright.timing.judgement import Answer
from romwright.timing.model import Grade, Timing, Window
from romwright.timing.paths import BUFFER_ON, Path, merged
from romwright.timing.quantity import ZERO, Quantity, unknown
from romwright.timing.windows import Pace, pace

PLACES = ("address", "select", "strobe", "data")  # where a delay can lie: before pins of the chip, or behind it


class Circumstances(Struct, frozen=True):
    """What lies between a CPU and a chip: delays by place, waits by cycle ("" for all), and the clock held.

    `gating`: the lines besides the address of which the select is made.
    """

    delays: Mapping[str, Quantity] = field(default_factory=dict)
    waits: Mapping[str, int] = field(default_factory=dict)
    stretch_ns: float = 0
    gating: tuple[str, ...] = ()

    def waits_in(self, cycle: str) -> int:
        """Return the waits of a cycle."""
        return self.waits.get(cycle, self.waits.get("", 0))

    def delay(self, place: str) -> Quantity:
        """Return the delay on the way to a place and back on the data lines; a plain wire has none."""
        return self.delays.get(place, ZERO) + self.delays.get("data", ZERO)


DIRECT = Circumstances()  # nothing between them


def judge_quickly(
    page: Timing, clock_mhz: float | None, part: Part, fitted: Fitted, around: Circumstances = DIRECT,
    cpu_grade: Grade | None = None,
) -> Answer:  # fmt: skip
    """Judge a chip at a CPU and a clock: the address, the select made of it, and the strobes, each by itself."""
    at = pace(page, clock_mhz, cpu_grade)
    paths = [path for cycle in page.cycles for path in cycle_paths(at, cycle, part, fitted.ns, around)]
    return Answer(part, fitted.ns, at, tuple(merged(paths)), page.name, fitted.assumed)


def cycle_paths(at: Pace, cycle: str, part: Part, grade_ns: float | None, around: Circumstances) -> Iterator[Path]:
    """Yield the paths of one cycle."""
    for window in at.page.windows_of(cycle):
        waits = around.waits_in(cycle)
        span, basis = at.window(window, waits, around.stretch_ns), window.basis(waits)
        for pins, key, delay, only_if in ways(window, part, around, latch(at.page, around)):
            need = time_of(part, key, grade_ns)
            taken = "; ".join(filter(None, (window.assumes, BUFFER_ON * ("data" in around.delays))))
            yield Path(cycle, window.label, pins, key, span, delay, need, basis, taken, only_if)
    off = "strobe" if output_enables(part) else "select"  # what ends a read of a chip without an output enable
    yield from release_paths(at, cycle, part, grade_ns, around.delays.get(off, ZERO))


def ways(window: Window, part: Part, around: Circumstances, held: Quantity) -> Iterator[tuple[str, str, Quantity, str]]:
    """Yield where the lines of a window go: pins, the time of the chip, the delay, and on which condition.

    A chip without an output enable has the strobe in its select.
    """
    outputs = output_enables(part)
    if window.kind == "address":
        yield address_words(part), ACCESS, around.delay("address") + held, ""
    if window.kind == "strobe":
        yield from ((name, OUTPUT, around.delay("strobe"), "") for name in outputs)
    gated = bool(set(window.names) & set(around.gating))
    if gated or window.kind in ("address", "select") or (window.kind == "strobe" and not outputs):
        only_if = f"{window.label} is part of the select" if window.kind == "select" and not gated else ""
        selects = (name for name in part.enables if name not in outputs)
        yield from ((name, ENABLE, around.delay("select"), only_if) for name in selects)


def output_enables(part: Part) -> list[str]:
    """List the output enables of a part."""
    return [name for name in part.enables if key_of(name) == OUTPUT]


def release_paths(at: Pace, cycle: str, part: Part, grade_ns: float | None, delay: Quantity) -> Iterator[Path]:
    """Yield how the chip lets go of the data lines at the end of a cycle."""
    found = [each for each in at.page.releases if cycle in each.cycles]
    need = time_of(part, FLOAT, grade_ns)
    for each in found:
        start = f"end of {each.lines}"
        yield Path(cycle, start, "floating", FLOAT, at.release(each), delay, need, each.source)
    if not found:
        next_one = unknown(f"when the {at.page.name} lets another driver on the data lines after a read")
        yield Path(cycle, "end of the read", "floating", FLOAT, next_one, delay, need)


def latch(page: Timing, around: Circumstances) -> Quantity:
    """Return the delay of the latch that a multiplexed bus needs: unknown unless a delay of the address is stated."""
    if not expand(page.multiplexed) or "address" in around.delays:
        return ZERO
    return unknown(f"the latch that holds {page.multiplexed} of the {page.name}")
