"""The wiring table: one row for each socket position, saying what becomes of the chip's pin there."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import StrEnum

from romwright.fit.drive import Comparison, compare, condition
from romwright.fit.socket import GND, VCC, Kind, Net, Socket
from romwright.parts.model import Part, Pin, Role

MEMORY_WRITE = "/WE"


class How(StrEnum):
    """What is done with a chip pin."""

    STRAIGHT = "straight"
    WIRE = "bend up and wire"
    VCC = "tie to VCC"
    GND = "tie to GND"
    OPEN = "leave open"


@dataclass(frozen=True, slots=True)
class Row:
    """One socket position and the chip pin there (None: there is none); `wire_to` is the position wired to."""

    socket: int | None
    signal: str
    chip: int | None
    function: str
    how: How
    wire_to: int | None = None
    detail: str = ""

    def as_json(self) -> dict:
        """The row under the documented JSON keys."""
        return {
            "socket": self.socket,
            "signal": self.signal,
            "chip": self.chip,
            "function": self.function,
            "how": str(self.how),
            "wire_to": self.wire_to,
            "detail": self.detail,
        }


@dataclass(frozen=True, slots=True)
class Plan:
    """The rows that fit `chip` into a socket made for `original`, both with their polarities stated.

    `image_at` is the chip address at which the original's contents begin, set by the address pins above them.
    """

    original: Part
    chip: Part
    rows: tuple[Row, ...]
    image_at: int
    wired: Comparison


def plan_wiring(original: Part, chip: Part) -> Plan:
    """Plan the wiring: every chip pin goes to the net that it needs, with as few pins moved as that allows.

    Of all ways to give the chip's enables a signal of the socket or a constant level, the one is chosen that
    loses no read, then differs from the original in the fewest combinations of levels, then keeps the decoder's
    select, then moves the fewest pins, then puts the select on the pin that usually takes it.
    """
    socket = Socket(original)
    seats = socket.seat(chip)
    wanted = {pin.number: want(pin, chip, socket, seats[pin.number]) for pin in chip.pins}
    enables = [name for name in dict.fromkeys(n for row in chip.drives for n in row) if name != MEMORY_WRITE]
    numbers = [chip.by_function[name].number for name in enables]
    sources = [net for net in socket.nets.values() if net.kind is Kind.SIGNAL and net.function in original.signals]
    # A write strobe of the original is no read enable, and a chip without one needs none.
    sources = [net for net in sources if net.function != MEMORY_WRITE]

    def cost(picked: tuple[Net, ...]) -> tuple:
        fitted = {**wanted, **dict(zip(numbers, picked))}
        both = compare_drives(original, chip, socket, fitted)
        select = socket.by_function.get(original.select)
        home = chip.by_function[chip.select].number if chip.select else None
        return (
            len(both.missed),
            len(both.extra),
            select is not None and select not in picked,
            sum(net != seats[number] for number, net in zip(numbers, picked)),
            select is not None and fitted.get(home) != select,
        )

    choices = [(VCC, GND, *sources) for _ in numbers]
    picked = min(itertools.product(*choices), key=cost)
    wanted.update(zip(numbers, picked))
    rows = tuple(lay_rows(original, chip, socket, seats, wanted))
    extra = [pin for pin in chip.pins if pin.role is Role.ADDRESS and pin.index >= original.address_bits]
    image_at = sum(1 << pin.index for pin in extra if wanted[pin.number].level == "H")
    return Plan(original, chip, rows, image_at, compare_drives(original, chip, socket, wanted))


def compare_drives(original: Part, chip: Part, socket: Socket, nets: dict[int, Net]) -> Comparison:
    """Compare when the original drives with when the chip does, its pins on the nets given."""
    first = condition(original.drives, socket.nets, original)
    return compare(first, condition(chip.drives, nets, chip))


def want(pin: Pin, chip: Part, socket: Socket, seat: Net) -> Net | None:
    """Return the net that a chip pin needs, None if it must stay open; read enables are chosen later."""
    if pin.role is Role.NC:
        return seat
    if pin.role is Role.SUPPLY:
        return want_supply(chip.supplies[pin.function], socket, seat)
    if pin.role is Role.OUTPUT:
        return seat if seat.function == pin.function else None
    if pin.role is Role.DATA:
        return socket.by_function.get(pin.function)
    if pin.role is Role.ADDRESS:
        if pin.index < socket.part.address_bits:
            return socket.by_function.get(pin.function)
        return seat if seat.level else GND
    if pin.function == MEMORY_WRITE:
        written = any(MEMORY_WRITE in row for row in socket.part.writes)
        # A position that is merely held in read may move at other times: no place for a write strobe.
        on_rail = seat.kind is Kind.RAIL and seat.level == "H"
        return socket.by_function[MEMORY_WRITE] if written else seat if on_rail else VCC
    level = chip.read_levels.get(pin.function)
    return seat if level and seat.level == level else VCC if level == "H" else GND


def want_supply(volts: float, socket: Socket, seat: Net) -> Net | None:
    """Return the rail of that voltage: where the pin sits, anywhere in the socket, or none."""
    if seat.kind is Kind.RAIL and seat.volts == volts:
        return seat
    rails = [net for net in socket.nets.values() if net.kind is Kind.RAIL and net.volts == volts]
    return {5: VCC, 0: GND}.get(volts) or next(iter(rails), None)


def lay_rows(
    original: Part, chip: Part, socket: Socket, seats: dict[int, Net], wanted: dict[int, Net | None]
) -> Iterator[Row]:
    """Yield a row for each socket position, then one for each chip pin outside the socket."""
    places = {socket.position(chip, pin.number): pin for pin in chip.pins}
    users: dict[int, list[int]] = {}
    for pin in chip.pins:
        net = wanted[pin.number]
        if net is not None and net.position and net != seats[pin.number]:
            users.setdefault(net.position, []).append(pin.number)
    for position, net in socket.nets.items():
        pin = places.get(position)
        taken = (
            f"the socket position goes to chip pin {' and '.join(map(str, users[position]))}"
            if position in users
            else ""
        )
        signal = original.pins[position - 1].name
        if pin is None:
            yield Row(position, signal, None, "", How.OPEN, None, taken or "no chip pin sits here")
            continue
        yield fill_row(
            Row(position, signal, pin.number, pin.name, How.STRAIGHT),
            pin,
            net,
            wanted[pin.number],
            taken,
            chip,
            original,
        )
    for pin in chip.pins:
        if socket.position(chip, pin.number) is None:
            row = Row(None, "", pin.number, pin.name, How.STRAIGHT)
            yield fill_row(row, pin, seats[pin.number], wanted[pin.number], "outside the socket", chip, original)


def fill_row(row: Row, pin: Pin, seat: Net, net: Net | None, taken: str, chip: Part, original: Part) -> Row:
    """Say how a chip pin gets to its net, and why."""
    extra = pin.role is Role.ADDRESS and pin.index >= original.address_bits
    if net is None or (net == seat and row.socket is None):
        why = (
            ""
            if pin.role is Role.NC
            else "an output: connect nothing"
            if pin.role is Role.OUTPUT
            else "the socket has nothing for it"
        )
        return replace(row, how=How.OPEN, detail="; ".join(filter(None, [why, taken])))
    if net == seat:
        why = f"sits at {net.level}, which chooses the half of the chip that shows" if extra else ""
        return replace(row, detail="; ".join(filter(None, [why, taken])))
    bend = "" if row.socket is None else "bend the chip's pin up"
    if net.position is None:
        how = How.VCC if net.level == "H" else How.GND
        why = "a part of the chip that the original does not have" if extra else REASONS.get(pin.role, "")
        if pin.role is Role.CONTROL:
            reading = [r[pin.function] for r in chip.drives if pin.function in r] or [
                chip.read_levels.get(pin.function)
            ]
            why = "never writes" if pin.function == MEMORY_WRITE else f"must be {reading[0]} in read"
        return replace(row, how=how, detail="; ".join(filter(None, [bend, why, taken])))
    where = f"to socket {net.position} ({net.function.rstrip('?')})"
    return replace(row, how=How.WIRE, wire_to=net.position, detail="; ".join(filter(None, [where, taken])))


REASONS = {Role.VPP: "VPP sits at VCC in read", Role.SUPPLY: "the chip's supply"}
