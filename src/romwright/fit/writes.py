"""Whether the board can write the chip where it could not write the original, plugged in as it is."""

from __future__ import annotations

from collections.abc import Iterator

from romwright.findings import Code, Finding, Severity
from romwright.fit.drive import compare, list_states
from romwright.fit.mounted import Mounted
from romwright.fit.seating import Seating
from romwright.fit.socket import Kind
from romwright.parts.model import Part, Pin

WRITE = Code(
    "write-strobe", Severity.STOP, "no state of the socket's lines can write the chip",
    "A select or an address line on /WE overwrites the contents while the computer runs.",
)  # fmt: skip
WRITE_STATES = Code(
    "write-states", Severity.CAUTION, "the chip is written in no other states than the original",
    "The strobe is the board's own, yet the chip takes a byte where the original took none.",
)  # fmt: skip
WRITE_HELD = Code(
    "write-pin-held", Severity.STOP, "no write strobe of a chip that keeps its contents is on a line held only in read",
    "The original asks for that level only while it is read; while power comes up the line may be at either level.",
)  # fmt: skip
POWER_UP = Code(
    "write-at-power-up", Severity.STOP, "no chip that keeps its contents can be written before lines have their levels",
    "While power comes up and goes down every line may be at either level: one stray pulse, and a byte is lost.",
)  # fmt: skip
POWER_UP_OWN = Code(
    "own-write-at-power-up", Severity.CAUTION, "nor can a chip that keeps its contents and that programs write",
    "The strobe must be there, and it is safe only if the board's reset circuit holds it off.",
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


def at_power_up(m: Mounted, programs_write: bool) -> Finding:
    """Return the finding about a chip that may be written while no line of the CPU is defined."""
    strobes = [m.chip.by_function[name] for name in m.chip.strobes]
    seen = f"{m.places_of(strobes)}; while the CPU's lines are at no certain level, that may write it: {m.writes.words}"
    do = "see that the reset circuit holds the strobe off until VCC is up, and while it goes down"
    if not programs_write:
        rails = {pin.number: "VCC" if m.chip.strobes[pin.function] == "H" else "GND" for pin in strobes}
        do = " and ".join(f"bend chip pin {number} up and tie it to {rail}" for number, rail in rails.items())
    code = POWER_UP_OWN if programs_write else POWER_UP
    return Finding(code, f"the {m.chip.name} may be written while power comes up", seen, do + protection(m.chip))


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
