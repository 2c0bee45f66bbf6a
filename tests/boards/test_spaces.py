"""Ports against a search over all that the address lines can show, as the CPU's file says of those above a port."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from romwright.boards.library import read_board, require_board, require_cpu
from romwright.boards.model import Area, Device
from romwright.boards.spaces import space_of
from romwright.errors import DataFileError
from romwright.fit import tables
from romwright.fit.accesses import Accesses
from romwright.fit.settings import Study
from romwright.fit.symptoms import Law, find_symptoms
from romwright.parts.library import require_part

FOLDER = Path(__file__).parents[2] / "fixtures" / "boards"
BOARDS = {name: read_board(FOLDER / f"{name}.toml") for name in ("z80", "8080", "8085", "8088", "8088-max")}


def port_of(name, shown):
    """The port that the address lines show, None if no I/O cycle shows this: by the words of the files."""
    if name in ("8080", "8085"):  # the port stands on both halves
        return shown & 0xFF if shown >> 8 == shown & 0xFF else None
    if name == "z80":  # A8 to A15 are anything
        return shown & 0xFF
    return shown if shown <= 0xFFFF else None  # A16 to A19 are low


@settings(max_examples=40, deadline=None)
@given(st.sampled_from(sorted(BOARDS)), st.data())
def test_the_states_of_a_range_of_ports(name, data):
    cpu, wide = require_cpu(BOARDS[name].cpu), name.startswith("8088")
    first, last = sorted(data.draw(st.tuples(*[st.integers(0, 0xFFFF if wide else 0xFF)] * 2)))
    digits = 4 if wide else 2
    area = Area(f"{first:0{digits}X}-{last:0{digits}X}", "U1", space="io")
    names = sorted(data.draw(st.sets(st.sampled_from(cpu.address_lines), min_size=1, max_size=5)))
    board = replace(BOARDS[name], map=(*BOARDS[name].map, area))
    found = [a for a in Accesses(board, cpu, names).all if a.cycle.space == "io" and a.device == "U1"]
    assert found
    wanted = {}
    for shown in range(1 << len(cpu.address_lines)):
        port = port_of(name, shown)
        if port is not None and first <= port <= last:
            key = tuple("LH"[shown >> int(line[1:]) & 1] for line in names)
            wanted[key] = min(port, wanted.get(key, port))
    for access in found:
        assert access.range == (area.range if first != last else area.range.split("-")[0])
        states = {tuple(state.values()): access.lowest(state) for state in tables.true_rows(names, access.mask)}
        assert states == wanted


@pytest.mark.parametrize("name, port", [("z80", 0x12), ("8085", 0xA5), ("8080", 0xFF), ("8088", 0x3F8)])
def test_all_that_the_lines_show_for_a_port(name, port):
    cpu = require_cpu(BOARDS[name].cpu)
    every = range(1 << len(cpu.address_lines))
    found = list(space_of("io", BOARDS[name], cpu).on_lines(port))
    assert sorted(found) == [shown for shown in every if port_of(name, shown) == port]


def test_a_z80_board_that_looks_at_all_lines_writes_four_digits():
    board, cpu = BOARDS["z80"], require_cpu("Z80")

    def states(text):
        area = Area(text, "U1", space="io")
        every = Accesses(replace(board, map=(*board.map, area)), cpu, ("A4", "A12")).all
        access = next(a for a in every if a.device == "U1" and a.cycle.name == "I/O read")
        return access.name, {tuple(state.values()) for state in tables.true_rows(("A4", "A12"), access.mask)}

    assert states("10-1F") == ("I/O read of I/O 10-1F", {("H", "L"), ("H", "H")})
    assert states("0010-001F") == ("I/O read of I/O 0010-001F", {("H", "L")})


@pytest.mark.parametrize("cpu, text, told", [
    ("8085", "100-1FF", "up to FF"), ("8088", "0-1FFFF", "up to FFFF"), ("Z80", "0-1FFFF", "up to FFFF"),
])  # fmt: skip
def test_a_port_that_there_is_not(tmp_path, cpu, text, told):
    name = cpu.lower()
    path = tmp_path / f"{name}.toml"
    page = (FOLDER / path.name).read_text("utf-8") + f'\n[[map]]\nrange = "{text}"\ndevice = "none"\nspace = "io"\n'
    path.write_text(page, "utf-8")
    with pytest.raises(DataFileError, match=rf"expected FIRST-LAST in hex, {told} \[range\]"):
        read_board(path)


def test_what_a_rom_spoils_at_the_ports_of_an_8085():
    """Selected without IO//M, a ROM answers ports 00-1F too; at port 10 it shows cell 1010, at 11 cell 1111 ..."""
    port = Device("U2", "port", "port", ({"IO//M": "H", "/RD": "L", "A4": "H", "A5": "L", "A6": "L", "A7": "L"},))
    gates = (replace(BOARDS["8085"].gates[0], inputs="A13 A14 A15 +5V GND GND"), BOARDS["8085"].gates[1])
    areas = (*BOARDS["8085"].map, Area("10-1F", "U2", space="io"))
    board = replace(BOARDS["8085"], gates=gates, devices=(port,), map=areas)
    study = Study(board, require_cpu("8085"), board.sockets[0], require_part("28C64"))
    mounted = study.mount(study.nets({"OE": "strobe", "WE": "high"}))
    contents = bytearray(b"\xff" * 8192)
    contents[0x1010] = contents[0x1111] = 0xFE
    contents[0x1F1F] = 0x7F
    contents[0x1011] = 0x00  # never shows: both halves of the address are the port
    (symptom,) = find_symptoms(mounted, study.cases(mounted), bytes(contents), Law.LOW)
    assert (symptom.device.name, symptom.addresses, symptom.spans) == ("U2", 16, ["10-1F"])
    assert {line: count for line, count in symptom.wrong.items() if count} == {"D0": 2, "D7": 1}


def test_the_shipped_z80_board_writes_its_port_as_one():
    assert [area.range for area in require_board("dunlin-dl-2").map if area.space == "io"] == ["00-3F"]
