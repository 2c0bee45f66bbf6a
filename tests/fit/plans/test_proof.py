"""The proof has teeth: it agrees with the drive comparison, and no exchanged wire or turned tie gets past it."""

from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace
from msgspec.structs import replace as msgspec_replace

from romwright.fit import kinds, selects
from romwright.fit.plans.glue import Tap
from romwright.fit.plans.proof import read_every_address
from romwright.fit.plans.rows import How
from romwright.fit.plans.wiring import plan_wiring
from romwright.fit.seating import Seating
from romwright.fit.verdict import examine_fit
from romwright.parts.library import part_names, require_part
from romwright.parts.model import Role

PARTS = {name: part for name in part_names() if (part := require_part(name)).drives}  # rom-6540 has no drive row


def plan_of(socket, chip, polarity=None, prefer=()):
    original, new = PARTS[socket], PARTS[chip]
    return plan_wiring(
        original.ordered_as(original.polarities(polarity or {})[0]), new.ordered_as(new.polarities({})[0]), prefer
    )


def prove(plan, rows=None, gates=None):
    return read_every_address(
        plan.original, plan.chip, rows or plan.rows, plan.image_at, plan.gates if gates is None else gates
    )


def place(row):
    return row.wire_to or row.socket


def exchanged(plan, one, other):
    """The rows with the wires of two chip pins exchanged."""
    a, b = (next(r for r in plan.rows if r.chip == pin.number) for pin in (one, other))
    new = {a.chip: replace(a, how=How.WIRE, wire_to=place(b)), b.chip: replace(b, how=How.WIRE, wire_to=place(a))}
    return [new.get(row.chip, row) if row.chip else row for row in plan.rows]


PAIRS = [
    ("rom-23128-style-b", "28C256"), ("rom-23128-style-a", "27C256"), ("rom-2364-24", "2764"), ("2716", "2732"),
    ("rom-23256-a14-pin27", "28C256"), ("27128", "27256"), ("27256", "27C512"), ("2532", "2732"),
    ("rom-2364-24", "28C256"),
]  # fmt: skip


@pytest.mark.parametrize("pair", PAIRS, ids=" in ".join)
def test_plans_prove_and_exchanged_wires_do_not(pair):
    plan = plan_of(*pair)
    assert prove(plan).equal, prove(plan).first_difference
    for role in (Role.ADDRESS, Role.DATA):
        wired = [
            p for p in plan.chip.pins if p.role is role and place(next(r for r in plan.rows if r.chip == p.number))
        ]
        wired = [p for p in wired if p.role is Role.DATA or p.index < plan.original.address_bits]
        for one, other in combinations(wired, 2):
            assert not prove(plan, exchanged(plan, one, other)).equal, (one, other)


@pytest.mark.parametrize("pair", PAIRS, ids=" in ".join)
def test_a_turned_tie_is_refuted(pair):
    plan = plan_of(*pair)
    ties = [row for row in plan.rows if row.how in (How.VCC, How.GND)]
    for tie in ties:
        turned = replace(tie, how=How.GND if tie.how is How.VCC else How.VCC)
        proof = prove(plan, [turned if row is tie else row for row in plan.rows])
        assert not proof.equal, tie


def test_there_were_ties_to_turn():
    assert sum(row.how in (How.VCC, How.GND) for pair in PAIRS for row in plan_of(*pair).rows) >= 10


@pytest.mark.parametrize("how", [How.OPEN])
@pytest.mark.parametrize("pair", PAIRS, ids=" in ".join)
def test_a_missing_wire_is_refuted(pair, how):
    plan = plan_of(*pair)
    for row in plan.rows:
        if row.chip and plan.chip.pins[row.chip - 1].role not in (Role.NC, Role.OUTPUT):
            cut = replace(row, how=how, wire_to=None, gate="")
            assert not prove(plan, [cut if r is row else r for r in plan.rows]).equal, row


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(sorted(PARTS)), st.sampled_from(sorted(PARTS)), st.data())
def test_proof_and_drive_comparison_agree(socket, chip, data):
    """Two ways to count the states in which only one of them drives: rows simulated, and truth tables."""
    plan = plan_of(socket, chip)
    if plan.original.words > 65536:
        return
    proof = prove(plan)
    names = set(plan.wired.names)
    signals = {f"{plan.original.by_function[n].number} {n}" for n in plan.original.signals}
    if names == signals:
        assert proof.states_differ == len(plan.wired.missed) + len(plan.wired.extra)
    if proof.equal:
        assert not plan.wired.missed


