"""A board's socket, for one setting of its links, as the planner takes it: the part that this socket asks for.

What the board wants there is worked out from its cycles: in which combinations of levels at the socket's positions the
chip must drive the data bus, in which it must not, and which never come. The planner then knows no boards.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping, Sequence

from msgspec import Struct
from msgspec.structs import replace

from romwright.boards.library import fitted_chips
from romwright.boards.model import Board, Cpu, Socket
from romwright.fit import tables
from romwright.fit.onboard.accesses import Access, Accesses
from romwright.fit.onboard.bus import Driver, list_drivers
from romwright.fit.onboard.mounted import Mounted, area_lines, joins, lines_needed
from romwright.fit.onboard.nets import Nets
from romwright.fit.onboard.traces import Wiring
from romwright.fit.socket import Beyond
from romwright.parts.model import Part
from romwright.parts.model import Source as PageSource

Row = dict[str, str]


class Site(Struct, frozen=True):
    """A socket for one setting of the links: the part that it asks for, and what lies beyond it.

    `fights`: nothing at the socket tells reads from writes, so that the chip fights the CPU in a write to its own area.
    """

    links: dict[str, str]
    part: Part
    beyond: Beyond
    fights: bool = False

    @property
    def lacking(self) -> list[str]:
        """The address and data lines that do not reach the socket."""
        lines = [f"A{line}" for line in range(self.part.address_bits)] + [f"D{line}" for line in range(self.part.bits)]
        return [line for line in lines if line not in self.part.by_function]


class Surroundings:
    """A board with the socket in question empty, whatever the links."""

    def __init__(self, board: Board, cpu: Cpu, socket: Socket, also: Mapping[str, Part] | None = None) -> None:
        self.board, self.cpu, self.socket = board, cpu, socket
        fitted = fitted_chips(board) if also is None else also
        self.others = [(s, fitted[s.name]) for s in board.sockets if s.name != socket.name and s.name in fitted]
        self.wiring = Wiring(board, cpu, [join for other, chip in self.others for join in joins(other, chip)])
        rows = [row for device in board.devices for row in (*device.drives, *device.writes)]
        asked = [node for row in rows for node in row] + [socket.place(n) for n in socket.nodes] + self.nodes()
        asked += [node for other, chip in self.others for node in lines_needed(board, cpu, other, chip)]
        places = [other.place(n) for other, _ in self.others for n in other.nodes]
        self.weighing = self.wiring.reach([*asked, *places])[0]
        self.lines = area_lines(board, cpu, socket)
        fixed = set(self.lines) - self._decoded(rows)  # nothing but the socket's address pins looks at these
        self.accesses = Accesses(board, cpu, tuple(sorted(self.wiring.reach(asked)[1] - fixed)))

    @property
    def words(self) -> int:
        """How many words the socket's area has."""
        return 1 << len(self.lines)

    @property
    def bits(self) -> int:
        """How many data lines it has."""
        return len(self.wiring.data_lines[self.socket.name])

    def _decoded(self, rows: Iterable[Mapping[str, str]]) -> frozenset[str]:
        """Return the CPU lines that anything else than the socket's own pins looks at; rows are those of devices."""
        nodes = [node for gate in self.board.gates for node in gate.inputs.split()]
        nodes += [node for row in rows for node in row]
        nodes += [node for other, chip in self.others for node in lines_needed(self.board, self.cpu, other, chip)]
        return self.wiring.reach(nodes)[1]

    def nodes(self) -> list[str]:
        """List the nodes of the board that a wire may be brought from: outputs of gates and lines of the CPU."""
        outputs = [node for gate in self.board.gates for node in gate.outputs.split() if node != "NC"]
        return list(dict.fromkeys([*outputs, *self.cpu.controls, *self.board.signals]))

    def sites(self, extra: Sequence[str] = (), now: Mapping[str, str] | None = None) -> Iterator[list[Site]]:
        """Yield the sites of all settings of the links, those together that differ only in links elsewhere.

        A link that nothing on the data bus depends on stays as it is `now`, or in its first position.
        """
        links = [
            (name, positions if name in self.weighing else ((now or {}).get(name, positions[0]),))
            for name, positions in self.board.settings()
        ]
        near = self.wiring.reach([*(self.socket.place(n) for n in self.socket.nodes), *extra])[0]
        free, still = [[each for each in links if (each[0] in near) is wanted] for wanted in (True, False)]
        others = [
            dict(zip((name for name, _ in still), chosen)) for chosen in itertools.product(*(p for _, p in still))
        ]
        for chosen in itertools.product(*(positions for _, positions in free)):
            here = dict(zip((name for name, _ in free), chosen))
            for site in self.both({name: (here | others[0])[name] for name, _ in links}, extra):
                yield [replace(site, links={name: (here | more)[name] for name, _ in links}) for more in others]

    def both(self, setting: Mapping[str, str], extra: Sequence[str] = ()) -> Iterator[Site]:
        """Yield the site for one setting, `extra` nodes being within reach, if these decide when the chip is to drive.

        First, if that can be decided, with the chip off the bus in writes to its own area, which no program makes; then
        with these writes left out of account.
        """
        for strict in (True, False):
            if site := self._site(setting, extra, strict):
                yield replace(site, fights=not strict)

    def site(self, setting: Mapping[str, str], extra: Sequence[str] = ()) -> Site | None:
        """Return the first site of `both`; None if there is none."""
        return next(self.both(setting, extra), None)

    def _site(self, setting: Mapping[str, str], extra: Sequence[str], strict: bool) -> Site | None:
        nets = Nets(self.wiring, self.accesses.names, setting)
        places = self._places(nets)
        known = {label: nets.level(node) for label, node in self._signals(nets, places, extra).items()}
        must, never = self.wanted(nets, strict)
        rows: dict[str, list[Row]] = {"must": [], "idle": []}
        for row in tables.true_rows(list(known), tables.everywhere(list(known))):
            states = self.accesses.valid
            for label, level in row.items():
                states &= ~known[label][level == "H"]  # a level that is not known counts as both
            if states & must and states & never:
                return None
            if states & must or not states & never:
                rows["must" if states & must else "idle"].append(row)
        if not rows["must"]:
            return None
        part = self._part(setting, nets, places, merged(rows["must"], rows["idle"]))
        signals = tuple(name for name in known if name not in extra)
        return Site(dict(setting), part, Beyond(tuple(extra), (), tuple(merged(rows["idle"], [])), signals))

    def wanted(self, nets: Nets, strict: bool) -> tuple[int, int]:
        """Return the states in which a chip in the socket must drive the data bus, and those in which it must not."""
        others = [Mounted(nets, socket, chip, self.accesses) for socket, chip in self.others]
        drivers = [driver for driver in list_drivers(nets, None) + [of(other) for other in others] if driver.may]
        lines, must, never = self.wiring.data_lines[self.socket.name], 0, 0
        for access in self.accesses.all:
            if access.lines & lines:
                if access.expected == self.socket.name:
                    must |= access.mask
                else:
                    never |= self._busy(
                        access, strict, [driver for driver in drivers if driver.lines & lines & access.lines]
                    )
        return must, never

    def _busy(self, access: Access, strict: bool, drivers: Sequence[Driver]) -> int:
        """Return the states of an access, not meant for the socket, in which it must keep off the bus."""
        if access.cpu_drives and access.cycle.access != "write":
            return access.mask
        if access.cycle.access == "write":
            programs_write = access.device and (access.device != self.socket.name or access.may_write)
            return access.mask if programs_write or strict else 0
        if access.expected is not None:
            return access.mask
        busy = 0
        for driver in drivers:
            busy |= driver.may
        return access.mask & busy

    def _places(self, nets: Nets) -> dict[int, str]:
        """Return the name of the part's pin at each position."""
        base = min(int(line[1:]) for line in self.wiring.data_lines[self.socket.name])
        found = {}
        for position in self.socket.nodes:
            node = self.socket.place(position)
            data, address = nets.lines(node, data=True), nets.lines(node)
            if nets.volts(node) is not None:
                found[position] = nets.label(node)
            elif data:
                found[position] = f"D{int(data[0][1:]) - base}"
            elif address and address[0] in self.lines:
                found[position] = f"A{self.lines.index(address[0])}"
            else:
                high, low = nets.level(node)
                found[position] = plain(nets.label(node)) if high | low else "NC"
        return found

    def _signals(self, nets: Nets, places: Mapping[int, str], extra: Sequence[str]) -> dict[str, str]:
        """Return the node of each signal at the socket that is neither an address line of it nor a data line."""
        found = {}
        for position, name in places.items():
            node = self.socket.place(position)
            if name != "NC" and nets.volts(node) is None and not is_line(name):
                found[name] = node
        return found | {node: node for node in extra}

    def _part(self, setting: Mapping[str, str], nets: Nets, places: Mapping[int, str], drives: list[Row]) -> Part:
        """Return the part that the socket asks for."""
        half = self.socket.pin_count // 2
        columns = [places[n] for n in range(1, half + 1)], [places[n] for n in range(self.socket.pin_count, half, -1)]
        rails = {name: volts for name, volts in self.board.rails.items() if name in places.values()}
        links = ", ".join(f"{link}={position}" for link, position in setting.items())
        return Part(
            name=f"{self.board.name} {self.socket.name}" + (f" ({links})" if links else ""),
            family="socket",
            words=self.words,
            bits=self.bits,
            package=f"DIP-{self.socket.pin_count}",
            left=" ".join(columns[0]),
            right=" ".join(columns[1]),
            supplies=rails,
            drives=tuple(drives),
            sources=(PageSource("pins drives supplies", f"the board's file {self.board.name}"),),
            select=self._select(drives, places),
        )

    def _select(self, drives: Sequence[Row], places: Mapping[int, str]) -> str | None:
        """Return the signal at the socket that tells its own area from the others: the one that the decoder makes."""
        names = [name for name in places.values() if all(name in row for row in drives)]
        upper = [line for line in self.cpu.address_lines if line not in self.lines]
        decoded = [name for name in names if self.wiring.reach([self._node(name, places)])[1] & set(upper)]
        return next(iter(decoded or names), None)

    def _node(self, name: str, places: Mapping[int, str]) -> str:
        return self.socket.place(next(position for position, each in places.items() if each == name))


