"""A plan as a circuit: its components with their pins, and the nets that join them, as an adapter board needs them.

J1 goes into the board's socket, U1 is the chip, X1 … are the gate packages of the plan, D and R the diodes and
resistors, S the switches that choose a bank, J2 takes the wires to points of the board beyond the socket.
"""

from __future__ import annotations

from msgspec import Struct, field

from romwright.fit.plans.glue import PlacedGate, Tap
from romwright.fit.plans.rows import How, Row
from romwright.fit.plans.wiring import Plan
from romwright.fit.plans.work import GatePart, gate_parts
from romwright.fit.socket import Kind
from romwright.parts.model import Part, Pin, Role

VOLTS = {5.0: "VCC", 0.0: "GND"}
GATE_PITCH_MM = 7.62  # of every gate package that has 14 or 16 pins
PULL_OHMS = "4.7k"  # to VCC, of a pair of diodes and of a switch: common practice, no source


class Lead(Struct, frozen=True):
    """A pin of a component: its number, what it is called, and its electrical kind in KiCad's words."""

    number: str
    name: str
    kind: str = "passive"


class Component(Struct, frozen=True):
    """A component: its designator, what it is, its package (with the distance of its rows), and its pins."""

    ref: str
    value: str
    package: str
    leads: tuple[Lead, ...]


class Circuit(Struct):
    """Components in order, and for each net by its name the pins on it: (designator, pin)."""

    components: list[Component] = field(default_factory=list)
    nets: dict[str, list[tuple[str, str]]] = field(default_factory=dict)

    def join(self, net: str, ref: str, pin: int | str) -> None:
        """Put a pin on a net."""
        self.nets.setdefault(net, []).append((ref, str(pin)))


def build_circuit(plan: Plan) -> Circuit:
    """Return the circuit of a plan; a net with nothing but a pin of J1 is left out."""
    circuit = Circuit()
    names = {number: net_name(plan, number) for number in plan.socket.nets}
    circuit.components += [
        Component("J1", f"socket of {plan.original.name}", footprint_of(plan.original), leads_of(plan.original)),
        Component("U1", plan.chip.name, footprint_of(plan.chip), leads_of(plan.chip, chip=True)),
    ]
    for position, name in names.items():
        circuit.join(name, "J1", position)
    for row in plan.rows:
        if row.chip and (net := net_of_row(row, names)):
            circuit.join(net, "U1", row.chip)
    add_packages(circuit, plan, names)
    add_diodes(circuit, plan, names)
    add_switches(circuit, plan)
    add_points(circuit, plan)
    circuit.nets = {name: on for name, on in circuit.nets.items() if any(ref != "J1" for ref, _ in on)}
    return circuit


def net_name(plan: Plan, position: int) -> str:
    """Return the name of the net at a socket position: rails of one voltage are one net."""
    net = plan.socket.nets[position]
    if net.kind is Kind.RAIL:
        return VOLTS.get(net.volts, f"{net.volts:+g}V")
    return net.function if net.kind is not Kind.OPEN else f"J1-{position} {net.function}"


def net_of_row(row: Row, names: dict[int, str]) -> str:
    """Return the name of the net that a row puts its chip pin on; empty if it is left open."""
    return {
        How.STRAIGHT: names.get(row.socket, ""), How.WIRE: names.get(row.wire_to, ""),
        How.VCC: "VCC", How.GND: "GND", How.GATE: row.gate, How.POINT: board_net(row.point), How.STRAP: row.strap,
        How.OPEN: "",
    }[row.how]  # fmt: skip


def board_net(point: str) -> str:
    """Return the name of the net of a point of the board; it may bear the name of a signal at the socket too."""
    return f"board {point}"


def net_of_tap(tap: Tap, names: dict[int, str]) -> str:
    """Return the name of the net that feeds an input of a gate."""
    if tap.position:
        return names[tap.position]
    return tap.gate or {"H": "VCC", "L": "GND", None: board_net(tap.point)}[tap.level]


def add_packages(circuit: Circuit, plan: Plan, names: dict[int, str]) -> None:
    """Add the gate packages, supplied, the inputs of gates that are not used at GND."""
    for ref, gates in packages_of(plan).items():
        part = gate_parts()[gates[0].kind]
        circuit.components.append(Component(ref, part.part, footprint(part.package, GATE_PITCH_MM), gate_leads(part)))
        for gate in gates:
            circuit.join(gate.name, ref, gate.output)
            for tap in gate.taps:
                circuit.join(net_of_tap(tap, names), ref, tap.pin)
        for pin in spare_inputs(gates):
            circuit.join("GND", ref, pin)
        circuit.join("VCC", ref, part.vcc)
        circuit.join("GND", ref, part.gnd)