def test_too_small_a_chip_is_refuted_at_the_first_address_it_lacks():
    proof = prove(plan_of("27256", "27128"))
    assert proof.first_difference["address"] == "4000"


def test_image_lies_in_the_half_that_shows():
    plan = plan_of("27128", "27256")  # pin 27 is /PGM, held high in read: A14 high
    assert plan.image_at == 0x4000
    assert prove(plan).equal
    assert not read_every_address(plan.original, plan.chip, plan.rows, 0).equal


def test_the_proof_shares_no_function_with_the_plan():
    """Of the rest of the tool the proof takes types of values only, and what it asks of them lies in the value."""
    import ast
    import enum
    import importlib
    import inspect

    from romwright.fit.plans import bench, proof

    for module in (proof, bench):
        for node in ast.walk(ast.parse(inspect.getsource(module))):
            assert not isinstance(node, ast.Import) or {alias.name for alias in node.names} <= {"itertools", "numpy"}
            if isinstance(node, ast.ImportFrom) and node.module.startswith("romwright.") and "bench" not in node.module:
                for alias in node.names:
                    taken = getattr(importlib.import_module(node.module), alias.name)
                    assert isinstance(taken, type), (module.__name__, alias.name)
                    assert issubclass(taken, enum.Enum) or hasattr(taken, "__match_args__"), alias.name  # a record


def test_verdict_carries_the_proof():
    verdict = examine_fit(PARTS["27256"], PARTS["27C256"])
    assert verdict.as_json()["proof"] == {
        "addresses": 32768, "equal": True, "drive_equal": True, "states": 4, "states_differ": 0, "states_written": 0,
        "power_up_safe": True,
    }  # fmt: skip


# --- writes -------------------------------------------------------------------------------------------------------


def with_pin(plan, number, **changes):
    """The rows with something changed about one chip pin."""
    return [replace(row, **changes) if row.chip == number else row for row in plan.rows]


def test_we_left_on_the_select_is_refuted():
    """Atmel AT28C256, 0006M: /CE low, /WE low, /OE high writes a byte."""
    plan = plan_of("rom-23128-style-b", "28C256", {20: "L", 22: "L", 27: "L"}, ("no-gates",))
    assert prove(plan).equal and prove(plan).states_written == 0
    shared = prove(plan, with_pin(plan, 27, how=How.WIRE, wire_to=27))  # beside /CE, which the plan wires there
    assert shared.states_written and not shared.equal
    plugged = [replace(row, how=How.STRAIGHT, wire_to=None) for row in plan.rows]
    assert prove(plan, plugged).states_written == 1


@pytest.mark.parametrize("change", [
    {"how": How.OPEN}, {"how": How.GND}, {"how": How.WIRE, "wire_to": 3},
])  # fmt: skip
def test_a_write_strobe_that_may_go_low_is_refuted(change):
    """Open, low, or on an address line: each may write."""
    plan = plan_of("rom-23256-a14-pin27", "28C256", {20: "L", 22: "L"})
    proof = prove(plan, with_pin(plan, 27, **change))
    assert proof.states_written and not proof.equal


def test_a_level_held_only_in_read_does_not_keep_a_strobe_at_rest():
    plan = plan_of("2764", "28C64")
    assert prove(plan).equal
    proof = prove(plan, with_pin(plan, 27, how=How.STRAIGHT))
    assert proof.states_written == 1 and proof.first_difference["found"] == "may be written"


# --- gates and enables ----------------------------------------------------------------------------------------------

# plans that take each kind of gate, and gates in a row: socket, its polarities, chip, kinds
GATED = {
    "inverter": ("rom-2364-24", {20: "H"}, "27C64", ["inverter"]),
    "or": ("rom-23128-style-b", {20: "L", 22: "L", 27: "L"}, "28C256", ["or"]),
    "and": ("prom-82s181", {}, "rom-9316b-inhibit", ["and"]),
    "nand": ("rom-23128-style-b", {20: "H", 22: "H", 27: "L"}, "27128", ["nand"]),
    "nand behind nand": ("rom-23128-style-b", {20: "L", 22: "L", 27: "H"}, "27128", ["nand", "nand"]),
    "or behind or": ("2564", {}, "rom-2364-24", ["or", "or"]),
    "3-to-8": ("28C16", {}, "2532", ["3-to-8"]),
}


