"""A chip in a socket of a board, for one setting of the links: what its pins meet, when it drives and is written."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cache, cached_property

from romwright.boards.model import Board, Cpu, Socket
from romwright.fit import tables
from romwright.fit.drive import Condition, condition
from romwright.fit.onboard.accesses import Accesses
from romwright.fit.onboard.nets import Level, Nets
from romwright.fit.socket import Kind, Net
from romwright.parts.model import Part, Pin, Role


def positions(socket: Socket, chip: Part, seated: str = "straight") -> dict[int, int]:
    """Return the socket position of each chip pin that has one; a shorter chip sits bottom-aligned.

    `one up` and `one down`: a position too near to the notch end, or too far from it; `turned`: end for end.
    """
    return places(socket.pin_count, chip.pin_count, seated)


@cache
def places(socket_pins: int, chip_pins: int, seated: str) -> dict[int, int]:
    """Return the position of each pin as `positions` does, by the numbers of positions and of pins."""
    half, rows = chip_pins // 2, socket_pins // 2
    step = {"one up": -1, "one down": 1}.get(seated, 0)
    found = {}
    for pin in range(1, chip_pins + 1):
        number = (pin - 1 + half) % chip_pins + 1 if seated == "turned" else pin
        left = number <= half
        row = (number if left else chip_pins + 1 - number) + rows - half + step
        if 1 <= row <= rows:
            found[pin] = row if left else socket_pins + 1 - row
    return found


def joins(socket: Socket, chip: Part, seated: str = "straight") -> list[tuple[str, str]]:
    """List the joins that plugging the chip in makes: socket position and chip pin."""
    return [(socket.place(place), pin_node(socket, pin)) for pin, place in positions(socket, chip, seated).items()]


def pin_node(socket: Socket, number: int) -> str:
    """Return the node that stands for a pin of the chip in a socket; no node of a file has a blank."""
    return f"{socket.name} pin {number}"


def area_lines(board: Board, cpu: Cpu, socket: Socket) -> list[str]:
    """List the address lines that run through their levels within the socket's area of the map, lowest first."""
    spans = [area.span for area in board.map if area.device == socket.name]
    moving = 0
    for first, last in spans:
        moving |= (1 << (first ^ last).bit_length()) - 1
    return [line for line in cpu.address_lines if moving >> int(line[1:]) & 1]


