"""Outside check: Icarus Verilog (IEEE 1364) resolves the exported board in four states: x where we report a contention,
z where we report an open bus, the number of the one device elsewhere. Random boards, settings and parts."""

import subprocess
from pathlib import Path

import pytest
from conftest import require
from fit.test_bus import CHIPS, CLASHES, CPU, TERN, boards_of_two, empty
from hypothesis import given, settings
from hypothesis import strategies as st

from romwright.boards.library import read_board, require_board, require_cpu
from romwright.fit import tables
from romwright.fit.meets import FLOATING
from romwright.fit.settings import Study
from romwright.fit.verilog import CPU_NUMBER, build_verilog, number_bits, numbers
from romwright.parts.library import require_part

FIXTURES = Path(__file__).parents[2] / "fixtures" / "boards"


def simulate(folder, text, cpu, states):
    """Return the data bus in each state: (levels of the CPU's lines, whether the CPU writes)."""
    steps, order = [], [*cpu.address_lines, *cpu.controls]
    for lines, writes in states:
        bits = "".join("LH".index(lines[line]).__str__() for line in reversed(order))
        steps.append(f'cpu = {len(order)}\'b{bits}; w = {int(writes)}; #1 $display("%b", data);')
    ports = f"reg [{len(order) - 1}:0] cpu; reg w; wire [{len(cpu.data_lines) - 1}:0] data"
    bench = f"module t; {ports}; board b(cpu, w, data); initial begin\n"
    (folder / "t.v").write_text(text + bench + "\n".join(steps) + "\nend endmodule\n")
    subprocess.run(["iverilog", "-g2001", "-s", "t", "-o", folder / "t.vvp", folder / "t.v"], check=True)
    done = subprocess.run(["vvp", "-n", folder / "t.vvp"], check=True, capture_output=True, text=True)
    return done.stdout.split()


def expected(cases, study):
    """What each data line that a cycle uses must show, highest first: x on a contention where the numbers differ."""
    own = numbers(study.board, [socket.name for socket, _, _ in study.seats]) | {"CPU": CPU_NUMBER}
    shown = ""
    for line in reversed(study.wiring.cpu.data_lines):
        drives = [case.drives for case in cases if line in case.lines]
        bits = {number_bits(own[name], [int(line[1:])]) for name in (drives or [()])[0]}
        shown += {0: "z", 1: next(iter(bits), "")}.get(len(bits), "x") if drives else "-"
    return shown


def compare(folder, study, setting):
    """Simulate every state of every case whose answer is sure; return how many showed a contention and an open bus."""
    mounted = study.mount(study.nets(setting))
    merged, cpu = {}, study.wiring.cpu  # a device with four lines splits a state into two cases: put both together
    for case in study.cases(mounted):
        for levels in tables.true_rows(study.accesses.names, case.mask):
            at = next(case.access.space.on_lines(case.access.lowest(levels)))
            lines = {line: levels.get(line, "LH"[at >> int(line[1:]) & 1]) for line in cpu.address_lines}
            lines |= {s: case.access.cycle.levels.get(s, levels.get(s, "L")) for s in cpu.controls}
            key = case.access.cycle.name, tuple(levels.values())
            merged.setdefault(key, (lines, case.access.cpu_drives, []))[2].append(case)
    states = [state for state in merged.values() if all(case.sure for case in state[2])]
    also = {socket.name: part for socket, part, _ in study.seats[1:]}
    text = build_verilog(study.board, cpu, setting, study.socket, study.chip, also)
    shown = simulate(folder, text, cpu, [(lines, writes) for lines, writes, _ in states])
    contended = opened = 0
    for (_, _, cases), data in zip(states, shown, strict=True):
        wanted = expected(cases, study)
        data = "".join(bit if asked != "-" else "-" for bit, asked in zip(data, wanted, strict=True))
        assert data == wanted, (cases, data)
        assert ("x" in data) == any(case.outcome == "contention" for case in cases)
        for case in (case for case in cases if case.access.expected in study.known):
            on = {data[-1 - int(line[1:])] for line in case.lines}
            assert (on == {"z"}) == (case.outcome == "open bus"), (case, data)
        contended += "x" in data
        opened += set(data) <= {"z", "-"}
    return contended, opened


@pytest.mark.parametrize("chip", ["27128", "27C512", "28C256", "rom-23128-style-a"])
def test_every_setting_of_the_tern(tmp_path, chip):
    require("iverilog", "iverilog")
    study = Study(TERN, CPU, TERN.sockets[0], CHIPS[chip])
    for setting in study.settings():
        contended, opened = compare(tmp_path, study, setting)
        cases = study.cases(study.mount(study.nets(setting)))
        assert bool(contended) == any(case.outcome == "contention" for case in cases)
        assert opened  # the first half of every cycle


@pytest.mark.parametrize("chip", ["27C256", "27C512", "28C256", "62256"])
@pytest.mark.parametrize("also", [{}, None, {"U4": CHIPS["28C256"]}])
def test_every_setting_of_a_board_with_two_halves_of_a_word(tmp_path, chip, also):
    """U4 empty, with the ROM that its board's file names, and with another chip."""
    require("iverilog", "iverilog")
    board = require_board("kittiwake-kw-68")
    study = Study(board, require_cpu(board.cpu), board.sockets[0], CHIPS[chip], also=also)
    for setting in study.settings():
        contended, _ = compare(tmp_path, study, setting)
        assert contended or setting["LK3"] == "1-2" or chip in ("28C256", "62256")


@pytest.mark.parametrize("chip", ["2532", "2732", "6116"])
@pytest.mark.parametrize("also", [None, {"U8": require_part("2732")}])
def test_every_setting_of_a_board_with_two_roms(tmp_path, chip, also):
    require("iverilog", "iverilog")
    board = require_board("dunlin-dl-2")
    study = Study(board, require_cpu(board.cpu), board.sockets[0], require_part(chip), also=also)
    fights = sum(compare(tmp_path, study, setting)[0] for setting in study.settings())
    assert bool(fights) == (also is None or chip == "2532")  # two 2732 have /RD as an enable each


@pytest.mark.parametrize("path", sorted(FIXTURES.glob("*.toml")), ids=lambda path: path.stem)
def test_every_setting_of_a_board_for_each_cpu(tmp_path, path):
    """Beside reads and writes: what the CPU drives before a strobe falls, addresses and status, ports, acknowledge."""
    require("iverilog", "iverilog")
    board = read_board(path)
    chip = require_part("27C400" if board.cpu == "68000" else "28C64")
    study = Study(board, require_cpu(board.cpu), board.sockets[0], chip)
    fights = sum(compare(tmp_path, study, setting)[0] for setting in study.settings())
    assert fights


@settings(max_examples=150, deadline=None)
@given(empty | boards_of_two(), st.sampled_from(sorted(CHIPS)), st.data())
def test_random_boards(tmp_path_factory, made, name, data):
    require("iverilog", "iverilog")
    board, also = made
    study = Study(board, CPU, board.sockets[0], CHIPS[name], also=also)
    setting = data.draw(st.sampled_from(list(study.settings())))
    found = {finding.code for finding in study.judge(setting).findings}
    everyone = study.mount(study.nets(setting)).everyone.values()
    met = [[net.label for net in each.seats.values()] for each in everyone]
    # Two pins on one net cannot be at two levels: we know that of a floating net too, x & ~x does not.
    if not found & CLASHES and not (FLOATING in found and any(len(set(labels)) < len(labels) for labels in met)):
        compare(tmp_path_factory.mktemp("v"), study, setting)
