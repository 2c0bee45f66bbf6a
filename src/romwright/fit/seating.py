"""A chip simply plugged into a socket made for another part: what each pin meets, when it drives and is written."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import cached_property

from romwright.fit.drive import Comparison, Condition, condition
from romwright.fit.socket import RAILS, Net, Socket
from romwright.fit.wiring import Plan, compare_drives, plan_wiring
from romwright.parts.model import Level, Part, Pin


class Seating:
    """`original` and `chip` with their polarities stated, and the plan that puts right what plugging in gets wrong."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.original, self.chip = plan.original, plan.chip
        self.socket = Socket(self.original)
        self.seats = self.socket.seat(self.chip)
        self.fits = self.socket.takes(self.chip)
        self.select = self.socket.select

    @cached_property
    def drive(self) -> Comparison:
        """When the original drives the bus, against when the chip does."""
        return compare_drives(self.socket, self.chip, self.seats)

    @cached_property
    def spare(self) -> Plan:
        """The plan without gates: the plan itself if it has none."""
        return plan_wiring(self.original, self.chip, ("no-gates",)) if self.plan.gates else self.plan

    @cached_property
    def own_writes(self) -> Condition:
        """When the original is written."""
        return condition(self.original.writes, self.socket.nets, self.original)

    @cached_property
    def writes(self) -> Condition:
        """When the chip is written."""
        return condition(self.chip.writes, self.seats, self.chip)

    @property
    def enables(self) -> Iterator[tuple[Pin, Net, frozenset[Level]]]:
        """The chip's enables: pin, what it meets, the levels that enable."""
        return ((pin, self.seats[pin.number], levels) for pin, levels in enables_of(self.chip))

    @cached_property
    def wanted(self) -> dict[str, frozenset[Level]]:
        """The levels that enable the original, by the label of its net."""
        return {self.socket.nets[pin.number].label: levels for pin, levels in enables_of(self.original)}

    def on(self, net: Net) -> Pin | None:
        """Return the chip pin that meets a socket position."""
        return next((pin for pin in self.chip.pins if self.seats[pin.number] == net), None)

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

    def tie(self, pin: Pin, level: Level) -> str:
        """Say how a chip pin is tied to a level."""
        bend = "bend chip pin {} up and tie it" if self.seats[pin.number].position else "tie chip pin {}"
        return f"{bend.format(pin.number)} to {RAILS[level].function}"

    def places(self, pins: Iterable[Pin]) -> str:
        """List what pins meet."""
        return "; ".join(map(self.place, pins))


def enables_of(part: Part) -> list[tuple[Pin, frozenset[Level]]]:
    """List the pins of a part's enables with the levels that enable."""
    return [(part.by_function[name], levels) for name, levels in part.enables.items()]
