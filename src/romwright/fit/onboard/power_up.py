"""Whether the chip can be written while power comes up, before the CPU's lines have their levels."""

from __future__ import annotations

from romwright.findings import Code, Finding, Severity
from romwright.fit.onboard.mounted import Mounted
from romwright.fit.writes import protection

POWER_UP = Code(
    "write-at-power-up", Severity.STOP, "no chip that keeps its contents can be written before lines have their levels",
    "While power comes up and goes down every line may be at either level: one stray pulse, and a byte is lost.",
    do="Do not power up. Bend the write pin of the chip up and tie it to the level at which nothing is written: VCC "
    "for /WE.",
    example="the 28C256 may be written while power comes up",
)  # fmt: skip
POWER_UP_OWN = Code(
    "own-write-at-power-up", Severity.CAUTION,
    "a chip that programs write, and that keeps its contents, is safe at power-up",
    "The strobe must be there, and it is safe only if the board's reset circuit holds it off.",
    do="See in the schematic that the reset circuit holds the write strobe off until VCC is up, and while it goes "
    "down.",
    example="the 28C64 may be written while power comes up",
)  # fmt: skip


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
