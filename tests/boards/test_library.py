"""The shipped boards and CPUs load, and the cycles say what their documents say."""

import pytest

from romwright.boards.gates import PINS, outputs_of
from romwright.boards.library import board_names, cpu_names, require_board, require_cpu
from romwright.boards.model import Gate
from romwright.errors import UnknownNameError


@pytest.mark.parametrize("name", board_names())
def test_shipped_boards_load(name):
    assert require_board(name).name == name


@pytest.mark.parametrize("name", cpu_names())
def test_shipped_cpus_have_reads_and_writes(name):
    cpu = require_cpu(name)
    assert {"read", "write", "none"} == {cycle.access for cycle in cpu.cycles}
    assert all(cycle.source for cycle in cpu.cycles)


def test_a_board_and_a_cpu_that_are_not_there():
    with pytest.raises(UnknownNameError) as caught:
        require_board("tern-tl1")
    assert caught.value.near == ("tern-tl-1",)
    with pytest.raises(UnknownNameError):
        require_cpu("Z8O0")


def evaluate(gate, levels):
    """Return the output of each node of a gate at the levels of its inputs: H, L or Z."""
    found = {}
    for out in outputs_of(gate):
        on = any(all(levels[n] == v for n, v in row.items()) for row in out.on)
        hit = any(all(levels[n] == v for n, v in row.items()) for row in out.rows)
        found[out.node] = (out.gives if hit else "LH"[out.gives == "L"]) if on else "Z"
    return found


def test_gates_follow_their_function_tables():
    """Against Python's own operators, and the '138 and '139 function tables (TI SDLS014, SCLS108): one low output."""
    from itertools import product

    two = {
        "and": lambda a, b: a & b, "nand": lambda a, b: 1 - (a & b), "or": lambda a, b: a | b,
        "nor": lambda a, b: 1 - (a | b), "xor": lambda a, b: a ^ b,
    }  # fmt: skip
    for kind, law in two.items():
        for a, b in product((0, 1), repeat=2):
            assert evaluate(Gate("U", kind, "a b", "y"), {"a": "LH"[a], "b": "LH"[b]}) == {"y": "LH"[law(a, b)]}
    for a in (0, 1):
        assert evaluate(Gate("U", "inverter", "a", "y"), {"a": "LH"[a]}) == {"y": "HL"[a]}
        assert evaluate(Gate("U", "buffer", "a", "y"), {"a": "LH"[a]}) == {"y": "LH"[a]}
        for g in (0, 1):
            state = {"a": "LH"[a], "g": "LH"[g]}
            assert evaluate(Gate("U", "three-state buffer", "a g", "y"), state) == {"y": "Z" if g else "LH"[a]}
    for kind, count in (("2-to-4", 4), ("3-to-8", 8)):
        pins, nodes = PINS[kind][0], [f"y{i}" for i in range(count)]
        for levels in product((0, 1), repeat=len(pins)):
            at = dict(zip(pins, levels))
            number = at["A"] + 2 * at["B"] + 4 * at.get("C", 0)
            on = not at["/G"] if kind == "2-to-4" else at["G1"] and not at["/G2A"] and not at["/G2B"]
            wanted = {node: "L" if on and i == number else "H" for i, node in enumerate(nodes)}
            state = {pin: "LH"[level] for pin, level in at.items()}
            assert evaluate(Gate("U", kind, " ".join(pins), " ".join(nodes)), state) == wanted


def test_a_decoder_with_one_node_on_two_inputs():
    """An output that would need it at both levels never goes low."""
    gate = Gate("U", "2-to-4", "GND A15 A15", "y0 y1 y2 y3")
    for level in "LH":
        out = evaluate(gate, {"GND": "L", "A15": level})
        assert out == {"y0": "LH"[level == "H"], "y1": "H", "y2": "H", "y3": "LH"[level == "L"]}
