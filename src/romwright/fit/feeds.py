"""What feeds the chip's enables: the least work that makes it drive exactly when the original did."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, reduce
from operator import or_

from romwright.errors import OptionError
from romwright.fit import logic, tables
from romwright.fit.drive import compare_with, condition, rows_at
from romwright.fit.glue import out_of
from romwright.fit.logic import Term
from romwright.fit.socket import RAILS, Gate, Net, Socket
from romwright.fit.work import Kind, Points, gate_parts
from romwright.parts.model import Level, Part, Pin


@dataclass(frozen=True, slots=True)
class Feed:
    """One way to feed a pin: a term over the variables (None: a constant), and what moving the pin costs.

    `kills`: the states in which the chip must not drive and, fed so, does not; `cost`: with its gates, by itself.
    """

    term: Term | None
    kills: int
    moving: int
    cost: int

    @property
    def gates(self) -> frozenset[Term]:
        """The gates that it takes."""
        return self.term.gates if self.term else frozenset()


@dataclass(frozen=True, slots=True)
class Need:
    """What a pin must be fed with: the states in which it must be at H, and at L; `enables` at that level, if it does."""

    pin: Pin
    high: int
    low: int
    enables: Level | None = None

    def kills(self, table: int, never: int) -> int:
        """Return the states of `never` in which the pin, at H where the table holds, keeps the chip off."""
        return {None: 0, "H": never & ~table, "L": never & table}[self.enables]


def move_points(net: Net | None, seat: Net, points: Points) -> int:
    """Return what it costs to bring a chip pin from its seat to a net."""
    if net == seat:
        return 0
    if net is None:
        return points.open if seat.position else 0
    if net.point:
        return points.point
    return points.tie if net in RAILS.values() else points.wire


def gate_points(inputs: Iterable[tuple[Kind, int, int]], points: Points) -> int:
    """Return what gates cost, their packages and the wires to them: of each its kind, and its near and far inputs."""
    total, count = 0, Counter()
    for kind, near, far in inputs:
        count[kind] += 1
        spare = max(0, len(gate_parts()[kind].inputs[0]) - near - far)
        total += near * points.wire + far * points.point + spare * points.tie
    for kind, number in count.items():
        part = gate_parts()[kind]
        total += -(-number // len(part.inputs)) * points.package if part.outputs else number * points.diodes
    return total


def gates_points(gates: Iterable[Gate], points: Points) -> int:
    """Return what the gates of a finished plan cost."""
    far = {gate: sum(bool(net.point) for net in gate.inputs) for gate in gates}
    return gate_points(((gate.kind, len(gate.inputs) - far[gate], far[gate]) for gate in far), points)


@cache
def terms_points(terms: frozenset[Term], far: frozenset[int], points: Points) -> int:
    """Return what the gates of terms cost if the variables `far` are beyond the socket."""
    count = {term: sum(each.variable in far for each in term.inputs) for term in terms}
    return gate_points(((term.kind, len(term.inputs) - count[term], count[term]) for term in terms), points)


class Feeding:
    """The choice of a net for each enable of a chip; `fixed` are the nets of its other pins.

    `pickers` are address pins that tell the socket's shares apart: bit 0 of the number of the share first.
    """

    def __init__(
        self, chip: Part, socket: Socket, seats: Mapping[int, Net], fixed: Mapping[int, Net | None], points: Points,
        pickers: Sequence[Pin] = (),
    ) -> None:  # fmt: skip
        self.chip, self.socket, self.seats, self.fixed, self.points = chip, socket, seats, fixed, points
        self.pickers = pickers
        self.pins = [chip.by_function[name] for name in chip.enables]
        self.names = [net.label for net in socket.variables]
        self.whole = tables.everywhere(self.names)
        self.far = frozenset(number for number, net in enumerate(socket.variables) if net.point)

    def gate_points(self, terms: frozenset[Term]) -> int:
        """Return what the gates of terms cost."""
        return terms_points(terms, self.far, self.points)

    def choose(self) -> dict[int, Net]:
        """Return the net of each enable: exact with the least work, or else as near as it gets.

        Raises OptionError if the shares of the socket cannot be told apart.
        """
        exact = self._exact() if len(self.chip.drives) == 1 else None
        if exact is None and self.pickers:
            raise OptionError(
                f"no {self.points.most_gates} gates choose the right part of the {self.chip.name}",
                expected="selects by which the two sockets can be told apart",
            )
        return exact or dict(zip((pin.number for pin in self.pins), self._nearest()))

    def _exact(self) -> dict[int, Net] | None:
        """Return the cheapest nets with which the chip drives where it must and nowhere where it must not."""
        row = self.chip.drives[0]
        must, never = self.socket.must, self.socket.never
        for name in row.keys() - self.chip.enables.keys():  # a strobe: what feeds it is settled
            held = self._table(self.fixed[self.chip.by_function[name].number], row[name])
            if held is None or must & ~held:
                return None
            never &= held
        levels = [(pin, row[pin.function]) for pin in self.pins]
        needs = [Need(pin, must if level == "H" else 0, must if level == "L" else 0, level) for pin, level in levels]
        for bit, pin in enumerate(self.pickers):
            shares = [table for number, table in enumerate(self.socket.shares) if number >> bit & 1]
            high = reduce(or_, shares, 0)
            needs.append(Need(pin, high, must & ~high))
        picked = self._cheapest([self._feeds(need, never) for need in needs], never)
        return {need.pin.number: self._fed(need, feed) for need, feed in zip(needs, picked)} if picked else None

    def _table(self, net: Net | None, level: Level) -> int | None:
        """Return where a net is at a level; None if that depends on what is no variable."""
        if net is None:
            return None
        rows = rows_at(net, level)
        known = all(name in self.names for row in rows for name in row)
        return tables.any_row(self.names, rows) if known else None

    def _feeds(self, need: Need, never: int) -> list[Feed]:
        """List the ways to feed a pin, the cheapest first; none that a plainer one beats."""
        seat, found = self.seats[need.pin.number], {}
        if not (need.high and need.low):
            held = move_points(hold(self._constant(need), seat), seat, self.points)
            found[0, ()] = Feed(None, 0, held, held)
        for term in logic.terms(len(self.names)):
            if need.high & ~term.table or need.low & term.table or len(term.gates) > self.points.most_gates:
                continue
            stays = term.variable is not None and self._sits_on(seat, term.variable)
            moving = 0 if stays else self.move_points(term)
            feed = Feed(term, need.kills(term.table, never), moving, moving + self.gate_points(term.gates))
            plain = found.get((feed.kills, ()))
            if feed.gates and not plain:
                found.setdefault((feed.kills, term.kinds), feed)
            elif not feed.gates and (not plain or feed.moving < plain.moving):
                found[feed.kills, ()] = feed
        return sorted(found.values(), key=lambda feed: feed.cost)

    def _constant(self, need: Need) -> Level:
        """Return the level that serves a pin that may stand still."""
        return need.enables or ("H" if need.high else "L")

    def move_points(self, term: Term) -> int:
        """Return what the wire from a pin to a term costs."""
        return self.points.point if term.variable in self.far else self.points.wire

    def _sits_on(self, seat: Net, variable: int) -> bool:
        """Tell whether a seat is one of the positions that carry a variable."""
        return seat.label == self.names[variable]

    def _cheapest(self, choices: list[list[Feed]], never: int) -> tuple[Feed, ...] | None:
        """Return a feed for each pin, with the least work, that together kill every state of `never`."""
        best: tuple | None = None
        if not all(choices):
            return None
        rest = [sum(min(feed.moving for feed in feeds) for feeds in choices[i + 1 :]) for i in range(len(choices))]
        able = [0] * (len(choices) + 1)  # what the pins from here on can kill at all
        for i in range(len(choices) - 1, -1, -1):
            able[i] = able[i + 1]
            for feed in choices[i]:
                able[i] |= feed.kills

        def go(depth: int, alive: int, moving: int, gates: frozenset[Term], picked: tuple[Feed, ...]) -> None:
            nonlocal best
            if alive & ~able[depth]:
                return
            if depth == len(choices):
                cost = (moving + self.gate_points(gates), len(gates), *self._tie_break(picked))
                if best is None or cost < best[0]:
                    best = (cost, picked)
                return
            for feed in choices[depth]:
                if best and moving + feed.cost + rest[depth] > best[0][0]:
                    break  # the feeds behind it cost no less
                more = gates | feed.gates if feed.gates else gates
                now = moving + feed.moving
                over = best and now + rest[depth] + self.gate_points(more) > best[0][0]
                if len(more) <= self.points.most_gates and not over:
                    go(depth + 1, alive & ~feed.kills, now, more, (*picked, feed))

        go(0, never, 0, frozenset(), ())
        return best and best[1]

    def _tie_break(self, picked: Sequence[Feed]) -> tuple[int, bool]:
        """Of two equal costs, prefer fewer pins moved, then the select on the pin that usually takes it."""
        given = {pin.function: feed.term.variables for pin, feed in zip(self.pins, picked) if feed.term}
        names = {function: {self.names[number] for number in numbers} for function, numbers in given.items()}
        return sum(feed.moving > 0 for feed in picked), self._is_away(names)

    def _is_away(self, given: Mapping[str, Collection[str]]) -> bool:
        """Tell whether the chip's usual select pin gets nothing of the board's select."""
        select, home = self.socket.select, self.chip.select
        return bool(select and home in self.chip.enables and select.label not in given.get(home, ()))

    def _fed(self, need: Need, feed: Feed) -> Net:
        """Return the net of a feed: the seat itself if the pin may stay."""
        seat = self.seats[need.pin.number]
        if feed.term is None:
            return hold(self._constant(need), seat)
        stays = feed.term.variable is not None and self._sits_on(seat, feed.term.variable)
        return seat if stays else self._net(feed.term)

    def _net(self, term: Term) -> Net:
        """Return the net of a term over the socket's variables."""
        if term.variable is not None:
            return self.socket.variables[term.variable]
        return out_of(Gate(term.kind, tuple(map(self._net, term.inputs)), term.levels, term.gives))

    def _nearest(self) -> tuple[Net, ...]:
        """Return nets that heed the decoder's select, lose no read, then differ in the fewest states, with least work."""
        select = self.socket.select

        def cost(picked: tuple[Net, ...]) -> tuple:
            fitted = {**self.fixed, **{pin.number: net for pin, net in zip(self.pins, picked)}}
            both = compare_with(self.socket, condition(self.chip.drives, fitted, self.chip))
            seats = [self.seats[pin.number] for pin in self.pins]
            moving = sum(move_points(net, seat, self.points) for net, seat in zip(picked, seats))
            given = {pin.function: labels_of(net) for pin, net in zip(self.pins, picked)}
            ignores = select is not None and both.ignores(select.label)
            inverters = len({net.gate for net in picked} - {None})
            return ignores, *both.counts, inverters, moving, self._is_away(given)

        return min(itertools.product(*map(self._plain, self.pins)), key=cost)

    def _plain(self, pin: Pin) -> list[Net]:
        """List what may feed an enable without a gate, or through an inverter."""
        seat = self.seats[pin.number]
        found = [hold(level, seat) for level in sorted(self.chip.enables[pin.function])]
        for net in self.socket.variables:
            found.append(seat if seat.label == net.label else net)
            if self.points.most_gates:
                found.append(out_of(Gate("inverter", (net,), ("H",), "L")))
        return list(dict.fromkeys(found))


def labels_of(net: Net) -> set[str]:
    """Return the labels of the signals that a net depends on."""
    return set().union(*map(labels_of, net.gate.inputs)) if net.gate else {net.label}


def hold(level: Level, seat: Net) -> Net:
    """Return what holds a pin at a level in read: its seat, or else a rail."""
    return seat if seat.level == level else RAILS[level]
