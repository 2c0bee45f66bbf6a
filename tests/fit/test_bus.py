"""Who drives the bus: tables against a second model, one state at a time, on random boards; common practice."""

import pytest
from board_model import State
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from romwright.boards.library import require_board, require_cpu
from romwright.boards.model import Area, Board, Device, Gate, Link, Resistor, Socket, expand
from romwright.boards.rules import find_faults
from romwright.fit import joins, tables
from romwright.fit.accesses import lowest_address
from romwright.fit.bus import Outcome
from romwright.fit.settings import Study
from romwright.parts.library import require_part

CPU = require_cpu("6502")
TERN = require_board("tern-tl-1")
ALL_LOW = {20: "L", 22: "L", 27: "L"}
CHIPS = {
    name: require_part(name).ordered_as(polarity)
    for name, polarity in {
        "27128": {}, "27C256": {}, "27C512": {}, "28C256": {}, "62256": {}, "2764": {}, "2732": {},
        "rom-23128-style-a": ALL_LOW, "rom-23128-style-b": {20: "L", 22: "H", 27: "L"}, "rom-23128-style-c": {27: "H"},
    }.items()
}  # fmt: skip
CLASHES = {joins.TWO_DRIVERS, joins.SIGNAL_ON_RAIL, joins.RAILS_JOINED, joins.DATA_JOINED}
SOURCES = ["A13", "A14", "A15", "R/W", "PHI2", "+5V", "GND"]
LEFT = "P1 A12 A7 A6 A5 A4 A3 A2 A1 A0 D0 D1 D2 GND"
RIGHT = "+5V {} {} A8 A9 A11 {} A10 {} D7 D6 D5 D4 D3"


@st.composite
def boards(draw):
    """A board with random glue, links, resistors and devices around one 28-pin socket. Pads P1... feed the socket."""
    one = st.sampled_from(SOURCES)
    gates, nodes = [], list(SOURCES)
    for number in range(draw(st.integers(2, 4))):
        kind = draw(st.sampled_from(["nand", "or", "xor", "inverter", "2-to-4", "three-state buffer", "nor", "and"]))
        count = {"inverter": 1, "2-to-4": 3}.get(kind, 2)
        outputs = [f"G{number}{letter}" for letter in ("abcd" if kind == "2-to-4" else "a")]
        inputs = [draw(st.sampled_from(nodes)) for _ in range(count)]
        gates.append(Gate(f"U{number}", kind, " ".join(inputs), " ".join(outputs), open_collector=draw(st.booleans())))
        nodes += outputs
    pads = ["P1", "P20", "P22", "P26", "P27", "PD"]
    some = st.sampled_from([*nodes, *pads])
    joined = st.just("") | st.builds("{} {}".format, st.sampled_from(pads), st.sampled_from(nodes))
    links = tuple(
        Link(f"LK{n}", {"1-2": draw(joined), "2-3": draw(joined)}) for n in range(draw(st.integers(1, 4)))
    )  # fmt: skip
    resistors = tuple(
        Resistor(f"R{n}", 4700, f"{pad} {draw(st.sampled_from([*nodes, 'PD']))}")
        for n, pad in enumerate(draw(st.lists(st.sampled_from(pads[:-1]), max_size=3, unique=True)))
    )
    level = st.sampled_from(["H", "L"])
    rows = st.dictionaries(some, level, min_size=1, max_size=3)
    devices = tuple(
        Device(f"M{n}", "memory", "RAM", (draw(rows),), data=draw(st.sampled_from(["", "D0-D3"]))) for n in range(2)
    )
    direct = [draw(st.sampled_from(["P27", "P20", "P22", "P26"]) | one) for _ in range(4)]
    socket = Socket("U7", LEFT, RIGHT.format(*direct))
    wires = tuple(f"X{pad} {pad}" for pad in pads)
    areas = (
        Area("0000-3FFF", "M0"), Area("6000-7FFF", "none"), Area("8000-9FFF", "M1"), Area("C000-FFFF", "U7", "read"),
    )  # fmt: skip
    return Board(
        name="random", title="random", cpu="6502", source="invented", rails={"+5V": 5, "GND": 0}, sockets=(socket,),
        map=areas, links=links, gates=tuple(gates), devices=devices, resistors=resistors, wires=wires,
    )  # fmt: skip


