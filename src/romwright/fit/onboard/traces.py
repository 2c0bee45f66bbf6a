"""A board's fixed joins and what drives each of them; which nets the links touch, and how far their effect reaches."""

from __future__ import annotations

from collections.abc import Iterable

from msgspec import Struct

from romwright.boards.gates import Output, outputs_of
from romwright.boards.model import UNCONNECTED, Board, Cpu, Link


class Source(Struct, frozen=True, eq=False):
    """Something that drives a node for ever or at times: a rail, a CPU line, a data line or a gate's output."""

    label: str
    volts: float | None = None
    cpu: bool = False
    data: bool = False
    output: Output | None = None
    open_collector: bool = False


class Joints:
    """A union-find over nodes."""

    def __init__(self, parents: dict[str, str] | None = None) -> None:
        self.parents = dict(parents or {})

    def find(self, node: str) -> str:
        """Return the node that stands for all those joined with this one."""
        parents = self.parents
        root = node
        while (above := parents.get(root, root)) != root:
            root = above
        while (above := parents.get(node, node)) != root:
            parents[node], node = root, above
        return root

    def join(self, one: str, other: str) -> None:
        """Make two nodes one."""
        one, other = sorted((self.find(one), self.find(other)))
        self.parents[other] = one


class Wiring:
    """A board with its fixed joins (traces, wires, the pins of a chip): what is the same for every setting."""

    def __init__(self, board: Board, cpu: Cpu, seats: Iterable[tuple[str, str]] = ()) -> None:
        self.board, self.cpu, self.seats = board, cpu, tuple(seats)
        self.joints = Joints()
        for socket in board.sockets:
            for position, node in socket.nodes.items():
                if node != UNCONNECTED:
                    self.joints.join(socket.place(position), node)
        for one, other in (*(wire.split() for wire in board.wires), *self.seats):
            self.joints.join(one, other)
        self.sources: dict[str, list[Source]] = {}
        for node, source in self._sources():
            self.sources.setdefault(self.joints.find(node), []).append(source)
        self.resistors: dict[str, list[tuple[str, float]]] = {}
        for resistor in board.resistors:
            one, other = (self.joints.find(node) for node in resistor.nodes.split())
            self.resistors.setdefault(one, []).append((other, resistor.ohms))
            self.resistors.setdefault(other, []).append((one, resistor.ohms))
        things = (*board.devices, *board.sockets)
        self.data_lines = {thing.name: board.lines_of(thing.name, cpu) for thing in things}
        self.touched = {link.name: {self.joints.find(node) for node in link.nodes} for link in board.links}
        self.closed = {link.name: {at: self._joined(link, at) for at in link.positions} for link in board.links}
        moved = set().union(*self.touched.values())
        self.moved_sources = [root for root in self.sources if root in moved]
        self.moved_resistors = any(root in moved for root in self.resistors)

    def _joined(self, link: Link, position: str) -> list[tuple[str, str]]:
        """List the joins that a link makes in a position."""
        return [(first, other) for first, *others in link.groups(position) for other in others]

    def _sources(self) -> Iterable[tuple[str, Source]]:
        """Yield each node that something drives, and what."""
        yield from ((name, Source(name, volts=volts)) for name, volts in self.board.rails.items())
        yield from ((name, Source(name, cpu=True)) for name in (*self.cpu.outputs, *self.board.signals))
        yield from ((name, Source(name, data=True)) for name in self.cpu.data_lines)
        for gate in self.board.gates:
            for output in outputs_of(gate):
                if output.node != UNCONNECTED:
                    label = f"{output.node} ({gate.name})"
                    yield output.node, Source(label, output=output, open_collector=gate.open_collector)

    def is_driven(self, root: str) -> bool:
        """Tell whether something drives a net at all times, so that links cannot change its level without a clash."""
        sources = self.sources.get(root, ())
        return any(not source.output or (source.output.on == ({},) and not source.open_collector) for source in sources)

    def enables(self) -> set[str]:
        """Return the nodes that switch outputs which share a net: whether these fight depends on them."""
        shared = [source for sources in self.sources.values() if len(sources) > 1 for source in sources]
        return {node for source in shared if source.output for row in source.output.on for node in row}

    def groups(self) -> list[frozenset[str]]:
        """List the groups of links that meet on a net which nothing drives: only within one can they make a clash."""
        groups: list[tuple[set[str], set[str]]] = []
        for link, touched in self.touched.items():
            loose = {root for root in touched if not self.is_driven(root)}
            met = [group for group in groups if group[1] & loose]
            groups = [group for group in groups if group not in met]
            groups.append(({link}.union(*(g[0] for g in met)), loose.union(*(g[1] for g in met))))
        return [frozenset(links) for links, _ in groups]

    def touched_by(self, links: Iterable[str]) -> set[str]:
        """Return the nets that some links touch."""
        return set().union(*(self.touched[link] for link in links))

    def stirred(self, links: Iterable[str]) -> set[str]:
        """Return the nets on which anything can change with the positions of links, clashes and all."""
        found = self.touched_by(links)
        while True:
            more = {root for root, ends in self.resistors.items() if any(other in found for other, _ in ends)}
            for root, sources in self.sources.items():
                rows = (row for source in sources if (out := source.output) for row in (*out.rows, *out.on))
                more |= {root} if any(self.joints.find(node) in found for row in rows for node in row) else set()
            if more <= found:
                return found
            found |= more

    def reach(self, nodes: Iterable[str]) -> tuple[frozenset[str], frozenset[str]]:
        """Return the links and the CPU lines on which the levels of nodes depend, over all settings without a clash."""
        links, lines, seen = set(), set(), set()
        queue = [self.joints.find(node) for node in nodes]
        while queue:
            root = queue.pop()
            if root in seen:
                continue
            seen.add(root)
            if not self.is_driven(root):
                for link, touched in self.touched.items():
                    if root in touched:
                        links.add(link)
                        queue += touched
            for source in self.sources.get(root, ()):
                if source.cpu:
                    lines.add(source.label)
                elif source.output:
                    rows = (*source.output.rows, *source.output.on)
                    queue += {self.joints.find(node) for row in rows for node in row}
            if not any(source.volts is not None for source in self.sources.get(root, ())):
                queue += [other for other, _ in self.resistors.get(root, ())]
        return frozenset(links), frozenset(lines)