def gated(name):
    """A plan of the table above, proved as it stands."""
    socket, polarity, chip, kinds = GATED[name]
    plan = plan_of(socket, chip, polarity)
    proof = prove(plan)
    assert [gate.kind for gate in plan.gates] == kinds and proof.equal and proof.drive_equal, proof
    return plan


def refuted(plan, rows=None, gates=None):
    proof = prove(plan, rows, gates)
    return not (proof.equal and proof.drive_equal)


def with_gate(plan, gate, **changes):
    """The gates with something changed about one of them."""
    return [replace(each, **changes) if each is gate else each for each in plan.gates]


def free(plan, gate):
    """What an input may move to with nothing changed: of a NAND that is an inverter with its inputs joined, one may go
    to H, or to a line that the NAND behind it has too, as a(ab)' = ab'.
    """
    if gate.kind != "nand" or replace(gate.taps[0], pin=0) != replace(gate.taps[1], pin=0):
        return set()
    behind = [each.taps for each in plan.gates if gate.name in {tap.gate for tap in each.taps}]
    return {(None, "H")} | {(tap.position, tap.level) for taps in behind for tap in taps if tap.position}


@pytest.mark.parametrize("name", GATED)
def test_an_input_of_a_gate_on_anything_else_is_refuted(name):
    """Every input that a line feeds, moved to every other line of the socket and to both levels."""
    plan = gated(name)
    lines = [pin.number for pin in plan.original.pins if pin.role in (Role.ADDRESS, Role.DATA, Role.CONTROL)]
    for gate in plan.gates:
        for number, tap in enumerate(gate.taps):
            moved = [Tap(tap.pin, position=line) for line in lines] + [Tap(tap.pin, level=level) for level in "LH"]
            for other in moved if tap.level is None else ():
                taps = (*gate.taps[:number], other, *gate.taps[number + 1 :])
                if other != tap and (other.position, other.level) not in free(plan, gate):
                    assert refuted(plan, gates=with_gate(plan, gate, taps=taps)), (gate.name, other)


@pytest.mark.parametrize("name", GATED)
def test_a_gate_of_another_kind_is_refuted(name):
    plan = gated(name)
    for gate in plan.gates:
        for kind in {"nand", "and", "or"} - {gate.kind} if len(gate.taps) == 2 else ():
            assert refuted(plan, gates=with_gate(plan, gate, kind=kind)), (gate.name, kind)


@pytest.mark.parametrize("name", GATED)
def test_a_pin_moved_off_its_gate_is_refuted(name):
    """To each line behind the gates, to another gate of the plan, to a rail, to nothing: a gate left out is one."""
    plan = gated(name)
    behind = [tap.position for gate in plan.gates for tap in gate.taps if tap.position]
    for row in (row for row in plan.rows if row.how is How.GATE):
        moves = [{"how": How.WIRE, "wire_to": line} for line in behind]
        moves += [{"how": how, "wire_to": None} for how in (How.VCC, How.GND, How.OPEN)]
        moves += [{"gate": gate.name} for gate in plan.gates if gate.name != row.gate]
        for move in moves:
            assert refuted(plan, with_pin(plan, row.chip, **move)), move


@pytest.mark.parametrize("name", GATED)
def test_an_input_that_a_gate_fed_is_refuted_without_it(name):
    """A gate in a row, left out: the one behind it gets a level, or what went into the one left out."""
    plan = gated(name)
    for gate in plan.gates:
        for number, tap in enumerate(gate.taps):
            first = next((each for each in plan.gates if each.name == tap.gate), None)
            for other in (*first.taps, Tap(None, level="H"), Tap(None, level="L"), Tap(None)) if first else ():
                taps = (*gate.taps[:number], replace(other, pin=tap.pin), *gate.taps[number + 1 :])
                assert refuted(plan, gates=with_gate(plan, gate, taps=taps)), other


def test_an_output_or_an_enable_of_a_decoder_is_not_any_other():
    """TI, SN74LS138, SDLS014: pins 15 to 9 and 7 are Y0 to Y7; G1 high and both G2 low let one of them fall."""
    plan = gated("3-to-8")
    (gate,) = plan.gates
    for output in {15, 14, 13, 12, 11, 10, 9, 7} - {gate.output}:
        assert refuted(plan, gates=[replace(gate, output=output)]), output
    for number, tap in enumerate(gate.taps):
        if tap.level:
            turned = replace(tap, level={"H": "L", "L": "H"}[tap.level])
            taps = (*gate.taps[:number], turned, *gate.taps[number + 1 :])
            assert refuted(plan, gates=[replace(gate, taps=taps)]), tap