def packages_of(plan: Plan) -> dict[str, list[PlacedGate]]:
    """Return the gates that sit in packages, by the designator of the package."""
    found: dict[str, list[PlacedGate]] = {}
    for gate in plan.gates:
        if gate.output:
            found.setdefault(gate.package, []).append(gate)
    return found


def spare_inputs(gates: list[PlacedGate]) -> list[int]:
    """List the input pins of a package that none of its gates in use takes: they go to GND."""
    used = {tap.pin for gate in gates for tap in gate.taps}
    return sorted({pin for pins in gate_parts()[gates[0].kind].inputs for pin in pins} - used)


def gate_leads(part: GatePart) -> tuple[Lead, ...]:
    """List the pins of a gate package."""
    kinds = {pin: Lead(str(pin), "", "input") for pins in part.inputs for pin in pins}
    kinds |= {pin: Lead(str(pin), "", "output") for pin in part.outputs}
    kinds |= {part.vcc: Lead(str(part.vcc), "VCC", "power_in"), part.gnd: Lead(str(part.gnd), "GND", "power_in")}
    return tuple(lead for _, lead in sorted(kinds.items()))


def add_diodes(circuit: Circuit, plan: Plan, names: dict[int, str]) -> None:
    """Add the gates made of diodes: a cathode (pin 1) on each line, all anodes (pin 2) pulled up together."""
    for gate in plan.gates:
        if gate.output:
            continue
        for tap in gate.taps:
            ref = f"D{1 + sum(part.ref.startswith('D') for part in circuit.components)}"
            circuit.components.append(Component(ref, "Schottky", "", (Lead("1", "K"), Lead("2", "A"))))
            circuit.join(net_of_tap(tap, names), ref, 1)
            circuit.join(gate.name, ref, 2)
        pull_up(circuit, gate.name)


def add_switches(circuit: Circuit, plan: Plan) -> None:
    """Add the switches that choose a bank: a resistor to VCC and a contact to GND."""
    for number, name in enumerate(plan.straps, 1):
        circuit.components.append(Component(f"S{number}", f"switch {name}", "", (Lead("1", ""), Lead("2", ""))))
        circuit.join(name, f"S{number}", 1)
        circuit.join("GND", f"S{number}", 2)
        pull_up(circuit, name)


def pull_up(circuit: Circuit, net: str) -> None:
    """Add a resistor from a net to VCC."""
    ref = f"R{1 + sum(part.ref.startswith('R') for part in circuit.components)}"
    circuit.components.append(Component(ref, PULL_OHMS, "", (Lead("1", ""), Lead("2", ""))))
    circuit.join("VCC", ref, 1)
    circuit.join(net, ref, 2)


def add_points(circuit: Circuit, plan: Plan) -> None:
    """Add the connector for wires to points of the board beyond the socket."""
    taps = [tap.point for gate in plan.gates for tap in gate.taps]
    points = list(dict.fromkeys(filter(None, [*(row.point for row in plan.rows), *taps])))
    if points:
        leads = tuple(Lead(str(number), point) for number, point in enumerate(points, 1))
        circuit.components.append(Component("J2", "wires to the board", "", leads))
    for number, point in enumerate(points, 1):
        circuit.join(board_net(point), "J2", number)


def footprint(package: str, row_pitch_mm: float) -> str:
    """Name a package as KiCad names its footprint: pins and the distance of the rows.

    So its symbol library 6.0.10 has them; a name with 42 pins is made by the same rule, unchecked.
    """
    return f"Package_DIP:{package}_W{row_pitch_mm:.2f}mm"


def footprint_of(part: Part) -> str:
    """Name the footprint of a part."""
    return footprint(part.package, part.row_pitch_mm)


def leads_of(part: Part, chip: bool = False) -> tuple[Lead, ...]:
    """List the pins of a part, or of the plug that goes into a socket for it."""
    return tuple(Lead(str(pin.number), pin.name, kind_of(part, pin) if chip else "passive") for pin in part.pins)


def kind_of(part: Part, pin: Pin) -> str:
    """Return the electrical kind of a chip's pin in KiCad's words."""
    if pin.role is Role.DATA:
        kinds = {"three-state": "tri_state", "open-collector": "open_collector"}
        return "bidirectional" if part.writes else kinds[part.output]
    return {Role.SUPPLY: "power_in", Role.NC: "no_connect", Role.OUTPUT: "output"}.get(pin.role, "input")
