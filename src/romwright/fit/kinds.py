"""What differs between two parts, whatever meets their pins: size, width, pitch, outputs, access time, memory."""

from __future__ import annotations

from collections.abc import Iterator

from romwright.findings import Code, Finding, Severity
from romwright.fit.drive import Levels, list_states
from romwright.fit.seating import Seating
from romwright.parts.model import Part

SIZE = Code(
    "size", Severity.FAULT, "the chip holds as many words as the original",
    "What does not fit is lost.",
    do="Take a larger chip: this one cannot hold the contents.",
    example="the chip is too small",
)  # fmt: skip
WIDTH = Code(
    "width", Severity.FAULT, "the chip has as many data lines as the original",
    "Bits are missing or unused.",
    do="Take a chip with as many data lines, or two side by side. If the chip has more than the original, leave the "
    "upper data pins open.",
    example="the chip has another number of data lines",
)  # fmt: skip
PITCH = Code(
    "row-pitch", Severity.FAULT, "the rows of pins are as far apart as the socket's",
    "It cannot be plugged in, so every pin must be wired.",
    do="Take a chip in the same package, or build an adapter by the wiring table.",
    example="prom-82s129 cannot be plugged in",
)  # fmt: skip
VOLATILE = Code(
    "volatile", Severity.FAULT, "a chip in place of one that keeps its contents keeps them too",
    "What was loaded is gone when the supply is off.",
    do="Take a chip that keeps its contents, or a RAM with a battery. A bare RAM must be loaded after each switching "
    "on.",
    example="the chip forgets when it is switched off",
)  # fmt: skip
NOT_WRITTEN = Code(
    "cannot-be-written", Severity.FAULT, "a chip in place of one that the board can write can be written too",
    "Whatever the board writes is lost.",
    do="Find out whether the board ever writes there. If it does, take a chip that can be written.",
    example="the board writes here, and the chip cannot be written",
)  # fmt: skip
SLOW_WRITE = Code(
    "slow-write", Severity.FAULT, "a chip in place of a RAM takes each byte as fast as a RAM",
    "An EEPROM or flash chip is programmed by each write cycle that reaches it: it is busy for milliseconds, reads "
    "wrong meanwhile, and wears out (common practice, no source).",
    do="Take a static RAM, or one with a battery if the contents must stay.",
    example="the board's RAM writes would program the EEPROM",
)  # fmt: skip
OUTPUT_KIND = Code(
    "output-kind", Severity.CAUTION, "three-state and open-collector outputs are not exchanged",
    "Open-collector outputs may be joined to form an AND; three-state outputs joined so fight. "
    "The other way round needs pull-ups.",
    do="See in the schematic what else is joined to the data lines, and whether they have pull-up resistors.",
    example="the outputs are of another kind",
)  # fmt: skip
LATCHED = Code(
    "address-latch", Severity.CAUTION, "the chip does not latch its address where the original did not",
    "A latched chip shows stale bytes unless its select returns to the off level between reads.",
    do="Check in the schematic, or with a scope, that the select is off between any two reads.",
    example="the chip latches its address",
)  # fmt: skip

SLOWER = Code(
    "slower", Severity.CAUTION, "the chip's fastest grade is no slower than the original's slowest",
    "The processor takes the byte before it is there: wrong at times, when warm, or always.",
    do="Work out how much time the board's read cycle leaves, and take a chip of a grade that is fast enough. If you "
    "try a slow one, try it warm too.",
    example="slower than the original: 350-450 ns against 250 ns",
)  # fmt: skip
TIME_UNKNOWN = Code(
    "access-time-unknown", Severity.NOTE, "the pages of both parts have access times",
    "Nobody has compared how fast they answer.",
    do="Read the grade on the chip, and compare it with the time that the board's read cycle leaves.",
    example="the access times cannot be compared",
)  # fmt: skip


def check_pitch(s: Seating) -> Iterator[Finding]:
    """Find a chip whose rows of pins are further apart or nearer; what its pins would meet is then no question."""
    if not s.fits:
        yield Finding(PITCH, f"{s.chip.name} cannot be plugged in", s.socket.seating(s.chip), "follow the wiring table")


