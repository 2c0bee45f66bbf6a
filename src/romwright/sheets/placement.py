"""Where everything of a plan stands in its picture: the socket on the left, the chip on the right, the gates below.

Between socket and chip lies the channel for the wires. A wire from the far side of a package passes over it between
two rows. Each height and each column that a wire may take belongs to one pin, so no two wires ever share a piece.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import ceil

from msgspec import Struct

from romwright.fit.plans.circuit import spare_inputs
from romwright.fit.plans.glue import PlacedGate
from romwright.fit.plans.rows import How
from romwright.fit.plans.wiring import Plan
from romwright.fit.plans.work import gate_parts
from romwright.parts.model import Part
from romwright.sheets.lanes import LANE, STREET, End, Route, Track, lay_tracks
from romwright.sheets.shapes import width_of

PITCH, BODY, LEG, MARGIN = 36, 196, 20, 70
TAGS, SIGNS = 34, 84  # room beside the socket for numbers, and beside the chip for hooks and signs
HEAD, CAPTION = 40, 26  # above the highest row; below the lowest
LIFT = 9  # how far the end of a pin that is bent up lies above its row
ACROSS_SOCKET, ACROSS_CHIP = 18, 9  # how far below its row a wire from the far side passes over a package
GATE_PIN, GATE_HEIGHT = 42, 122


class Ends(Struct, frozen=True):
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
        self.packages: dict[str, list[PlacedGate]] = {}
        for gate in plan.gates:
            self.packages.setdefault(gate.package, []).append(gate)
        trunks = sum(bool(net.position or net.pins) for net in self.nets)
        channel = LEG + TAGS + max(trunks, 6) * LANE + SIGNS + LEG
        across = MARGIN + BODY + channel + BODY + LEG + SIGNS + 30
        self.boxes_width = sum(box_width(gates) + GATE_PIN for gates in self.packages.values()) - GATE_PIN
        self.width = ceil(max(920, across, self.boxes_width + 20))
        self.socket_left = MARGIN + (self.width - across) / 2
        self.socket_right = self.socket_left + BODY
        self.lanes = self.socket_right + LEG + TAGS
        self.chip_left = self.socket_right + channel
        self.chip_right = self.chip_left + BODY
        self.levels = max(self.original.pin_count, self.chip.pin_count) // 2
        self.bottom = HEAD + self.levels * PITCH + 8  # room for a wire below the lowest row
        streets = sum(bool(net.gate_pins or net.output) for net in self.nets)
        self.street = self.bottom + CAPTION + 16
        self.gates = self.street + streets * STREET + 26
        self.place_boxes((self.socket_right + self.chip_left) / 2)

    @property
    def height(self) -> float:
        """The height of the picture."""
        return self.gates + 22 + GATE_HEIGHT if self.plan.gates else self.bottom + CAPTION + 10

    def y(self, part: Part, pin: int) -> float:
        """Return the height of a pin's row; the lowest rows of socket and chip are level."""
        half = part.pin_count // 2
        row = pin - 1 if pin <= half else part.pin_count - pin
        return HEAD + (self.levels - half + row) * PITCH + PITCH / 2

    def place_boxes(self, middle: float) -> None:
        """Place the gate packages side by side below the channel, each used pin midway between two lanes."""
        self.boxes: dict[str, tuple[float, float]] = {}
        self.gate_pin_x: dict[tuple[str, int], float] = {}
        x = max(10.0, min(middle - self.boxes_width / 2, self.width - self.boxes_width - 10))
        for ref, gates in self.packages.items():
            pins, wide = [pin for gate in gates for pin, _ in terminals_of(gate)], box_width(gates)
            first = x + (wide - GATE_PIN * (len(pins) - 1)) / 2
            first += (self.lanes + LANE / 2 - first) % LANE
            self.boxes[ref] = x, wide
            self.gate_pin_x |= {(ref, pin): first + GATE_PIN * count for count, pin in enumerate(pins)}
            x += wide + GATE_PIN

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


def gate_notes(gates: list[PlacedGate]) -> list[str]:
    """Say what a gate package is and what its other pins need."""
    part = gate_parts()[gates[0].kind]
    title = f"{gates[0].package}  {part.part}"
    if not part.outputs:
        return [title, "K: the end with the bar, at the line", "A: the other ends, joined, and the resistor"]
    lines = [title, f"pin {part.vcc} to VCC, pin {part.gnd} to GND"]
    if unused := spare_inputs(gates):
        lines.append(f"inputs not used: {', '.join(map(str, unused))} to GND")
    return lines


def box_width(gates: list[PlacedGate]) -> float:
    """Return how wide the box of a gate package is: room for its pins and for its words."""
    pins = sum(len(terminals_of(gate)) for gate in gates)
    return max(GATE_PIN * pins + LANE, 30 + max(width_of(note, 14) for note in gate_notes(gates)))
