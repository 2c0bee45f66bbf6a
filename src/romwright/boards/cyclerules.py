"""What must hold for a CPU's file: one line per fault: where, what, the rule's name."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator

from romwright.boards.freerun import FreeRun
from romwright.boards.model import Cpu, Cycle, expand, parse_span


def find_cpu_faults(cpu: Cpu) -> Iterator[str]:
    """Yield what is wrong: each cycle has levels of its signals, a source, and lines that exist."""
    if not cpu.cycles:
        yield "cycles: there is none [no-cycle]"
    for cycle in cpu.cycles:
        yield from (f"cycles, {cycle.name}: {fault}" for fault in find_cycle_faults(cpu, cycle))
    for cycle in (cycle for cycle in cpu.cycles if cycle.begins):
        first = next((each for each in cpu.cycles if each.name == cycle.begins), None)
        if first is None or first.access != "none" or cycle.access != "read":
            known = "expected, in a read, the name of a cycle with access none"
            yield f"cycles, {cycle.name}: begins {cycle.begins!r}, {known} [cycle-begins]"
    for name, count in Counter(cycle.name for cycle in cpu.cycles).items():
        if count > 1:
            yield f"cycles: {count} are named {name} [cycle-twice]"
    if (cpu.ports is not None) != any(cycle.space == "io" for cycle in cpu.cycles):
        yield "ports: written if a cycle has the space io, and only then [cycle-io]"
    if cpu.ports and (expand(cpu.ports.lines) != cpu.address_lines[: cpu.ports.bits] or cpu.ports.bits % 4):
        yield f"ports.lines: {cpu.ports.lines!r}, expected the lowest lines of {cpu.address}, A0-A7 [cycle-ports]"
    for name in sorted({*expand(cpu.unread)} & {*cpu.outputs, *cpu.data_lines}):
        yield f"unread: {name} is among the lines that have levels [cycle-unread]"
    if cpu.free_run:
        yield from (f"free_run.{fault}" for fault in find_free_run_faults(cpu, cpu.free_run))
    for entry in cpu.unchecked:
        if entry.split(":")[0].split(".")[0] not in Cpu.__struct_fields__:
            yield f"unchecked: {entry!r} does not begin with a key of this file [cycle-unchecked]"


def find_free_run_faults(cpu: Cpu, run: FreeRun) -> Iterator[str]:
    """Yield what is wrong with a free run: a word as wide as the data lines, lines that exist, and a source."""
    digits = len(cpu.data_lines) // 4
    if not re.fullmatch(f"[0-9A-F]{{{digits}}}", run.word):
        yield f"word: {run.word!r}, expected {digits} hex digits [free-run-word]"
    if run.clocks < 1:
        yield f"clocks: {run.clocks}, expected at least 1 [free-run-clocks]"
    if not run.source.strip():
        yield "source: empty [free-run-source]"
    for key, lines in (("window", run.window), ("counted", run.counted), ("chopped", run.chopped)):
        if set(expand(lines)) - set(cpu.address_lines):
            yield f"{key}: {lines!r}, expected lines of {cpu.address} [free-run-lines]"
    for lines in run.probe:
        if set(expand(lines)) - set(cpu.address_lines):
            yield f"probe: {lines!r}, expected lines of {cpu.address} [free-run-lines]"


def find_cycle_faults(cpu: Cpu, cycle: Cycle) -> Iterator[str]:
    """Yield what is wrong with one cycle."""
    for name in sorted(set().union(*cycle.rows) - set(cpu.controls)):
        yield f"{name} is none of {cpu.signals} [cycle-signal]"
    for name in sorted({name for row in cycle.either for name in row} & cycle.levels.keys()):
        yield f"{name} stands in levels and in either [cycle-either]"
    if not cycle.source.strip():
        yield "no source [cycle-source]"
    if cycle.address and ((span := parse_span(cycle.address)) is None or span[1] > cpu.top):
        yield f"address {cycle.address!r}, expected FIRST-LAST in hex [cycle-address]"
    if set(expand(cycle.data)) - set(cpu.data_lines):
        yield f"data {cycle.data!r}, expected lines of {cpu.data} [cycle-data]"
    if cycle.access == "read" and cycle.drives:
        yield f"drives {cycle.drives!r}, but in a read a device does; leave it out, or write access none [cycle-drives]"