@st.composite
def boards_of_two(draw):
    """A random board with a second socket, U8, on the same bus, fed by the same pads and lines; what sits in U8."""
    board = draw(boards())
    gates = [node for gate in board.gates for node in gate.outputs.split()]
    pads = ["P1", "P20", "P22", "P26", "P27", "PD"]
    direct = [draw(st.sampled_from([*SOURCES, *gates, *pads])) for _ in range(4)]
    row = RIGHT.format(*direct)
    if draw(st.booleans()):
        row = row.replace("D7 D6 D5 D4", "NC NC NC NC")
    second = Socket("U8", LEFT.replace("P1", draw(st.sampled_from([*pads, *SOURCES]))), row)
    name = draw(st.sampled_from(sorted(CHIPS)))
    areas = (*board.map, Area("A000-BFFF", "U8", draw(st.sampled_from(["read", "read write"]))))
    return replace(board, sockets=(*board.sockets, second), map=areas), {"U8": CHIPS[name]}


@st.composite
def ugly_boards(draw):
    """The Tern with six to eight more links that all meet in one or two gates ahead of the decoder or pin 20 or 22."""
    count, lines = draw(st.integers(6, 8)), ["A15", "A14", "A13", "A12", "R/W", "PHI2", "GND", "+5V"]
    two = st.lists(st.sampled_from(lines), min_size=2, max_size=2, unique=True)
    links = [Link(f"K{n}", {p: f"S{n} {line}" for p, line in zip(("1-2", "2-3"), draw(two))}) for n in range(count)]
    kinds = st.sampled_from(["nand", "or", "nor", "and", "xor"])
    half = draw(st.integers(2, count - 2))
    gates = [
        Gate("X1", draw(st.sampled_from(["nand", "nor"])), " ".join(f"S{n}" for n in range(half)), "N1"),
        Gate("X2", draw(kinds), "N1 S7" if count == 8 else f"N1 S{half}", "N2"),
        Gate("X3", draw(st.sampled_from(["nand", "or"])), " ".join(f"S{n}" for n in range(half, count)), "N3"),
    ]
    into = {draw(st.sampled_from(["P20", "P27"])): "N2", draw(st.sampled_from(["/RDS", "A13"])): "N3"}
    column = " ".join(into.get(node, node) for node in TERN.sockets[0].right.split())
    socket = replace(TERN.sockets[0], right=column)
    return replace(TERN, sockets=(socket,), links=tuple(links), gates=(*TERN.gates, *gates))


empty = st.tuples(boards(), st.just({}))


def lines_of(state, name):
    """The data lines that something on the bus has, by the second model."""
    devices = {device.name: device for device in state.board.devices}
    if name in devices:
        return set(expand(devices[name].data)) or set(CPU.data_lines)
    return state.data_lines(name)


def outcome_by_hand(board, case, address, told, answers, chips):
    """What becomes of the bus at an address, from the map of the board and who drives: `told`, `answers` surely."""
    data = {device.name: set(expand(device.data)) for device in board.devices}
    data |= {socket.name: set(socket.nodes.values()) & set(CPU.data_lines) for socket in board.sockets}
    lines = {name: some or set(CPU.data_lines) for name, some in data.items()}
    here = [a for a in board.map if a.span[0] <= address <= a.span[1] and case.lines <= lines.get(a.device, case.lines)]
    asked = here[0].device if here and case.access.cycle.access == "read" else None
    if len(told) + (case.access.cycle.access == "write") > 1:
        return Outcome.CONTENTION
    if asked == "none":
        return Outcome.WRONG if told else Outcome.FINE
    if asked is None or asked not in [device.name for device in board.devices] + chips:
        return Outcome.FINE
    return Outcome.WRONG if told - {asked} else Outcome.FINE if answers else Outcome.OPEN