class Mounted:
    """A chip whose polarities are stated, in a socket, for one setting; `others` are those in the other sockets."""

    def __init__(
        self, nets: Nets, socket: Socket, chip: Part, accesses: Accesses, seated: str = "straight",
        pins: Sequence[Pin] | None = None, others: Sequence[Mounted] = (),
    ) -> None:  # fmt: skip
        self.nets, self.socket, self.chip, self.accesses, self.seated = nets, socket, chip, accesses, seated
        self.pins = chip.pins if pins is None else pins  # those that the checks of single pins look at
        self.others = tuple(others)
        self.board, self.cpu = nets.wiring.board, nets.wiring.cpu
        self.places = positions(socket, chip, seated)
        lowest = min(int(line[1:]) for line in nets.wiring.data_lines[socket.name])
        self.data_base = lowest // chip.bits * chip.bits  # a chip of eight bits is on D0 to D7 or on D8 to D15
        self.area_lines = area_lines(self.board, self.cpu, socket)

    def node(self, pin: Pin) -> str:
        """Return the node of a chip pin."""
        return pin_node(self.socket, pin.number)

    @property
    def everyone(self) -> dict[str, Mounted]:
        """This chip and the others, by their sockets."""
        return {mounted.socket.name: mounted for mounted in (self, *self.others)}

    def level(self, pin: Pin) -> Level:
        """Return the level of a chip pin in every state."""
        return self.nets.level(self.node(pin))

    @cached_property
    def seats(self) -> dict[int, Net]:
        """What each control pin meets, as fit/drive.py takes it: nets of one name are one signal, rails are levels."""
        pins = (self.chip.by_function[function] for function in self.chip.signals)
        return {pin.number: self._net(pin) for pin in pins}

    def _net(self, pin: Pin) -> Net:
        node, place = self.node(pin), self.places.get(pin.number)
        label, volts = self.nets.label(node), self.nets.volts(node)
        if volts is not None and all(source.volts == volts for source in self.nets.sources(node)):
            return Net(label, Kind.RAIL, label, place, {5: "H", 0: "L"}.get(volts), volts)
        if place is None or not self.nets.sources(node):
            return Net(f"chip pin {pin.number} (open)", Kind.OPEN, "", place)
        return Net(label, Kind.SIGNAL, label, place)

    @cached_property
    def drives(self) -> Condition:
        """When the chip drives, in signals of the board."""
        return condition(self.chip.drives, self.seats, self.chip)

    @cached_property
    def writes(self) -> Condition:
        """When the chip is written, in signals of the board."""
        return condition(self.chip.writes, self.seats, self.chip)

    def states(self, rows: Condition) -> tuple[int, int]:
        """Return where a condition surely holds and where it may, a pin that floats being at either level."""
        pins = (self.chip.by_function[function] for function in self.chip.signals)
        labels = {self.seats[pin.number].label: pin for pin in pins}
        lines = {name: self.level(labels[name]) for name in rows.names}
        whole = self.nets.whole
        sure = tables.matching(whole, rows.rows, lines)
        return sure, tables.matching(whole, rows.rows, tables.loosened(whole, lines))

    @cached_property
    def driving(self) -> tuple[int, int]:
        """Where the chip surely drives, and where it may."""
        return self.states(self.drives)

    @cached_property
    def reads(self) -> int:
        """Where the chip may drive in the reads that it is to answer; in any cycle if the map has no area for it."""
        own = self.accesses.reads_of(self.socket.name)
        return self.driving[1] & (own or self.accesses.valid)

    @cached_property
    def written(self) -> int:
        """Where the chip may be written."""
        return self.states(self.writes)[1]

    @cached_property
    def exposed(self) -> bool:
        """Whether the chip may be written while no line of the CPU is at a certain level, as when power comes up."""
        dark = Mounted(self.nets.dark, self.socket, self.chip, self.accesses, self.seated)
        return bool(self.chip.writes and dark.written)

    @cached_property
    def data(self) -> dict[str, str]:
        """The data line of the board that each data pin meets, by the pin's function."""
        pins = [pin for pin in self.chip.pins if pin.role is Role.DATA]
        met = {pin.function: self.nets.lines(self.node(pin), data=True) for pin in pins}
        return {function: lines[0] for function, lines in met.items() if len(lines) == 1}

    def place(self, pin: Pin) -> str:
        """Name a chip pin and what it meets."""
        at = self.places.get(pin.number)
        meets = f"at {self.socket.name} position {at}: {self.words(pin)}" if at else "outside the socket"
        return f"chip pin {pin.number} ({pin.name}) {meets}"

    def places_of(self, pins: Iterable[Pin]) -> str:
        """Name several chip pins and what they meet."""
        return "; ".join(map(self.place, pins))

    def words(self, pin: Pin) -> str:
        """Name what a chip pin meets."""
        node = self.node(pin)
        volts = self.nets.volts(node)
        if volts is not None:
            return f"{self.nets.label(node)} ({volts:+g} V)" if volts else self.nets.label(node)
        if self.nets.sources(node):
            return self.nets.label(node)
        high, low = self.level(pin)
        return "nothing drives it" if not high | low else f"nothing but a resistor to {'+5 V' if high else '0 V'}"


def lines_needed(board: Board, cpu: Cpu, socket: Socket, chip: Part) -> list[str]:
    """List the chip's nodes that decide when it drives or is written, what it shows, and on which lines."""
    pins = [
        pin
        for pin in chip.pins
        if pin.role in (Role.CONTROL, Role.VPP, Role.DATA)
        or (pin.role is Role.ADDRESS and pin.index >= len(area_lines(board, cpu, socket)))
    ]
    return [pin_node(socket, pin.number) for pin in pins]
