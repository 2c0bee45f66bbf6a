"""Writes while power comes up on a board: no line of the CPU has its level yet; by hand, and against a second model.

Atmel AT28C256, 0006M: /CE low, /WE low and /OE high writes a byte; 4.6: stray writes can happen while power comes up.
"""

import re

import pytest
from board_model import State
from fit.test_bus import CHIPS, CPU, TERN, boards, boards_of_two, empty
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from romwright.boards.model import Gate, Resistor
from romwright.fit.boarding import plan_board
from romwright.fit.settings import Study
from romwright.parts.library import require_part

EEPROM, RAM, EPROM = require_part("28C256"), require_part("62256"), require_part("27C256")
NAMES = {"write-at-power-up", "own-write-at-power-up"}


def tern(to_27, *, gates=(), resistors=(), areas=None):
    """The Tern with position 27 of U7 on one node whatever the links, and its select on position 20."""
    socket = TERN.sockets[0]
    fixed = replace(socket, right=socket.right.replace("P27", to_27).replace("P20", "/ROMSEL"))
    return replace(
        TERN, sockets=(fixed,), links=(), gates=(*TERN.gates, *gates), resistors=(*TERN.resistors, *resistors),
        map=TERN.map if areas is None else areas,
    )  # fmt: skip


def found(board, chip):
    judged = Study(board, CPU, board.sockets[0], chip).judge({})
    return judged, {f.code.name: f for f in judged.findings}


# a strobe that no cycle brings low while /ROMSEL is: it is /WRS for the lower half of the addresses only
LOW_WRITES = Gate("U20", "or", "/WRS A15", "/LOWR")


def test_a_strobe_that_only_power_up_can_bring_low_is_a_stop():
    judged, codes = found(tern("/LOWR", gates=(LOW_WRITES,)), EEPROM)
    assert judged.verdict == "stop" and NAMES & set(codes) == {"write-at-power-up"}
    stop = codes["write-at-power-up"]
    assert "position 27: /LOWR" in stop.evidence and "may write it" in stop.evidence
    assert stop.remedy.startswith("bend chip pin 27 up and tie it to VCC; software data protection")


def test_tied_pulled_up_or_without_a_strobe_it_is_safe():
    for board in (
        tern("+5V"),
        tern("W27", gates=(Gate("U20", "or", "/WRS +5V", "W27"),)),  # the gate is H whatever /WRS is at
        tern("W27", gates=(Gate("U20", "nand", "/WRS GND", "W27"),)),
        tern("W27", resistors=(Resistor("R9", 10000, "+5V W27"),)),
    ):
        assert not NAMES & set(found(board, EEPROM)[1])
    assert not NAMES & set(found(tern("/LOWR", gates=(LOW_WRITES,)), EPROM)[1])


def test_what_forgets_anyway_is_not_judged():
    assert not NAMES & set(found(tern("/LOWR", gates=(LOW_WRITES,)), RAM)[1])
    assert NAMES & set(found(tern("/LOWR", gates=(LOW_WRITES,)), replace(EEPROM, volatile=False))[1])


def test_a_strobe_that_a_cycle_brings_low_is_said_as_such():
    """The graver word stands alone: the board writes the chip, not only while power comes up."""
    _, codes = found(tern("/WRS"), EEPROM)
    assert "write-strobe" in codes and not NAMES & set(codes)


def test_where_programs_write_it_is_a_caution():
    areas = tuple(
        replace(area, access="read write") if area.device == "U7" else area for area in TERN.map
    )  # fmt: skip
    judged, codes = found(tern("/WRS", areas=areas), EEPROM)
    assert judged.verdict == "works" and NAMES & set(codes) == {"own-write-at-power-up"}
    caution = codes["own-write-at-power-up"]
    assert "reset circuit" in caution.remedy and "AT28C256" in caution.remedy and "tie" not in caution.remedy
    assert not NAMES & set(found(tern("/WRS", areas=areas), RAM)[1])


