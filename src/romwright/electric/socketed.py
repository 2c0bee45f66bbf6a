"""A chip in a socket, electrically: levels in both directions, loads of the data lines, outputs, supply current.

What drives and loads the socket comes from the board's file; where it does not say, the CPU is taken to drive the
socket's inputs and the data lines' loads are unknown. Without a board only the two chips are compared.
"""

from __future__ import annotations

from msgspec import Struct
from msgspec.structs import replace

from romwright.boards.library import fitted_chips
from romwright.boards.model import Board, Socket
from romwright.electric.loading import Load, add_up, find_of_load, find_of_outputs
from romwright.electric.margins import Pairing, pair
from romwright.electric.supply import SupplyChange, compare_supply
from romwright.electric.terminals import NOMINAL_VCC_V, Span, Terminal, cpu_terminal, part_terminal
from romwright.findings import Finding
from romwright.parts.model import Part, Role

DATA_LINES = "each data line"


class Electric(Struct, frozen=True):
    """All that is known of a chip in a socket beyond its wiring. `driven` is the chip's inputs, `drives` its outputs.

    `loads` are what a data line asks of the chip at H and L, None without a board that says so.
    """

    vcc_v: Span
    driven: tuple[Pairing, ...]
    drives: tuple[Pairing, ...]
    loads: dict[str, Load] | None
    supply: SupplyChange
    findings: tuple[Finding, ...]

    @property
    def sources(self) -> list[str]:
        """What it rests on."""
        sides = [side for each in (*self.driven, *self.drives) for side in (each.driver, each.receiver)]
        found = [text for side in sides for text in side.sources]
        return list(dict.fromkeys((*found, *self.supply.old.sources, *self.supply.new.sources)))

    @property
    def unchecked(self) -> list[str]:
        """What of that nobody has read."""
        sides = [side for each in (*self.driven, *self.drives) for side in (each.driver, each.receiver)]
        found = [text for side in sides for text in side.doubts]
        return list(dict.fromkeys((*found, *self.supply.old.doubts, *self.supply.new.doubts)))

    def as_json(self) -> dict[str, object]:
        """The answer under the documented keys."""
        return {
            "vcc_v": self.vcc_v, "inputs": [each.as_json() for each in self.driven],
            "outputs": [each.as_json() for each in self.drives],
            "loads": self.loads and {level: each.as_json() for level, each in self.loads.items()},
            "supply": self.supply.as_json(), "sources": self.sources, "unchecked": self.unchecked,
        }  # fmt: skip


def examine_on_board(board: Board, socket: Socket, original: Part, chip: Part) -> Electric:
    """Examine a chip in a board's socket; what the board's file does not state stays unknown.

    `original` is what the socket was laid out for, unless the board's file says which part sits in it.
    """
    original = fitted_chips(board).get(socket.name, original)
    rail = rail_of(board, chip)
    limits = board.limits.get(rail)
    vcc_v = limits.range_v if limits and limits.range_v else NOMINAL_VCC_V
    bus = board.bus
    driver = cpu_terminal(bus.drivers if bus and bus.drivers else board.cpu, vcc_v)
    if not (bus and bus.drivers):
        taken = f"{board.name} does not say what drives addresses and strobes: the {board.cpu} is taken to"
        driver = replace(driver, doubts=(*driver.doubts, taken))
    inputs = {cpu_terminal(name, vcc_v): count for name, count in bus.loads.items()} if bus and bus.loads else None
    nodes = [socket.nodes.get(pin.number) for pin in original.lines(Role.DATA)]
    pulled = pulled_up(board, rail)
    return examine(driver, inputs, original, chip, vcc_v, rail, board, pulled, tuple(filter(None, nodes)))


def examine_pair(original: Part, chip: Part) -> Electric:
    """Compare two chips where nobody knows the board: outputs and supply, and the levels of neither side."""
    lines = tuple(pin.function for pin in original.lines(Role.DATA))
    return examine(None, None, original, chip, NOMINAL_VCC_V, "", None, None, lines)


def examine(
    driver: Terminal | None, inputs: dict[Terminal, int] | None, original: Part, chip: Part, vcc_v: Span, rail: str,
    board: Board | None, pulled: frozenset[str] | None, lines: tuple[str, ...],
) -> Electric:  # fmt: skip
    """Set the chip against what drives its inputs and what its data lines feed."""
    own, found = part_terminal(chip, vcc_v), []
    loads = {level: add_up(inputs, level) for level in "HL"} if inputs else None
    spans = {level: known(loads[level]) if loads else None for level in "HL"}
    driven = (pair(driver, own),) if driver else ()
    drives = tuple(pair(own, each, spans["L"], spans["H"]) for each in inputs or ())
    for each in (*driven, *drives):
        found += each.findings
    for level, load in (loads or {}).items():
        found += find_of_load(own, load, level, DATA_LINES)
    found += find_of_outputs(original, chip, pulled, lines)
    supply = compare_supply(original, chip, rail, board.limits.get(rail) if board else None)
    return Electric(vcc_v, driven, drives, loads, supply, tuple(dict.fromkeys((*found, *supply.findings))))


def known(load: Load) -> Span | None:
    """Return a load as a span, None if its upper end is unknown."""
    return None if load.most_ma is None else (load.least_ma, load.most_ma)


def rail_of(board: Board, chip: Part) -> str:
    """Return the rail that has the volts of the chip's VCC, nothing if there is none."""
    volts = chip.supplies.get("VCC")
    return next((name for name, each in board.rails.items() if each == volts), "")


def pulled_up(board: Board, rail: str) -> frozenset[str]:
    """Return the nodes that a resistor joins to a rail of as many volts as this one, which feeds the chip."""
    pairs = [resistor.nodes.split() for resistor in board.resistors]
    up = {name for name, volts in board.rails.items() if volts == board.rails.get(rail)}
    return frozenset(node for pair in pairs if up & set(pair) for node in pair if node not in up)
