"""A socket laid out for one part: what each position carries, and where another chip's pins come to sit."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from enum import StrEnum
from functools import cached_property

from msgspec import Struct

from romwright.fit import tables
from romwright.images.words import listed
from romwright.parts.model import Level, Part, Pin, Role


class Kind(StrEnum):
    """What drives a net."""

    SIGNAL = "signal"  # the board switches it
    RAIL = "rail"  # a supply
    HELD = "held"  # the board holds it at the level that the original needs in read
    STRAP = "strap"  # a switch of the plan's own, that chooses a bank
    OPEN = "open"  # the original has nothing here, so what the board has is not known


class Gate(Struct, frozen=True):
    """A gate of a plan: its output is at `gives` where each of its inputs is at its own level of `levels`."""

    kind: str
    inputs: tuple[Net, ...]
    levels: tuple[Level, ...]
    gives: Level


class Net(Struct, frozen=True):
    """What one socket position carries; `position` is None for a rail in general and for a pin outside the socket.

    `gate`: what comes out of that gate instead, `point`: a node of the board beyond the socket; neither has a position.
    """

    label: str
    kind: Kind
    function: str
    position: int | None = None
    level: Level | None = None
    volts: float | None = None
    gate: Gate | None = None
    point: str = ""

    @property
    def words(self) -> str:
        """The net in words for people."""
        if self.kind is Kind.RAIL:
            return f"{self.function} ({self.volts:+g} V)" if self.volts else self.function
        if self.kind is Kind.HELD:
            return f"{self.function}, held at {self.level} in read"
        if self.kind is Kind.OPEN:
            return f"{self.function} of the original: what the board has there is not known"
        return self.function


VCC = Net("VCC", Kind.RAIL, "VCC", level="H", volts=5.0)
GND = Net("GND", Kind.RAIL, "GND", level="L", volts=0.0)
Rows = tuple[dict[str, Level], ...]
RAILS: dict[Level, Net] = {"H": VCC, "L": GND}


def strap(name: str) -> Net:
    """Return the net of a switch that chooses a bank."""
    return Net(name, Kind.STRAP, name)


def net_of(part: Part, pin: Pin, signals: Collection[str] = ()) -> Net:
    """Return what a board made for `part` has at that pin's position; `signals` are the names of its nets, if known."""
    number, function = pin.number, pin.function
    if function in signals:
        return Net(function, Kind.SIGNAL, function, number)
    label = f"{number} {function}"
    if pin.role is Role.SUPPLY:
        volts = part.supplies[function]
        return Net(label, Kind.RAIL, function, number, {5: "H", 0: "L"}.get(volts), volts)
    if pin.role in (Role.ADDRESS, Role.DATA) or function in part.signals:
        return Net(label, Kind.SIGNAL, function, number)
    if function in part.read_levels:
        return Net(label, Kind.HELD, function, number, part.read_levels[function])
    return Net(f"{number} (open)", Kind.OPEN, function, number)


class Beyond(Struct, frozen=True, forbid_unknown_fields=True):
    """What is known of the board beyond a socket; rows are levels by the functions of its part and by points.

    `points`: nodes that can be wired to; `shares`: when each part of the contents must show, where selects decide that;
    `idle`: combinations of levels at which it does not matter whether the chip drives; `signals`: what the socket's
    positions carry, where a board's file says it, so that positions of one name are one net.
    """

    points: tuple[str, ...] = ()
    shares: tuple[Rows, ...] = ()
    idle: Rows = ()
    signals: tuple[str, ...] = ()


