"""The nets of a board for one setting of its links: what each joins, what drives it, and its level in every state.

A state is a row of a truth table (fit/tables.py) over `names`: the CPU's lines on which anything asked for can depend.
A level is a pair of tables, where the net is at H and where it is at L; where neither holds it floats or is not known.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from copy import copy
from functools import cached_property

from romwright.fit import tables
from romwright.fit.traces import Joints, Source, Wiring

Level = tuple[int, int]
Drive = tuple[int, int, int]  # where H, where L, where it may drive at all
Setting = Mapping[str, str]


class Nets:
    """The nets for one setting of the links; a link that the setting does not name is left out."""

    def __init__(self, wiring: Wiring, names: Sequence[str], setting: Setting) -> None:
        self.wiring, self.names, self.setting = wiring, names, setting
        self.whole = tables.everywhere(names)
        self.joints = Joints(wiring.joints.parents)
        find = self.joints.find
        for link, position in setting.items():
            for first, other in wiring.closed[link][position]:
                self.joints.join(first, other)
        self._sources = dict(wiring.sources)
        for root in wiring.moved_sources:
            del self._sources[root]
        for root in wiring.moved_sources:
            self._sources[find(root)] = [*self._sources.get(find(root), ()), *wiring.sources[root]]
        self._resistors = wiring.resistors
        if wiring.moved_resistors:
            self._resistors = {}
            for root, ends in wiring.resistors.items():
                self._resistors.setdefault(find(root), []).extend((find(other), ohms) for other, ohms in ends)
        self.pins: tuple[tuple[str, str], ...] = ()  # those that with_pins put on
        self._levels: dict[str, Level] = {}
        self._strong: dict[str, Drive] = {}
        self._outputs: dict[Source, Drive] = {}
        self._asked: set[Source] = set()

    def with_pins(self, seats: Iterable[tuple[str, str]]) -> Nets:
        """Return the same nets with more pins on them: joins of a node that is there and a pin that is not."""
        other = copy(self)
        other.__dict__.pop("dark", None)
        other.pins = (*self.pins, *seats)
        other.joints = Joints(self.joints.parents)
        other.joints.parents.update((pin, self.joints.find(node)) for node, pin in other.pins)
        return other

    @cached_property
    def dark(self) -> Nets:
        """The same nets while no line of the CPU is at a certain level, as when power comes up."""
        return Nets(self.wiring, (), self.setting).with_pins(self.pins)

    def meets(self, node: str) -> tuple:
        """Return all that a pin at a node can find there: what is on the net, its level, and the lines it carries."""
        own, data = (tuple(self.lines(node, data)) for data in (False, True))
        return tuple(self.sources(node)), self.level(node), own, data

    def sources(self, node: str) -> list[Source]:
        """List what drives the net of a node."""
        return self._sources.get(self.joints.find(node), [])

    def label(self, node: str) -> str:
        """Name the net of a node as a schematic does: by what drives it, else by the node itself."""
        sources = self.sources(node)
        return sources[0].label.split(" (")[0] if sources else node

    def volts(self, node: str) -> float | None:
        """Return the voltage of the rail that a node is joined with."""
        return next((source.volts for source in self.sources(node) if source.volts is not None), None)

    def lines(self, node: str, data: bool = False, seen: frozenset[str] = frozenset()) -> list[str]:
        """List the CPU's own lines that a net carries: address and control lines, or data lines.

        They are on it, or, if nothing else is, behind a series resistor or a buffer that is always on.
        """
        root = self.joints.find(node)
        sources = self._sources.get(root, [])
        own = [source.label for source in sources if (source.data if data else source.cpu)]
        if own or root in seen:
            return own
        if not sources:
            near = [other for other, _ in self._resistors.get(root, ()) if self.volts(other) is None]
        else:
            near = [self._buffered(source) for source in sources if not data and len(sources) == 1]
        seen |= {root}
        return [line for other in near if other for line in self.lines(other, data, seen)]

    def _buffered(self, source: Source) -> str | None:
        """Return the input of a buffer that is on at all times; None for anything else."""
        out = source.output
        if not out or source.open_collector or out.gives != "H" or len(out.rows) != 1:
            return None
        (node, level), *more = out.rows[0].items()
        lines = {name: self.level(name) for row in out.on for name in row}
        always = tables.matching(self.whole, out.on, lines) == self.whole
        return node if level == "H" and not more and always else None

    def drives(self, source: Source) -> Drive:
        """Return where a source drives H, where L, and where it may drive at all."""
        if source.output:
            return self._outputs[source] if source in self._outputs else self._work_out(source)
        if source.volts is not None:
            return {5: (self.whole, 0), 0: (0, self.whole)}.get(source.volts, (0, 0)) + (self.whole,)
        if source.data:
            return 0, 0, 0
        high = tables.line(self.names, source.label) if source.label in self.names else 0
        return high, self.whole & ~high if high else 0, self.whole

    def _work_out(self, source: Source) -> Drive:
        """Work out what a gate gives, the gates ahead of it first; where they feed each other, all at once."""
        if source in self._asked:
            self._solve()
            return self._outputs[source]
        self._asked.add(source)
        given = self._give(source)
        return self._outputs.setdefault(source, given)

    def _solve(self) -> None:
        """Work out what every gate gives, from knowing nothing, until nothing more becomes known."""
        gates = [source for sources in self._sources.values() for source in sources if source.output]
        self._outputs = dict.fromkeys(gates, (0, 0, self.whole))
        while True:
            before = dict(self._outputs)
            for source in gates:
                self._strong.clear()
                self._levels.clear()
                self._outputs[source] = self._give(source)
            if self._outputs == before:
                return

    def _give(self, source: Source) -> Drive:
        """Return what a gate's output gives at the levels of its inputs as far as they are known."""
        out = source.output
        lines = {node: self.level(node) for row in (*out.rows, *out.on) for node in row}
        loose = tables.loosened(self.whole, lines)
        on, maybe_on = (tables.matching(self.whole, out.on, each) for each in (lines, loose))
        active = tables.matching(self.whole, out.rows, lines) & on
        rest = on & ~tables.matching(self.whole, out.rows, loose)
        high, low = (active, rest) if out.gives == "H" else (rest, active)
        return (0, low, maybe_on & ~high) if source.open_collector else (high, low, maybe_on)

    def strong(self, root: str) -> Drive:
        """Return the level that the drivers of a net give it, resistors aside, and where any of them may drive."""
        if root not in self._strong:
            high = low = on = doubt = 0
            for source in self._sources.get(root, ()):
                h, l, o = self.drives(source)  # noqa: E741
                high, low, on, doubt = high | h, low | l, on | o, doubt | (o & ~(h | l))
            self._strong[root] = high & ~(low | doubt), low & ~(high | doubt), on
        return self._strong[root]

    def level(self, node: str) -> Level:
        """Return the level of a net: what drives it, else what comes through series resistors, else what pulls it."""
        root = self.joints.find(node)
        if root not in self._levels:
            high, low, on = self.strong(root)
            near, rails = self._behind_resistors(root) if on != self.whole else ((), ())
            for other in near:
                h, l, o = self.strong(other)  # noqa: E741
                high, low, on = high | h & ~on, low | l & ~on, on | o
            pulled = self._pulled(rails)
            self._levels[root] = high | (pulled == 5) * self.whole & ~on, low | (pulled == 0) * self.whole & ~on
        return self._levels[root]

    def _behind_resistors(self, root: str) -> tuple[list[str], list[tuple[str, float]]]:
        """List the nets that resistors connect with a net, nearest first, and the rails with the ohms up to them."""
        near, rails, queue, seen = [], [], [(root, 0.0)], {root}
        while queue:
            here, above = queue.pop(0)
            for other, ohms in self._resistors.get(here, ()):
                if self.volts(other) is not None:
                    rails.append((other, above + ohms))
                elif other not in seen:
                    seen.add(other)
                    near.append(other)
                    queue.append((other, above + ohms))
        return near, rails

    def _pulled(self, rails: Sequence[tuple[str, float]]) -> float | None:
        """Return the voltage that pulls give a net: of several rails that of one ten times as strong as the rest.

        None if there is no such rail. Ten times: common practice, no source.
        """
        strength: dict[float | None, float] = {}
        for rail, ohms in rails:
            volts = self.volts(rail) if self._is_sound(rail) else None
            strength[volts] = strength.get(volts, 0) + 1 / ohms
        best = max(strength, key=strength.__getitem__, default=None)
        return best if strength and strength[best] >= 10 * (sum(strength.values()) - strength[best]) else None

    def _is_sound(self, rail: str) -> bool:
        """Tell whether everything on a rail's net is at one voltage."""
        return len({source.volts for source in self._sources[rail]}) == 1
