"""A chip on a board: the paths as the schematic has them, added up by hand from the sheets named in pinmaps."""

from pathlib import Path

import pytest
from msgspec.structs import replace

from romwright.boards.clocking import Buffer, Clocking, Wait
from romwright.boards.library import fitted_chips, read_board, require_board, require_cpu
from romwright.boards.model import Gate
from romwright.errors import UnknownNameError
from romwright.fit.onboard.boarding import plan_board
from romwright.fit.onboard.settings import Study
from romwright.fit.plans.glue import PlacedGate, Tap
from romwright.fit.plans.rows import How
from romwright.parts.library import require_part
from romwright.timing.arrivals import Arrivals, gate_delay
from romwright.timing.chip import require_grade_ns
from romwright.timing.onboard import judge_on_board, judge_planned

DUNLIN = {"LK1": "2732", "LK2": "2532", "LK3": "2732"}


def judged(board, socket, part, setting, grade=None):
    cpu = require_cpu(board.cpu)
    place = next(each for each in board.sockets if each.name == socket)
    chip = require_part(part)
    study = Study(board, cpu, place, chip, also={k: v for k, v in fitted_chips(board).items() if k != socket})
    return judge_on_board(study.mount(study.nets(setting)), require_grade_ns(chip, grade))


def found(answer):
    return {(path.cycle, path.start, path.pins): path for path in answer.paths}


def test_the_margins_of_the_dunlin():
    """Z80A at 4 MHz, one wait in fetches; '138: 41 ns from a select, 38 from an enable; 27C32 of 200 ns: tOE 60."""
    paths = found(judged(require_board("dunlin-dl-2"), "U7", "27C32", DUNLIN, 200))
    assert {path: each.margin.low_ns for path, each in paths.items() if each.margin.is_known} == {
        ("opcode fetch", "address", "A0-A11"): 355 + 250 - 200,
        ("opcode fetch", "address", "/CE"): 355 + 250 - 41 - 200,
        ("opcode fetch", "/MREQ", "/CE"): 255 + 250 - 38 - 200,
        ("opcode fetch", "/RFSH", "/CE"): 345 + 250 - 38 - 200,
        ("opcode fetch", "/RD", "/OE"): 245 + 250 - 60,
        ("memory read", "address", "A0-A11"): 465 - 200,
        ("memory read", "address", "/CE"): 465 - 41 - 200,
        ("memory read", "/MREQ", "/CE"): 365 - 38 - 200,
        ("memory read", "/RFSH", "/CE"): 455 - 38 - 200,
        ("memory read", "/RD", "/OE"): 355 - 60,
    }
    assert "the window of /RFSH" in paths["memory read", "/RFSH", "/CE"].unchecked


def test_the_margins_of_the_tern():
    """6510 at 1 MHz; '139: 38 ns; '00: 15 ns; 28C256 of 250 ns: tOE 100."""
    answer = judged(require_board("tern-tl-1"), "U7", "28C256", {"LK1": "1-2", "LK2": "2-3"}, 250)
    margins = {(path.start, path.pins): path.margin.low_ns for path in answer.reads}
    assert margins == {
        ("address", "A0-A14"): 575 - 250, ("address", "/CE"): 575 - 38 - 250,
        ("R/W", "/OE"): 575 - 15 - 100, ("PHI2", "/OE"): 370 - 15 - 100,
    }  # fmt: skip
    assert answer.verdict == "in time" and answer.binding.pins == "/OE" and answer.slowest == (350, True)


def test_the_kittiwake_lets_go_in_time():
    """68000 at 8 MHz: 187 ns (#29A) less 38 ns of the '138 and 25 ns of a 27C256 of 45 ns."""
    setting = {"LK1": "1-2", "LK2": "1-2", "LK3": "1-2"}
    answer = judged(require_board("kittiwake-kw-68"), "U3", "27C256", setting, 45)
    (release,) = answer.releases
    assert release.margin.low_ns == 187 - 38 - 25 and release.start == "end of /AS /UDS /LDS"
    unsaid = [path for path in answer.reads if not path.margin.is_known]
    assert [path.start for path in unsaid] == ["R/W"]
    assert unsaid[0].margin.lacks == ["when R/W of the 68000 is good in a read"] and answer.verdict == "unknown"


