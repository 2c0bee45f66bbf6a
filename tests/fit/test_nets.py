"""Nets that carry a line without being it, outputs that take turns, hard checks of pins: each on a board by hand."""

import pytest
from board_model import State
from fit.test_bus import CHIPS, TERN
from hypothesis import example, given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from romwright.boards.library import require_board, require_cpu
from romwright.boards.model import Area, Gate, Resistor
from romwright.boards.rules import find_faults
from romwright.fit.nets import Nets
from romwright.fit.settings import Study
from romwright.fit.symptoms import Law, find_symptoms
from romwright.fit.traces import Wiring
from romwright.parts.library import require_part

CPU = require_cpu("6502")
SELECT_ON_20, SELECT_ON_27 = {"LK1": "1-2", "LK2": "1-2"}, {"LK1": "2-3", "LK2": "1-2"}


def study(board, chip="27C256", **more):
    return Study(board, CPU, board.sockets[0], CHIPS.get(chip) or require_part(chip), **more)


def moved(nodes, board=TERN, **more):
    """The Tern with nodes of U7 renamed, and more things on the board."""
    left, right = (
        " ".join(nodes.get(n, n) for n in column.split()) for column in (board.sockets[0].left, board.sockets[0].right)
    )
    return replace(board, sockets=(replace(board.sockets[0], left=left, right=right), *board.sockets[1:]), **more)


def buffered(kind, enable=()):
    """The Tern with every address line of U7 behind a gate of that kind."""
    lines = {f"A{number}": f"BA{number}" for number in range(14)}
    gates = [Gate(f"B{line}", kind, " ".join((line, *enable)), out) for line, out in lines.items()]
    return moved(lines, gates=(*TERN.gates, *gates))


def codes(study, setting):
    return {finding.code.name for finding in study.judge(setting).findings}


