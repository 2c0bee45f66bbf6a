"""Every level of every cycle file against the documents typed a second time, and a board for each CPU by hand.

The tables here were typed from the documents named in them, not from the files: the columns stand in the documents'
order. A level in parentheses is from memory or reasoning, as the file's `unchecked` says; `-`: not stated.
"""

from functools import cache
from pathlib import Path

import pytest
from msgspec.structs import replace

from romwright.boards.library import cpu_names, read_board, require_cpu
from romwright.boards.model import Ports
from romwright.fit import tables
from romwright.fit.onboard.accesses import Accesses
from romwright.fit.onboard.settings import Study
from romwright.parts.library import require_part

FOLDER = Path(__file__).parents[2] / "fixtures" / "boards"

# CPU -> columns, and rows: levels; who has the data lines; what the cycle is for; its name; a range, space or lines
DOCUMENTS = {
    # Zilog, Z80 CPU User Manual UM008007-0715, July 2015, pp. 3, 6-14, figures 5 to 9
    "Z80": ("/M1 /MREQ /IORQ /RD /WR /RFSH", """
        L H H H H H | -        | none  | opcode fetch, before /MREQ
        L L H L H H | device   | read  | opcode fetch
        H H H H H L | -        | none  | refresh, before /MREQ
        H L H H H L | -        | none  | refresh
        H L H L H H | device   | read  | memory read
        H L H H H H | (data)   | write | memory write, before /WR
        H L H H L H | data     | write | memory write
        H H L L H H | device   | read  | I/O read                            | io
        H H L H L H | data     | write | I/O write                           | io
        L H L H H H | -        | none  | interrupt acknowledge               | acknowledge
        H L H H H L | -        | none  | refresh after interrupt acknowledge
        H H H H H H | -        | none  | internal
        H H H H H H | -        | none  | reset held
    """),
    # WDC, W65C02S, 17 May 2013, pp. 10-12; 6510 in a third-party copy of a Programmer's Reference Guide, appendix L
    "6502": ("R/W SYNC PHI2 VPB", """
        H H H (H) | device | read  | opcode fetch
        H L H (H) | device | read  | memory read
        L L H (H) | data   | write | memory write
        H L H L   | device | read  | vector pull            | FFFA-FFFF
        H - L -   | -      | none  | first half of a read
        L L L (H) | -      | none  | first half of a write
    """),
    # Motorola, MC6800, DS9471, pp. 4, 7, 9
    "6800": ("R/W VMA PHI2 BA", """
        H H H (L) | device | read  | memory read
        L H H (L) | data   | write | memory write
        H H L (L) | -      | none  | first half of a read
        L H L (L) | -      | none  | first half of a write
        H L - (L) | -      | none  | not using the bus
        H L - L   | -      | none  | reset held             | FFFE
    """),
    # Motorola, MC6809, DS9845-R2, 1983, pp. 3, 6, 9
    "6809": ("R/W E BA BS Q", """
        H H L L -     | device | read  | memory read
        L H (L) (L) - | data   | write | memory write
        H H L H -     | device | read  | vector fetch                    | FFF0-FFFF
        H L L - -     | -      | none  | first half of a read
        L L (L) (L) L | -      | none  | first half of a write, before Q
        L L (L) (L) H | (-)    | write | first half of a write, Q high
        H - (L) L -   | -      | none  | not using the bus               | FFFF
    """),
    # Intel, 8080 Microcomputer Systems User's Manual, 98-153B, September 1975, pp. 2-5, 2-6, in a third-party copy: the
    # strobe of each cycle; that the others are H then is reasoning
    "8080": ("/MEMR /MEMW /IOR /IOW /INTA", """
        L (H) (H) (H) (H) | device | read  | opcode fetch
        L (H) (H) (H) (H) | device | read  | memory read
        (H) L (H) (H) (H) | data   | write | memory write
        (H) (H) L (H) (H) | device | read  | input                                       | io
        (H) (H) (H) L (H) | data   | write | output                                      | io
        (H) (H) (H) (H) L | -      | none  | interrupt acknowledge                       | acknowledge
        H H H H H         | (status) | none | T1: status on the data lines
        H H H H H         | -      | none  | no strobe: between cycles, halt acknowledge
    """),
    # Intel, 8085AH, 231718-001, September 1987, p. 1-20, tables 3 and 4; p. 1-23, tRAE and note 1
    "8085": ("IO//M S1 S0 /RD /WR /INTA ALE", """
        L H H L H H L | device  | read  | opcode fetch
        L H L L H H L | device  | read  | memory read
        L L H H L H L | data    | write | memory write
        H H L L H H L | device  | read  | I/O read                             | io
        H L H H L H L | data    | write | I/O write                            | io
        H H H H H L L | -       | none  | acknowledge of INTR                  | acknowledge
        L H H H H H H | address | none  | T1 of an opcode fetch
        L H L H H H H | address | none  | T1 of a memory read
        L L H H H H H | address | write | T1 of a memory write
        H H L H H H H | address | none  | T1 of an I/O read                    | io
        H L H H H H H | address | write | T1 of an I/O write                   | io
        H H H H H H H | address | none  | T1 of an acknowledge of INTR
        L L H H H H L | (data)  | write | memory write, before /WR
        H L H H H H L | (data)  | write | I/O write, before /WR                | io
        L H H H H H L | -       | none  | opcode fetch, no strobe
        L H L H H H L | -       | none  | bus idle, DAD
        H H H H H H - | -       | none  | bus idle, acknowledge of RST or TRAP
    """),
    # Intel, 8088, 231456-006, August 1990, p. 4; p. 14; p. 18, TRHAV
    "8088": ("IO//M DT//R /SSO /RD /WR /INTA ALE", """
        L L L (L) (H) (H) (L) | device  | read  | code access
        L L H (L) (H) (H) (L) | device  | read  | memory read
        L H L (H) (L) (H) (L) | data    | write | memory write
        L H H (H) (H) (H) -   | -       | none  | passive
        H L L H (H) L (L)     | -       | none  | interrupt acknowledge    | acknowledge
        H L H (L) (H) (H) (L) | device  | read  | I/O read                 | io
        H H L (H) (L) (H) (L) | data    | write | I/O write                | io
        H H H (H) (H) (H) -   | -       | none  | halt
        L L L (H) (H) (H) (H) | address | none  | T1 of a code access
        L L H (H) (H) (H) (H) | address | none  | T1 of a memory read
        L H L (H) (H) (H) (H) | address | write | T1 of a memory write
        H L H (H) (H) (H) (H) | address | none  | T1 of an I/O read        | io
        H H L (H) (H) (H) (H) | address | write | T1 of an I/O write       | io
        L H L (H) (H) (H) (L) | (data)  | write | memory write, before /WR
        H H L (H) (H) (H) (L) | (data)  | write | I/O write, before /WR    | io
    """),
    # the same page, its column for maximum mode; the strobes of the 8288 from memory
    "8088-max": ("/S2 /S1 /S0 /INTA /IORC /IOWC /MRDC /MWTC ALE", """
        H L L (H) (H) (H) (L) (H) (L) | device  | read  | code access
        H L H (H) (H) (H) (L) (H) (L) | device  | read  | memory read
        H H L (H) (H) (H) (H) (L) (L) | data    | write | memory write
        H H H (H) (H) (H) (H) (H) -   | -       | none  | passive
        L L L (L) (H) (H) (H) (H) (L) | -       | none  | interrupt acknowledge      | acknowledge
        L L H (H) (L) (H) (H) (H) (L) | device  | read  | I/O read                   | io
        L H L (H) (H) (L) (H) (H) (L) | data    | write | I/O write                  | io
        L H H (H) (H) (H) (H) (H) -   | -       | none  | halt
        H L L (H) (H) (H) (H) (H) (H) | address | none  | T1 of a code access
        H L H (H) (H) (H) (H) (H) (H) | address | none  | T1 of a memory read
        H H L (H) (H) (H) (H) (H) (H) | address | write | T1 of a memory write
        L L H (H) (H) (H) (H) (H) (H) | address | none  | T1 of an I/O read          | io
        L H L (H) (H) (H) (H) (H) (H) | address | write | T1 of an I/O write         | io
        H H L (H) (H) (H) (H) (H) (L) | (data)  | write | memory write, before /MWTC
        L H L (H) (H) (H) (H) (H) (L) | (data)  | write | I/O write, before /IOWC    | io
    """),
    # Motorola, M68000 User's Manual, ninth edition, 1993, p. 3-5 table 3-1; p. 3-9; sections 4.1.1, 5.1.4. The last
    # column: FC2 FC1 FC0 of user data LLH, user program LHL, supervisor data HLH, supervisor program HHL; CPU space HHH
    "68000": ("/UDS /LDS R/W /AS FC2,FC1,FC0", """
        L L H L    LLH,LHL,HLH,HHL | device | read  | word read
        H L H L    LLH,LHL,HLH,HHL | device | read  | odd byte read            | D0-D7
        L H H L    LLH,LHL,HLH,HHL | device | read  | even byte read           | D8-D15
        L L L L    LLH,LHL,HLH,HHL | data   | write | word write
        H L L L    LLH,LHL,HLH,HHL | data   | write | odd byte write
        L H L L    LLH,LHL,HLH,HHL | data   | write | even byte write
        H H L L    LLH,LHL,HLH,HHL | (data) | write | write, before the strobes
        - - (H) L  HHH             | -      | none  | interrupt acknowledge    | acknowledge FFFFF0-FFFFFF
        H H - H    -               | -      | none  | between cycles
    """),
}  # fmt: skip

