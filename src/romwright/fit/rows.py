"""The wiring table: one row for each socket position, then one for each chip pin outside the socket."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from enum import StrEnum

from romwright.fit.socket import Kind, Net, Socket, numbers
from romwright.parts.model import Part, Pin, Role


class How(StrEnum):
    """What is done with a chip pin."""

    STRAIGHT = "straight"
    WIRE = "bend up and wire"
    VCC = "tie to VCC"
    GND = "tie to GND"
    OPEN = "leave open"


@dataclass(frozen=True, slots=True)
class Row:
    """One socket position and the chip pin there (None: there is none).

    `wire_to` is the position that the chip pin is wired to, `inverted` whether an inverter lies in that wire.
    """

    socket: int | None
    signal: str
    chip: int | None
    function: str
    how: How
    wire_to: int | None = None
    inverted: bool = False
    detail: str = ""

    def as_json(self) -> dict:
        """The row under the documented JSON keys."""
        return asdict(self) | {"how": str(self.how)}


def lay_rows(socket: Socket, chip: Part, wanted: Mapping[int, Net | None]) -> Iterator[Row]:
    """Yield the rows that give every chip pin the net wanted for it; None leaves it open."""
    seats = socket.seat(chip)
    places = {socket.position(chip, pin.number): pin for pin in chip.pins}
    users: dict[int, list[int]] = {}
    for number, net in wanted.items():
        end = end_of(socket, net)
        if end and end.position != seats[number].position:
            users.setdefault(end.position, []).append(number)
    for position, net in socket.nets.items():
        pin, signal = places.get(position), socket.part.pins[position - 1].name
        notes = [f"the socket position goes to chip pin {numbers(users[position])}"] if position in users else []
        how = choose_how(wanted[pin.number], net) if pin else How.OPEN
        if how is not How.STRAIGHT and net.kind is Kind.RAIL and net.level is None:
            notes.append(f"this position carries {net.volts:+g} V")
        if pin is None:
            yield Row(position, signal, None, "", how, detail="; ".join(notes or ["no chip pin sits here"]))
        else:
            yield fill_row(socket, chip, pin, wanted[pin.number], notes, signal)
    note = ["outside the socket"] if socket.takes(chip) else []
    for pin in chip.pins:
        if not seats[pin.number].position:
            yield fill_row(socket, chip, pin, wanted[pin.number], note, "")


def end_of(socket: Socket, net: Net | None) -> Net | None:
    """Return the socket position at which a wire or a tie to that net ends; None if there is none."""
    if net is None or net.position:
        return net
    return socket.rail(net.volts) if net.kind is Kind.RAIL else None


def choose_how(net: Net | None, seat: Net) -> How:
    """Return what brings a chip pin from its seat to a net."""
    if net is None or (net == seat and not seat.position):
        return How.OPEN
    if net == seat:
        return How.STRAIGHT
    if net.position is None:
        return How.VCC if net.level == "H" else How.GND
    return How.WIRE


def fill_row(socket: Socket, chip: Part, pin: Pin, net: Net | None, notes: list[str], signal: str) -> Row:
    """Say how a chip pin gets to its net, by which way, and why."""
    position = socket.position(chip, pin.number)
    how = choose_how(net, socket.seat(chip)[pin.number])
    moved = how not in (How.STRAIGHT, How.OPEN)
    detail = [way(socket, net, position) if moved else "", reason(socket, chip, pin, net, how), *notes]
    wire_to = net.position if how is How.WIRE else None
    inverted = how is How.WIRE and net.inverted
    return Row(position, signal, pin.number, pin.name, how, wire_to, inverted, "; ".join(filter(None, detail)))


def way(socket: Socket, net: Net, position: int | None) -> str:
    """Say where a tie or a wire from a position ends."""
    end = end_of(socket, net)
    if end is None:
        return f"the socket has no {net.volts:+g} V: bring it from elsewhere"
    if net.position:
        path = f"to socket {end.position} ({end.function})" + (" through an inverter" if net.inverted else "")
        return path if position else f"wire {path}"
    return f"{'bend up, to' if position else 'wire to'} {net.function} at socket {end.position}"


def reason(socket: Socket, chip: Part, pin: Pin, net: Net | None, how: How) -> str:
    """Say why a chip pin is left open, tied, or straight on a constant level."""
    extra = pin.role is Role.ADDRESS and pin.index >= socket.part.address_bits
    if how is How.OPEN:
        return {
            Role.NC: "",
            Role.OUTPUT: "an output: connect nothing",
            Role.SUPPLY: f"the socket has no {chip.supplies.get(pin.function, 0):+g} V: bring it from elsewhere",
        }.get(pin.role, "the socket has nothing for it")
    if how is How.STRAIGHT:
        return f"at {net.level}, which chooses the part of the chip that shows" if extra and net.level else ""
    if how is How.WIRE:
        return ""
    if extra:
        return "a part of the chip that the original does not have"
    if pin.function in chip.strobes:
        return "never writes"
    return "the chip's supply" if pin.role is Role.SUPPLY else f"must be {net.level} in read"
