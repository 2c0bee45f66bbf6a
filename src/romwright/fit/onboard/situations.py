"""What the links of a board bring about: positions in which every pin meets the same are one situation."""

from __future__ import annotations

import itertools
from collections.abc import Hashable, Iterator

from msgspec import Struct

from romwright.boards.model import UNCONNECTED, Board, Cpu
from romwright.findings import Code
from romwright.fit.onboard.accesses import Accesses
from romwright.fit.onboard.nets import Nets
from romwright.fit.onboard.ranking import Positions
from romwright.fit.onboard.traces import Wiring


class Situation(Struct, frozen=True):
    """Combinations of positions of some links that come to the same, and the nets of the first of them."""

    nets: Nets
    all: list[Positions]


class Situations:
    """The situations of a board, kept for every chip that is plugged in: its pins meet what their positions meet.

    `marks` keeps what was found in a group of situations, by what was looked at; `bus` what becomes of the bus, by who
    drives it when.
    """

    def __init__(self, wiring: Wiring, board: Board, cpu: Cpu, names: tuple[str, ...]) -> None:
        self.wiring, self.accesses = wiring, Accesses(board, cpu, names)
        places = [socket.place(n) for socket in board.sockets for n, at in socket.nodes.items() if at != UNCONNECTED]
        rows = [row for device in board.devices for row in (*device.drives, *device.writes)]
        self._nodes = [*places, *(node for row in rows for node in row), *(pin for _, pin in wiring.seats)]
        self._found: dict[Positions, list[Situation]] = {}
        self.marks: dict[Hashable, list] = {}
        self.bus: dict[Hashable, frozenset[Code]] = {}

    def each(self, links: tuple[str, ...]) -> Iterator[tuple[Positions, Nets]]:
        """Yield every combination of the positions of some links, and its nets; all other links are left out."""
        positions = {link.name: link.positions for link in self.wiring.board.links}
        for combination in itertools.product(*(positions[link] for link in links)):
            yield combination, Nets(self.wiring, self.accesses.names, dict(zip(links, combination)))

    def of(self, links: tuple[str, ...]) -> list[Situation]:
        """List the situations that some links bring about."""
        if links not in self._found:
            stirred, find = self.wiring.stirred(links), self.wiring.joints.find
            nodes = {root: node for node in self._nodes if (root := find(node)) in stirred}.values()
            found: dict[Hashable, Situation] = {}
            for combination, nets in self.each(links):
                still = [node for node in nodes if nets.whole in nets.level(node)]  # no other has a level in the dark
                key = tuple(map(nets.meets, nodes)), tuple((node, nets.dark.level(node)) for node in still)
                if key in found:
                    found[key].all.append(combination)
                else:
                    found[key] = Situation(nets, [combination])
            self._found[links] = list(found.values())
        return self._found[links]
