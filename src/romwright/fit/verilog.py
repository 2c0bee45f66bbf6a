"""A board, one setting of its links and a chip as Verilog (IEEE 1364), for a simulator that knows nothing of fit.

Every node is a wire, every trace, closed link and seated pin a `tran` between two wires: the simulator joins the nets
itself and resolves drivers in four states, so that a contention shows as x and an open bus as z. Memories hold no
bytes: each drives a number of its own on every four data lines, `NUMBERS` in the text, so that any two differ.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from romwright.boards.gates import outputs_of
from romwright.boards.library import fitted_chips
from romwright.boards.model import UNCONNECTED, Board, Cpu, Socket, expand
from romwright.errors import OptionError
from romwright.fit.mounted import pin_node, positions
from romwright.fit.nets import Setting
from romwright.parts.model import Part, Role

CPU_NUMBER = 15
UNKNOWN = "1'bx"  # the level of a rail that is neither 0 V nor 5 V


class Wires:
    """The name in Verilog of every node."""

    def __init__(self, nodes: Iterable[str]) -> None:
        self.names = {node: f"n{number}" for number, node in enumerate(dict.fromkeys(nodes))}

    def __getitem__(self, node: str) -> str:
        return self.names[node]

    def rows(self, rows: Sequence[Mapping[str, str]]) -> str:
        """Write rows of levels as an expression."""
        sign = {"H": "", "L": "~"}
        terms = [" & ".join(sign[level] + self[node] for node, level in row.items()) for row in rows]
        return " | ".join(f"({term})" if term else "1'b1" for term in terms) or "1'b0"


def numbers(board: Board, sockets: Iterable[str]) -> dict[str, int]:
    """Return the number that each device drives, in the order of the board's file, those of chips last.

    Raises OptionError if there are more than four data lines can tell apart.
    """
    names = [*(device.name for device in board.devices), *sockets]
    if len(names) >= CPU_NUMBER:
        raise OptionError(
            f"{len(names)} devices on the data bus",
            expected=f"at most {CPU_NUMBER - 1}: each drives a number of its own on four data lines",
            help="leave out of the board's file those that cannot meet the chip",
        )
    return {name: number for number, name in enumerate(names, 1)}


def build_verilog(
    board: Board, cpu: Cpu, setting: Setting, socket: Socket, chip: Part, also: Mapping[str, Part] | None = None
) -> str:
    """Return a module `board` with inputs `cpu` and `cpu_drives` and the data bus `data`.

    `cpu` has the lines of the CPU, then the board's signals; `cpu_drives` says whether the CPU drives the data bus.
    `also` has the chips in the other sockets: those that the board's file names unless given.
    """
    lines = [*cpu.address_lines, *cpu.controls, *board.signals]
    fitted = {socket.name: chip} | {
        name: part for name, part in (fitted_chips(board) if also is None else also).items() if name != socket.name
    }
    seats = [(place, fitted[place.name]) for place in board.sockets if place.name in fitted]
    own = numbers(board, fitted)
    pins = [pin_node(place, pin.number) for place, part in seats for pin in part.pins]
    places = [s.place(n) for s in board.sockets for n in s.nodes]
    wires = Wires([*lines, *cpu.data_lines, *board.rails, *places, *pins, *(node for _, node in board.uses())])
    width = len(cpu.data_lines)
    text = [
        f"// {board.title}; " + ", ".join(f"{k}={v}" for k, v in setting.items()),
        *(f"// {part.name} in {name}" for name, part in fitted.items()),
        *(f"// NUMBERS: {name} drives {number}" for name, number in own.items()),
        f"// NUMBERS: the CPU drives {CPU_NUMBER}",
        f"module board(input [{len(lines) - 1}:0] cpu, input cpu_drives, inout [{width - 1}:0] data);",
        *(f"  wire {name}; // {node}" for node, name in wires.names.items()),
        *(f"  assign {wires[line]} = cpu[{i}];" for i, line in enumerate(lines)),
        *(f"  tran (data[{i}], {wires[line]});" for i, line in enumerate(cpu.data_lines)),
        *_rails(board, wires),
        *_joins(board, wires, setting, seats),
        *_gates(board, wires),
        *_devices(board, cpu, wires, own),
        *(line for place, part in seats for line in _chip(place, part, wires, own[place.name])),
        f"  assign data = cpu_drives ? {width}'b{number_bits(CPU_NUMBER, range(width))} : {width}'bz;",
        "endmodule",
    ]
    return "\n".join(text) + "\n"


def _rails(board: Board, wires: Wires) -> Iterator[str]:
    """Write rails as constants, and resistors: a pull is weaker than a series resistor, as fit takes it.

    Ohms are not written: pulls to two rails on one net show x there, however unlike they are.
    """
    level = {5.0: "1'b1", 0.0: "1'b0"}
    for rail, volts in board.rails.items():
        yield f"  assign {wires[rail]} = {level.get(volts, UNKNOWN)};"
    for resistor in board.resistors:
        one, other = resistor.nodes.split()
        if one in board.rails or other in board.rails:
            rail, pulled = (one, other) if one in board.rails else (other, one)
            yield f"  assign (weak1, weak0) {wires[pulled]} = {level.get(board.rails[rail], UNKNOWN)};"
        else:
            yield f"  rtran ({wires[one]}, {wires[other]});"


def _joins(board: Board, wires: Wires, setting: Setting, seats: Iterable[tuple[Socket, Part]]) -> Iterator[str]:
    """Write traces, wires, closed links and seated pins."""
    pairs = [(s.place(n), node) for s in board.sockets for n, node in s.nodes.items() if node != UNCONNECTED]
    pairs += [tuple(wire.split()) for wire in board.wires]
    for link in board.links:
        pairs += [(first, other) for first, *others in link.groups(setting[link.name]) for other in others]
    for socket, chip in seats:
        pairs += [(socket.place(place), pin_node(socket, pin)) for pin, place in positions(socket, chip).items()]
    yield from (f"  tran ({wires[one]}, {wires[other]});" for one, other in pairs if one != other)


def _gates(board: Board, wires: Wires) -> Iterator[str]:
    """Write glue gates."""
    for gate in board.gates:
        for output in outputs_of(gate):
            if output.node == UNCONNECTED:
                continue
            rows = wires.rows(output.rows)
            value = f"({rows})" if output.gives == "H" else f"~({rows})"
            if gate.open_collector:
                value = f"({value}) ? 1'bz : 1'b0"
            on = wires.rows(output.on)
            value = value if on == "1'b1" else f"({on}) ? ({value}) : 1'bz"
            yield f"  assign {wires[output.node]} = {value}; // {gate.name}"


def _devices(board: Board, cpu: Cpu, wires: Wires, own: Mapping[str, int]) -> Iterator[str]:
    """Write the devices on the bus, each with its number."""
    for device in board.devices:
        for line in expand(device.data) or cpu.data_lines:
            bit = number_bits(own[device.name], [int(line[1:])])
            yield f"  assign {wires[line]} = ({wires.rows(device.drives)}) ? 1'b{bit} : 1'bz; // {device.name}"


def _chip(socket: Socket, chip: Part, wires: Wires, number: int) -> Iterator[str]:
    """Write a chip in a socket with its number."""
    nodes = {name: pin_node(socket, pin.number) for name, pin in chip.by_function.items()}
    rows = [{nodes[name]: level for name, level in row.items()} for row in chip.drives]
    for pin in (pin for pin in chip.pins if pin.role is Role.DATA):
        node = nodes[pin.function]
        bit = number_bits(number, [pin.index])
        yield f"  assign {wires[node]} = ({wires.rows(rows)}) ? 1'b{bit} : 1'bz; // {chip.name} {pin.function}"


def number_bits(number: int, lines: Iterable[int]) -> str:
    """Return the bits of a number as data lines carry it, the highest line first; four lines carry it once."""
    return "".join(str(number >> (line % 4) & 1) for line in sorted(lines, reverse=True))
