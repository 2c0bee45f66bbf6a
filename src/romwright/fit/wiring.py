"""The plan: which net every chip pin needs, with the least work that makes the chip drive as the original did."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

from romwright.fit.drive import Comparison, compare, condition
from romwright.fit.feeds import Feeding, hold
from romwright.fit.glue import PlacedGate, out_of, place_gates
from romwright.fit.rows import How, Row, lay_rows, nets_of
from romwright.fit.search import gate_points
from romwright.fit.socket import GND, RAILS, Gate, Kind, Net, Socket
from romwright.fit.work import points
from romwright.parts.model import Level, Part, Pin, Role


@dataclass(frozen=True)
class Plan:
    """The rows that fit `chip` into a socket made for `original`, both with their polarities stated."""

    original: Part
    chip: Part
    rows: tuple[Row, ...]
    gates: tuple[PlacedGate, ...] = ()
    prefer: tuple[str, ...] = field(default=())

    @cached_property
    def socket(self) -> Socket:
        """The socket that it is for."""
        return Socket(self.original)

    @cached_property
    def nets(self) -> dict[int, Net | None]:
        """The net that each chip pin gets; None where it is left open."""
        return nets_of(self.rows, self.gates, self.socket, self.chip)

    @property
    def image_at(self) -> int:
        """The chip address, in words, at which the original's contents begin: set by the address pins above them."""
        extra = [pin for pin in self.chip.pins if pin.role is Role.ADDRESS and self.nets[pin.number]]
        return sum(1 << pin.index for pin in extra if self.nets[pin.number].level == "H")

    @property
    def burn_at(self) -> int:
        """The place of the contents in the chip's file, in bytes: what `prepare` takes as an address."""
        return self.image_at * self.chip.word_bytes

    @cached_property
    def wired(self) -> Comparison:
        """When the original drives the bus, against when the wired chip does."""
        return compare_drives(self.original, self.chip, self.socket, self.nets)

    @property
    def heeds(self) -> bool:
        """Whether the chip answers every read and heeds the decoder's select: what no plan may lack."""
        select = self.socket.select
        return not self.wired.missed and not (select and self.wired.ignores(select.label))

    @property
    def delay_ns(self) -> float | None:
        """How much later than its enables the chip answers: the slowest way through the gates; None if not known."""
        slowest: dict[str, float | None] = {}
        for gate in self.gates:
            before = [slowest[tap.gate] for tap in gate.taps if tap.gate]
            known = gate.delay_ns is not None and None not in before
            slowest[gate.name] = gate.delay_ns + max(before, default=0) if known else None
        return None if None in slowest.values() else max(slowest.values(), default=0)

    @property
    def work(self) -> list[tuple[str, int, int]]:
        """What there is to do: what, how often, and the points for all of it."""
        return list_work(self)


def plan_wiring(original: Part, chip: Part, prefer: tuple[str, ...] = ()) -> Plan:
    """Plan the wiring: every chip pin goes to the net that it needs, with the least work that this takes.

    Of all ways to give the chip's enables the signals of the original, a constant level or the output of a few gates,
    the cheapest is chosen that drives exactly when the original did (pinmaps/work.toml has the points). If there is
    none, the one that heeds the decoder's select and loses no read, then differs in the fewest states.
    """
    socket = Socket(original)
    seats = socket.seat(chip)
    wanted = {pin.number: want(pin, chip, socket, seats[pin.number]) for pin in chip.pins}
    wanted |= Feeding(chip, socket, seats, wanted, points(prefer)).choose()
    gates, names = place_gates(wanted.values())
    return Plan(original, chip, tuple(lay_rows(socket, chip, wanted, names)), gates, prefer)


def compare_drives(original: Part, chip: Part, socket: Socket, nets: Mapping[int, Net]) -> Comparison:
    """Compare when the original drives with when the chip does, its pins on the nets given."""
    return compare(condition(original.drives, socket.nets, original), condition(chip.drives, nets, chip))


def list_work(plan: Plan) -> list[tuple[str, int, int]]:
    """List the changes of a plan with their points; those of the gates together with the wires to them."""
    cost = points(plan.prefer)
    of = [row.how for row in plan.rows if row.chip is not None]
    left = sum(row.how is How.OPEN and None not in (row.chip, row.socket) for row in plan.rows)
    packages = len({gate.package for gate in plan.gates})
    found = [
        ("pins tied to a supply", of.count(How.VCC) + of.count(How.GND), cost.tie),
        ("pins wired", of.count(How.WIRE) + of.count(How.GATE), cost.wire),
        ("pins bent up and left open", left, cost.open),
    ]
    total = [(what, count, count * each) for what, count, each in found if count]
    made = [(gate.kind, gate.lines) for gate in plan.gates]
    return total + ([("gate packages with their inputs", packages, gate_points(made, cost))] if packages else [])


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
        net = socket.by_function[own]
        return net if strobes[own] == rest else out_of(Gate("inverter", (net,), ("H",), "L"))
    return seat if seat.kind is Kind.RAIL and seat.level == rest else RAILS[rest]


def want_supply(volts: float, socket: Socket, seat: Net) -> Net | None:
    """Return the rail of that voltage: where the pin sits, anywhere in the socket, or none."""
    if seat.kind is Kind.RAIL and seat.volts == volts:
        return seat
    rail = socket.rail(volts)
    return RAILS[rail.level] if rail and rail.level else rail
