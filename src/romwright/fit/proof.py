"""A simulated read of every address through a finished wiring table, in every state of the socket's controls.

Shares no function with wiring.py, drive.py or socket.py, which decide the table: it takes the rows and the two
pages, and works out for itself what each chip pin gets. Every cell of the chip holds its own number, so the read
tells which cell a board address reaches; the data lines are told apart by words with a single 1. What holds for
these two holds for any contents.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from romwright.fit.glue import PlacedGate, Tap
from romwright.fit.rows import How, Row
from romwright.parts.model import Part, Pin, Role

HIGH, LOW, UNKNOWN = 1, 0, 2
State = dict[str, int]
Source = Pin | PlacedGate | int | None
Levels = np.ndarray | int  # one level for each address, or one for all


def decode(a: Levels, b: Levels, c: Levels, g1: Levels, g2a: Levels, g2b: Levels, pin: int) -> Levels:
    """Return the level of an output pin of a '138 (TI, SN74LS138, SDLS014: function table and pins)."""
    number = {15: 0, 14: 1, 13: 2, 12: 3, 11: 4, 10: 5, 9: 6, 7: 7}[pin]
    picked = (a + 2 * b + 4 * c) == number
    return 1 - (g1 & (1 - g2a) & (1 - g2b) & picked)


GIVES = {
    "inverter": lambda a: 1 - a,
    "nand": lambda a, b: 1 - (a & b),
    "and": lambda a, b: a & b,
    "diodes": lambda a, b: a & b,
    "or": lambda a, b: a | b,
    "3-to-8": decode,
}


@dataclass(frozen=True, slots=True)
class Proof:
    """What the simulation gave.

    `equal`: every read that the original answers comes back with its word, and no state writes the chip that does not
    write the original. `states` counts the combinations of the socket's control levels; `states_differ` those in
    which the chip drives the bus and the original does not, or the other way round, at one address at least;
    `states_written` those in which the chip is or may be written and the original is not. A level that is not known
    counts as either: no read relies on it, and any write may come of it.
    """

    addresses: int
    states: int
    states_differ: int
    states_written: int
    first_difference: dict | None

    @property
    def equal(self) -> bool:
        """Whether every read agreed and nothing is written that should not be."""
        return self.first_difference is None

    @property
    def drive_equal(self) -> bool:
        """Whether the chip drives the bus exactly when the original does."""
        return not self.states_differ

    def as_json(self) -> dict:
        """The proof under the documented JSON keys."""
        found = {
            "addresses": self.addresses,
            "equal": self.equal,
            "drive_equal": self.drive_equal,
            "states": self.states,
            "states_differ": self.states_differ,
            "states_written": self.states_written,
        }
        return found | ({"first_difference": self.first_difference} if self.first_difference else {})


def read_every_address(
    original: Part, chip: Part, rows: Sequence[Row], image_at: int, gates: Sequence[PlacedGate] = ()
) -> Proof:
    """Read every address through the rows, in every state of the control levels, and compare with the original.

    The original's contents are taken to have been burnt at chip address `image_at`. Pins must be at the level
    that the data sheet asks for in read, and supplies on their rails, or the read counts as different.
    """
    bench = Bench(original, chip, rows, gates)
    address = np.arange(original.words, dtype=np.int64)
    controls = sorted({name for row in (*original.drives, *original.writes) for name in row})
    found = [bench.check_supplies(), bench.check_data_lines()]
    states_differ = states_written = 0
    for levels in itertools.product((LOW, HIGH), repeat=len(controls)):
        state = dict(zip(controls, levels))
        if holds(original.drives, state):
            driving = bench.match(chip.drives, address, state)
            states_differ += not np.all(driving)
            found.append(None if any(found) else bench.find_difference(address, state, driving, image_at))
        else:
            states_differ += bool(np.any(bench.match(chip.drives, address, state, doubt=True)))
        if not holds(original.writes, state) and np.any(hit := bench.match(chip.writes, address, state, doubt=True)):
            states_written += 1
            found.append(differ(state, int(np.argmax(hit)), "not written", "may be written"))
    return Proof(original.words, 1 << len(controls), states_differ, states_written, next(filter(None, found), None))


def holds(rows: Iterable[dict[str, str]], state: State) -> bool:
    """Tell whether one of the original's rows of levels matches a state of its controls."""
    return any(all(state[name] == (level == "H") for name, level in row.items()) for row in rows)


def differ(state: State, address: int, expected: str, found: str) -> dict:
    """Describe the first address at which something differs in a state."""
    levels = {name: "LH"[level] for name, level in state.items()}
    return {"address": f"{address:04X}", "levels": levels, "expected": expected, "found": found}