def test_diodes_give_what_an_and_gives():
    plan = gated("and")
    assert not refuted(plan, gates=with_gate(plan, plan.gates[0], kind="diodes"))
    plan = gated("or")
    assert refuted(plan, gates=with_gate(plan, plan.gates[0], kind="diodes"))


def test_a_gate_on_a_line_that_nothing_drives_is_refuted():
    """An input on a position that the original leaves open, or on nothing: what comes out is not known."""
    plan = gated("or")
    (gate,) = plan.gates
    for tap in (Tap(2, position=1), Tap(2)):
        assert refuted(plan, gates=[replace(gate, taps=(gate.taps[0], tap))])


def test_a_chip_that_drives_unselected_is_not_drive_equal():
    plan = plan_of("rom-2364-24", "27C64", {20: "H"})
    tied = with_pin(plan, 20, how=How.GND, wire_to=None, inverted=False, gate="")
    proof = prove(plan, tied)
    assert proof.equal and not proof.drive_equal and proof.states_differ == 1


SAID = {"gate-needed", "enable-lost", "wired-enable-lost", "cannot-be-written"}
CHIPS = ("2532", "2716", "2764", "27C256", "28C256", "62256", "27C040", "27C400", "rom-2364-24", "rom-23128-style-c")


@pytest.mark.parametrize("chip", CHIPS)
def test_what_is_lost_without_a_gate_is_said(chip):
    """The costly mistake: a chip that is never off the bus. Sockets with the first choices, and the last."""
    new, silent = PARTS[chip].ordered_as(PARTS[chip].polarities({})[0]), []
    for socket, original in PARTS.items():
        if new.words < original.words or new.bits != original.bits:
            continue
        for one in (original.polarities({})[0], original.polarities({})[-1]):
            plan = plan_wiring(original.ordered_as(one), new)
            seating = Seating(plan)
            assert seating.spare.gates == () and plan.heeds and plan.wired.equal
            assert not plan.gates or not seating.spare.wired.equal  # no gate that wires alone make needless
            if plan.gates and not said(plan) & SAID:
                silent.append((socket, one))
    assert not silent


def said(plan):
    """The codes of what is wrong with a plan's drive condition, plugged in and wired."""
    seating = Seating(plan)
    checks = (*kinds.CHECKS, *selects.CHECKS, *selects.WIRED_CHECKS)
    return {finding.code.name for check in checks for finding in check(seating)}


def test_several_drive_rows():
    """A part that is enabled at one of two levels of a pin: no enable has one level only."""
    original = msgspec_replace(PARTS["27C64"], drives=({"/CE": "L", "/OE": "L"}, {"/CE": "H", "/OE": "H"}))
    assert original.enables == {"/CE": {"L", "H"}, "/OE": {"L", "H"}}
    verdict = examine_fit(original, original)
    assert verdict.findings == () and verdict.fits[0].proof.drive_equal
    other = examine_fit(original, PARTS["27C64"])
    assert {f.code.name for f in other.findings} == {"never-answers", "gate-needed"}
    assert not other.fits[0].proof.equal


def test_a_strobe_of_another_name():
    """What a strobe is follows from the rows; /STORE is as good as /WE, and so is a STORE that is active high."""
    chip = PARTS["28C256"]
    for name, rest in (("/STORE", "H"), ("STORE", "L")):
        rename = {"/WE": name}
        turn = (lambda level: level) if rest == "H" else {"H": "L", "L": "H"}.get
        rows = [
            tuple({rename.get(n, n): turn(lv) if n == "/WE" else lv for n, lv in row.items()} for row in table)
            for table in (chip.drives, chip.writes)
        ]
        own = msgspec_replace(chip, right=chip.right.replace("/WE", name), drives=rows[0], writes=rows[1])
        assert own.strobes == {name: rest} and list(own.enables) == ["/CE", "/OE"]
        verdict = examine_fit(PARTS["rom-23256-a14-pin27"], own, {20: "L", 22: "L"})
        assert [f.title for f in verdict.findings if f.code.name == "write-strobe"] == [f"pin 27 of the chip is {name}"]
        fit = verdict.fits[0]
        row = next(row for row in fit.plan.rows if row.chip == 27)
        assert row.how == (How.VCC if rest == "H" else How.GND) and "never writes" in row.detail
        assert fit.proof.equal and not fit.proof.states_written
