"""Time `links` on boards with twelve two-position links and twenty parts: every combination of positions, ranked.

Run: python tests/benchmarks/bench_links.py [RUNS]. Bar: 1 s for 20 parts x 4,096 settings; exit status 1 if missed.
Two boards: on one most links stand alone, on pins of the socket; on the other all meet in one gate ahead of the select.
The reference that it runs itself: a full judgement (`Study.judge`) of 100 settings, scaled to all.
"""

import sys
import time

from msgspec.structs import replace

from romwright.boards.library import require_board, require_cpu
from romwright.boards.model import Gate, Link
from romwright.fit.settings import Study
from romwright.parts.library import require_part

PARTS = [
    "27128", "27128A", "27C128", "2764", "2764A", "27C64", "27256", "27C256", "27512", "27C512", "28C256", "28C64",
    "62256", "6264", "DS1225", "DS1230", "rom-2364-28", "rom-23128-style-a", "rom-23128-style-b", "rom-23128-style-c",
]  # fmt: skip
BAR_S = 1.0


def twelve_links():
    """The Tern with ten more links: pins 1 and 22, six address lines, and two that choose the decoder's inputs."""
    tern = require_board("tern-tl-1")
    moved = {"/RDS": "P22"} | {f"A{line}": f"PA{line}" for line in range(8, 14)}
    socket = tern.sockets[0]
    left, right = socket.left.split(), socket.right.split()
    left[0] = "P1"
    left, right = ([moved.get(node, node) for node in column] for column in (left, right))
    links = [
        Link(f"LK{number}", {"1-2": f"{pad} {node}", "2-3": f"{pad} {other}"})
        for number, (node, pad, other) in enumerate(
            [("+5V", "P1", "GND"), ("/RDS", "P22", "/ACC"), ("A12", "PA12", "+5V"), ("A11", "PA11", "GND"),
             ("A10", "PA10", "A9"), ("A9", "PA9", "A10"), ("A8", "PA8", "GND"), ("A13", "PA13", "+5V")], 3,
        )
    ]  # fmt: skip
    links += [Link("LK11", {"1-2": "S1 A14", "2-3": "S1 A13"}), Link("LK12", {"1-2": "S2 A15", "2-3": "S2 GND"})]
    gates = (replace(tern.gates[0], inputs="GND S1 S2"), *tern.gates[1:])
    sockets = (replace(socket, left=" ".join(left), right=" ".join(right)),)
    return replace(tern, sockets=sockets, links=(*tern.links, *links), gates=gates)


def one_gate():
    """The Tern with twelve links that choose the inputs of one NAND, which is the select; two of them also feed pins."""
    tern, lines = require_board("tern-tl-1"), ["A15", "A14", "A13", "R/W", "PHI2", "SYNC", "A12", "A11"]
    links = [Link(f"LK{n}", {"1": f"S{n} {lines[n % 8]}", "2": f"S{n} {lines[(n + 3) % 8]}"}) for n in range(12)]
    moved = {"P27": "S0", "/RDS": "S1", "P20": "SEL"}
    right = " ".join(moved.get(node, node) for node in tern.sockets[0].right.split())
    gates = (*tern.gates, Gate("X1", "nand", " ".join(f"S{n}" for n in range(12)), "SEL"))
    return replace(tern, sockets=(replace(tern.sockets[0], right=right),), links=tuple(links), gates=gates)


def main() -> int:
    """Print the times; return the exit status."""
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 3
    times = [time_board(name, make(), runs) for name, make in (("alone", twelve_links), ("one gate", one_gate))]
    return int(max(times) > BAR_S)


def time_board(name: str, board, runs: int) -> float:
    """Print and return the best time of some runs with a board."""
    cpu = require_cpu("6502")
    parts = [require_part(name) for name in PARTS]
    chips = [part.ordered_as(part.polarities({})[0]) for part in parts]
    best, settings = float("inf"), 0
    for _ in range(runs):
        begun, shared = time.perf_counter(), {}
        for chip in chips:
            settings = len(Study(board, cpu, board.sockets[0], chip, shared=shared).rank())
        best = min(best, time.perf_counter() - begun)
    study = Study(board, cpu, board.sockets[0], chips[0])
    some = list(study.settings())[::41][:100]
    begun = time.perf_counter()
    for setting in some:
        study.judge(setting)
    plain = (time.perf_counter() - begun) / len(some) * settings * len(chips)
    whole = f"each judged by itself would take {plain:.0f} s"
    print(f"links {name}: {len(chips)} parts x {settings:,} settings: {best:.2f} s; {whole}")
    return best


if __name__ == "__main__":
    sys.exit(main())
