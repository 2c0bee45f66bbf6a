"""The table below the picture of a plan: each wire by its number, from where, to where and why; then the ties."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from romwright.fit.circuit import VOLTS
from romwright.fit.glue import gate_nets
from romwright.fit.rows import How, Row, in_words, reason
from romwright.fit.wiring import Plan
from romwright.parts.model import Role
from romwright.sheets.paper import Cells
from romwright.sheets.placement import Ends, join_ends, terminals_of

HEADER = ("wire", "from", "to", "why")
LEVEL_VOLTS = {"H": 5.0, "L": 0.0}
CHOOSES = {How.STRAP: "chooses the bank: closed to GND is L; open, with a resistor to VCC, is H"}


def list_wires(plan: Plan) -> Iterator[Cells]:
    """Yield a row for each number."""
    for net in join_ends(plan):
        ends = [chip_pin(plan, pin) for pin in net.pins] + [f"{ref} pin {pin}" for ref, pin in net.gate_pins]
        start = socket_position(plan, net.position) if net.position else f"{net.output[0]} pin {net.output[1]}"
        yield str(net.number), start, ", ".join(ends), why(plan, net)


def why(plan: Plan, net: Ends) -> str:
    """Say what a wire is for."""
    if net.gate:
        return in_words(gate_nets(plan.gates, plan.socket)[net.gate])
    found = []
    for pin in (plan.chip.pins[number - 1] for number in net.pins):
        if pin.role in (Role.ADDRESS, Role.DATA):
            own = plan.original.pins[net.position - 1].function == pin.function
            found.append(f"{pin.role} line" if own else f"{pin.role} line, crossed: so are the contents")
        elif pin.role is Role.SUPPLY:
            found.append(f"supply, {plan.chip.supplies[pin.function]:+g} V")
        else:
            found.append("enables the chip" if pin.function in plan.chip.enables else "write strobe"
                         if pin.function in plan.chip.strobes else "its level in read")  # fmt: skip
    return "; ".join(dict.fromkeys(found + ["what the gate takes in"] * bool(net.gate_pins)))


def list_ties(plan: Plan) -> Iterator[Cells]:
    """Yield a row for all pins that go to one place, not over a numbered wire, for one reason."""
    groups: dict[tuple[str, str, str], list[str]] = {}
    for row in plan.rows:
        if row.chip and row.how not in (How.STRAIGHT, How.WIRE, How.GATE) and not is_idle(plan, row):
            pin = plan.chip.pins[row.chip - 1]
            because = reason(plan.socket, plan.chip, pin, plan.nets[row.chip], row.how)
            groups.setdefault((*place(plan, row), because or CHOOSES.get(row.how, "")), []).append(
                chip_pin(plan, row.chip)
            )
    for gate in plan.gates:
        for (pin, _), tap in zip(terminals_of(gate), gate.taps):
            if tap.level or tap.point:
                where = rail(plan, LEVEL_VOLTS[tap.level]) if tap.level else ("board", tap.point)
                groups.setdefault((*where, "what the gate takes in"), []).append(f"{gate.package} pin {pin}")
    for (sign, where, because), pins in groups.items():
        yield sign, where, ", ".join(pins), because


def is_idle(plan: Plan, row: Row) -> bool:
    """Tell whether a row is about a pin outside the socket that is not connected inside the chip."""
    return row.how is How.OPEN and row.socket is None and plan.chip.pins[row.chip - 1].role is Role.NC


def place(plan: Plan, row: Row) -> tuple[str, str]:
    """Return the sign at which a pin ends in the picture, and where that is at the bench."""
    if row.how in (How.VCC, How.GND):
        return rail(plan, LEVEL_VOLTS["H" if row.how is How.VCC else "L"])
    if row.how is How.OPEN:
        return "open", "nothing"
    return ("board", row.point) if row.how is How.POINT else ("switch", row.strap)


def rail(plan: Plan, volts: float) -> tuple[str, str]:
    """Return the name of a supply, and the socket positions that carry it."""
    rails = [net.position for net in plan.socket.nets.values() if net.volts == volts]
    return VOLTS[volts], f"socket {' or '.join(map(str, rails))}" if rails else "not in the socket: from elsewhere"


def list_straight(plan: Plan) -> Iterator[str]:
    """Yield one line about the pins that go straight in."""
    pins = sorted(row.chip for row in plan.rows if row.how is How.STRAIGHT)
    if pins:
        yield f"straight into the socket: chip pins {ranges(pins)}"


def ranges(numbers: Iterable[int]) -> str:
    """Write numbers in order, those in a row as a range.

    >>> ranges([1, 2, 3, 5, 7, 8])
    '1-3, 5, 7, 8'
    """
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(f"{run[0]}-{run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in runs)


def socket_position(plan: Plan, position: int) -> str:
    """Name a socket position."""
    return f"socket {position} {plan.original.pins[position - 1].name}"


def chip_pin(plan: Plan, number: int) -> str:
    """Name a chip pin."""
    return f"chip {number} {plan.chip.pins[number - 1].name}"
