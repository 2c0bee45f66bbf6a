"""Where everything of a plan stands in its picture: the socket on the left, the chip on the right, the gates below.

Between socket and chip lies the channel for the wires. A wire from the far side of a package passes over it between
two rows. Each height and each column that a wire may take belongs to one pin, so no two wires ever share a piece.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from romwright.fit.glue import PlacedGate
from romwright.fit.rows import How
from romwright.fit.wiring import Plan
from romwright.parts.model import Part
from romwright.sheets.lanes import LANE, STREET, End, Route, Track, lay_tracks

PITCH, BODY, LEG, MARGIN = 44, 196, 20, 70
TAGS, SIGNS = 34, 84  # room beside the socket for numbers, and beside the chip for hooks and signs
HEAD, CAPTION = 40, 26  # above the highest row; below the lowest
LIFT = 10  # how far the end of a pin that is bent up lies above its row
ACROSS_SOCKET, ACROSS_CHIP = 24, 13  # how far below its row a wire from the far side passes over a package
GATE_PIN, GATE_HEIGHT = 42, 122


@dataclass(frozen=True, slots=True)
class Ends:
    """A net of the picture: its number, and what it joins."""

    number: int
    position: int | None
    pins: tuple[int, ...]
    gate_pins: tuple[tuple[str, int], ...]
    gate: str = ""
    output: tuple[str, int] | None = None


class Picture:
    """Where everything of a plan stands in the picture."""

    def __init__(self, plan: Plan) -> None:
        self.plan, self.original, self.chip = plan, plan.original, plan.chip
        self.rows = {row.chip: row for row in plan.rows if row.chip}
        self.nets = list(join_ends(plan))
        trunks = sum(bool(net.position or net.pins) for net in self.nets)
        self.socket_left = MARGIN
        self.socket_right = self.socket_left + BODY
        self.lanes = self.socket_right + LEG + TAGS
        self.chip_left = self.lanes + max(trunks, 6) * LANE + SIGNS + LEG
        self.chip_right = self.chip_left + BODY
        self.width = max(920, self.chip_right + LEG + SIGNS + 30)
        spare = (self.width - (self.chip_right + LEG + SIGNS + 30)) / 2
        self.socket_left, self.socket_right, self.lanes = (
            x + spare for x in (self.socket_left, self.socket_right, self.lanes)
        )
        self.chip_left, self.chip_right = self.chip_left + spare, self.chip_right + spare
        self.levels = max(self.original.pin_count, self.chip.pin_count) // 2
        self.bottom = HEAD + self.levels * PITCH
        streets = sum(bool(net.gate_pins or net.output) for net in self.nets)
        self.street = self.bottom + CAPTION + 16
        self.gates = self.street + streets * STREET + 26

    @property
    def height(self) -> float:
        """The height of the picture."""
        return self.gates + 22 + GATE_HEIGHT if self.plan.gates else self.bottom + CAPTION + 10

    def y(self, part: Part, pin: int) -> float:
        """Return the height of a pin's row; the lowest rows of socket and chip are level."""
        half = part.pin_count // 2
        row = pin - 1 if pin <= half else part.pin_count - pin
        return HEAD + (self.levels - half + row) * PITCH + PITCH / 2

    @cached_property
    def gate_pin_x(self) -> dict[tuple[str, int], float]:
        """The places of the pins of gates, each midway between two lanes, by package and pin."""
        places, x = {}, 0
        for ref, pins in self.terminals.items():
            for pin in pins:
                places[ref, pin] = x
                x += GATE_PIN
            x += 2 * GATE_PIN
        middle = (self.lanes + self.chip_left) / 2
        first = max(60.0, middle - (x - 3 * GATE_PIN) / 2)
        first = min(first, max(60.0, self.width - 60 - (x - 3 * GATE_PIN)))
        first += (self.lanes + LANE / 2 - first) % LANE
        return {pin: first + at for pin, at in places.items()}

    @cached_property
    def terminals(self) -> dict[str, list[int]]:
        """The pins of each gate package that a plan uses, gate by gate; diodes have theirs counted from 1."""
        found: dict[str, list[int]] = {}
        for gate in self.plan.gates:
            found.setdefault(gate.package, []).extend(pin for pin, _ in terminals_of(gate))
        return found

    def routes(self) -> Iterator[Route]:
        """Yield the nets to be routed."""
        for net in self.nets:
            ends = [self.socket_end(net.position)] if net.position else []
            ends += map(self.chip_end, net.pins)
            pins = [*([net.output] if net.output else []), *net.gate_pins]
            yield Route(net.number, tuple(ends), tuple(self.gate_pin_x[pin] for pin in pins))

    def socket_end(self, position: int) -> End:
        """Return the way of a wire from a socket position to the channel."""
        y, far = self.y(self.original, position), position <= self.original.pin_count // 2
        if not far:
            return End(-1, ((self.socket_right + LEG, y),))
        x = self.socket_left - LEG - 16
        return End(-1, ((self.socket_left - LEG, y), (x, y), (x, y + ACROSS_SOCKET)))

    def chip_end(self, pin: int) -> End:
        """Return the way of a wire from a chip pin to the channel."""
        y, far = self.y(self.chip, pin), pin > self.chip.pin_count // 2
        if not far:
            return End(1, ((self.chip_left - LEG - 6, y - LIFT),))
        x = self.chip_right + LEG + 22
        return End(1, ((self.chip_right + LEG + 6, y - LIFT), (x, y - LIFT), (x, y + ACROSS_CHIP)))

    def tracks(self) -> list[Track]:
        """Return the nets in their lanes."""
        return lay_tracks(list(self.routes()), self.lanes, self.street, self.gates)


def join_ends(plan: Plan) -> Iterator[Ends]:
    """Yield the nets that take wires, numbered: those of socket positions first, then those of gates."""
    pins: dict[int | str, list[int]] = {}
    taps: dict[int | str, list[tuple[str, int]]] = {}
    for row in plan.rows:
        if row.how in (How.WIRE, How.GATE):
            pins.setdefault(row.gate or row.wire_to, []).append(row.chip)
    for gate in plan.gates:
        for (pin, _), tap in zip(terminals_of(gate), gate.taps):
            if tap.position or tap.gate:
                taps.setdefault(tap.gate or tap.position, []).append((gate.package, pin))
    positions = sorted({key for key in (*pins, *taps) if isinstance(key, int)})
    for count, key in enumerate([*positions, *(gate.name for gate in plan.gates)], 1):
        of = next((gate for gate in plan.gates if gate.name == key), None)
        output = (of.package, terminals_of(of)[-1][0]) if of else None
        place = None if of else key
        yield Ends(count, place, tuple(pins.get(key, ())), tuple(taps.get(key, ())), of.name if of else "", output)


def terminals_of(gate: PlacedGate) -> list[tuple[int, str]]:
    """List the pins of a gate with what stands beside them: its inputs, then its output."""
    if gate.output is None:
        return [(at, "K") for at in range(1, len(gate.taps) + 1)] + [(len(gate.taps) + 1, "A")]
    return [*((tap.pin, str(tap.pin)) for tap in gate.taps), (gate.output, str(gate.output))]
