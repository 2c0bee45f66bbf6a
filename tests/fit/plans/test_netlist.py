"""The netlist: an independent reader (kinparse) finds the nets that the rows say; packages are those of KiCad."""

import re
from collections import defaultdict
from functools import cache
from pathlib import Path

import kinparse
import pytest
from hypothesis import HealthCheck, given, settings
from msgspec.structs import replace
from msgspec.structs import replace as with_name
from plans import HARDEST, hardest, plan_of, plans

from romwright.fit.plans.circuit import build_circuit
from romwright.fit.plans.glue import PlacedGate, Tap
from romwright.fit.plans.netlist import build_netlist
from romwright.fit.plans.rows import How
from romwright.fit.plans.work import gate_parts
from romwright.parts.model import Role

SYMBOLS = Path("/usr/share/kicad/symbols")  # Debian package kicad-symbols, 6.0.10
GATES = {"74LS04": "inverter", "74LS00": "nand", "74LS32": "or", "74HCT08": "and", "74LS138": "3-to-8"}
SUPPLIES = {name: gate_parts()[kind] for name, kind in GATES.items()}


def wanted(plan):
    """The pins that must be one net, as sets, from the rows and gates alone; joined wherever they share a pin."""
    rails = defaultdict(set)
    for pin in plan.original.pins:
        if pin.role is Role.SUPPLY:
            rails[plan.original.supplies[pin.function]].add(("J1", pin.number))
    groups = [*rails.values()]

    def at(volts):
        return next(iter(rails[volts]), f"{volts} V")

    def source(feed):
        return feed if isinstance(feed, tuple) else (feed, "source")

    for row in plan.rows:
        ends = {
            How.STRAIGHT: ("J1", row.socket), How.WIRE: ("J1", row.wire_to), How.VCC: at(5.0), How.GND: at(0.0),
            How.GATE: row.gate, How.POINT: f"point {row.point}", How.STRAP: f"strap {row.strap}",
        }  # fmt: skip
        if row.chip and row.how is not How.OPEN:
            groups.append({source(ends[row.how]), ("U1", row.chip)})
    for package in {gate.package for gate in plan.gates if gate.output}:
        gates = [gate for gate in plan.gates if gate.package == package]
        part = SUPPLIES[gates[0].part]
        groups += [{source(at(5.0)), (package, part.vcc)}, {source(at(0.0)), (package, part.gnd)}]
        unused = {pin for pins in part.inputs for pin in pins} - {tap.pin for gate in gates for tap in gate.taps}
        groups += [{source(at(0.0)), (package, pin)} for pin in unused]
        for gate in gates:
            groups.append({source(gate.name), (package, gate.output)})
            for tap in gate.taps:
                feed = {"H": at(5.0), "L": at(0.0)}.get(tap.level) if tap.level else None
                feed = feed or (("J1", tap.position) if tap.position else tap.gate)
                groups.append({source(feed), (package, tap.pin)})
    straps = sorted({row.strap for row in plan.rows if row.strap})
    for number, name in enumerate(straps, 1):
        groups += [{source(f"strap {name}"), (f"S{number}", 1), (f"R{number}", 2)}]
        groups += [{source(at(0.0)), (f"S{number}", 2)}, {source(at(5.0)), (f"R{number}", 1)}]
    joined = []
    for group in groups:
        touching = [other for other in joined if other & group]
        joined = [other for other in joined if not other & group] + [set().union(group, *touching)]
    return [pins for group in joined if (pins := {(ref, str(n)) for ref, n in group if n != "source"})
            and any(ref != "J1" for ref, _ in pins)]  # fmt: skip


def check_circuit(plan, nets):
    """No pin in two nets, every pin of the chip that is not left open in one, and the nets are those of the rows."""
    listed = [pin for pins in nets.values() for pin in pins]
    assert len(listed) == len(set(listed))
    chip = {str(row.chip) for row in plan.rows if row.chip and row.how is not How.OPEN}
    assert {pin for ref, pin in listed if ref == "U1"} == chip
    assert sorted(map(sorted, nets.values())) == sorted(map(sorted, wanted(plan)))


@settings(max_examples=200, deadline=None, suppress_health_check=list(HealthCheck))
@given(plans())
def test_the_nets_of_any_plan_are_those_of_its_rows(plan):
    circuit = build_circuit(plan)
    check_circuit(plan, circuit.nets)
    leads = {(part.ref, lead.number) for part in circuit.components for lead in part.leads}
    assert {pin for pins in circuit.nets.values() for pin in pins} <= leads