def test_a_chip_that_is_too_slow_and_the_grade_that_is_not():
    board = require_board("dunlin-dl-2")
    fast = replace(board, timing=replace(board.timing, cpu_grade="Z80B", clock_mhz=6, waits=()))
    answer = judged(fast, "U7", "27C32", DUNLIN, 250)
    assert answer.verdict == "too slow" and answer.slowest is None
    (fault,) = [finding for finding in answer.findings if finding.severity == "fault"]
    assert fault.code.name == "too-slow" and "/MREQ to /CE, opcode fetch" in fault.title
    assumed = judged(replace(board, timing=replace(board.timing, waits=())), "U7", "27C32", DUNLIN)
    assert assumed.verdict == "too slow" and assumed.slowest == (200, True)
    assert [finding.code.name for finding in assumed.findings][0] == "grade-needed"


def test_what_the_board_does_not_say_is_unknown():
    board = require_board("dunlin-dl-2")
    no_clock = judged(replace(board, timing=None), "U7", "27C32", DUNLIN, 150)
    assert no_clock.verdict == "unknown" and not any(path.margin.is_known for path in no_clock.reads)
    bare = replace(board, gates=tuple(replace(gate, chip="") for gate in board.gates))
    paths = found(judged(bare, "U7", "27C32", DUNLIN, 150))
    assert not paths["memory read", "/MREQ", "/CE"].margin.is_known
    assert paths["memory read", "/MREQ", "/CE"].margin.lacks == ["the delay of U4"]
    assert paths["memory read", "address", "A0-A11"].margin.low_ns == 465 - 150


def test_an_unknown_delay_does_not_excuse_a_chip_that_is_too_slow_without_it():
    """/MREQ of a Z80A leaves 255 ns (Zilog, pp. 37-41): a decoder takes some of that, whichever it is."""
    board = require_board("dunlin-dl-2")
    bare = replace(board, gates=tuple(replace(gate, chip="") for gate in board.gates))
    bare = replace(bare, timing=replace(bare.timing, waits=()))
    answer = judged(bare, "U7", "27C32", DUNLIN, 250)
    assert answer.verdict == "unknown" and answer.slowest == (250, False)
    slow = replace(bare, timing=Clocking(6, "Z80B"))  # T 166.7: 1.5 T - 70 - 30 = 150 ns from /MREQ
    answer = judged(slow, "U7", "27C32", DUNLIN, 200)
    path = found(answer)["opcode fetch", "/MREQ", "/CE"]
    assert not path.margin.is_known and path.fails and path.most_ns == 150 - 200
    assert answer.verdict == "too slow" and answer.slowest == (150, False)
    (fault,) = [finding for finding in answer.findings if finding.code.name == "too-slow"]
    assert "too slow by more than 50 ns: /MREQ to /CE" in fault.title and "more than 50 ns" in answer.words


def test_a_signal_of_which_nobody_knows_when_it_is_good_is_unknown_unless_it_is_steady():
    board = require_board("dunlin-dl-2")
    gates = (replace(board.gates[0], inputs="A12 A13 A14 EN /MREQ A15"), *board.gates[1:])
    timing = replace(board.timing, waits=())
    piped = replace(board, signals={"EN": "U40, a PAL"}, gates=gates, timing=timing)
    answer = judged(piped, "U7", "27C32", DUNLIN, 150)
    assert answer.verdict == "unknown" and "when EN (U40, a PAL) is good in a read" in answer.lacks[0]
    steady = replace(piped, timing=replace(timing, steady="EN"))
    assert judged(steady, "U7", "27C32", DUNLIN, 150).verdict == "in time"