LINES = {"6502": ("A0-A15", "D0-D7"), "8088": ("A0-A19", "D0-D7"), "68000": ("A1-A23", "D0-D15")}
PORTS = {  # 8085: table 3, port on both halves of the address; Z80: pp. 10-11, port on A0-A7; the others from memory
    "8085": Ports("A0-A7", "copy"), "Z80": Ports("A0-A7", "any"), "8080": Ports("A0-A7", "copy"),
    "8088": Ports("A0-A15", "L"), "8088-max": Ports("A0-A15", "L"),
}  # fmt: skip


def states(columns, words):
    """The levels of a row as the set of all the states of its signals that fit it."""
    found = [{}]
    for column, word in zip(columns.split(), words.split(), strict=True):
        names = column.split(",")
        choices = word.split(",") if len(names) > 1 and word != "-" else [word.strip("()") * len(names)]
        found = [state | dict(zip(names, choice)) for state in found for choice in choices]
    return free([{name: level for name, level in state.items() if level != "-"} for state in found], columns)


def free(rows, columns):
    """Spread rows of levels over the levels that they leave free."""
    names, found = columns.replace(",", " ").split(), set()
    for number in range(1 << len(names)):
        state = {name: "LH"[number >> i & 1] for i, name in enumerate(names)}
        if any(row.items() <= state.items() for row in rows):
            found.add(tuple(state.items()))
    return found