@pytest.mark.filterwarnings("ignore::DeprecationWarning")  # kinparse uses old names of pyparsing's
@pytest.mark.parametrize("plan", hardest(), ids=["-".join(pair[:2]) for pair in HARDEST])
def test_another_program_reads_the_same_nets(plan, tmp_path):
    """kinparse 1.2, MIT: https://github.com/devbisme/kinparse."""
    path = tmp_path / "plan.net"
    path.write_bytes(build_netlist(plan))
    found = kinparse.parse_netlist(str(path))
    check_circuit(plan, {net.name: [(pin.ref, pin.num) for pin in net.pins] for net in found.nets})
    parts = {part.ref: part for part in found.parts}
    assert parts["U1"].value == plan.chip.name
    assert parts["U1"].footprint == f"Package_DIP:{plan.chip.package}_W{plan.chip.row_pitch_mm:.2f}mm"
    assert {ref for ref in parts if ref.startswith("X")} == {gate.package for gate in plan.gates}


def by_hand():
    """A plan with a pair of diodes, a switch and a point of the board, put in by hand."""
    plan = plan_of("rom-2364-24", "27C512", ((20, "L"),))
    changed = {
        1: {"how": How.STRAP, "strap": "A15"},
        26: {"how": How.POINT, "point": "U5 pin 6"},
        20: {"how": How.GATE, "gate": "X1"},
    }
    rows = [replace(row, wire_to=None, **changed[row.chip]) if row.chip in changed else row for row in plan.rows]
    gates = (PlacedGate("X1", "X1", "diodes", "diodes", (Tap(None, 20), Tap(None, point="U5 pin 6")), None, None),)
    return replace(plan, rows=tuple(rows), gates=gates)


def test_diodes_switches_and_points_of_the_board_are_components():
    nets = build_circuit(by_hand()).nets
    assert set(nets["X1"]) == {("U1", "20"), ("D1", "2"), ("D2", "2"), ("R1", "2")}
    assert {("J1", "20"), ("D1", "1")} <= set(nets["CS"])  # the cathode at the line: a low line pulls the output low
    assert set(nets["board U5 pin 6"]) == {("U1", "26"), ("D2", "1"), ("J2", "1")}
    assert set(nets["A15"]) == {("U1", "1"), ("S1", "1"), ("R2", "2")}
    assert {("S1", "2"), ("J1", "12")} <= set(nets["GND"]) and {("R1", "1"), ("R2", "1")} <= set(nets["VCC"])


def test_a_strange_name_stays_one_string():
    plan = plan_of("2716", "2732")
    text = build_netlist(replace(plan, chip=with_name(plan.chip, name='a "b") (x\n\\'))).decode()
    assert r'(value "a \"b\") (x \\")' in text
    depth = 0
    for mark in re.sub(r'"(?:[^"\\]|\\.)*"', "", text):
        depth += {"(": 1, ")": -1}.get(mark, 0)
        assert depth >= 0
    assert depth == 0


@cache
def symbols():
    """The text of every symbol of KiCad's 74xx and Device libraries, `extends` followed."""
    if not SYMBOLS.is_dir():
        pytest.skip("needs the Debian package kicad-symbols")
    found = {}
    for library in ("74xx", "Device"):
        text = (SYMBOLS / f"{library}.kicad_sym").read_text("utf-8")
        for block in re.split(r'\n  \(symbol "', text)[1:]:
            found[block.split('"')[0]] = block
    return found


def pins_of(name):
    """{number: (name, kind)} of a symbol."""
    block = symbols()[name]
    if extends := re.search(r'\(extends "([^"]+)"', block):
        return pins_of(extends[1])
    pins = re.findall(r'\(pin (\w+) [\s\S]*?\(name "([^"]*)"[\s\S]*?\(number "(\d+)"', block)
    return {int(number): (called, kind) for kind, called, number in pins}


@pytest.mark.parametrize("name", GATES)
def test_gate_packages_have_the_pins_of_kicads_symbols(name):
    part = SUPPLIES[name]
    pins = pins_of(name if name in symbols() else name.replace("HCT", "LS"))
    assert len(pins) == int(part.package.removeprefix("DIP-"))
    assert pins[part.vcc] == ("VCC", "power_in") and pins[part.gnd] == ("GND", "power_in")
    assert {pin for pin, (_, kind) in pins.items() if kind == "output"} == set(part.outputs)
    assert {pin for pin, (_, kind) in pins.items() if kind == "input"} == {pin for pins in part.inputs for pin in pins}


def test_a_diodes_first_pin_is_its_cathode():
    assert {number: name for number, (name, _) in pins_of("D_Schottky").items()} == {1: "K", 2: "A"}


def test_footprints_are_named_as_kicads_symbols_name_them():
    """Names of DIP footprints that symbols of the library use; one of 42 pins is not among them."""
    if not SYMBOLS.is_dir():
        pytest.skip("needs the Debian package kicad-symbols")
    used = set()
    for path in SYMBOLS.glob("*.kicad_sym"):
        used |= set(re.findall(r'"(Package_DIP:DIP-\d+_W[\d.]+mm)"', path.read_text("utf-8")))
    ours = {part.package for plan in hardest() for part in build_circuit(plan).components}
    assert ours - used <= {"Package_DIP:DIP-42_W15.24mm"}