def test_a_ladder_of_gates_is_worked_out_once():
    """Each rung has two gates that both hang on both of the rung before: 2 to the 60th ways."""
    board, rungs = require_board("dunlin-dl-2"), 60
    gates, before = list(board.gates), ("/ROM0", "/RD")
    for rung in range(rungs):
        after = (f"X{rung}", f"Y{rung}")
        gates += [Gate(f"G{node}", "or", " ".join(before), node, chip="74LS32") for node in after]
        before = after
    cpu, place = require_cpu(board.cpu), board.sockets[0]
    study = Study(replace(board, gates=tuple(gates)), cpu, place, require_part("27C32"))
    ways = Arrivals(study.nets(DUNLIN)).ways(before[0])
    assert ways["/MREQ"].low_ns == 38 + rungs * 22 and ways["/RD"].low_ns == rungs * 22  # the '32: TI SDLS100, p. 4


def test_a_loop_of_gates_is_unknown_from_whichever_gate_one_looks():
    board = require_board("dunlin-dl-2")
    loop = (Gate("GX", "nand", "/ROM0 Y", "X", delay_ns=5), Gate("GY", "nand", "/RD X", "Y", delay_ns=5))
    looped, cpu = replace(board, gates=(*board.gates, *loop)), require_cpu("Z80")
    study = Study(looped, cpu, board.sockets[0], require_part("27C32"))
    for order in (("X", "Y"), ("Y", "X")):
        arrivals = Arrivals(study.nets(DUNLIN))
        for ways in map(arrivals.ways, order):
            assert {"a loop of gates", "/RD", "/MREQ"} <= set(ways) and not ways["a loop of gates"].is_known


def test_what_nobody_stated_is_named_as_such():
    board = require_board("dunlin-dl-2")
    answer = judged(replace(board, timing=None), "U7", "27C32", DUNLIN, 150)
    assert {"the clock at CLK", "the grade of the Z80"} <= set(answer.lacks)
    assert not any("TdCr" in name for name in answer.lacks)


def test_a_stated_delay_of_a_gate_counts():
    board = require_board("dunlin-dl-2")
    said = replace(board, gates=tuple(replace(gate, chip="", delay_ns=100) for gate in board.gates))
    assert found(judged(said, "U7", "27C32", DUNLIN, 150))["memory read", "/MREQ", "/CE"].margin.low_ns == 365 - 250


@pytest.mark.parametrize("buffer, delay", [
    (Buffer("D0-D7", "74LS245"), 12), (Buffer("D0-D7", delay_ns=20), 20), (Buffer("D0-D7"), None), (None, None),
])  # fmt: skip
def test_a_data_buffer_counts_on_every_path_and_one_that_nobody_named_is_unknown(buffer, delay):
    board = require_board("dunlin-dl-2")
    timing = replace(board.timing, buffers=(buffer,) if buffer else ())
    paths = found(judged(replace(board, timing=timing, buffered=True), "U7", "27C32", DUNLIN, 150))
    for path, window in ((("memory read", "address", "A0-A11"), 465), (("memory read", "/MREQ", "/CE"), 365 - 38)):
        assert paths[path].margin.low_ns == (delay if delay is None else window - delay - 150)
        assert "that the buffer of the data lines is switched on before the data come" in paths[path].assumes


def test_the_enable_of_a_buffer_of_which_only_the_input_was_read_is_unknown():
    """TI SDLS044A gives 18 ns from A to Y of a 74LS125A; its enable was not read."""
    gate = Gate("U9", "three-state buffer", "IN /EN", "OUT", chip="74LS125A")
    assert gate_delay(gate, "IN").low_ns == 18 and not gate_delay(gate, "/EN").is_known
    decoder = require_board("dunlin-dl-2").gates[0]
    assert gate_delay(decoder, "/MREQ").low_ns == 38 and gate_delay(decoder, "A12").low_ns == 41


