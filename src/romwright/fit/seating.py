"""A chip simply plugged into a socket made for another part: what each pin meets, when it drives and is written."""

from __future__ import annotations

from functools import cached_property

from romwright.fit.drive import Comparison, Condition, condition
from romwright.fit.socket import Net, Socket
from romwright.fit.wiring import Plan, compare_drives
from romwright.parts.model import Part, Pin


class Seating:
    """`original` and `chip` with their polarities stated, and the plan that puts right what plugging in gets wrong."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.original, self.chip = plan.original, plan.chip
        self.socket = Socket(self.original)
        self.seats = self.socket.seat(self.chip)

    @cached_property
    def drive(self) -> Comparison:
        """When the original drives the bus, against when the chip does."""
        return compare_drives(self.original, self.chip, self.socket, self.seats)

    @cached_property
    def writes(self) -> Condition:
        """When the chip is written."""
        return condition(self.chip.writes, self.seats, self.chip)

    @cached_property
    def select(self) -> Net | None:
        """The position that takes the decoder's select in the common arrangement of the original."""
        return self.socket.by_function.get(self.original.select)

    @property
    def enables(self) -> dict[Pin, str]:
        """The chip's controls that its drive rows name, with the level that enables."""
        return levels_of(self.chip)

    def place(self, pin: Pin) -> str:
        """Name a chip pin and what it meets."""
        seat = self.seats[pin.number]
        if seat.position is None:
            return f"chip pin {pin.number} ({pin.name}), outside the socket"
        where = (
            f"pin {pin.number}"
            if seat.position == pin.number
            else f"chip pin {pin.number} at socket pin {seat.position}"
        )
        return f"{where}: {pin.name} of the chip on {seat.words}"


def levels_of(part: Part) -> dict[Pin, str]:
    """Return the controls that a part's drive rows name, with the level at which they enable (the first row's)."""
    return {part.by_function[name]: level for row in reversed(part.drives) for name, level in row.items()}


def in_words(levels: dict[str, str]) -> str:
    """Write levels as pin numbers: `pin 20 L, pin 22 H`."""
    return ", ".join(
        f"pin {label.split()[0]} {level}" if label[0].isdigit() else f"{label} {level}"
        for label, level in levels.items()
    )


def rows_in_words(rows) -> str:
    """Write rows of levels as pin numbers."""
    return " or ".join(in_words(row) or "always" for row in rows) or "never"
