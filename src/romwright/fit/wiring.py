"""The plan: which net every chip pin needs, with the least work that keeps the decoder's select and loses no read."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass, replace

from romwright.fit.drive import Comparison, compare, condition
from romwright.fit.rows import Row, lay_rows
from romwright.fit.socket import GND, RAILS, Kind, Net, Socket
from romwright.parts.model import Level, Part, Pin, Role


@dataclass(frozen=True, slots=True)
class Plan:
    """The rows that fit `chip` into a socket made for `original`, both with their polarities stated.

    `image_at` is the chip address, in words, at which the original's contents begin, set by the address pins above
    them.
    """

    original: Part
    chip: Part
    rows: tuple[Row, ...]
    image_at: int
    wired: Comparison

    @property
    def burn_at(self) -> int:
        """The place of the contents in the chip's file, in bytes: what `prepare` takes as an address."""
        return self.image_at * self.chip.word_bytes

    @property
    def inverters(self) -> list[Row]:
        """The rows whose wire goes through an inverter."""
        return [row for row in self.rows if row.inverted]


def plan_wiring(original: Part, chip: Part) -> Plan:
    """Plan the wiring: every chip pin goes to the net that it needs, with as few pins moved as that allows.

    Of all ways to give the chip's enables an enable of the original, straight or through an inverter, or a constant
    level, the one is chosen that heeds the decoder's select, loses no read, then differs from the original in the
    fewest combinations of levels, then takes the fewest inverters, then moves the fewest pins, then puts the select
    on the pin that usually takes it.
    """
    socket = Socket(original)
    seats = socket.seat(chip)
    wanted = {pin.number: want(pin, chip, socket, seats[pin.number]) for pin in chip.pins}
    pins = [chip.by_function[name] for name in chip.enables]
    select, home = socket.select, chip.by_function.get(chip.select)
    first = condition(original.drives, socket.nets, original)

    def cost(picked: tuple[Net, ...]) -> tuple:
        fitted = {**wanted, **{pin.number: net for pin, net in zip(pins, picked)}}
        both = compare(first, condition(chip.drives, fitted, chip))
        moved = [pin for pin, net in zip(pins, picked) if net != seats[pin.number]]
        return (
            select is not None and both.ignores(select.label),
            *both.counts,
            len({net for net in picked if net.inverted}),
            len(moved),
            sum(net.position != seats[pin.number].position for pin, net in zip(pins, picked)),
            select is not None and home is not None and fitted[home.number].position != select.position,
        )

    choices = [sources_for(chip.enables[pin.function], socket, seats[pin.number]) for pin in pins]
    picked = min(itertools.product(*choices), key=cost)
    wanted.update({pin.number: net for pin, net in zip(pins, picked)})
    extra = [pin for pin in chip.pins if pin.role is Role.ADDRESS and pin.index >= original.address_bits]
    image_at = sum(1 << pin.index for pin in extra if wanted[pin.number].level == "H")
    wired = compare(first, condition(chip.drives, wanted, chip))
    return Plan(original, chip, tuple(lay_rows(socket, chip, wanted)), image_at, wired)


def compare_drives(original: Part, chip: Part, socket: Socket, nets: Mapping[int, Net]) -> Comparison:
    """Compare when the original drives with when the chip does, its pins on the nets given."""
    return compare(condition(original.drives, socket.nets, original), condition(chip.drives, nets, chip))


def sources_for(levels: frozenset[Level], socket: Socket, seat: Net) -> list[Net]:
    """List what may feed an enable that is active at `levels`: a constant, or an enable of the original.

    A write strobe of the original is no enable; it serves only where the pin sits on it and its resting level enables.
    """
    part = socket.part
    found = [hold(level, seat) for level in sorted(levels)]
    for function, active in part.enables.items():
        net = socket.by_function[function]
        found += [replace(net, inverted=True) if have not in levels else net for have in sorted(active)]
    if part.strobes.get(seat.function) in levels:
        found.append(seat)
    return list(dict.fromkeys(found))


def hold(level: Level, seat: Net) -> Net:
    """Return what holds a pin at a level in read: its seat, or else a rail."""
    return seat if seat.level == level else RAILS[level]


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
    if pin.function in chip.strobes:
        return want_strobe(pin.function, chip.strobes[pin.function], socket, seat)
    if pin.function in chip.read_either and (seat.level or seat.kind is Kind.SIGNAL):
        return seat
    return hold(chip.read_levels[pin.function], seat) if pin.function in chip.read_levels else None


def want_strobe(name: str, rest: Level, socket: Socket, seat: Net) -> Net:
    """Return the original's own write strobe, or what keeps a strobe at rest.

    A position that is merely held in read may move at other times: no place for a write strobe.
    """
    strobes = socket.part.strobes
    if strobes:
        own = name if name in strobes else next(iter(strobes))
        return replace(socket.by_function[own], inverted=strobes[own] != rest)
    return seat if seat.kind is Kind.RAIL and seat.level == rest else RAILS[rest]


def want_supply(volts: float, socket: Socket, seat: Net) -> Net | None:
    """Return the rail of that voltage: where the pin sits, anywhere in the socket, or none."""
    if seat.kind is Kind.RAIL and seat.volts == volts:
        return seat
    rail = socket.rail(volts)
    return RAILS[rail.level] if rail and rail.level else rail