@cache
def told(cpu_name):
    """What the documents say: name -> states, data lines, purpose, space, range, lines."""
    columns, text = DOCUMENTS[cpu_name]
    found = {}
    for row in filter(None, map(str.strip, text.splitlines())):
        levels, who, purpose, name, *more = (cell.strip() for cell in row.split("|"))
        more = " ".join(more).split()
        space = next((word for word in more if word in ("io", "acknowledge")), "memory")
        data = next((word for word in more if word[0] == "D"), "")
        address = next((word for word in more if word not in (space, data)), "")
        assert name not in found
        found[name] = states(columns, levels), who.strip("()").strip("-"), purpose, space, address, data
    return found


def disagreements(cpu):
    """The names of the cycles in which a CPU's file and the documents differ, those that one of them lacks too."""
    columns, wanted = DOCUMENTS[cpu.name][0], told(cpu.name)
    have = {
        c.name: (
            free(c.rows, columns), c.cpu_drives or "device" * (c.access == "read"),
            c.access, c.space, c.address, c.data,
        )
        for c in cpu.cycles
    }  # fmt: skip
    return {name for name in wanted.keys() | have.keys() if wanted.get(name) != have.get(name)}


def test_every_cpu_has_its_document():
    assert cpu_names() == sorted(DOCUMENTS)


@pytest.mark.parametrize("name", DOCUMENTS)
def test_the_cycles_say_what_the_documents_say(name):
    cpu = require_cpu(name)
    assert set(cpu.controls) == set(DOCUMENTS[name][0].replace(",", " ").split())
    assert not disagreements(cpu)
    assert (cpu.address, cpu.data) == LINES.get(name.removesuffix("-max"), LINES["6502"])
    assert cpu.ports == PORTS.get(name)


@pytest.mark.parametrize("name", DOCUMENTS)
def test_what_is_from_memory_is_said_to_be(name):
    """A file whose table has a level in parentheses has an entry for it, and no other file has one about levels."""
    text, unchecked = DOCUMENTS[name][1], require_cpu(name).unchecked
    doubted = {row.split("|")[3].strip() for row in text.splitlines() if "(" in row.split("|")[0]}
    driven = {row.split("|")[3].strip() for row in text.splitlines() if "(" in "".join(row.split("|")[1:2])}
    said = [entry for entry in unchecked if entry.startswith(("cycles.levels", "cycles: interrupt acknowledge"))]
    assert bool(doubted) == bool(said)
    for cycle in driven:
        assert any(cycle.split(", before")[0] in entry for entry in unchecked), cycle