class Bench:
    """A chip held in a socket by the rows of a table."""

    def __init__(self, original: Part, chip: Part, rows: Sequence[Row], gates: Sequence[PlacedGate]) -> None:
        self.original, self.chip = original, chip
        self.gates = {gate.name: gate for gate in gates}
        self.source = {row.chip: self._source(row) for row in rows if row.chip is not None}

    def _source(self, row: Row) -> Source:
        """Return the socket pin, constant level, gate or None for nothing that a row gives its chip pin."""
        if row.how in (How.VCC, How.GND):
            return HIGH if row.how is How.VCC else LOW
        if row.how is How.GATE:
            return self.gates[row.gate]
        place = {How.STRAIGHT: row.socket, How.WIRE: row.wire_to, How.OPEN: None}[row.how]
        return None if place is None else self.original.pins[place - 1]

    def level(self, pin: Pin, address: np.ndarray, state: State, reading: bool = True) -> Levels:
        """Return the level at a chip pin."""
        return self.level_of(self.source.get(pin.number), address, state, reading)

    def level_of(self, source: Source, address: np.ndarray, state: State, reading: bool) -> Levels:
        """Return the level of a source.

        A position at which the original needs a level is taken to have it only while it is read.
        """
        if isinstance(source, PlacedGate):
            return self.output(source, address, state, reading)
        if not isinstance(source, Pin):
            return UNKNOWN if source is None else source
        if source.role is Role.ADDRESS:
            return address >> int(source.function[1:]) & 1
        if source.role is Role.SUPPLY:
            return {5: HIGH, 0: LOW}.get(self.original.supplies[source.function], UNKNOWN)
        if source.function in state:
            return state[source.function]
        return {"H": HIGH, "L": LOW}.get(self.original.read_levels.get(source.function) if reading else "", UNKNOWN)

    def output(self, gate: PlacedGate, address: np.ndarray, state: State, reading: bool) -> Levels:
        """Return the level that a gate gives; one input whose level is not known makes it unknown."""
        inputs = [self.level_of(self._feed(tap), address, state, reading) for tap in gate.taps]
        known = 1
        for level in inputs:
            known = known & (level != UNKNOWN)
        pin = {"pin": gate.output} if gate.kind == "3-to-8" else {}
        given = GIVES[gate.kind](*(level & 1 for level in inputs), **pin)
        return given * known + UNKNOWN * (1 - known)

    def _feed(self, tap: Tap) -> Source:
        """Return what feeds an input of a gate."""
        if tap.gate:
            return self.gates[tap.gate]
        return self.original.pins[tap.position - 1] if tap.position else {"H": HIGH, "L": LOW}.get(tap.level)

    def match(self, table: Iterable[dict[str, str]], address: np.ndarray, state: State, doubt: bool = False) -> Levels:
        """Tell for each address whether a row of levels holds at the chip; with `doubt`, whether it may hold."""
        held: Levels = 0
        for row in table:
            matches: Levels = 1
            for name, wanted in row.items():
                level = self.level(self.chip.by_function[name], address, state, reading=not doubt)
                matches = matches & ((level == (wanted == "H")) | (doubt & (level == UNKNOWN)))
            held = held | matches
        return held

    def check_supplies(self) -> dict | None:
        """Return the first supply pin that is not on a rail of its voltage."""
        for pin in (pin for pin in self.chip.pins if pin.role is Role.SUPPLY):
            source, volts = self.source.get(pin.number), self.chip.supplies[pin.function]
            rails = self.original.supplies
            have = rails.get(source.function) if isinstance(source, Pin) else {HIGH: 5, LOW: 0}.get(source)
            if have != volts or have not in rails.values():
                expected, found = f"{volts:+g} V", describe(source)
                return {"chip": pin.number, "function": pin.name, "expected": expected, "found": found}
        return None

    def check_data_lines(self) -> dict | None:
        """Send a single 1 over each data line in turn; return the first that arrives elsewhere or not at all."""
        for line in range(self.original.bits):
            arrived = [
                source.function
                for pin in self.chip.pins
                if pin.function == f"D{line}" and isinstance(source := self.source.get(pin.number), Pin)
            ]
            if arrived != [f"D{line}"]:
                return {"line": f"D{line}", "expected": f"D{line}", "found": ", ".join(arrived) or "nothing"}
        return None

    def find_difference(self, address: np.ndarray, state: State, driving: np.ndarray, image_at: int) -> dict | None:
        """Return the first address whose word does not come back in this state of the controls."""
        if not np.all(driving):
            return differ(state, int(np.argmin(driving)), "driven", "off")
        for name, wanted in self.chip.read_levels.items():
            level = self.level(self.chip.by_function[name], address, state)
            wrong = level == UNKNOWN if name in self.chip.read_either else level != (wanted == "H")
            if np.any(wrong):
                return differ(state, int(np.argmax(wrong)), f"{name} at {wanted}", f"{name} not at {wanted}")
        cell, own = np.zeros_like(address), 0
        for pin in (pin for pin in self.chip.pins if pin.role is Role.ADDRESS):
            source = self.source.get(pin.number)
            if isinstance(source, Pin) and source.function == pin.function:
                own |= 1 << int(pin.function[1:])
                continue
            level = self.level(pin, address, state)
            if np.any(unknown := level == UNKNOWN):
                return differ(state, int(np.argmax(unknown)), f"a level at {pin.function}", "open")
            cell |= level << int(pin.function[1:])
        cell |= address & own  # the lines that arrive at their own pins, taken together
        wrong = cell != address + image_at
        if wrong.any():
            at = int(np.argmax(wrong))
            return differ(state, at, f"cell {at + image_at:04X}", f"cell {int(cell[at]):04X}")
        return None


def describe(source: Source) -> str:
    """Name what a chip pin is connected to."""
    if isinstance(source, PlacedGate):
        return f"gate {source.name}"
    if isinstance(source, Pin):
        return f"socket pin {source.number}, {source.function}"
    return "nothing" if source is None else "VCC" if source == HIGH else "GND"
