"""The plan: which net every chip pin needs, with the least work that makes the chip drive as the original did."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property

from msgspec import Struct

from romwright.fit.drive import Comparison, compare_with, condition
from romwright.fit.plans.feeds import Feeding, hold
from romwright.fit.plans.glue import PlacedGate, out_of, place_gates
from romwright.fit.plans.lines import carried, feed_lines
from romwright.fit.plans.rows import How, Row, lay_rows, nets_of
from romwright.fit.plans.search import gate_points
from romwright.fit.plans.work import points
from romwright.fit.socket import RAILS, Beyond, Gate, Kind, Net, Socket
from romwright.parts.model import Level, Part, Pin, Role


class Plan(Struct, frozen=True, dict=True):
    """The rows that fit `chip` into a socket made for `original`, both with their polarities stated.

    `lines`: what each address pin of the chip, then each data pin, stands for in the image, lowest first: a line of
    the original (`A0`, `D0`), a level (`H`), a switch or a select that chooses a bank (`S1`), or nothing (`-`).
    The image is made by it and the rows are proved against it, so that a row that is changed afterwards is found
    out.
    """

    original: Part
    chip: Part
    rows: tuple[Row, ...]
    gates: tuple[PlacedGate, ...] = ()
    prefer: tuple[str, ...] = ()
    banks: tuple[str, ...] = ()
    beyond: Beyond = Beyond()
    lines: tuple[str, ...] = ()

    @cached_property
    def socket(self) -> Socket:
        """The socket that it is for."""
        return Socket(self.original, self.beyond)

    @cached_property
    def nets(self) -> dict[int, Net | None]:
        """The net that each chip pin gets; None where it is left open."""
        return nets_of(self.rows, self.gates, self.socket, self.chip)

    @property
    def straps(self) -> list[str]:
        """The switches that choose a bank, that of the lowest address pin first."""
        return sorted({row.strap for row in self.rows if row.strap})

    @property
    def image_at(self) -> int:
        """The chip address, in words, at which the original's contents begin: set by the address pins above them."""
        return sum(1 << index for index, line in enumerate(self.carried) if line == "H")

    @cached_property
    def carried(self) -> tuple[str, ...]:
        """What each address pin, then each data pin, stands for: as the plan says, else as its rows have it."""
        return self.lines or carried(self.socket, self.chip, self.nets)

    @property
    def burn_at(self) -> int:
        """The place of the contents in the chip's file, in bytes: what `prepare` takes as an address."""
        return self.image_at * self.chip.word_bytes

    @cached_property
    def wired(self) -> Comparison:
        """When the original drives the bus, against when the wired chip does."""
        return compare_drives(self.socket, self.chip, self.nets)

    def as_json(self) -> dict:
        """The plan under the documented JSON keys."""
        return {
            "image_at": self.image_at,
            "burn_at": self.burn_at,
            "rows": [row.as_json() for row in self.rows],
            "gates": [gate.as_json() for gate in self.gates],
            "work": [{"what": what, "count": count, "points": total} for what, count, total in self.work],
            "delay_ns": self.delay_ns,
            "prefer": list(self.prefer),
            "banks": list(self.banks),
            "switches": self.switches,
        }

    @property
    def switches(self) -> dict[str, dict[str, str]]:
        """How the switches stand for each bank: by the bank's name, the level that each switch gives."""
        straps = self.straps
        return {
            bank: {strap: "H" if number >> bit & 1 else "L" for bit, strap in enumerate(straps)}
            for number, bank in enumerate(self.banks if straps else ())
        }

    @property
    def bank_lines(self) -> list[str]:
        """Say how the switches stand for each bank: `game: S1 closed (L)`."""
        stand = {"H": "open", "L": "closed"}
        return [
            f"{bank}: {', '.join(f'{name} {stand[level]} ({level})' for name, level in levels.items())}"
            for bank, levels in self.switches.items()
        ]

    @property
    def is_whole(self) -> bool:
        """Whether the chip has room for the contents and a pin for each line."""
        return self.chip.words >= self.original.words and self.chip.bits >= self.original.bits

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
    def points(self) -> int:
        """What all of the work comes to."""
        return sum(each for _, _, each in self.work)

    @property
    def work(self) -> list[tuple[str, int, int]]:
        """What there is to do: what, how often, and the points for all of it."""
        return list_work(self)


