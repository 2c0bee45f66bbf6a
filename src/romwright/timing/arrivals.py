"""How much later than the CPU's lines a node of a board is good: the gates and buffers on every way to it."""

from __future__ import annotations

from romwright.boards.clocking import Buffer
from romwright.boards.gates import PINS, SELECTED
from romwright.boards.model import Board, Gate, expand
from romwright.fit.onboard.nets import Nets
from romwright.fit.onboard.traces import Source
from romwright.timing.delays import glue_delay
from romwright.timing.quantity import ZERO, Quantity, known, latest, unknown

LOOP = "a loop of gates"
Ways = dict[str, Quantity]  # by the CPU's line at which a way begins


class Arrivals:
    """The ways from the CPU's lines to the nodes of a board, for one setting of its links.

    A plain wire takes no time. Rails stand still in a read, and so does a signal that the board's file calls steady;
    any other signal that neither CPU nor glue drives begins a way of its own.
    """

    def __init__(self, nets: Nets) -> None:
        self.nets, self.board = nets, nets.wiring.board
        self.gates = {
            f"{node} ({gate.name})": gate for gate in self.board.gates for node in gate.outputs.split()
        }  # as fit/onboard labels what they drive
        self.buffers = buffer_delays(self.board)
        self.steady = {*self.board.timing.steady.split()} if self.board.timing else set()
        self._known: dict[str, Ways] = {}
        self._cut: set[str] = set()  # nodes at which a way has come round to itself, and that are not yet worked out

    def ways(self, node: str, above: frozenset[str] = frozenset()) -> Ways:
        """Return the delay from each CPU line that a node depends on."""
        root = self.nets.joints.find(node)
        if root in above:  # gates that feed each other: a latch made of gates
            self._cut.add(root)
            return {LOOP: unknown(f"how long the loop of gates at {node} takes")}
        if root not in self._known:
            found: dict[str, list[Quantity]] = {}
            for source in self.nets.sources(node):
                for line, delay in self._through(source, above | {root}).items():
                    found.setdefault(line, []).append(delay)
            if not self.nets.sources(node):
                for line, delay in self._behind_resistors(root, above | {root}).items():
                    found.setdefault(line, []).append(delay)
            ways = {line: latest(delays) for line, delays in found.items()}
            self._cut.discard(root)
            if self._cut:
                return ways  # worked out from within a loop: not what others see
            self._known[root] = ways
        return self._known[root]

    def _through(self, source: Source, above: frozenset[str]) -> Ways:
        """Return the ways through what drives a node."""
        if source.data or (source.cpu and source.label not in self.steady):
            return {source.label: self.buffers.get(source.label, ZERO)}
        if not source.output:
            return {}
        gate, found = self.gates[source.label], {}
        for node in {name: None for row in (*source.output.rows, *source.output.on) for name in row}:
            delay = gate_delay(gate, node)
            for line, before in self.ways(node, above).items():
                found.setdefault(line, []).append(before + delay)
        return {line: latest(delays) for line, delays in found.items()}

    def _behind_resistors(self, root: str, above: frozenset[str]) -> Ways:
        """Return the ways through series resistors, whose delay hangs on capacitances that no file has."""
        found: dict[str, list[Quantity]] = {}
        for resistor in self.board.resistors:
            ends = [self.nets.joints.find(end) for end in resistor.nodes.split()]
            others = [end for end in ends if end != root]
            if not (root in ends and others and self.nets.volts(others[0]) is None):
                continue
            if others[0] in above:
                self._cut.add(others[0])
            else:
                for line, before in self.ways(others[0], above).items():
                    found.setdefault(line, []).append(before + unknown(f"the delay of resistor {resistor.name}"))
        return {line: latest(delays) for line, delays in found.items()}


def gate_delay(gate: Gate, node: str) -> Quantity:
    """Return the delay of a gate from one of its inputs."""
    inputs = gate.inputs.split()
    if gate.kind == "three-state buffer":
        return stated_delay(gate, gate.name, enable=node == inputs[1])
    pins = zip(PINS[gate.kind][0] or (), inputs) if gate.kind in SELECTED else ()
    picks = [name for pin, name in pins if pin not in SELECTED[gate.kind]]
    return stated_delay(gate, gate.name, enable=gate.kind in SELECTED and node not in picks)


def stated_delay(glue: Gate | Buffer, name: str, enable: bool = False) -> Quantity:
    """Return the delay of glue: what the board's file says, else that of its chip; unknown if neither is there."""
    if glue.delay_ns is not None:
        return known(f"the delay of {name}", glue.delay_ns, "the board's file")
    if not glue.chip:
        return unknown(f"the delay of {name}", "the board's file does not say which chip it is")
    return glue_delay(glue.chip, name, enable)


def buffer_delays(board: Board) -> Ways:
    """Return the delay of what lies between the CPU's pins and the lines of the schematic."""
    found: Ways = {}
    for buffer in board.timing.buffers if board.timing else ():
        label = f"the buffer of {buffer.lines}"
        found |= dict.fromkeys(expand(buffer.lines), stated_delay(buffer, label))
    return found


def data_delay(board: Board, lines: frozenset[str]) -> Quantity:
    """Return the delay of the data lines on the way back: unknown where a buffer is there and nothing says which."""
    buffers = buffer_delays(board)
    if board.buffered and not any(line in buffers for line in lines):
        return unknown("the delay of the data buffer", "the board's file says that there is one, and not which")
    return latest(buffers.get(line, ZERO) for line in lines)
