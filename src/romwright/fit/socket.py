"""A socket laid out for one part: what each position carries, and where another chip's pins come to sit."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from romwright.parts.model import Part, Pin, Role


class Kind(StrEnum):
    """What drives a net."""

    SIGNAL = "signal"  # the board switches it
    RAIL = "rail"  # a supply
    HELD = "held"  # the board holds it at the level that the original needs in read
    OPEN = "open"  # the original has nothing here, so what the board has is not known


@dataclass(frozen=True, slots=True)
class Net:
    """What one socket position carries; `position` is None for a rail in general and for a pin outside the socket."""

    label: str
    kind: Kind
    function: str
    position: int | None = None
    level: str | None = None
    volts: float | None = None

    @property
    def words(self) -> str:
        """The net in words for people."""
        if self.kind is Kind.RAIL:
            return f"{self.function} ({self.volts:+g} V)" if self.volts else self.function
        if self.kind is Kind.HELD:
            return f"{self.function}, held at {self.level} in read"
        if self.kind is Kind.OPEN:
            return (
                f"{self.function} of the original: what the board has there is not known"
                if self.position
                else "nothing"
            )
        return f"{self.function.rstrip('?')}"


VCC = Net("VCC", Kind.RAIL, "VCC", level="H", volts=5.0)
GND = Net("GND", Kind.RAIL, "GND", level="L", volts=0.0)


def net_of(part: Part, pin: Pin) -> Net:
    """Return what a board made for `part` has at that pin's position."""
    number, function = pin.number, pin.function
    label = f"{number} {function.rstrip('?')}"
    if pin.role is Role.SUPPLY:
        volts = part.supplies[function]
        return Net(label, Kind.RAIL, function, number, {5: "H", 0: "L"}.get(volts), volts)
    if pin.role in (Role.ADDRESS, Role.DATA) or function in part.signals:
        return Net(label, Kind.SIGNAL, function, number)
    if function in part.read_levels:
        return Net(label, Kind.HELD, function, number, part.read_levels[function])
    return Net(f"{number} open", Kind.OPEN, function, number)


class Socket:
    """The positions of a socket made for `part`."""

    def __init__(self, part: Part) -> None:
        self.part = part
        self.nets = {pin.number: net_of(part, pin) for pin in part.pins}
        self.by_function = {net.function: net for net in self.nets.values()}

    def position(self, chip: Part, pin: int) -> int | None:
        """Return where a chip's pin sits, or None if it sits outside.

        Chips of another length are taken to be seated bottom-aligned, as the JEDEC byte-wide sites are: pin n of
        24 sits at n + 2 of 28. A chip with another row pitch cannot be seated, so none of its pins has a place.
        """
        if chip.row_pitch_mm != self.part.row_pitch_mm:
            return None
        place = pin + (self.part.pin_count - chip.pin_count) // 2
        return place if 1 <= place <= self.part.pin_count else None

    def seat(self, chip: Part) -> dict[int, Net]:
        """Return what each pin of the chip meets if it is simply plugged in."""
        seats = {}
        for pin in chip.pins:
            place = self.position(chip, pin.number)
            outside = Net(f"chip pin {pin.number} open", Kind.OPEN, pin.function)
            seats[pin.number] = self.nets[place] if place else outside
        return seats
