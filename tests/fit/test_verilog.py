"""Outside check: Icarus Verilog (IEEE 1364) resolves the exported board in four states: x where we report a contention,
z where we report an open bus, the number of the one device elsewhere. Random boards, settings and parts."""

import subprocess

import pytest
from conftest import require
from fit.test_bus import CHIPS, CLASHES, CPU, TERN, boards
from hypothesis import given, settings
from hypothesis import strategies as st

from romwright.fit import tables
from romwright.fit.bus import lowest_address
from romwright.fit.meets import FLOATING
from romwright.fit.settings import Study
from romwright.fit.verilog import CPU_NUMBER, build_verilog, number_bits, numbers

LINES = [*CPU.address_lines, *CPU.controls]


def simulate(folder, text, states):
    """Return the data bus in each state: (levels of the CPU's lines, whether the CPU writes)."""
    steps = []
    for lines, writes in states:
        bits = "".join("LH".index(lines[line]).__str__() for line in reversed(LINES))
        steps.append(f'cpu = {len(LINES)}\'b{bits}; w = {int(writes)}; #1 $display("%b", data);')
    bench = f"module t; reg [{len(LINES) - 1}:0] cpu; reg w; wire [7:0] data; board b(cpu, w, data); initial begin\n"
    (folder / "t.v").write_text(text + bench + "\n".join(steps) + "\nend endmodule\n")
    subprocess.run(["iverilog", "-g2001", "-s", "t", "-o", folder / "t.vvp", folder / "t.v"], check=True)
    done = subprocess.run(["vvp", "-n", folder / "t.vvp"], check=True, capture_output=True, text=True)
    return done.stdout.split()


def expected(case, study):
    """What the bus must show, line by line, highest first: x on a contention where the numbers differ."""
    own = numbers(study.board, study.known[len(study.board.devices) :]) | {"CPU": CPU_NUMBER}
    lines = {d.name: d.data for d in study.board.devices}
    shown = ""
    for line in range(7, -1, -1):
        bits = {number_bits(own[name], [line]) for name in case.drives if not (lines.get(name) == "D0-D3" and line > 3)}
        shown += {0: "z", 1: next(iter(bits), "")}.get(len(bits), "x")
    return shown


def compare(folder, study, setting):
    """Simulate every state of every case whose answer is sure; return how many showed a contention and an open bus."""
    mounted = study.mount(study.nets(setting))
    # a lane of its own (a device with four lines) splits a case in two: put the drivers of both together
    merged = {}
    for case in study.cases(mounted):
        for levels in tables.true_rows(study.accesses.names, case.mask):
            at = lowest_address(levels, case.access.span)
            lines = {line: "LH"[at >> int(line[1:]) & 1] for line in CPU.address_lines}
            lines |= {s: case.access.cycle.levels.get(s, levels.get(s, "L")) for s in CPU.controls}
            key = case.access.cycle.name, tuple(lines.values())
            merged.setdefault(key, (lines, case.access.cycle.access == "write", []))[2].append(case)
    states = [state for state in merged.values() if all(case.sure for case in state[2])]
    text = build_verilog(study.board, CPU, setting, study.socket, study.chip)
    shown = simulate(folder, text, [(lines, writes) for lines, writes, _ in states])
    contended = opened = 0
    for (_, _, cases), data in zip(states, shown, strict=True):
        every = max(cases, key=lambda case: len(case.drives))
        assert data == expected(every, study), (every, data)
        assert ("x" in data) == any(case.outcome == "contention" for case in cases)
        contended += "x" in data
        opened += data == "zzzzzzzz"
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


@settings(max_examples=100, deadline=None)
@given(boards(), st.sampled_from(sorted(CHIPS)), st.data())
def test_random_boards(tmp_path_factory, board, name, data):
    require("iverilog", "iverilog")
    study = Study(board, CPU, board.sockets[0], CHIPS[name])
    setting = data.draw(st.sampled_from(list(study.settings())))
    found = {finding.code for finding in study.judge(setting).findings}
    met = [net.label for net in study.mount(study.nets(setting)).seats.values()]
    # Two pins on one net cannot be at two levels: we know that of a floating net too, x & ~x does not.
    if not found & CLASHES and not (FLOATING in found and len(set(met)) < len(met)):
        compare(tmp_path_factory.mktemp("v"), study, setting)
