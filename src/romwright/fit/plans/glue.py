"""The gates of a plan, each in its package with its pins: what is soldered, and what the drawing and the proof take."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from msgspec import Struct, to_builtins
from msgspec.structs import replace

from romwright.fit.plans.logic import HIGH_ENABLES, LAWS, LOW_ENABLES, PICKS
from romwright.fit.plans.work import GatePart, gate_parts
from romwright.fit.socket import RAILS, Gate, Kind, Net, Socket
from romwright.parts.model import Level

DECODER = "3-to-8"


class Tap(Struct, frozen=True, forbid_unknown_fields=True):
    """An input pin of a gate and what feeds it: a socket position, a point of the board, a level, or a gate."""

    pin: int | None
    position: int | None = None
    level: Level | None = None
    gate: str = ""
    point: str = ""


class PlacedGate(Struct, frozen=True, forbid_unknown_fields=True):
    """A gate of a plan: `name` is its package and its output pin, such as `X1.3`; nanoseconds, None if not known."""

    name: str
    package: str
    part: str
    kind: str
    taps: tuple[Tap, ...]
    output: int | None
    delay_ns: float | None

    @property
    def lines(self) -> int:
        """How many lines go into it: an input joined with another, or at a level, is none of its own."""
        return len({replace(tap, pin=None) for tap in self.taps if tap.level is None})

    @property
    def far_lines(self) -> int:
        """How many of them come from beyond the socket."""
        return len({tap.point for tap in self.taps} - {""})

    def as_json(self) -> dict:
        """The gate under the documented JSON keys."""
        return to_builtins(self)


def place_gates(nets: Iterable[Net | None]) -> tuple[tuple[PlacedGate, ...], dict[Gate, str]]:
    """Put the gates that nets come out of into packages; returns them, inner ones first, and the name of each."""
    names: dict[Gate, str] = {}
    placed: list[PlacedGate] = []
    packages: dict[str, list[str]] = {}
    for gate in dict.fromkeys(gate for net in nets if net for gate in gates_behind(net)):
        part, of_kind = gate_parts()[gate.kind], packages.setdefault(gate.kind, [])
        sections = len(part.inputs)
        used = sum(each.package == of_kind[-1] for each in placed) if of_kind else sections
        if used == sections:
            of_kind.append(f"X{1 + sum(map(len, packages.values()))}")
            used = 0
        placed.append(place_gate(gate, part, of_kind[-1], used, names))
        names[gate] = placed[-1].name
    return tuple(placed), names


def gates_behind(net: Net) -> Iterator[Gate]:
    """Yield the gates that a net comes out of, inner ones first."""
    if net.gate:
        for each in net.gate.inputs:
            yield from gates_behind(each)
        yield net.gate


def place_gate(gate: Gate, part: GatePart, package: str, section: int, names: dict[Gate, str]) -> PlacedGate:
    """Give a gate its pins."""
    inputs, pins = list(gate.inputs), part.inputs[section]
    number = section
    if gate.kind == DECODER:
        inputs, number = spread(gate)
    inputs += inputs[:1] * (len(pins) - len(inputs))  # a spare input goes along with the first
    taps = tuple(tap_of(net, pin, names) for net, pin in zip(inputs, pins or [None] * len(inputs)))
    output = part.outputs[number] if part.outputs else None
    name = f"{package}.{output}" if output else package
    return PlacedGate(name, package, part.part, gate.kind, taps, output, part.delay_ns)


def tap_of(net: Net, pin: int | None, names: dict[Gate, str]) -> Tap:
    """Return the tap of an input pin at a net."""
    if net.gate:
        return Tap(pin, gate=names[net.gate])
    return Tap(pin, position=net.position, level=net.level if net.position is None else None, point=net.point)


def spread(gate: Gate) -> tuple[list[Net], int]:
    """Spread a decoder's inputs over A B C G1 /G2A /G2B; returns them and the output that falls."""
    high = [net for net, level in zip(gate.inputs, gate.levels) if level == "H"]
    low = [net for net, level in zip(gate.inputs, gate.levels) if level == "L"]
    enables = (high[:HIGH_ENABLES] or [RAILS["H"]]) + (low[:LOW_ENABLES] + [RAILS["L"]] * LOW_ENABLES)[:LOW_ENABLES]
    picks = [*high[HIGH_ENABLES:], *low[LOW_ENABLES:]]
    number = (1 << len(high[HIGH_ENABLES:])) - 1
    return [*(picks + [RAILS["L"]] * PICKS)[:PICKS], *enables], number


def gate_nets(placed: Iterable[PlacedGate], socket: Socket) -> dict[str, Net]:
    """Return the net that comes out of each placed gate, by its name."""
    found: dict[str, Net] = {}
    for gate in placed:
        inputs = tuple(net_of_tap(tap, socket, found) for tap in gate.taps)
        if gate.kind == DECODER:
            number = gate_parts()[DECODER].outputs.index(gate.output)
            levels: tuple[Level, ...] = (*("H" if number >> i & 1 else "L" for i in range(PICKS)), "H", "L", "L")
            made = Gate(gate.kind, inputs, levels, "L")
        else:
            level, gives = LAWS[gate.kind]
            made = Gate(gate.kind, inputs, (level,) * len(inputs), gives)
        found[gate.name] = out_of(made, gate.name)
    return found


def out_of(gate: Gate, name: str = "") -> Net:
    """Return the net at a gate's output."""
    return Net(name, Kind.SIGNAL, name, gate=gate)


def net_of_tap(tap: Tap, socket: Socket, gates: dict[str, Net]) -> Net:
    """Return the net that a tap takes."""
    if tap.gate:
        return gates[tap.gate]
    if tap.level:
        return RAILS[tap.level]
    return socket.points[tap.point] if tap.point else socket.nets[tap.position]
