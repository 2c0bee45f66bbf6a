"""Whether the board can write the chip where it could not write the original, plugged in as it is."""

from __future__ import annotations

from collections.abc import Iterator

from romwright.findings import Code, Finding, Severity
from romwright.fit.drive import compare, list_states
from romwright.fit.seating import Seating
from romwright.fit.socket import Kind
from romwright.parts.model import Part, Pin

WRITE = Code(
    "write-strobe", Severity.STOP, "no state of the socket's lines can write the chip",
    "A select or an address line on /WE overwrites the contents while the computer runs.",
    do="Do not power up. Bend that pin of the chip up and tie it to the level at which nothing is written (VCC for "
    "/WE); never leave it in the socket.",
    example="pin 27 of the chip is /WE",
)  # fmt: skip
WRITE_STATES = Code(
    "write-states", Severity.CAUTION, "the chip is written in no other states than the original",
    "The strobe is the board's own, yet the chip takes a byte where the original took none.",
    do="Check that the board never makes the states that are named. If it does, gate the strobe.",
    example="pin 27 of the chip is /WE",
)  # fmt: skip
WRITE_HELD = Code(
    "write-pin-held", Severity.STOP, "no write strobe of a chip that keeps its contents is held only in read",
    "The original asks for that level only while it is read; while power comes up the line may be at either level.",
    do="Do not power up. Bend that pin of the chip up and tie it to the level at which nothing is written (VCC for "
    "/WE).",
    example="pin 27 of the chip is /WE",
)  # fmt: skip


def check_writes(s: Seating) -> Iterator[Finding]:
    """Find states of the socket's lines that write the chip."""
    reach = compare(s.own_writes, s.writes).extra
    strobes = [s.chip.by_function[name] for name in s.chip.strobes]
    for pin in strobes:
        seat = s.seats[pin.number]
        title = f"pin {pin.number} of the chip is {pin.name}"
        tie = s.tie(pin, s.chip.strobes[pin.function])
        if reach and seat.function in s.original.strobes:
            more = f"{s.place(pin)}: the chip is written at {list_states(reach)} too"
            do = "right where the board never makes those states; else gate the strobe"
            yield Finding(WRITE_STATES, title, more, do)
        elif reach:
            when = f"{s.place(pin)}: {cause(s, pin)} when {s.writes.words}"
            yield Finding(WRITE, title, when, f"{tie}; never leave it in the socket")
        elif seat.kind is Kind.HELD and not s.chip.volatile:
            seen = f"{s.place(pin)}; while power comes up that line, and every other, may be at either level"
            yield Finding(WRITE_HELD, title, seen, f"{tie}{protection(s.chip)}")


def protection(chip: Part) -> str:
    """Say what software data protection is worth, for an EEPROM."""
    if chip.family != "EEPROM":
        return ""
    return (
        "; software data protection, if it is on, keeps a stray write out, but the chip then answers with polling data "
        "for the time of a write (Atmel AT28C256, 0006M, 4.6)"
    )


def cause(s: Seating, pin: Pin) -> str:
    """Say what it is at a write strobe that may write the chip."""
    seat = s.seats[pin.number]
    if seat.kind is Kind.OPEN:
        return f"an open {pin.function} may take either level, and the chip is written"
    return "a select strobe there writes the chip" if seat == s.select else "the board can write the chip"


CHECKS = (check_writes,)