def test_ties_are_named_by_the_level_at_which_the_strobe_rests():
    """A part whose strobe is active high, and one that is no EEPROM, of which no protection is known."""
    rename = {"/WE": "WE"}
    turned = replace(
        EEPROM, right=EEPROM.right.replace("/WE", "WE"), family="flash",
        drives=tuple({rename.get(n, n): "L" if n == "/WE" else lv for n, lv in row.items()} for row in EEPROM.drives),
        writes=tuple({rename.get(n, n): "H" if n == "/WE" else lv for n, lv in row.items()} for row in EEPROM.writes),
    )  # fmt: skip
    board = tern("HIGHW", gates=(Gate("U20", "inverter", "/LOWR", "HIGHW"), LOW_WRITES))
    stop = found(board, turned)[1]["write-at-power-up"]
    assert stop.remedy == "bend chip pin 27 up and tie it to GND"


def test_a_plan_ties_the_strobe():
    for board in (tern("/LOWR", gates=(LOW_WRITES,)), TERN):
        made = plan_board(board, CPU, board.sockets[0], EEPROM)
        assert made.judged.verdict == "works" and not NAMES & {f.code.name for f in made.judged.findings}
        row = next(row for row in made.plan.rows if row.chip == 27)
        assert row.how.name == "VCC"


@settings(max_examples=150, deadline=None)
@given(empty | boards_of_two(), st.sampled_from(sorted(CHIPS)) | st.just("28C256"), st.data())
def test_exposed_agrees_with_the_second_model(made, name, data):
    """With every line of the CPU unknown, one state of the second model says the same; and so do the findings."""
    (board, also), chip = made, CHIPS[name]
    study = Study(board, CPU, board.sockets[0], chip, also=also)
    setting = data.draw(st.sampled_from(list(study.settings())))
    mounted = study.mount(study.nets(setting))
    dark = State(board, CPU, setting, board.sockets[0], chip, dict.fromkeys(CPU.outputs, "X"), also)
    judged = study.judge(setting)
    for socket, each in mounted.everyone.items():
        exposed = dark.written(socket)
        assert each.exposed == exposed
        whose = f"{socket}: " if socket != "U7" else ""
        said = {f.code.name for f in judged.findings if f.title.startswith(f"{whose}the ") and f.code.name in NAMES}
        written = f"{whose}the board writes the {each.chip.name}" in [f.title for f in judged.findings]
        own = any(area.device == socket and "write" in area.access for area in board.map)
        kept = exposed and not each.chip.volatile and not written
        assert said == ({"own-write-at-power-up" if own else "write-at-power-up"} if kept else set())


@given(boards())
@settings(max_examples=50, deadline=None)
def test_what_a_cycle_can_write_power_up_can_too(board):
    """Unknown lines allow no less than any state of known ones."""
    study = Study(board, CPU, board.sockets[0], EEPROM)
    for setting in study.settings():
        mounted = study.mount(study.nets(setting))
        assert mounted.exposed or not mounted.written


@pytest.mark.parametrize("command", ["links", "wire"])
def test_the_commands_say_it(romwright, tmp_path, command):
    """A board's file of one's own: the stop in `links`, the tie in `wire --board`."""
    from romwright.datafiles import data_folder

    text = (data_folder("boards") / "tern-tl-1.toml").read_text("utf-8")
    text = text.replace("tern-tl-1", "mine").replace("+5V P27 A13", "+5V /LOWR A13")
    text = re.sub(r'\[\[links\]\]\nname = "LK2".*\n.*\n.*\n', "", text)
    gate = '[[gates]]\nname = "U20"\nkind = "or"\ninputs = "/WRS A15"\noutputs = "/LOWR"\n\n'
    text = text.replace("[[gates]]", gate + "[[gates]]", 1)
    (tmp_path / "mine.toml").write_text(text, "utf-8")
    if command == "links":
        run = romwright("links", "mine.toml", "U7", "28C256", "--now", "LK1=1-2")
        assert run.status == 1 and "write-at-power-up" in run.out, run.out + run.err
    else:
        run = romwright("wire", "U7", "28C256", "--board", "mine.toml", "--json")
        assert run.status == 0, run.out + run.err
        (row,) = (row for row in run.json["rows"] if row["chip"] == 27)
        assert row["how"] == "tie to VCC"
