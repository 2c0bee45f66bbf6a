"""Chips that take their address in on the edge of their select, and boards that take the address away too early.

A read begins in the state that its cycle names under `begins`, with the address good, and ends with its own levels.
What an address pin meets in both decides whether a chip without a latch sees the address when the data are taken.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from romwright.boards.model import Cycle
from romwright.findings import Code, Finding, Severity
from romwright.fit import tables
from romwright.fit.onboard.accesses import Access, span_table
from romwright.fit.onboard.mounted import Mounted
from romwright.fit.onboard.nets import Nets
from romwright.parts.model import Pin

PLAIN = ("EPROM", "EEPROM", "flash", "SRAM")  # have no address latch unless their page tells of one
MOST_LINES = 16  # of the CPU that an address pin may depend on, for its level to be worked out
ADDRESS_GONE = Code(
    "address-gone", Severity.FAULT, "the address stays at the chip until its data are taken",
    "The board takes the address away early, for a ROM that had taken it in on the edge of its select: a chip without "
    "that latch shows the byte of some other address.",
    do="Take a chip that latches its address as the original did, or put a latch (a '373) ahead of those address pins.",
    example="A0-A7 of the chip lose their address before the data are taken",
)  # fmt: skip
LATCH_UNREAD = Code(
    "latch-unread", Severity.CAUTION, "where a board takes the address away early, the chip is known to latch it",
    "Only a chip that takes its address in on the edge of its select works there, and its page does not say.",
    do="Look in the chip's data sheet for an address latch, and write latched = true or false into a page of your own.",
    example="whether the chip holds A0-A7 until the data are taken was not read",
)  # fmt: skip
LATCH_EDGE = Code(
    "latch-edge", Severity.NOTE, "the address stays at a chip with an address latch until its data are taken",
    "The chip takes the address in on the edge of its select. Whether that edge comes while the address is there is a "
    "matter of nanoseconds, which a board's file does not have.",
    do="If bytes of other addresses show, look at select and address with an oscilloscope.",
    example="the chip must take in A0-A7 early in each read",
)  # fmt: skip
SELECT_STAYS = Code(
    "select-stays", Severity.FAULT, "the select of a chip that latches its address goes off between two reads",
    "Without an edge the chip keeps the first address: every read of a run shows one and the same byte.",
    do="Bring a strobe into the select, so that it goes off after each read, or take a chip without an address latch.",
    example="the select of the chip stays on from one read to the next",
)  # fmt: skip


def beginning(mounted: Mounted, access: Access) -> Cycle | None:
    """Return the state in which the cycle of an access begins, None if the CPU's file does not say."""
    return next((cycle for cycle in mounted.cpu.cycles if cycle.name == access.cycle.begins), None)


def own_reads(mounted: Mounted) -> Iterator[Access]:
    """Yield the reads of memory that a chip is to answer."""
    for access in mounted.accesses.all:
        if access.expected == mounted.socket.name and access.cycle.space == "memory":
            yield access


def taken_away(mounted: Mounted, wanted: Mapping[Pin, str]) -> dict[Pin, str]:
    """Return the address pins that have their line at the beginning of each read and not at its end, with a witness.

    `wanted` has the line of each.
    """
    reads = [(access, beginning(mounted, access)) for access in own_reads(mounted)]
    found = {}
    for pin, line in wanted.items():
        witnesses = [witness(mounted, pin, line, access, first) if first else "" for access, first in reads]
        if witnesses and all(witnesses):
            found[pin] = witnesses[0]
    return found


def witness(mounted: Mounted, pin: Pin, line: str, access: Access, first: Cycle) -> str:
    """Say how a pin loses its line within a read; nothing if it does not, or never has it."""
    data = f"D{line[1:]}"
    if mounted.nets.lines(mounted.node(pin), data=True) == [data]:
        there = first.drives == "address" and not mounted.board.buffered
        gone = f"{data} has {line} in {first.name} only, and carries data at the end of the {access.cycle.name}"
        return f"{mounted.place(pin)}: {gone}" if there else ""
    nets = mounted.nets
    lines = {*nets.wiring.reach([nets.joints.find(mounted.node(pin))])[1], line}
    names = tuple(sorted(lines | {name for row in (*first.rows, *access.cycle.rows) for name in row}))
    if len(names) > MOST_LINES:
        return ""
    high, low = Nets(nets.wiring, names, nets.setting).with_pins(nets.pins).level(mounted.node(pin))
    span = span_table(names, access.span, {name: int(name[1:]) for name in mounted.cpu.address_lines})
    wrong = (high ^ tables.line(names, line)) | ~(high | low)
    early, late = (wrong & span & state(names, cycle) for cycle in (first, access.cycle))
    if early or not late:
        return ""
    levels = next(tables.true_rows(names, late))
    at = " ".join(f"{name}={level}" for name, level in levels.items())
    return f"{mounted.place(pin)}: it has {line} in {first.name}, and no more in {access.name}, for instance at {at}"


def state(names: tuple[str, ...], cycle: Cycle) -> int:
    """Return the states in which the lines have the levels of a cycle."""
    return tables.any_row(names, [{name: level for name, level in row.items() if name in names} for row in cycle.rows])


def latch_findings(mounted: Mounted, gone: Mapping[Pin, str]) -> Iterator[Finding]:
    """Yield what becomes of a chip whose address pins lose their lines."""
    if not gone:
        return
    pins, seen = ", ".join(pin.function for pin in gone), next(iter(gone.values()))
    latched, family = mounted.chip.latched, mounted.chip.family
    if latched:
        yield Finding(LATCH_EDGE, f"the chip must take in {pins} early in each read", seen, LATCH_EDGE.do)
    elif latched is None and family not in PLAIN:
        title = f"whether the chip holds {pins} until the data are taken was not read"
        yield Finding(LATCH_UNREAD, title, seen, LATCH_UNREAD.do)
    else:
        if latched is None:
            seen += f"; no latch on the page of the {mounted.chip.name}, and one is rare in chips of its kind"
            seen += " (common practice, no source)"
        lose = "lose their address" if len(gone) > 1 else "loses its address"
        yield Finding(ADDRESS_GONE, f"{pins} of the chip {lose} before the data are taken", seen, ADDRESS_GONE.do)


def check_select(mounted: Mounted) -> Iterator[Finding]:
    """Find a chip with an address latch whose select is on at the beginning of a read already."""
    chip, accesses = mounted.chip, mounted.accesses
    if not chip.latched or not chip.select:
        return
    pin = chip.by_function[chip.select]
    high, low = mounted.level(pin)
    on = {"H": ~low, "L": ~high}  # where it may be on
    enabled = 0
    for level in chip.enables[chip.select]:
        enabled |= on[level]
    for access in own_reads(mounted):
        first = beginning(mounted, access)
        span = span_table(accesses.names, access.span, access.space.bits)
        stays = state(accesses.names, first) & span & enabled if first else 0
        if stays:
            at = " ".join(f"{name}={level}" for name, level in next(tables.true_rows(accesses.names, stays)).items())
            seen = f"{mounted.place(pin)} is on in {first.name} already, before {access.name}: {at}"
            title = f"the select of the {chip.name} stays on from one read to the next"
            yield Finding(SELECT_STAYS, title, seen, SELECT_STAYS.do)
            return
