"""The table for a spreadsheet: RFC 4180, a row for each pin and input, nothing that a spreadsheet runs."""

import csv
import io

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from msgspec.structs import replace
from plans import plan_of, plans

from romwright.fit.plans.circuit import packages_of
from romwright.fit.plans.plantable import HEADER, build_csv, inert
from romwright.fit.plans.work import gate_parts


def rows_of(data):
    return list(csv.reader(io.StringIO(data.decode("utf-8"), newline=""), strict=True))


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(plans())
def test_a_row_for_each_pin_position_and_input(plan):
    data = build_csv(plan)
    assert data.count(b"\n") == data.count(b"\r\n") and data.endswith(b"\r\n")
    header, *rows = rows_of(data)
    assert tuple(header) == HEADER and {len(row) for row in rows} == {len(HEADER)}
    pins = [int(row[1]) for row in rows if row[0] == "U1"]
    assert sorted(pins) == list(range(1, plan.chip.pin_count + 1))
    positions = [int(row[3]) for row in rows if row[3]]
    assert sorted(positions) == list(range(1, plan.original.pin_count + 1))
    taps = [(gate.package, str(tap.pin)) for gate in plan.gates for tap in gate.taps]
    listed = [(row[0], row[1]) for row in rows if row[0].startswith("X")]
    assert set(taps) <= set(listed)
    for package, gates in packages_of(plan).items():  # every input, the outputs in use, the supplies: each once
        part = gate_parts()[gates[0].kind]
        pins = [*(pin for pins in part.inputs for pin in pins), *(gate.output for gate in gates), part.vcc, part.gnd]
        assert sorted(int(pin) for name, pin in listed if name == package) == sorted(pins)
    assert not any(cell[:1] in ("=", "+", "-", "@", "\t", "\r") for row in rows for cell in row)


def test_the_cells_say_where_a_pin_goes():
    rows = {(row[0], row[1]): row for row in rows_of(build_csv(plan_of("rom-2364-24", "27C64", ((20, "H"),))))}
    assert rows["U1", "23"][2:7] == ["A11", "21", "A12", "bend up and wire", "J1 pin 18"]
    assert rows["U1", "20"][5:7] == ["bend up and wire to a gate", "X1.2"]
    assert rows["U1", "22"][5:7] == ["tie to GND", "GND"]
    assert rows["X1", "1"][2:] == ["input of X1.2", "", "", "wire", "J1 pin 20", "74LS04, inverter"]


@pytest.mark.parametrize("text", ["=1+1", "+1", "-5 V on it", "@x", "\t=1", "\r=1", " =1", "\n-1"])
def test_no_cell_is_a_formula(text):
    """OWASP, "CSV Injection": cells that begin with = + - @, tab or carriage return (from memory, unchecked)."""
    plan = plan_of("2716", "2732")
    rows = (replace(plan.rows[0], detail=text), *plan.rows[1:])
    (found,) = [row[-1] for row in rows_of(build_csv(replace(plan, rows=rows))) if text in row[-1]]
    assert found == f"'{text}"


@given(st.text())
def test_an_inert_cell_keeps_its_words(text):
    assert inert(text).removeprefix("'") == text.removeprefix("'") or inert(text) == text
