"""Every setting of a board's links for one chip in one socket: judged, and ranked.

What is wrong falls into items (one group of pins, one group of links, the bus as a whole), each of which depends on
few links. Each item is worked out once for every combination of its own links; a setting is what its items say.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from functools import cached_property

from msgspec import Struct
from msgspec.structs import replace
from msgspec.structs import replace as replace_page

from romwright.boards.library import fitted_chips
from romwright.boards.model import Board, Cpu, Socket
from romwright.findings import Code, Finding, worst_first
from romwright.fit.onboard import meets
from romwright.fit.onboard.bus import (
    Case,
    acknowledge_findings,
    bus_codes,
    bus_findings,
    check_map,
    find_cases,
    list_drivers,
)
from romwright.fit.onboard.joins import find_clashes
from romwright.fit.onboard.mounted import Mounted, joins, lines_needed, pin_node
from romwright.fit.onboard.nets import Nets
from romwright.fit.onboard.ranking import Positions, Ranking, Table, verdict_of
from romwright.fit.onboard.situations import Situations
from romwright.fit.onboard.tastes import Taste, find_tastes
from romwright.fit.onboard.traces import Wiring
from romwright.fit.onboard.written import find_writes
from romwright.parts.model import Part, Role

PAPER = {
    "name": "", "family": "", "aliases": (), "sources": (), "times": None, "currents": None, "levels": None,
    "programming": None, "traps": (), "unchecked": (), "options": {},
}  # fmt: skip  # what no check of a board asks for
RESEAT = "take the chip out and seat it as the notch shows; one that was powered like this is suspect"


class Judged(Struct, frozen=True):
    """One setting: what is wrong, and who drives the bus in every cycle."""

    links: dict[str, str]
    findings: tuple[Finding, ...]
    cases: tuple[Case, ...]

    @property
    def verdict(self) -> str:
        """`works`, `fault` or `stop`."""
        return verdict_of(finding.code for finding in self.findings)

    def as_json(self) -> dict:
        """The setting under the documented JSON keys."""
        return {
            "links": self.links,
            "verdict": self.verdict,
            "findings": [finding.as_json() for finding in self.findings],
            "cycles": [case.as_json() for case in self.cases],
        }


class Item(Struct, frozen=True):
    """Something to find, and the links that it depends on.

    `of` says what is looked at; `pins`: whether only at what the pins of chips meet, else at the nets themselves.
    """

    links: tuple[str, ...]
    of: Hashable
    find: Callable[[Nets], Iterable[Code | Taste]]
    pins: bool = True


class Study:
    """A chip with its polarities stated, in a socket of a board, under every setting of the links.

    `shared` keeps what the links bring about, by the CPU's lines that it is over, for the next chips in that socket.
    `also` has the chips in the other sockets, their polarities stated: those that the board's file names unless given.
    `wired` are the joins of node and chip pin where the chip is not simply plugged in.
    """

    def __init__(
        self, board: Board, cpu: Cpu, socket: Socket, chip: Part, seated: str = "straight",
        shared: dict[tuple[str, ...], Situations] | None = None, also: Mapping[str, Part] | None = None,
        wired: Sequence[tuple[str, str]] | None = None,
    ) -> None:  # fmt: skip
        self.board, self.socket, self.chip, self.seated = board, socket, chip, seated
        fitted = fitted_chips(board) if also is None else also
        others = [each for each in board.sockets if each.name != socket.name and each.name in fitted]
        self.seats = [(socket, chip, seated), *((each, fitted[each.name], "straight") for each in others)]
        self.plugged = [join for seat in self.seats for join in joins(*seat)] if wired is None else []
        soldered = [] if wired is None else [*wired, *(join for seat in self.seats[1:] for join in joins(*seat))]
        self.wiring = Wiring(board, cpu, [*self.plugged, *soldered])
        rows = [row for device in board.devices for row in (*device.drives, *device.writes)]
        asked = [node for row in rows for node in row]
        asked += [node for each, part, _ in self.seats for node in lines_needed(board, cpu, each, part)]
        pins = [(each, pin) for each, part, _ in self.seats for pin in part.pins]
        status = [pin_node(each, pin.number) for each, pin in pins if pin.role is Role.OUTPUT]
        self.bus_links = self.wiring.reach([*asked, *status])[0]
        touched = [node for nodes in self.wiring.touched.values() for node in nodes]
        names = tuple(sorted(self.wiring.reach([*asked, *touched, *self.wiring.enables()])[1]))
        shared = {} if shared is None or soldered else shared
        if names not in shared:
            shared[names] = Situations(self.wiring if soldered else Wiring(board, cpu), board, cpu, names)
        self.situations = shared[names]
        self.accesses = self.situations.accesses
        self.known = [*(device.name for device in board.devices), *(each.name for each, _, _ in self.seats)]
        self.marks: dict[Code | Taste, int] = {}  # with the bit that stands for each in `tables`

    def nets(self, setting: Mapping[str, str]) -> Nets:
        """Return the nets of one setting."""
        return Nets(self.wiring, self.accesses.names, setting)

    def mount(self, nets: Nets) -> Mounted:
        """Return the chip on these nets, with the others."""
        others = [Mounted(nets, socket, chip, self.accesses) for socket, chip, _ in self.seats[1:]]
        return Mounted(nets, self.socket, self.chip, self.accesses, self.seated, others=others)

    def cases(self, mounted: Mounted) -> list[Case]:
        """List who drives the bus in every access; none where the chip is seated wrong, so that nobody can tell."""
        if self.seated != "straight":
            return []
        return list(find_cases(self.accesses, list_drivers(mounted.nets, mounted), self.known))

    def judge(self, setting: Mapping[str, str]) -> Judged:
        """Find everything that is wrong with one setting."""
        nets = self.nets(setting)
        mounted = self.mount(nets)
        cases = self.cases(mounted)
        found = [
            *find_clashes(nets, self.wiring.sources),
            *(finding for each in mounted.everyone.values() for finding in self._find_of(each, meets.ALONE)),
            *self._find_joint(mounted, cases),
        ]
        return Judged(dict(setting), tuple(worst_first(found)), tuple(cases))

    def settings(self) -> Iterator[dict[str, str]]:
        """Yield every combination of link positions."""
        links = self.board.settings()
        names = [name for name, _ in links]
        for positions in itertools.product(*(positions for _, positions in links)):
            yield dict(zip(names, positions))

    def items(self) -> Iterator[Item]:
        """Yield what there is to find, each with the links that it depends on."""
        order = [name for name, _ in self.board.settings()]

        def item(links: Iterable[str], *what) -> Item:
            return Item(tuple(sorted(links, key=order.index)), *what)

        wiring = self.situations.wiring
        alone = set(wiring.sources).difference(*wiring.touched.values())
        several = [{root for root in alone if len(wiring.sources[root]) > 1}, *map(wiring.touched_by, wiring.groups())]
        for nodes, group in zip(several, [frozenset(), *wiring.groups()]):
            links = group | wiring.reach(nodes)[0]
            yield item(links, frozenset(nodes), lambda nets, nodes=nodes: codes_of(find_clashes(nets, nodes)), False)
        for socket, chip, seated in self.seats:
            pins: dict[frozenset[str], list] = {}
            for pin in chip.pins:
                pins.setdefault(self.wiring.reach([pin_node(socket, pin.number)])[0], []).append(pin)
            for links, some in pins.items():
                seat = (socket, chip, self.accesses, seated, tuple(some))
                of = (socket.name, electrical(chip), seated, seat[-1])
                yield item(links, of, lambda nets, seat=seat: self._pin_marks(Mounted(nets, *seat)))
        of = tuple((socket.name, electrical(chip), seated) for socket, chip, seated in self.seats)
        yield item(self.bus_links, of, self._joint_codes)

    def _pin_marks(self, mounted: Mounted) -> set[Code | Taste]:
        return codes_of(self._find_of(mounted, meets.ALONE)).union(find_tastes(mounted))

    def _joint_codes(self, nets: Nets) -> set[Code]:
        """Return the codes of what is wrong with the chips and the bus together, each state of the bus judged once."""
        mounted = self.mount(nets)
        key = (self.seated, tuple(self.known), tuple(list_drivers(nets, mounted)))
        if key not in self.situations.bus:
            self.situations.bus[key] = frozenset(bus_codes(self.cases(mounted), mounted.everyone))
        return codes_of(self._find_in_use(mounted)) | self.situations.bus[key]

    def _find_joint(self, mounted: Mounted, cases: Sequence[Case]) -> Iterator[Finding]:
        yield from self._find_in_use(mounted)
        yield from bus_findings(cases, mounted)
        yield from acknowledge_findings(cases, mounted)

    def _find_in_use(self, mounted: Mounted) -> Iterator[Finding]:
        for each in mounted.everyone.values():
            yield from self._find_of(each, (*meets.JOINT, check_map, find_writes))

    def _find_of(self, mounted: Mounted, checks: Iterable[Callable[[Mounted], Iterable[Finding]]]) -> Iterator[Finding]:
        """Yield what is wrong with one chip; of one in another socket the title names the socket."""
        whose = "" if mounted.socket.name == self.socket.name else f"{mounted.socket.name}: "
        remedy = "" if whose or self.seated == "straight" else RESEAT
        for finding in (finding for check in checks for finding in check(mounted)):
            if whose or remedy:
                finding = replace(finding, title=whose + finding.title, remedy=remedy or finding.remedy)
            yield finding

    @cached_property
    def tables(self) -> list[Table]:
        """For each group of links: their places in a setting, and by their positions the marks found, as bits."""
        names = [name for name, _ in self.board.settings()]
        merged: dict[tuple[str, ...], dict[Positions, int]] = {}
        for item in self.items():
            table = merged.setdefault(item.links, {})
            for combinations, marks in self._found(item):
                bits = 0
                for mark in marks:
                    bits |= 1 << self.marks.setdefault(mark, len(self.marks))
                for positions in combinations:
                    table[positions] = table.get(positions, 0) | bits
        return [(tuple(names.index(link) for link in links), table) for links, table in merged.items()]

    def _found(self, item: Item) -> Iterable[tuple[list[Positions], frozenset[Code | Taste]]]:
        """Return combinations of positions of the item's links, each with the marks of what is found in them."""
        kept, key = self.situations.marks, (item.links, item.of)
        if item.pins:
            alike = self.situations.of(item.links)
            if key not in kept:
                kept[key] = [frozenset(item.find(each.nets.with_pins(self.plugged))) for each in alike]
            return zip([each.all for each in alike], kept[key])
        if key not in kept:
            kept[key] = [([at], frozenset(item.find(nets))) for at, nets in self.situations.each(item.links)]
        return kept[key]

    def rank(self) -> Ranking:
        """Return every setting with the codes found, the best first."""
        return Ranking(self.board.settings(), self.tables, list(self.marks))


def codes_of(findings: Iterable[Finding]) -> set[Code]:
    """Return the kinds of some findings."""
    return {finding.code for finding in findings}


def electrical(chip: Part) -> str:
    """Return what a chip's page says of its pins and levels, and nothing else: of two such chips the same is wrong."""
    return repr(replace_page(chip, **PAPER))