@pytest.mark.parametrize("name", DOCUMENTS)
def test_any_level_that_is_changed_is_noticed(name):
    """Each level of each cycle turned over, left out, or put in where there is none: the comparison names the cycle."""
    cpu = require_cpu(name)

    def noticed(cycle, **changes):
        cycles = tuple(replace(c, **changes) if c.name == cycle.name else c for c in cpu.cycles)
        assert disagreements(replace(cpu, cycles=cycles)) == {cycle.name}, (cycle.name, changes)

    turned = {"H": "L", "L": "H"}
    for cycle in cpu.cycles:
        for signal in cpu.controls:
            rest = {s: level for s, level in cycle.levels.items() if s != signal}
            if signal in cycle.levels:
                noticed(cycle, levels=rest)
                noticed(cycle, levels=rest | {signal: turned[cycle.levels[signal]]})
            elif not any(signal in row for row in cycle.either):
                noticed(cycle, levels=rest | {signal: "L"})
        for number, row in enumerate(cycle.either):
            for signal, level in row.items():
                either = [dict(each) for each in cycle.either]
                either[number][signal] = turned[level]
                noticed(cycle, either=tuple(either))
        noticed(cycle, access={"read": "write", "write": "none", "none": "read"}[cycle.access])
        noticed(cycle, drives="nobody" if cycle.cpu_drives else "status")
        noticed(cycle, space="io" if cycle.space == "memory" else "memory")
        noticed(cycle, address="" if cycle.address else "FFFE-FFFF")


def test_each_row_of_either_counts():
    """A word of a 68000 is read in each of the four spaces of data and program, and in no other (M3 p. 3-9)."""
    names = ("FC0", "FC1", "FC2")
    board = read_board(FOLDER / "68000.toml")
    reads = [a for a in Accesses(board, require_cpu("68000"), names).all if a.cycle.name == "word read"]
    for access in reads:
        found = {state["FC2"] + state["FC1"] + state["FC0"] for state in tables.true_rows(names, access.mask)}
        assert found == {"LLH", "LHL", "HLH", "HHL"}
    assert reads


# The boards of fixtures/boards, by hand. 28C64 (Atmel AT28C64B: outputs on at /CE L, /OE L, /WE H): OE has what is on
# pin 22, WE what is on pin 27. A contention is named with the cycles in which it is; each line says why.
T1_8085, T1_8088 = {"T1 of an opcode fetch", "T1 of a memory read"}, {"T1 of a code access", "T1 of a memory read"}
RW, READ = "read write", "read"
HAND = [
    # /OE low always: off while /WR is low, on before that, while the CPU's byte is on the lines (from memory)
    ("z80", RW, "strobe/strobe", "works", set(), set()),
    ("z80", RW, "ground/strobe", "fault", {"bus-contention"}, {"memory write, before /WR"}),
    ("z80", RW, "ground/high", "fault", {"bus-contention"}, {"memory write, before /WR", "memory write"}),
    ("z80", READ, "strobe/high", "works", set(), set()),
    # a ROM selected by address and /MREQ: no program writes there
    ("z80", READ, "ground/high", "works", {"write-contention"}, {"memory write, before /WR", "memory write"}),
    ("6502", RW, "strobe/strobe", "works", set(), set()),
    # the CPU drives in the second half of a write only, when /WE is low already
    ("6502", RW, "ground/strobe", "works", set(), set()),
    # R/W is low in the first half, when the address may still move: writes must be gated with PHI2
    ("6502", RW, "strobe/bare", "stop", {"write-strobe"}, set()),
    ("6502", RW, "ground/high", "fault", {"bus-contention"}, {"memory write"}),
    ("6502", READ, "vector/high", "fault", {"open-bus"}, set()),  # low while a vector is read, not else
    # R/W is high while VMA is low, so a write strobe needs no VMA
    ("6800", RW, "strobe/strobe", "works", set(), set()),
    ("6800", RW, "strobe/bare", "stop", {"write-strobe"}, set()),
    ("6800", RW, "ground/high", "fault", {"bus-contention"}, {"memory write"}),
    # E OR Q covers the time at which the CPU takes data, Q alone does not; before Q rises the address is not valid
    ("6809", RW, "strobe/strobe", "works", set(), set()),
    ("6809", RW, "q/strobe", "fault", {"open-bus"}, set()),
    ("6809", RW, "strobe/bare", "stop", {"write-strobe"}, set()),
    ("6809", READ, "ground/high", "works", {"write-contention"}, {"memory write"}),
    ("8080", RW, "strobe/strobe", "works", set(), set()),
    # status in T1; selected by address alone, it drives in OUT as well (port on both halves) and in acknowledge
    ("8080", RW, "ground/strobe", "fault", {"bus-contention", "write-contention", "answers-acknowledge"},
     {"T1: status on the data lines", "output"}),
    ("8085", RW, "strobe/strobe", "works", set(), set()),
    ("8085", READ, "status/high", "fault", {"bus-contention"}, T1_8085),  # S1 is high in reads, T1 included
    ("8085", RW, "ground/strobe", "fault", {"bus-contention"},
     T1_8085 | {"T1 of a memory write", "memory write, before /WR"}),
    ("8088", RW, "strobe/strobe", "works", set(), set()),
    ("8088", READ, "status/high", "fault", {"bus-contention"}, T1_8088),
    ("8088", RW, "ground/strobe", "fault", {"bus-contention"},
     T1_8088 | {"T1 of a memory write", "memory write, before /WR"}),
    ("8088-max", RW, "strobe/strobe", "works", set(), set()),
    ("8088-max", READ, "status/high", "fault", {"bus-contention"}, T1_8088),
    ("8088-max", RW, "ground/strobe", "fault", {"bus-contention"},
     T1_8088 | {"T1 of a memory write", "memory write, before /MWTC"}),
    ("68000", READ, "fc/strobe", "works", set(), set()),
    ("68000", READ, "plain/strobe", "works", {"answers-acknowledge"}, set()),  # a ROM at the top: M3 5.1.4
    ("68000", READ, "fc/ground", "works", {"write-contention"},
     {"word write", "odd byte write", "even byte write", "write, before the strobes"}),
]  # fmt: skip
# behind a buffer that is off while an address or a status is shown
BUFFERED = [
    ("8080", READ, "ground/high", "works", {"write-contention", "answers-acknowledge"}, {"memory write", "output"}),
    ("8085", READ, "status/high", "works", set(), set()),
    ("8085", RW, "ground/strobe", "fault", {"bus-contention"}, {"memory write, before /WR"}),
    ("8088", READ, "status/high", "works", set(), set()),
    ("8088-max", READ, "status/high", "works", set(), set()),
    ("8088-max", RW, "ground/strobe", "fault", {"bus-contention"}, {"memory write, before /MWTC"}),
]


