"""What must hold for what a board's file says of time: one line per fault: where, what, the rule's name."""

from __future__ import annotations

from collections.abc import Iterator

from romwright.boards.gluedelays import find_glue
from romwright.boards.model import Board, Cpu, expand, parse_span

LEAST_MHZ, MOST_MHZ = 0.001, 200  # far from any CPU of these years on both sides, to catch slips of the unit
MOST_NS = 10_000
MOST_CLOCKS = 100


def find_clock_faults(board: Board, cpu: Cpu) -> Iterator[str]:
    """Yield what is wrong with clock, waits and buffers, and with the delays of gates."""
    for gate in board.gates:
        yield from (f"gates.{gate.name}.{fault}" for fault in find_chip_faults(gate.chip, gate.delay_ns, gate.kind))
    timing = board.timing
    if timing is None:
        return
    if timing.clock_mhz is not None and not LEAST_MHZ <= timing.clock_mhz <= MOST_MHZ:
        yield f"timing.clock_mhz: {timing.clock_mhz:g}, expected MHz, {LEAST_MHZ} to {MOST_MHZ} [clock]"
    for name in (name for name in timing.steady.split() if name not in board.signals):
        known = ", ".join(board.signals) or "it has none"
        yield f"timing.steady: {name!r} is none of the board's signals: {known} [steady-signal]"
    for number, wait in enumerate(timing.waits, 1):
        yield from (f"timing.waits, number {number}: {fault}" for fault in find_wait_faults(board, cpu, wait))
    seen: set[str] = set()
    for number, buffer in enumerate(timing.buffers, 1):
        where, lines = f"timing.buffers, number {number}", set(expand(buffer.lines))
        if not lines or lines - {*cpu.outputs, *cpu.data_lines}:
            yield f"{where}: {buffer.lines!r}, expected lines of the {cpu.name}, such as D0-D7 [buffer-lines]"
        for line in sorted(lines & seen):
            yield f"{where}: {line} has a buffer already [buffer-twice]"
        seen |= lines
        yield from (f"{where}.{fault}" for fault in find_chip_faults(buffer.chip, buffer.delay_ns))


def find_wait_faults(board: Board, cpu: Cpu, wait) -> Iterator[str]:
    """Yield what is wrong with one entry of waits: it adds time, to reads of the CPU, in whole areas of the map."""
    added = wait.clocks + wait.stretch_ns
    if not (0 <= wait.clocks <= MOST_CLOCKS and 0 <= wait.stretch_ns <= MOST_NS and added > 0):
        yield f"clocks = {wait.clocks}, stretch_ns = {wait.stretch_ns:g}, expected one of them above 0 [wait]"
    reads = [cycle.name for cycle in cpu.cycles if cycle.access == "read"]
    if wait.cycle and wait.cycle not in reads:
        yield f"cycle: {wait.cycle!r}, expected a read of the {cpu.name}: {', '.join(reads)} [wait-cycle]"
    if not wait.range:
        return
    span = parse_span(wait.range)
    if span is None or span[1] > cpu.top:
        yield f"range: {wait.range!r}, expected FIRST-LAST in hex [wait-range]"
        return
    for area in board.map:
        first, last = area.span or (0, -1)
        if area.space == "memory" and first <= span[1] and span[0] <= last and not span[0] <= first <= last <= span[1]:
            yield f"range: {wait.range} is only a part of {area.range}; give that area two entries in map [wait-area]"


def find_chip_faults(chip: str, delay_ns: float | None, kind: str = "") -> Iterator[str]:
    """Yield what is wrong with a glue chip: one delay, of an ordinary size, of a chip that has such gates."""
    if chip and delay_ns is not None:
        yield f"chip: {chip} and delay_ns {delay_ns:g}: give one of them [chip-delay]"
    if delay_ns is not None and not 0 <= delay_ns <= MOST_NS:
        yield f"delay_ns: {delay_ns:g}, expected nanoseconds up to {MOST_NS} [delay]"
    known = find_glue(chip) if chip else None
    if known and kind and kind != "table" and kind not in known.kinds:
        yield f"chip: a {chip} has no gate of the kind {kind!r} [gate-chip]"