def plan_wiring(
    original: Part, chip: Part, prefer: tuple[str, ...] = (), banks: tuple[str, ...] = (), beyond: Beyond = Beyond()
) -> Plan:
    """Plan the wiring: every chip pin goes to the net that it needs, with the least work that this takes.

    Of all ways to give the chip's enables the signals of the original, a constant level or the output of a few gates,
    the cheapest is chosen that drives exactly when the original did (pinmaps/work.toml has the points). If there
    is none, the one that heeds the decoder's select and loses no read, then differs in the fewest states. `banks`
    are names of contents between which switches choose, or the selects if the socket has shares. Raises
    OptionError, UnknownNameError for a preference.
    """
    socket, cost = Socket(original, beyond), points(prefer)
    seats = socket.seat(chip)
    wanted = {pin.number: want(pin, chip, socket, seats[pin.number]) for pin in chip.pins}
    wanted |= feed_lines(chip, socket, seats, cost, banks)
    straps = [pin for pin in chip.lines(Role.ADDRESS) if wanted[pin.number].kind is Kind.STRAP]
    wanted |= Feeding(chip, socket, seats, wanted, cost, straps if beyond.shares else ()).choose()
    gates, names = place_gates(wanted.values())
    lines = carried(socket, chip, wanted)
    return Plan(original, chip, tuple(lay_rows(socket, chip, wanted, names)), gates, prefer, banks, beyond, lines)


def compare_drives(socket: Socket, chip: Part, nets: Mapping[int, Net]) -> Comparison:
    """Compare when the socket's original drives with when the chip does, its pins on the nets given."""
    return compare_with(socket, condition(chip.drives, nets, chip))


def list_work(plan: Plan) -> list[tuple[str, int, int]]:
    """List the changes of a plan with their points; those of the gates together with the wires to them."""
    cost = points(plan.prefer)
    of = [row.how for row in plan.rows if row.chip is not None]
    left = sum(row.how is How.OPEN and None not in (row.chip, row.socket) for row in plan.rows)
    packages = len({gate.package for gate in plan.gates})
    found = [
        ("pins tied to a supply", of.count(How.VCC) + of.count(How.GND), cost.tie),
        ("pins wired", of.count(How.WIRE) + of.count(How.GATE), cost.wire),
        ("pins wired to the board", of.count(How.POINT), cost.point),
        ("switches for banks", of.count(How.STRAP), cost.wire + cost.pull + cost.strap),
        ("pins bent up and left open", left, cost.open),
    ]
    total = [(what, count, count * each) for what, count, each in found if count]
    made = [(gate.kind, gate.lines - gate.far_lines, gate.far_lines) for gate in plan.gates]
    return total + ([("gate packages and the wires to them", packages, gate_points(made, cost))] if packages else [])


def want(pin: Pin, chip: Part, socket: Socket, seat: Net) -> Net | None:
    """Return the net that a chip pin needs, None if it must stay open; lines and read enables are chosen later."""
    if pin.role is Role.NC:
        return seat
    if pin.role is Role.SUPPLY:
        return want_supply(chip.supplies[pin.function], socket, seat)
    if pin.role is Role.OUTPUT:
        return seat if seat.function == pin.function else None
    if pin.function in chip.strobes:
        return want_strobe(pin.function, chip.strobes[pin.function], socket, seat)
    if pin.function in chip.read_either and (seat.level or seat.kind is Kind.SIGNAL):
        return seat
    level = chip.read_levels.get(pin.function)
    if level and pin.role is Role.CONTROL and socket.read_level(seat) == level:
        return seat
    return hold(level, seat) if level else None


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
