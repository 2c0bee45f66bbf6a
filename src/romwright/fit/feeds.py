"""What feeds the chip's enables: the least work that makes it drive exactly when the original did."""

from __future__ import annotations

import itertools
from collections.abc import Collection, Mapping, Sequence
from functools import reduce
from operator import or_

from romwright.errors import OptionError
from romwright.fit import tables
from romwright.fit.drive import compare_with, condition, rows_at
from romwright.fit.glue import out_of
from romwright.fit.logic import Term
from romwright.fit.search import Need, Task, find_feeds
from romwright.fit.socket import RAILS, Gate, Net, Socket
from romwright.fit.work import Points
from romwright.parts.model import Level, Part, Pin


def move_points(net: Net | None, seat: Net, points: Points) -> int:
    """Return what it costs to bring a chip pin from its seat to a net."""
    if net == seat:
        return 0
    if net is None:
        return points.open if seat.position else 0
    if net.point:
        return points.point
    return points.tie if net in RAILS.values() else points.wire


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
        return dict(zip((pin.number for pin in self.pins), self._nearest())) if exact is None else exact

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
        needs = [self._need(p, must if level == "H" else 0, must if level == "L" else 0, level) for p, level in levels]
        for bit, pin in enumerate(self.pickers):
            high = reduce(or_, (table for number, table in enumerate(self.socket.shares) if number >> bit & 1), 0)
            needs.append(self._need(pin, high, must & ~high, None))
        far = frozenset(number for number, net in enumerate(self.socket.variables) if net.point)
        picked = find_feeds(Task(len(self.names), never, tuple(needs), far, *self._homes(), self.points))
        if picked is None:
            return None
        return {
            pin.number: self._fed(pin, term, constant(need))
            for pin, need, term in zip((*self.pins, *self.pickers), needs, picked)
        }

    def _need(self, pin: Pin, high: int, low: int, enables: Level | None) -> Need:
        """Return what a pin needs as the search takes it."""
        seat = self.seats[pin.number]
        at = self.names.index(seat.label) if seat.label in self.names else None
        bare = Need(high, low, enables, at, 0)
        return Need(high, low, enables, at, move_points(hold(constant(bare), seat), seat, self.points))

    def _fed(self, pin: Pin, term: Term | None, level: Level) -> Net:
        """Return the net of a feed: the seat itself if the pin may stay."""
        seat = self.seats[pin.number]
        if term is None:
            return hold(level, seat)
        return seat if term.variable is not None and self.names[term.variable] == seat.label else self._net(term)

    def _homes(self) -> tuple[int | None, int | None]:
        """Return which variable carries the board's select, and which enable usually takes it."""
        select, functions = self.socket.select, [pin.function for pin in self.pins]
        return (
            self.names.index(select.label) if select and select.label in self.names else None,
            functions.index(self.chip.select) if self.chip.select in functions else None,
        )

    def _table(self, net: Net | None, level: Level) -> int | None:
        """Return where a net is at a level; None if that depends on what is no variable."""
        if net is None:
            return None
        rows = rows_at(net, level)
        known = all(name in self.names for row in rows for name in row)
        return tables.any_row(self.names, rows) if known else None

    def _is_away(self, given: Mapping[str, Collection[str]]) -> bool:
        """Tell whether the chip's usual select pin gets nothing of the board's select."""
        select, home = self.socket.select, self.chip.select
        return bool(select and home in self.chip.enables and select.label not in given.get(home, ()))

    def _net(self, term: Term) -> Net:
        """Return the net of a term over the socket's variables."""
        if term.variable is not None:
            return self.socket.variables[term.variable]
        return out_of(Gate(term.kind, tuple(map(self._net, term.inputs)), term.levels, term.gives))

    def _nearest(self) -> tuple[Net, ...]:
        """Return nets that heed the decoder's select, lose no read, differ in fewest states, and take least work."""
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


def constant(need: Need) -> Level:
    """Return the level that serves a pin that may stand still."""
    return need.enables or ("H" if need.high else "L")


def labels_of(net: Net) -> set[str]:
    """Return the labels of the signals that a net depends on."""
    return set().union(*map(labels_of, net.gate.inputs)) if net.gate else {net.label}


def hold(level: Level, seat: Net) -> Net:
    """Return what holds a pin at a level in read: its seat, or else a rail."""
    return seat if seat.level == level else RAILS[level]