class Socket:
    """The positions of a socket made for `part`, and what is known of the board beyond it."""

    def __init__(self, part: Part, beyond: Beyond | None = None) -> None:
        self.part, self.beyond = part, beyond or Beyond()
        self.nets = {pin.number: net_of(part, pin, self.beyond.signals) for pin in part.pins}
        self.points = {name: Net(name, Kind.SIGNAL, name, point=name) for name in self.beyond.points}
        self.by_function = {net.function: net for net in self.nets.values()} | self.points
        self.address = tuple(f"A{line}" for line in range(part.address_bits))
        self.data = tuple(f"D{line}" for line in range(part.bits))
        names = {*self.beyond.signals, *(name for row in (*part.drives, *self.beyond.idle) for name in row)}
        nets = {net.label: net for net in (*self.nets.values(), *self.points.values()) if net.function in names}
        self.variables = list(nets.values())

    def line_of(self, net: Net) -> int | None:
        """Return the number of the original's address line that a net is; None if it is none."""
        return self.address.index(net.function) if net.position and net.function in self.address else None

    def bit_of(self, net: Net) -> int:
        """Return the number of the original's data bit that a net is; -1 if it is none."""
        return self.data.index(net.function) if net.position and net.function in self.data else -1

    def table(self, rows: Rows) -> int:
        """Return rows of levels of functions as a truth table over the labels of the variables."""
        named = [{self.by_function[name].label: level for name, level in row.items()} for row in rows]
        return tables.any_row([net.label for net in self.variables], named)

    def read_level(self, net: Net) -> Level | None:
        """Return the level of a net in every state in which the chip must drive; None if it moves or is not known."""
        if net.level or net not in self.variables or not self.must:
            return net.level
        high = tables.line([each.label for each in self.variables], net.label)
        return "H" if not self.must & ~high else "L" if not self.must & high else None

    @cached_property
    def must(self) -> int:
        """Where the chip must drive the bus."""
        return self.table(self.part.drives) & ~self.table(self.beyond.idle)

    @cached_property
    def never(self) -> int:
        """Where it must not."""
        whole = tables.everywhere([net.label for net in self.variables])
        return whole & ~self.must & ~self.table(self.beyond.idle)

    @property
    def shares(self) -> list[int]:
        """Where it must show each share of its contents, if the state of the selects decides that."""
        return [self.table(rows) & self.must for rows in self.beyond.shares]

    @property
    def select(self) -> Net | None:
        """The position that takes the decoder's select in the common arrangement of the part."""
        return self.by_function.get(self.part.select)

    def rail(self, volts: float) -> Net | None:
        """Return a position with that supply; None if the socket has none."""
        return next((net for net in self.nets.values() if net.kind is Kind.RAIL and net.volts == volts), None)

    def takes(self, chip: Part) -> bool:
        """Tell whether the chip's rows of pins are as far apart as the socket's."""
        return chip.row_pitch_mm == self.part.row_pitch_mm

    def position(self, chip: Part, pin: int) -> int | None:
        """Return where a chip's pin sits, or None if it sits outside.

        Chips of another length are taken to be seated bottom-aligned, as the JEDEC byte-wide sites are: pin n of
        24 sits at n + 2 of 28. A chip with another row pitch cannot be seated, so none of its pins has a place.
        """
        if not self.takes(chip):
            return None
        place = pin + (self.part.pin_count - chip.pin_count) // 2
        return place if 1 <= place <= self.part.pin_count else None

    def seat(self, chip: Part) -> dict[int, Net]:
        """Return what each pin of the chip meets if it is simply plugged in."""
        seats = {}
        for pin in chip.pins:
            place = self.position(chip, pin.number)
            outside = Net(f"chip pin {pin.number} (open)", Kind.OPEN, "")
            seats[pin.number] = self.nets[place] if place else outside
        return seats

    def seating(self, chip: Part) -> str:
        """Say how the chip is taken to sit; nothing if pin 1 is at position 1."""
        if not self.takes(chip):
            pitches = f"rows {chip.row_pitch_mm:g} mm apart, the socket's {self.part.row_pitch_mm:g} mm"
            return f"{pitches}: on a carrier, with every pin wired"
        shift = (self.part.pin_count - chip.pin_count) // 2
        if not shift:
            return ""
        sizes = f"{chip.pin_count}-pin chip {'in' if shift > 0 else 'over'} a {self.part.pin_count}-pin socket"
        if shift > 0:
            empty = set(self.nets) - {pin.number + shift for pin in chip.pins}
            return f"{sizes}: bottom-aligned, chip pin 1 in position {1 + shift}; positions {numbers(empty)} stay empty"
        outside = [pin.number for pin in chip.pins if not self.position(chip, pin.number)]
        return f"{sizes}: bottom-aligned, chip pin {1 - shift} in position 1; chip pins {numbers(outside)} outside"


def numbers(values: Iterable[int]) -> str:
    """List numbers: `1, 2 and 28`."""
    return listed(list(map(str, sorted(values))))