@pytest.mark.parametrize("board", [buffered("buffer"), buffered("three-state buffer", ["GND"])], ids=["244", "125"])
def test_buffered_address_lines_are_address_lines(board):
    assert not find_faults(board, CPU)
    for chip in ("27C256", "27128", "rom-23128-style-a"):
        plain, behind = study(TERN, chip), study(board, chip)
        assert dict(behind.rank()) == dict(plain.rank())
        rom = bytes(range(256)) * (plain.chip.words // 256)
        for setting in plain.settings():
            found = []
            for each in (plain, behind):
                mounted = each.mount(each.nets(setting))
                found.append([s.as_json() for s in find_symptoms(mounted, each.cases(mounted), rom, Law.LOW)])
            assert found[0] == found[1]


def test_buffers_that_may_be_off_or_invert_do_not_carry_a_line():
    for board in (buffered("three-state buffer", ["R/W"]), buffered("inverter"), buffered("nand", ["PHI2"])):
        assert "address-line" in codes(study(board), SELECT_ON_20)


def test_series_resistors_carry_a_data_line_and_a_select():
    resistors = tuple(Resistor(f"R{n}", 47, f"D{n} RD{n}") for n in range(8))
    board = moved({f"D{n}": f"RD{n}" for n in range(8)}, resistors=(*resistors, Resistor("R20", 100, "P20 RP20")))
    board = moved({"P20": "RP20"}, board)
    plain, behind = study(TERN), study(board)
    assert dict(behind.rank()) == dict(plain.rank())
    for setting in plain.settings():
        told = [
            [(c.access.name, c.lines, c.drives, c.outcome) for c in s.judge(setting).cases] for s in (plain, behind)
        ]
        assert told[0] == told[1]


def test_one_data_line_behind_a_resistor():
    board = moved({"D0": "RD0"}, resistors=(Resistor("R1", 47, "D0 RD0"),))
    assert dict(study(board).rank()) == dict(study(TERN).rank())


def test_a_lost_data_line_is_an_open_bus():
    """A link opens D0 of the socket: on that line nobody answers, on the others the chip does."""
    board = moved(
        {"D0": "P0"}, links=(*TERN.links, replace(TERN.links[0], name="LK3", positions={"on": "P0 D0", "off": ""}))
    )
    off = study(board).judge(SELECT_ON_20 | {"LK3": "off"})
    own = {(tuple(sorted(c.lines)), c.drives, str(c.outcome)) for c in off.cases if c.access.expected == "U7"}
    rest = tuple(f"D{n}" for n in range(1, 8))
    assert own == {(("D0",), (), "open bus"), (rest, ("U7",), "fine")}
    ranked = {positions: {code.name for code in some} for positions, some in study(board).rank()}
    assert "open-bus" in ranked["1-2", "1-2", "off"] and ranked["1-2", "1-2", "on"] == ranked["1-2", "2-3", "on"]


def test_a_socket_without_d0():
    judged = study(moved({"D0": "NC"})).judge(SELECT_ON_20)
    told = {f.code.name: f.title for f in judged.findings}
    assert told["data-line"] == "D0 of the chip does not meet its data line" and "width" in told


@pytest.mark.parametrize("second, clash", [("/A15", False), ("A15", True)])
def test_outputs_that_take_turns(second, clash):
    """Two '125 on one node: enabled by A15 and by its opposite they never meet; both by A15 they do."""
    gates = (
        Gate("X1", "inverter", "A15", "/A15"), Gate("X2", "three-state buffer", "A2 A15", "MUX"),
        Gate("X3", "three-state buffer", f"A3 {second}", "MUX"), Gate("X4", "inverter", "MUX", "NC"),
    )  # fmt: skip
    found = study(replace(TERN, gates=(*TERN.gates, *gates)))
    for positions, some in found.rank():
        assert ("two-drivers" in {code.name for code in some}) == clash, positions
    assert ("two-drivers" in codes(found, SELECT_ON_20)) == clash


@pytest.mark.parametrize("up, down, codes_of", [
    (100, 1e6, {"open-bus"}), (1e6, 100, {"bus-contention", "wrong-device"}),
    (4700, 4700, {"input-open", "open-bus", "bus-contention", "wrong-device"}),
])  # fmt: skip
@pytest.mark.parametrize("order", [1, -1])
def test_the_stronger_pull_wins_and_no_order_in_the_file(up, down, codes_of, order):
    """/CE of a 27C256 open, but for a resistor each to +5 V and to 0 V: off, always selected, or nobody knows."""
    pulls = (Resistor("R1", up, "+5V P20"), Resistor("R2", down, "P20 GND"))[::order]
    links = (replace(TERN.links[0], positions={"1-2": "", "2-3": "P20 /ACC"}), TERN.links[1])
    found = study(replace(TERN, resistors=pulls, links=links))
    assert codes(found, SELECT_ON_20) - {"part-shown"} == codes_of
    assert {code.name for code in dict(found.rank())["1-2", "1-2"]} - {"part-shown"} == codes_of


RAILS = TERN.rails | {"+12V": 12, "-5V": -5}


@pytest.mark.parametrize("nodes, chip, code, title", [
    ({"+5V": "GND"}, "27C256", "supply-pin", "VCC of the chip (5 V) does not meet its rail"),
    ({"+5V": "+12V"}, "27C256", "supply-pin", "VCC of the chip (5 V) does not meet its rail"),
    ({"GND": "+5V"}, "27C256", "supply-pin", "GND of the chip (0 V) does not meet its rail"),
    ({"A12": "+12V"}, "27C256", "rail-on-pin", "+12 V on A12"),
    ({"A8": "-5V"}, "27C256", "rail-on-pin", "-5 V on A8"),
    ({"D3": "GND"}, "27C256", "data-pin-driven", "D3 of the chip on driven lines"),
    ({"D3": "A15"}, "27C256", "data-pin-driven", "D3 of the chip on driven lines"),
    ({"D3": "D4", "D4": "D3"}, "27C256", "data-line", "D3, D4 of the chip do not meet their data lines"),
    ({"A3": "A4", "A4": "A3"}, "27C256", "address-line", "A3, A4 of the chip do not meet their address lines"),
    ({}, "2764", "size", "the chip is too small"),
    ({}, "27C1024", "width", "the chip has another number of data lines"),
])  # fmt: skip
def test_hard_checks(nodes, chip, code, title):
    """Each check finds its fault, by itself and in the ranking, and nothing on the board as it is."""
    board = replace(moved(nodes), rails=RAILS)
    found = study(board, chip)
    assert title in [f.title for f in found.judge(SELECT_ON_20).findings if f.code.name == code]
    ranked = {positions: {c.name for c in some} for positions, some in found.rank()}
    assert code in ranked["1-2", "1-2"]
    assert code not in codes(study(TERN), SELECT_ON_20)


def test_the_part_that_shows():
    """A 27C512 in U7: A15 is on pin 1, at +5 V; A14 on pin 27, at a select or at /ACC, both low in its reads."""
    found = study(TERN, "27C512")
    for setting, shown in ((SELECT_ON_20, "8000-BFFF"), (SELECT_ON_20 | {"LK2": "2-3"}, "8000-BFFF")):
        note = next(f for f in found.judge(setting).findings if f.code.name == "part-shown")
        assert note.title == f"only {shown} of the chip shows" and note.remedy.startswith(
            "the contents must lie at 8000"
        )


def test_another_device_in_its_place():
    """U8's RAM answers at A000 where the port should: wrong device, and its own reads stay fine."""
    devices = tuple(
        replace(d, drives=({"/PORT": "L", "/RDS": "L"},)) if d.name == "U8" else d for d in TERN.devices[:2]
    )
    port = replace(TERN.devices[2], drives=({"/BATSEL": "L", "/RDS": "L"},))
    cases = study(replace(TERN, devices=(*devices, port))).judge(SELECT_ON_20).cases
    told = {(c.access.expected, c.drives, str(c.outcome)) for c in cases if c.access.expected in ("U8", "U9")}
    assert told == {("U8", ("U9",), "wrong device"), ("U9", ("U8",), "wrong device")}


def test_a_chip_seated_wrong_is_told_to_be_taken_out():
    for seated in ("one up", "one down", "turned"):
        judged = study(TERN, "27C512", seated=seated).judge(SELECT_ON_20)
        assert judged.verdict == "stop" and not judged.cases
        pins = [f for f in judged.findings if f.code.name == "supply-pin"]
        assert pins and all(f.remedy.startswith("take the chip out and seat it as the notch shows") for f in pins)


def test_a_socket_that_the_map_does_not_name():
    board = replace(TERN, map=tuple(area for area in TERN.map if area.device != "U7"))
    judged = study(board).judge(SELECT_ON_20)
    assert [f.title for f in judged.findings if f.code.name == "not-mapped"] == [
        "the map of the board has no addresses for U7"
    ]
    assert "not-mapped" in {code.name for _, some in study(board).rank() for code in some}


def test_an_area_of_a_bus_without_a0_is_whole_words():
    """The one byte 200001 of a 68000: the word that it is in, not the one before too."""
    board = require_board("kittiwake-kw-68")
    board = replace(board, map=(*board.map[:-1], Area("200001", "U8")))
    found = Study(board, require_cpu("68000"), board.sockets[0], require_part("27C256"))
    spans = {access.range for access in found.accesses.all if "D0" in access.lines and access.cycle.name == "word read"}
    assert {"110000-1FFFFF", "200000-200001", "200002-FFFFFF"} <= spans


@st.composite
def looped_gates(draw):
    """Five gates whose inputs are lines of the CPU or each other's outputs, latches among them."""
    nodes = ["A15", "A14", "R/W", "G0", "G1", "G2", "G3", "G4"]
    kinds = st.sampled_from(["nand", "nor", "and", "or", "xor", "three-state buffer"])
    two = st.lists(st.sampled_from(nodes), min_size=2, max_size=2)
    return tuple(Gate(f"X{n}", draw(kinds), " ".join(draw(two)), f"G{n}") for n in range(5))


@settings(max_examples=100, deadline=None)
@given(looped_gates(), st.permutations([f"G{n}" for n in range(5)]))
@example((*(Gate(f"X{n}", "nand", pair, f"G{n}") for n, pair in enumerate(["A15 G1", "A14 G0"])),), ["G1", "G0"])
def test_gates_that_feed_each_other_against_the_second_model(gates, order):
    """In whatever order the levels are asked for, they are those that follow from knowing nothing at first."""
    board, names = replace(TERN, gates=gates, links=(), devices=()), ["A14", "A15", "R/W"]
    nets = Nets(Wiring(board, CPU), names, {})
    levels = {node: nets.level(node) for node in order}
    for row in range(8):
        lines = dict.fromkeys([*CPU.address_lines, *CPU.controls], "L")
        lines |= {name: "LH"[row >> i & 1] for i, name in enumerate(names)}
        state = State(board, CPU, {}, board.sockets[0], CHIPS["27128"], lines)
        for node, (high, low) in levels.items():
            known = "H" if high >> row & 1 else "L" if low >> row & 1 else None
            assert known == (state.level(node) if state.level(node) in "HL" else None), node
