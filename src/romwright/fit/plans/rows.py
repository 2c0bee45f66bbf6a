"""The wiring table: one row for each socket position, then one for each chip pin outside the socket."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from enum import StrEnum

from msgspec import Struct, to_builtins

from romwright.fit.drive import rows_at
from romwright.fit.plans.glue import PlacedGate, gate_nets
from romwright.fit.socket import RAILS, Gate, Kind, Net, Socket, strap
from romwright.images.words import listed
from romwright.parts.model import OTHER, Level, Part, Pin, Role


class How(StrEnum):
    """What is done with a chip pin."""

    STRAIGHT = "straight"
    WIRE = "bend up and wire"
    VCC = "tie to VCC"
    GND = "tie to GND"
    GATE = "bend up and wire to a gate"
    POINT = "bend up and wire to the board"
    STRAP = "bend up and wire to a switch"
    OPEN = "leave open"


class Row(Struct, frozen=True, forbid_unknown_fields=True):
    """One socket position and the chip pin there (None: there is none).

    `wire_to` is the position that the chip pin is wired to, `gate` the output of a gate that it is wired to instead;
    `inverted`: that gate is an inverter behind the position `wire_to`. `point` is a node of the board beyond this
    socket and `strap` a switch that chooses a bank: a resistor to VCC and a contact to GND.
    """

    socket: int | None
    signal: str
    chip: int | None
    function: str
    how: How
    wire_to: int | None = None
    inverted: bool = False
    gate: str = ""
    point: str = ""
    strap: str = ""
    detail: str = ""

    def as_json(self) -> dict:
        """The row under the documented JSON keys."""
        return to_builtins(self)


def lay_rows(socket: Socket, chip: Part, wanted: Mapping[int, Net | None], names: Mapping[Gate, str]) -> Iterator[Row]:
    """Yield the rows that give every chip pin the net wanted for it; None leaves it open. `names` are of the gates."""
    seats = socket.seat(chip)
    places = {socket.position(chip, pin.number): pin for pin in chip.pins}
    users: dict[int, list[str]] = {}
    for number, net in wanted.items():
        end = end_of(socket, net)
        if end and end.position and end.position != seats[number].position:
            users.setdefault(end.position, []).append(f"chip pin {number}")
    for gate, name in names.items():
        for each in gate.inputs:
            if each.position:
                users.setdefault(each.position, []).append(name.partition(".")[0])
    for position, net in socket.nets.items():
        pin, signal = places.get(position), socket.part.pins[position - 1].name
        notes = [f"the socket position goes to {met(users[position])}"] if position in users else []
        how = choose_how(wanted[pin.number], net) if pin else How.OPEN
        if how is not How.STRAIGHT and net.kind is Kind.RAIL and net.level is None:
            notes.append(f"this position carries {net.volts:+g} V")
        if pin is None:
            yield Row(position, signal, None, "", how, detail="; ".join(notes or ["no chip pin sits here"]))
        else:
            yield fill_row(socket, chip, pin, wanted[pin.number], seats[pin.number], notes, signal, names)
    note = ["outside the socket"] if socket.takes(chip) else []
    for pin in chip.pins:
        if not seats[pin.number].position:
            yield fill_row(socket, chip, pin, wanted[pin.number], seats[pin.number], note, "", names)


def end_of(socket: Socket, net: Net | None) -> Net | None:
    """Return the socket position at which a wire or a tie to that net ends; None if there is none."""
    if net is None or net.position or net.kind is not Kind.RAIL:
        return net
    return socket.rail(net.volts)


def choose_how(net: Net | None, seat: Net) -> How:
    """Return what brings a chip pin from its seat to a net."""
    if net is None or (net == seat and not seat.position):
        return How.OPEN
    if net == seat:
        return How.STRAIGHT
    if net.gate or net.point:
        return How.GATE if net.gate else How.POINT
    if net.kind is Kind.STRAP:
        return How.STRAP
    if net.position is None:
        return How.VCC if net.level == "H" else How.GND
    return How.WIRE


def fill_row(
    socket: Socket, chip: Part, pin: Pin, net: Net | None, seat: Net, notes: list[str], signal: str,
    names: Mapping[Gate, str],
) -> Row:  # fmt: skip
    """Say how a chip pin gets from its seat to its net, by which way, and why."""
    position = seat.position
    how = choose_how(net, seat)
    moved = how not in (How.STRAIGHT, How.OPEN)
    detail = [way(socket, net, position, names) if moved else "", reason(socket, chip, pin, net, how), *notes]
    gate = net.gate if how is How.GATE else None
    behind = gate.inputs[0].position if gate and gate.kind == "inverter" else None
    return Row(
        position, signal, pin.number, pin.name, how, net.position if how is How.WIRE else behind, behind is not None,
        names[gate] if gate else "", net.point if how is How.POINT else "",
        net.label if how is How.STRAP else "", "; ".join(filter(None, detail)),
    )  # fmt: skip


def way(socket: Socket, net: Net, position: int | None, names: Mapping[Gate, str]) -> str:
    """Say where a tie or a wire from a position ends."""
    if net.gate:
        package, _, pin = names[net.gate].partition(".")
        where = f"to pin {pin} of {package}" if pin else f"to {package}"
        return f"{where} ({in_words(net)})"
    if net.point:
        return f"to {net.point}"
    if net.kind is Kind.STRAP:
        return f"to switch {net.label}: open (a resistor to VCC) is H, closed to GND is L"
    end = end_of(socket, net)
    if end is None:
        return f"the socket has no {net.volts:+g} V: bring it from elsewhere"
    if net.position:
        path = f"to socket {end.position} ({end.function})"
        return path if position else f"wire {path}"
    return f"{'bend up, to' if position else 'wire to'} {net.function} at socket {end.position}"


def in_words(net: Net) -> str:
    """Say what comes out of a gate, whatever others are behind it: `L while socket 20 is L and socket 27 is H`."""
    level = min((net.gate.gives, OTHER[net.gate.gives]), key=lambda level: len(rows_at(net, level)))
    rows = [" and ".join(at_level(*pair) for pair in sorted(row.items())) for row in rows_at(net, level)]
    return f"{level} while {' or '.join(rows)}"


def at_level(label: str, level: Level) -> str:
    """Say at which level a line is: `socket 20 is L`."""
    number = label.partition(" ")[0]
    return f"{f'socket {number}' if number.isdigit() else label} is {level}"


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
        level = socket.read_level(net) if extra else None
        late = "" if net.level else "; the access time counts from this line too"
        return f"at {level} in every read, which chooses the part of the chip that shows{late}" if level else ""
    if how in (How.WIRE, How.GATE, How.POINT, How.STRAP):
        return ""
    if extra:
        return "a part of the chip that the original does not have"
    if pin.function in chip.strobes:
        return "never writes"
    if pin.role is Role.SUPPLY:
        return "the chip's supply"
    return "always enabled" if pin.function in chip.enables else f"must be {net.level} in read"


def nets_of(rows: Iterable[Row], gates: Iterable[PlacedGate], socket: Socket, chip: Part) -> dict[int, Net]:
    """Return the net that rows give each chip pin."""
    outputs = gate_nets(gates, socket)
    found = {pin.number: Net(f"chip pin {pin.number} (open)", Kind.OPEN, "") for pin in chip.pins}
    for row in rows:
        if row.chip and row.how is not How.OPEN:
            found[row.chip] = {
                How.VCC: lambda row: RAILS["H"], How.GND: lambda row: RAILS["L"],
                How.GATE: lambda row: outputs[row.gate], How.STRAP: lambda row: strap(row.strap),
                How.POINT: lambda row: socket.points[row.point], How.WIRE: lambda row: socket.nets[row.wire_to],
                How.STRAIGHT: lambda row: socket.nets[row.socket],
            }[row.how](row)  # fmt: skip
    return found


def met(words: list[str]) -> str:
    """List what a position goes to: `chip pin 1, 27 and X1`."""
    first, *others = dict.fromkeys(words)
    return listed([first, *(word.removeprefix("chip pin ") for word in others)])
