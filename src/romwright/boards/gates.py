"""Glue gates as rows of levels: what an output gives where a row of its inputs matches, and when it is on at all."""

from __future__ import annotations

from msgspec import Struct

from romwright.boards.model import UNCONNECTED, Gate, Levels
from romwright.parts.model import Level

# kind -> (pins in the order in which inputs are written; None: two or more of one sort), outputs
PINS: dict[str, tuple[tuple[str, ...] | None, int]] = {
    "inverter": (("A",), 1),
    "buffer": (("A",), 1),
    "and": (None, 1),
    "nand": (None, 1),
    "or": (None, 1),
    "nor": (None, 1),
    "xor": (("A", "B"), 1),
    "2-to-4": (("/G", "A", "B"), 4),  # half of a '139
    "3-to-8": (("A", "B", "C", "G1", "/G2A", "/G2B"), 8),  # a '138
    "three-state buffer": (("A", "/G"), 1),  # one of a '125, '244
    "table": (None, 1),
}
SELECTED: dict[str, Levels] = {"2-to-4": {"/G": "L"}, "3-to-8": {"G1": "H", "/G2A": "L", "/G2B": "L"}}


class Output(Struct, frozen=True):
    """One output: it gives a level where a row matches, the other elsewhere, and only while a row of `on` matches."""

    node: str
    gives: Level
    rows: tuple[Levels, ...]
    on: tuple[Levels, ...] = ({},)


def outputs_of(gate: Gate) -> list[Output]:
    """Return the outputs of a gate as rows of levels of its input nodes."""
    inputs, nodes = gate.inputs.split(), gate.outputs.split()
    every: dict[Level, Levels] = {level: dict.fromkeys(inputs, level) for level in ("H", "L")}
    if gate.kind in SELECTED:
        pins = dict(zip(PINS[gate.kind][0], inputs))
        picks = [pins[letter] for letter in "ABC" if letter in pins]
        return [
            Output(node, "L", merged([*((pins[pin], level) for pin, level in SELECTED[gate.kind].items()),
                                      *((pick, "H" if number >> i & 1 else "L") for i, pick in enumerate(picks))]))
            for number, node in enumerate(nodes)
            if node != UNCONNECTED
        ]  # fmt: skip
    rows, gives = {
        "inverter": ((every["H"],), "L"),
        "buffer": ((every["H"],), "H"),
        "and": ((every["H"],), "H"),
        "nand": ((every["H"],), "L"),
        "or": ((every["L"],), "L"),
        "nor": ((every["L"],), "H"),
        "xor": ((every["H"], every["L"]), "L"),
        "three-state buffer": (({inputs[0]: "H"},), "H"),
        "table": (gate.rows, gate.gives),
    }[gate.kind]
    on = ({inputs[1]: "L"},) if gate.kind == "three-state buffer" else ({},)
    return [Output(nodes[0], gives, rows, on)]


def merged(levels: list[tuple[str, Level]]) -> tuple[Levels, ...]:
    """Make one row of levels; none if one node would have to be at both levels."""
    row = dict(levels)
    return (row,) if all(row[node] == level for node, level in levels) else ()
