"""The proof has teeth: it agrees with the drive comparison, and no exchanged wire or turned tie gets past it."""

from dataclasses import replace
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace as msgspec_replace

from romwright.fit import kinds, selects
from romwright.fit.proof import read_every_address
from romwright.fit.rows import How
from romwright.fit.seating import Seating
from romwright.fit.verdict import examine_fit
from romwright.fit.wiring import plan_wiring
from romwright.parts.library import part_names, require_part
from romwright.parts.model import Role

PARTS = {name: part for name in part_names() if (part := require_part(name)).drives}  # rom-6540 has no drive row


def plan_of(socket, chip, polarity=None):
    original, new = PARTS[socket], PARTS[chip]
    return plan_wiring(
        original.ordered_as(original.polarities(polarity or {})[0]), new.ordered_as(new.polarities({})[0])
    )


def prove(plan, rows=None):
    return read_every_address(plan.original, plan.chip, rows or plan.rows, plan.image_at)


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
            cut = replace(row, how=how, wire_to=None)
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


def test_every_pair_that_could_fit_reads_equal():
    """A chip with the words, the bits and the supplies of the original gets a plan that reads every address.

    What it may still lack is an enable, or one of the other polarity that no tie can replace (none of those here).
    """
    fails = []
    for socket, original in PARTS.items():
        for chip, new in PARTS.items():
            if (
                new.words >= original.words
                and new.bits >= original.bits
                and new.supplies.items() <= original.supplies.items()
            ):
                proof = prove(plan_of(socket, chip))
                if proof.states_written:  # the board's own strobe, and a chip without the second enable or /OE
                    assert original.writes and proof.first_difference["found"] == "may be written"
                elif not proof.equal:
                    fails.append((socket, chip, proof.first_difference))
    assert not fails


def test_too_small_a_chip_is_refuted_at_the_first_address_it_lacks():
    proof = prove(plan_of("27256", "27128"))
    assert proof.first_difference["address"] == "4000"


def test_image_lies_in_the_half_that_shows():
    plan = plan_of("27128", "27256")  # pin 27 is /PGM, held high in read: A14 high
    assert plan.image_at == 0x4000
    assert prove(plan).equal
    assert not read_every_address(plan.original, plan.chip, plan.rows, 0).equal


def test_the_proof_shares_no_function_with_the_plan():
    import ast
    import inspect

    from romwright.fit import proof

    taken = [
        alias.name
        for node in ast.walk(ast.parse(inspect.getsource(proof)))
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("romwright.fit")
        for alias in node.names
    ]
    assert sorted(taken) == ["How", "Row"]


def test_verdict_carries_the_proof():
    verdict = examine_fit(PARTS["27256"], PARTS["27C256"])
    assert verdict.as_json()["proof"] == {
        "addresses": 32768, "equal": True, "drive_equal": True, "states": 4, "states_differ": 0, "states_written": 0,
    }  # fmt: skip


# --- writes -------------------------------------------------------------------------------------------------------


def with_pin(plan, number, **changes):
    """The rows with something changed about one chip pin."""
    return [replace(row, **changes) if row.chip == number else row for row in plan.rows]


def test_we_left_on_the_select_is_refuted():
    """Atmel AT28C256, 0006M: /CE low, /WE low, /OE high writes a byte."""
    plan = plan_of("rom-23128-style-b", "28C256", {20: "L", 22: "L", 27: "L"})
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


# --- inverters and enables ------------------------------------------------------------------------------------------


def test_an_inverter_left_out_is_refuted():
    plan = plan_of("rom-2364-24", "27C64", {20: "H"})
    assert prove(plan).equal and prove(plan).drive_equal and len(plan.inverters) == 2
    for row in plan.inverters:
        assert not prove(plan, with_pin(plan, row.chip, inverted=False)).equal


def test_a_chip_that_drives_unselected_is_not_drive_equal():
    plan = plan_of("rom-2364-24", "27C64", {20: "H"})
    tied = [replace(row, how=How.GND, wire_to=None, inverted=False) if row.inverted else row for row in plan.rows]
    proof = prove(plan, tied)
    assert proof.equal and not proof.drive_equal and proof.states_differ == 1


def every_order(part):
    """The polarities of a part: all low, all high."""
    return {"L": part.polarities({})[0], "H": part.polarities({})[-1]}.values()


SAID = {"gate-needed", "enable-lost", "wired-enable-lost", "drives-unselected", "cannot-be-written"}


def test_no_plan_ignores_the_select_and_every_difference_is_said():
    """The costly mistake: a chip that is never off the bus. All pairs in which the chip holds the contents."""
    ignored, missed, unsaid = [], [], []
    for socket, original in PARTS.items():
        for chip, new in PARTS.items():
            if new.words < original.words or new.bits != original.bits:
                continue
            for one in every_order(original):
                plan = plan_wiring(original.ordered_as(one), new.ordered_as(new.polarities({})[0]))
                select = plan.original.by_function.get(plan.original.select)
                if select and plan.wired.ignores(f"{select.number} {select.function}"):
                    ignored.append((socket, chip, one))
                if plan.wired.missed:
                    missed.append((socket, chip, one))
                if not plan.wired.equal and not said(plan) & SAID:
                    unsaid.append((socket, chip, one))
    assert not ignored and not missed and not unsaid


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