def test_waits_and_stretching_count_where_the_board_says_so():
    board = require_board("dunlin-dl-2")
    waits = (Wait(clocks=2, range="0000-0FFF"), Wait(stretch_ns=30, cycle="memory read"), Wait(1, range="1000-1FFF"))
    timing = Clocking(4, "Z80A", waits)
    paths = found(judged(replace(board, timing=timing), "U7", "27C32", DUNLIN, 150))
    assert paths["opcode fetch", "address", "A0-A11"].window.low_ns == 355 + 2 * 250
    assert paths["memory read", "address", "A0-A11"].window.low_ns == 465 + 2 * 250 + 30


def test_a_grade_that_the_cpu_does_not_have():
    board = require_board("dunlin-dl-2")
    with pytest.raises(UnknownNameError) as caught:
        judged(replace(board, timing=Clocking(4, "Z80C")), "U7", "27C32", DUNLIN)
    assert "dunlin-dl-2" in caught.value.where and "Z80B" in caught.value.near


def test_a_cpu_without_a_timing_page_is_said_to_be_so(monkeypatch, capsys):
    from romwright.cli.timing import print_timing
    from romwright.timing import onboard

    monkeypatch.setattr(onboard, "find_timing", lambda name: None)
    board = require_board("dunlin-dl-2")
    answer = judged(board, "U7", "27C32", DUNLIN, 150)
    print_timing(answer, board)
    assert answer is None and "It cannot be said: no page has the read timing of the Z80." in capsys.readouterr().out


def test_the_gates_of_a_plan_count():
    """A select that only a new gate can make: the '32 of the plan takes 22 ns (TI SDLS100, p. 4) besides the '138."""
    board = require_board("dunlin-dl-2")
    cpu, place, chip = require_cpu("Z80"), board.sockets[0], require_part("27C32")
    gate = PlacedGate("X1.3", "X1", "74LS32", "or", (Tap(1, point="/ROM0"), Tap(2, point="/RD")), 3, 22)
    base = plan_board(board, cpu, place, chip)
    row = next(row for row in base.plan.rows if row.function == "/CE")
    moved = replace(row, how=How.GATE, gate="X1.3", wire_to=None)
    rows = tuple(moved if each is row else each for each in base.plan.rows)
    plan = replace(base, plan=replace(base.plan, rows=rows, gates=(gate,)))
    paths = found(judge_planned(board, cpu, place, plan, require_grade_ns(chip, 150)))
    assert paths["memory read", "/MREQ", "/CE"].margin.low_ns == 365 - 38 - 22 - 150
    assert paths["memory read", "/RD", "/CE"].margin.low_ns == 355 - 22 - 150


def test_a_board_whose_cpu_has_a_multiplexed_bus_needs_its_latch():
    path = Path(__file__).parents[2] / "fixtures" / "boards" / "8085.toml"
    board = replace(read_board(path), timing=Clocking(3, "8085AH"))
    setting = {"OE": "strobe", "WE": "high"}
    bare = found(judged(board, "U1", "28C64", setting, 250))
    address = next(path for (cycle, start, pins), path in bare.items() if pins == "A0-A12")
    assert not address.margin.is_known and "the latch that holds A0-A7 of the 8085" in address.margin.lacks
    timing = Clocking(3, "8085AH", buffers=(Buffer("A0-A7", "74LS373"),))
    held = found(judged(replace(board, timing=timing), "U1", "28C64", setting, 250))
    address = next(path for (cycle, start, pins), path in held.items() if pins == "A0-A12")
    # tAD of the 8085AH at 3 MHz (Intel 231718-001, p. 1-24), the '373's D to Q at 150 pF (Fairchild DS006431)
    assert address.margin.low_ns == pytest.approx(2.5 * 1000 / 3 - 225 - 27 - 250)