def check_size(s: Seating) -> Iterator[Finding]:
    """Compare words and bits."""
    a, b = s.original, s.chip
    if b.words < a.words:
        sizes = f"{b.name} holds {b.words:,} words, {a.name} {a.words:,}"
        yield Finding(SIZE, "the chip is too small", sizes, "take a larger chip; this one cannot hold the contents")
    if b.bits != a.bits:
        widths = f"{b.name} has {b.bits} data lines, {a.name} {a.bits}"
        remedy = "take a wider chip, or two side by side" if b.bits < a.bits else "leave the upper data pins open"
        yield Finding(WIDTH, "the chip has another number of data lines", widths, remedy)


def check_outputs(s: Seating) -> Iterator[Finding]:
    """Compare the kind of the outputs, and whether the address is latched."""
    a, b = s.original, s.chip
    if a.output != b.output:
        kinds = f"{a.name} has {a.output} outputs, {b.name} {b.output}"
        do = "check what else is joined to the data lines"
        yield Finding(OUTPUT_KIND, "the outputs are of another kind", kinds, do)
    if b.latched and not a.latched:
        known = f"{a.name} does not" if a.latched is False else f"of {a.name} that was not read"
        kinds = f"{b.name} takes its address in on the edge of its select; {known}"
        do = "check that the select is off between any two reads"
        yield Finding(LATCHED, "the chip latches its address", kinds, do)


def check_access_time(s: Seating) -> Iterator[Finding]:
    """Compare the access times: the fastest grade of the chip with the slowest of the original."""
    a, b = s.original, s.chip
    if missing := [part.name for part in (a, b) if not access_ns(part)]:
        if a.name != b.name:
            do = "compare the grade on the chip with what the board leaves for a read"
            pages = f"the page of {' and of '.join(missing)} has none"
            yield Finding(TIME_UNKNOWN, "the access times cannot be compared", pages, do)
    elif min(access_ns(b)) > max(access_ns(a)):
        title = f"slower than the original: {span(b)} against {span(a)}"
        grades = f"access times of all grades of {b.name}, and of {a.name}"
        yield Finding(SLOWER, title, grades, "right only where the board's read cycle leaves that much time")


def access_ns(part: Part) -> tuple[float, ...]:
    """Return the access times of a part's grades in nanoseconds; none if its page has none."""
    return part.times.access_ns if part.times else ()


def span(part: Part) -> str:
    """Write the access times of a part, loud if nobody has read them: `350-450 ns`."""
    times = sorted({min(access_ns(part)), max(access_ns(part))})
    unread = " (UNCHECKED)" if part.unchecked_about("times.access_ns") else ""
    return "-".join(f"{time:g}" for time in times) + " ns" + unread


def check_memory(s: Seating) -> Iterator[Finding]:
    """Compare what power and write cycles do to the contents."""
    a, b = s.original, s.chip
    if b.volatile and not a.volatile:
        kinds = f"{b.name} ({b.family}) loses its contents without supply, {a.name} ({a.family}) keeps them"
        do = "take a chip that keeps its contents; a RAM here must be loaded after each switching on"
        yield Finding(VOLATILE, "the chip forgets when it is switched off", kinds, do)
    if a.writes and not b.writes:
        kinds = f"{a.name} is written at {s.own_writes.words}; no 5 V level writes {b.name} ({b.family})"
        if states := unheeded(s):
            without = f"Without the gate {b.name}" if s.plan.gates else b.name
            kinds += f". {without} drives the bus at {list_states(states)}, where {a.name} is off"
        needless = ", and then without the gate" if states and s.plan.gates else ""
        do = f"right only where the board never writes it{needless}; else take a chip that can be written"
        yield Finding(NOT_WRITTEN, "the board writes here, and the chip cannot be written", kinds, do)
    if is_ram(a) and b.writes and not is_ram(b):
        kinds = f"{a.name} ({a.family}) takes a byte in one write cycle; {b.name} ({b.family}) is programmed by it"
        do = "take a static RAM, or one with a battery if the contents must stay"
        yield Finding(SLOW_WRITE, f"the board's RAM writes would program the {b.family}", kinds, do)


def unheeded(s: Seating) -> list[Levels]:
    """List the levels at which only the chip, wired without a gate, drives because it knows no write strobe."""
    rest = {s.socket.by_function[name].label: level for name, level in s.original.strobes.items()}
    return [
        levels for levels in s.spare.wired.extra if any(levels.get(label, rest[label]) != rest[label] for label in rest)
    ]


def is_ram(part: Part) -> bool:
    """Tell whether a part takes bytes as a RAM does: writable, with no erased state to return to."""
    return bool(part.writes) and part.erased is None


CHECKS = (check_pitch, check_size, check_outputs, check_access_time, check_memory)
