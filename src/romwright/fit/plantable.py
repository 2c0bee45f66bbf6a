"""A plan as a table for a spreadsheet: a row for each socket position, each chip pin and each input of a gate."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator

from romwright.fit.circuit import packages_of, spare_inputs
from romwright.fit.glue import PlacedGate, Tap
from romwright.fit.rows import How, Row
from romwright.fit.wiring import Plan
from romwright.fit.work import gate_parts

HEADER = ("component", "pin", "function", "socket", "signal", "how", "from", "detail")


def build_csv(plan: Plan) -> bytes:
    """Write the table as RFC 4180 has it, in UTF-8; no cell is a formula to a spreadsheet.

    U1 is the chip, X1 and on are the gate packages; `socket` is the position at which a chip pin sits, `from` what
    feeds a pin that is not straight. A position with no chip pin has no component.
    """
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(HEADER)
    gates = [cells for gate in plan.gates for cells in gate_cells(gate)]
    for cells in (*map(row_cells, plan.rows), *gates, *supply_cells(plan)):
        writer.writerow(map(inert, cells))
    return text.getvalue().encode("utf-8")


def row_cells(row: Row) -> tuple:
    """Return the cells of a row of the plan."""
    component = "" if row.chip is None else "U1"
    return component, row.chip, row.function, row.socket, row.signal, str(row.how), feed_of(row), row.detail


def feed_of(row: Row) -> str:
    """Name what feeds a chip pin that is not straight."""
    return {
        How.WIRE: f"J1 pin {row.wire_to}", How.VCC: "VCC", How.GND: "GND", How.GATE: row.gate,
        How.POINT: row.point, How.STRAP: row.strap,
    }.get(row.how, "")  # fmt: skip


def gate_cells(gate: PlacedGate) -> Iterator[tuple]:
    """Yield the cells of a gate's inputs and of its output."""
    yield from (tap_cells(gate, tap) for tap in gate.taps)
    what = f"output, {gate.name}"
    yield gate.package, gate.output, what, "", "", "the pins that name it", "", f"{gate.part}, {gate.kind}"


def supply_cells(plan: Plan) -> Iterator[tuple]:
    """Yield the cells of the supply pins of the gate packages, and of the inputs that are not used."""
    for package, gates in packages_of(plan).items():
        part = gate_parts()[gates[0].kind]
        spare = ((pin, "not used", "GND") for pin in spare_inputs(gates))
        pins = [(part.vcc, "supply", "VCC"), (part.gnd, "supply", "GND"), *spare]
        for pin, what, rail in pins:
            yield package, pin, what, "", "", f"to {rail}", rail, part.part


def tap_cells(gate: PlacedGate, tap: Tap) -> tuple:
    """Return the cells of an input of a gate."""
    feed = {"H": "VCC", "L": "GND", None: f"J1 pin {tap.position}" if tap.position else tap.gate or tap.point}[
        tap.level
    ]
    how = How.WIRE if tap.level is None else How.VCC if tap.level == "H" else How.GND
    return gate.package, tap.pin, f"input of {gate.name}", "", "", HOW_FED[how], feed, f"{gate.part}, {gate.kind}"


HOW_FED = {How.WIRE: "wire", How.VCC: str(How.VCC), How.GND: str(How.GND)}


def inert(cell: object) -> str:
    """Return a cell as text that no spreadsheet takes for a formula: one that could be one gets an apostrophe.

    >>> inert("=1+1"), inert("-5 V"), inert(20), inert("/CE")
    ("'=1+1", "'-5 V", '20', '/CE')
    """
    text = "" if cell is None else str(cell)
    return f"'{text}" if text.lstrip()[:1] in tuple("=+-@") or text[:1] in tuple("\t\r\n") else text
