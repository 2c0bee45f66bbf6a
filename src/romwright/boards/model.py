"""A board and its CPU: the schematic as a frozen object. pinmaps/README.md describes every key.

A *node* is a name on the schematic: a CPU signal, a rail, a gate's output, a link's pad, a socket position ("U7.20").
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from functools import cached_property
from typing import Literal

from msgspec import Struct

from romwright.boards.clocking import Clocking
from romwright.boards.freerun import FreeRun
from romwright.boards.power import Bus, RailLimits
from romwright.parts.model import Choice, Level

UNCONNECTED = "NC"
NOBODY = "none"
Levels = dict[str, Level]
Span = tuple[int, int]  # first and last address


def expand(lines: str) -> tuple[str, ...]:
    """List line names, with A0-A15 for a run of them; what is no run of up to 64, upwards, stays as it is.

    >>> expand("/LDS A1-A3")
    ('/LDS', 'A1', 'A2', 'A3')
    """
    found: list[str] = []
    for word in lines.split():
        run = re.fullmatch(r"([A-Z]+)(\d+)-\1(\d+)", word)
        numbers = range(int(run[2]), int(run[3]) + 1) if run else range(0)
        found += [f"{run[1]}{i}" for i in numbers] if 0 < len(numbers) <= 64 else [word]
    return tuple(found)


def parse_span(text: str) -> Span | None:
    """Read FIRST-LAST or a single address as (first, last), None if it is neither.

    >>> parse_span("C000-FFFF"), parse_span("A000"), parse_span("FFFF-C000")
    ((49152, 65535), (40960, 40960), None)
    """
    match = re.fullmatch(r"([0-9A-F]{1,8})(?:-([0-9A-F]{1,8}))?", text)
    if not match:
        return None
    first, last = int(match[1], 16), int(match[2] or match[1], 16)
    return (first, last) if first <= last else None


class Cycle(Struct, frozen=True, forbid_unknown_fields=True):
    """One kind of bus cycle, or a part of one, with the levels of the CPU's control signals; others are free.

    `access`: a device answers (read), the CPU writes, or neither. `drives`: what the CPU has on its data lines if it is
    not what it writes: an address, a status, nothing (nobody). `either`: rows of levels of which one holds besides.
    """

    name: str
    levels: Levels
    access: Literal["read", "write", "none"]
    source: str
    drives: Literal["", "address", "status", "nobody"] = ""
    either: tuple[Levels, ...] = ()
    space: Literal["memory", "io", "acknowledge"] = "memory"
    address: str = ""
    data: str = ""
    begins: str = ""  # of a read: the cycle whose levels it begins with, its address good

    @property
    def is_early(self) -> bool:
        """Whether it is the part of a cycle before its strobe: such are named `..., before ...`."""
        return ", before " in self.name

    @property
    def rows(self) -> tuple[Levels, ...]:
        """The levels as rows, of which one matches."""
        return tuple(self.levels | row for row in self.either or ({},))

    @property
    def cpu_drives(self) -> str:
        """What the CPU has on its data lines: `data`, `address`, `status` or nothing."""
        return {"": "data" if self.access == "write" else "", "nobody": ""}.get(self.drives, self.drives)


class Ports(Struct, frozen=True, forbid_unknown_fields=True):
    """The lines that carry a port, lowest first; those `above`: not known (any), the port once more (copy), low (L)."""

    lines: str
    above: Literal["any", "copy", "L"]

    @property
    def bits(self) -> int:
        """How many bits a port has."""
        return len(expand(self.lines))


class Cpu(Struct, frozen=True, forbid_unknown_fields=True, dict=True):
    """The bus cycles of a CPU; `unread` names lines that it has, but whose levels nobody has read."""

    name: str
    address: str
    data: str
    signals: str
    cycles: tuple[Cycle, ...]
    ports: Ports | None = None
    unread: str = ""
    unchecked: tuple[str, ...] = ()
    free_run: FreeRun | None = None

    @cached_property
    def address_lines(self) -> tuple[str, ...]:
        """The address lines, lowest first."""
        return expand(self.address)

    @cached_property
    def data_lines(self) -> tuple[str, ...]:
        """The data lines, lowest first."""
        return expand(self.data)

    @cached_property
    def controls(self) -> tuple[str, ...]:
        """The control signals."""
        return expand(self.signals)

    @cached_property
    def outputs(self) -> frozenset[str]:
        """Every line that the CPU alone drives."""
        return frozenset((*self.address_lines, *self.controls))

    @property
    def top(self) -> int:
        """The highest address."""
        return (2 << int(self.address_lines[-1][1:])) - 1


class Socket(Struct, frozen=True, forbid_unknown_fields=True, dict=True):
    """A socket: the node at each position, both columns downwards; `part` sits in it, of the `polarity` that it has."""

    name: str
    left: str
    right: str
    title: str = ""
    part: str = ""
    polarity: dict[str, Choice] = {}
    row_pitch_mm: float = 15.24

    @cached_property
    def nodes(self) -> dict[int, str]:
        """The node at each position."""
        names = [*self.left.split(), *reversed(self.right.split())]
        return dict(enumerate(names, 1))

    @property
    def pin_count(self) -> int:
        """How many positions it has."""
        return len(self.nodes)

    @property
    def stated(self) -> dict[int, Choice]:
        """The polarities of its part by pin number."""
        return {int(pin): choice for pin, choice in self.polarity.items()}

    def place(self, position: int) -> str:
        """Return the node that stands for a position."""
        return f"{self.name}.{position}"


class Link(Struct, frozen=True, forbid_unknown_fields=True):
    """A jumper or solder bridge: each position joins groups of nodes, `A B` or `A B, C D`; empty is open."""

    name: str
    positions: dict[str, str]
    title: str = ""

    def groups(self, position: str) -> list[list[str]]:
        """List the groups of nodes that a position makes one."""
        return [group.split() for group in self.positions[position].split(",") if group.strip()]

    @property
    def nodes(self) -> set[str]:
        """The nodes that any position joins."""
        return {node for position in self.positions for group in self.groups(position) for node in group}


class Resistor(Struct, frozen=True, forbid_unknown_fields=True):
    """A resistor: with one end on a rail a pull-up or pull-down, else in series."""

    name: str
    ohms: float
    nodes: str


class Gate(Struct, frozen=True, forbid_unknown_fields=True):
    """A glue gate, or a `table` of rows of its inputs: the output is at `gives` where one matches, else the other."""

    name: str
    kind: str
    inputs: str
    outputs: str
    rows: tuple[Levels, ...] = ()
    gives: Level = "L"
    open_collector: bool = False
    chip: str = ""
    delay_ns: float | None = None


class Device(Struct, frozen=True, forbid_unknown_fields=True):
    """Another device on the data bus; rows are levels of nodes. `chips` are its chips, one for each data line."""

    name: str
    title: str
    kind: Literal["RAM", "ROM", "port"]
    drives: tuple[Levels, ...]
    writes: tuple[Levels, ...] = ()
    data: str = ""
    chips: str = ""


class Area(Struct, frozen=True, forbid_unknown_fields=True):
    """Addresses and the device or socket that is to answer there; `none`: nothing may answer.

    `access`: what programs may do there; a write elsewhere must change nothing.
    """

    range: str
    device: str
    access: Literal["read", "write", "read write"] = "read write"
    space: Literal["memory", "io"] = "memory"

    @property
    def span(self) -> Span:
        """First and last address."""
        return parse_span(self.range)


class Board(Struct, frozen=True, forbid_unknown_fields=True, dict=True):
    """A computer board. `wires` are joins that the traces do not make, `signals` lines that something else drives.

    `buffered`: a buffer parts the data lines from the CPU's, off while the CPU has an address or status there.
    """

    name: str
    title: str
    cpu: str
    source: str
    rails: dict[str, float]
    sockets: tuple[Socket, ...]
    map: tuple[Area, ...]
    links: tuple[Link, ...] = ()
    gates: tuple[Gate, ...] = ()
    devices: tuple[Device, ...] = ()
    resistors: tuple[Resistor, ...] = ()
    wires: tuple[str, ...] = ()
    buffered: bool = False
    timing: Clocking | None = None
    signals: dict[str, str] = {}
    limits: dict[str, RailLimits] = {}
    bus: Bus | None = None
    unchecked: tuple[str, ...] = ()

    def uses(self) -> Iterator[tuple[str, str]]:
        """Yield every mention of a node on the schematic: where it stands, and the node."""
        for socket in self.sockets:
            yield from ((f"sockets.{socket.name}", node) for node in socket.nodes.values() if node != UNCONNECTED)
        for link in self.links:
            yield from ((f"links.{link.name}", node) for node in sorted(link.nodes))
        for gate in self.gates:
            nodes = [*gate.inputs.split(), *gate.outputs.split(), *(name for row in gate.rows for name in row)]
            yield from ((f"gates.{gate.name}", node) for node in nodes if node != UNCONNECTED)
        for device in self.devices:
            rows = (*device.drives, *device.writes)
            yield from ((f"devices.{device.name}", node) for row in rows for node in row)
        yield from ((f"resistors.{each.name}", node) for each in self.resistors for node in each.nodes.split())
        yield from (("wires", node) for wire in self.wires for node in wire.split())

    def lines_of(self, name: str, cpu: Cpu) -> frozenset[str]:
        """Return the data lines that a device or a socket has: all of them unless its own are told."""
        every = frozenset(cpu.data_lines)
        told = {device.name: frozenset(expand(device.data)) for device in self.devices}
        nodes = {socket.name: socket.nodes.values() for socket in self.sockets}
        return told.get(name) or every & self._near(nodes.get(name, ())) or every

    def _near(self, nodes: Iterable[str]) -> set[str]:
        """Return nodes with those that wires, links and series resistors lead to."""
        pairs = [wire.split() for wire in self.wires] + [resistor.nodes.split() for resistor in self.resistors]
        pairs += [group for link in self.links for position in link.positions for group in link.groups(position)]
        found, queue = set(), [*nodes]
        while queue:
            if (node := queue.pop()) not in found and node not in self.rails:
                found.add(node)
                queue += [other for pair in pairs if node in pair for other in pair]
        return found

    def settings(self) -> list[tuple[str, tuple[str, ...]]]:
        """List the links with the names of their positions."""
        return [(link.name, tuple(link.positions)) for link in self.links]