@settings(max_examples=200, deadline=None)
@given(empty | boards_of_two(), st.sampled_from(sorted(CHIPS)), st.data())
def test_every_case_agrees_with_the_second_model(made, name, data):
    (board, also), chip = made, CHIPS[name]
    study = Study(board, CPU, board.sockets[0], chip, also=also)
    setting = data.draw(st.sampled_from(list(study.settings())))
    mounted = study.mount(study.nets(setting))
    covered = {}
    for case in study.cases(mounted):
        for levels in tables.true_rows(study.accesses.names, case.mask):
            address = lowest_address(levels, case.access.span)
            assert case.access.span[0] <= address <= case.access.span[1]
            lines = {line: "LH"[address >> int(line[1:]) & 1] for line in CPU.address_lines}
            lines |= {s: case.access.cycle.levels.get(s, levels.get(s, "L")) for s in CPU.controls}
            state = State(board, CPU, setting, board.sockets[0], chip, lines, also)
            found = state.drivers()
            told = {n for n in case.drives if n != "CPU"}
            assert told == {name for name in found if case.lines & lines_of(state, name)}
            if told:
                assert case.sure == all(found[n] == "H" for n in told)
            covered.setdefault((case.access.cycle.name, *levels.values()), set()).update(case.lines)
            for socket, each in mounted.everyone.items():
                assert bool(each.written & tables.row(study.accesses.names, levels)) == state.written(socket)
            answers = any(found[n] == "H" for n in told)
            assert case.outcome is outcome_by_hand(board, case, address, told, answers, ["U7", *also])
    assert covered and all(lines == set(CPU.data_lines) for lines in covered.values())  # no line is left out


@settings(max_examples=150, deadline=None)
@given(empty | boards_of_two(), st.sampled_from(sorted(CHIPS)))
def test_items_say_what_the_whole_judgement_says(made, name):
    """Ranking works from items that depend on few links; the full judgement of a setting must find the same codes."""
    board, also = made
    study = Study(board, CPU, board.sockets[0], CHIPS[name], also=also)
    names = [link.name for link in board.links]
    for positions, codes in study.rank():
        judged = study.judge(dict(zip(names, positions)))
        full = {finding.code for finding in judged.findings}
        stops = full & CLASHES
        assert stops <= codes
        if not stops:
            assert full == codes
        else:
            assert judged.verdict == "stop"


@settings(max_examples=12, deadline=None)
@given(ugly_boards(), st.data())
def test_links_that_all_meet_in_gates(board, data):
    """Many links ahead of one select come to few situations: what is found in one holds for every setting of it.

    The chips share what the links bring about, one of them soldered in (`wired`) stands alone; the mark of each setting
    that is drawn agrees with its full judgement.
    """
    shared, names = {}, [link.name for link in board.links]
    for name in ("27C256", "27128", "28C64", "rom-23128-style-a"):
        study = Study(board, CPU, board.sockets[0], CHIPS.get(name) or require_part(name), shared=shared)
        ranked = dict(study.rank())
        wired = Study(board, CPU, board.sockets[0], study.chip, wired=study.plugged)
        assert dict(wired.rank()) == ranked
        assert len(ranked) == 2 ** len(names)
        for positions in data.draw(st.lists(st.sampled_from(sorted(ranked)), min_size=20, max_size=20)):
            judged = study.judge(dict(zip(names, positions)))
            full = {finding.code for finding in judged.findings}
            assert full == ranked[positions] if not full & CLASHES else judged.verdict == "stop"