def of(mounted: Mounted) -> Driver:
    """Return a chip in another socket as a driver of the bus."""
    return Driver(mounted.socket.name, *mounted.driving, frozenset(mounted.data.values()))


def plain(label: str) -> str:
    """Return a label that the planner takes for a control line, whatever it looks like."""
    return f"{label}(line)" if is_line(label) or label in ("NC", "VPP") else label


def is_line(name: str) -> bool:
    """Tell whether a pin of that name is an address or a data line of a part."""
    return name[:1] in ("A", "D") and name[1:].isdigit()


def merged(rows: Sequence[Row], free: Sequence[Row]) -> list[Row]:
    """Cover rows over the same names by shorter ones, which may cover `free` rows as well, but no others.

    >>> merged([{"a": "L", "b": "L"}, {"a": "L", "b": "H"}], [])
    [{'a': 'L'}]
    """
    allowed = {tuple(row.values()) for row in (*rows, *free)}
    names = list(rows[0]) if rows else []
    found: list[Row] = []
    for row in rows:
        if any(each.items() <= row.items() for each in found):
            continue
        kept = dict(row)
        for name in names:
            shorter = {key: level for key, level in kept.items() if key != name}
            if all(state in allowed for state in states_of(shorter, names)):
                kept = shorter
        found.append(kept)
    return [row for row in found if not any(other.items() < row.items() for other in found)]


def states_of(row: Row, names: Sequence[str]) -> Iterator[tuple[str, ...]]:
    """Yield the states of all names that a row covers, as levels in their order."""
    for full in tables.true_rows(names, tables.row(names, row)):
        yield tuple(full.values())