def judge(name, access, setting, **changes):
    """Judge one setting of a board of the fixtures with the map's access changed."""
    board = read_board(FOLDER / f"{name}.toml")
    board = replace(board, map=tuple(replace(area, access=access) for area in board.map), **changes)
    chip = require_part("27C400" if name == "68000" else "28C64")
    study = Study(board, require_cpu(board.cpu), board.sockets[0], chip)
    return study.judge(dict(zip((link.name for link in board.links), setting.split("/"), strict=True)))


POWER_UP = {"own-write-at-power-up"}  # of the RAMs and EEPROMs that programs write; tests/fit/onboard/test_power_up.py


def check(judged, verdict, codes, contended):
    assert judged.verdict == verdict
    assert ({finding.code.name for finding in judged.findings} - POWER_UP) == codes
    assert {case.access.cycle.name for case in judged.cases if case.outcome == "contention"} == contended


@pytest.mark.parametrize("name, access, setting, verdict, codes, contended", HAND)
def test_a_board_for_each_cpu_by_hand(name, access, setting, verdict, codes, contended):
    check(judge(name, access, setting), verdict, codes, contended)


@pytest.mark.parametrize("name, access, setting, verdict, codes, contended", BUFFERED)
def test_behind_a_bus_buffer(name, access, setting, verdict, codes, contended):
    check(judge(name, access, setting, buffered=True), verdict, codes, contended)


def test_json_says_where_the_cpu_is_to_drive():
    cycles = judge("8085", RW, "strobe/strobe").as_json()["cycles"]
    asked = {cycle["name"] for cycle in cycles if cycle["expected"] == "CPU"}
    assert asked == {name for name, row in told("8085").items() if row[1] in ("data", "address")}
    assert {cycle["name"] for cycle in cycles if "CPU" in cycle["drives"]} == asked


def test_every_cpu_has_a_board_with_a_right_and_a_wrong_wiring():
    boards = {path.stem: read_board(path).cpu for path in FOLDER.glob("*.toml")}
    assert sorted(boards.values()) == cpu_names()
    for name in boards:
        assert any(row[0] == name and not row[4] for row in HAND) and any(row[0] == name and row[4] for row in HAND)