@pytest.mark.parametrize("position, stop", [("on", True), ("off", False)])
def test_a_link_on_a_status_output(position, stop):
    """Pin 1 of the 28C64 is an output, RDY//BUSY: a link that brings a rail there is found in the ranking too."""
    left = TERN.sockets[0].left.split()
    socket = replace(TERN.sockets[0], left=" ".join(["P1", *left[1:]]))
    board = replace(TERN, sockets=(socket,), links=(*TERN.links, Link("LK3", {"on": "P1 +5V", "off": ""})))
    study = Study(board, CPU, socket, require_part("28C64"))
    named = {positions: {code.name for code in codes} for positions, codes in study.rank()}
    for positions, codes in named.items():
        full = {finding.code.name for finding in study.judge(dict(zip(("LK1", "LK2", "LK3"), positions))).findings}
        assert full == codes
    on = {name for positions, codes in named.items() if positions[2] == position for name in codes}
    assert bool(on & {"status-pin-driven", "status-pin"}) == stop


@pytest.mark.parametrize("chip", ["27128", "27C256", "27C512"])
def test_common_practice_select_on_pin_27_and_an_eprom(chip):
    """Common practice: with the select links set for pin 27 an EPROM is in every memory read; set for pin 20, in none
    but its own."""
    study = Study(TERN, CPU, TERN.sockets[0], CHIPS[chip])
    for setting in study.settings():
        cases = study.judge(setting).cases
        reads = [case for case in cases if case.access.cycle.access == "read"]
        own = [case for case in reads if case.access.expected == "U7"]
        assert own and all(case.outcome is Outcome.FINE for case in own)
        if setting["LK1"] == "2-3":
            assert all("U7" in case.drives for case in reads)
            assert {case.outcome for case in reads if case not in own} == {Outcome.CONTENTION, Outcome.WRONG}
        else:
            assert all(case.outcome is Outcome.FINE for case in cases)


def test_eeprom_with_the_select_on_its_write_strobe_is_a_stop():
    study = Study(TERN, CPU, TERN.sockets[0], CHIPS["28C256"])
    judged = study.judge({"LK1": "2-3", "LK2": "1-2"})
    stop = judged.findings[0]
    assert judged.verdict == "stop" and stop.code.name == "write-strobe"
    assert "memory write of C000-FFFF" in stop.evidence and "position 27: /ROMSEL" in stop.evidence


@pytest.mark.parametrize("seated", ["one up", "one down", "turned"])
@pytest.mark.parametrize("chip", sorted(CHIPS))
def test_a_chip_seated_wrong_is_a_stop(chip, seated):
    study = Study(TERN, CPU, TERN.sockets[0], CHIPS[chip], seated)
    assert {study.judge(setting).verdict for setting in study.settings()} == {"stop"}


def test_a_mask_rom_of_either_style_works_in_its_own_setting():
    for chip, setting in (("rom-23128-style-a", ("1-2", "2-3")), ("rom-23128-style-b", ("2-3", "1-2"))):
        polarity = CHIPS[chip] if chip.endswith("a") else require_part(chip).ordered_as(ALL_LOW)
        judged = Study(TERN, CPU, TERN.sockets[0], polarity).judge(dict(zip(("LK1", "LK2"), setting)))
        assert judged.verdict == "works" and not judged.findings


@given(
    st.integers(0, 0xF000), st.integers(0, 3000),
    st.dictionaries(st.sampled_from(["A0", "A3", "A10", "A13"]), st.sampled_from("HL")),
)  # fmt: skip
def test_lowest_address_against_a_search(first, more, levels):
    last = first + more
    wanted = {int(name[1:]): "LH".index(level) for name, level in levels.items()}
    found = [a for a in range(first, last + 1) if all(a >> line & 1 == bit for line, bit in wanted.items())]
    if found:
        assert lowest_address(levels, (first, last)) == found[0]


@given(boards())
def test_random_boards_keep_the_rules(board):
    """The boards of these tests are boards: the rules that hold for files hold for them too, but for unused nodes."""
    assert not [fault for fault in find_faults(board, CPU) if "lonely-node" not in fault]
