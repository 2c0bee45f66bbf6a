"""A chip held in a socket by the rows of a table, simulated: the level at each pin, the cell that shows, the word.

Shares no function with what decides the rows; a part, rows, gates and a layout are all that it takes.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cached_property

import numpy as np
from msgspec import Struct

from romwright.fit.plans.contents import Layout
from romwright.fit.plans.glue import PlacedGate, Tap
from romwright.fit.plans.rows import How, Row
from romwright.parts.model import Part, Pin, Role

HIGH, LOW, UNKNOWN = 1, 0, 2
State = dict[str, int]
Source = Pin | PlacedGate | str | int | None  # a str is a switch, or a point of the board
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


class Burnt(Struct, frozen=True):
    """What the chip holds and what the socket must show, as words: one array for each bank."""

    chip: np.ndarray
    wanted: Sequence[np.ndarray]


def holds(rows: Iterable[dict[str, str]], state: State) -> bool:
    """Tell whether one of the original's rows of levels matches a state of its controls."""
    return any(all(state[name] == (level == "H") for name, level in row.items()) for row in rows)


def differ(state: State, address: int, expected: str, found: str) -> dict:
    """Describe the first address at which something differs in a state."""
    levels = {name: "LH"[level] for name, level in state.items()}
    return {"address": f"{address:04X}", "levels": levels, "expected": expected, "found": found}


class Bench:
    """A chip held in a socket by the rows of a table."""

    def __init__(
        self, original: Part, chip: Part, rows: Sequence[Row], gates: Sequence[PlacedGate], layout: Layout,
        burnt: Burnt | None,
    ) -> None:  # fmt: skip
        self.original, self.chip, self.rows, self.layout, self.burnt = original, chip, rows, layout, burnt
        self.gates = {gate.name: gate for gate in gates}
        self.source = {row.chip: self._source(row) for row in rows if row.chip is not None}

    def _source(self, row: Row) -> Source:
        """Return the socket pin, constant level, gate or None for nothing that a row gives its chip pin."""
        if row.how in (How.VCC, How.GND):
            return HIGH if row.how is How.VCC else LOW
        if row.how is How.GATE:
            return self.gates[row.gate]
        if row.how in (How.STRAP, How.POINT):
            return row.strap or row.point
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
        if isinstance(source, str):
            return state.get(source, UNKNOWN)
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
        if tap.gate or tap.point:
            return self.gates[tap.gate] if tap.gate else tap.point
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

    @cached_property
    def arriving(self) -> dict[int, int]:
        """The bit of the chip that arrives on each data line of the socket."""
        found = {}
        for pin in (pin for pin in self.chip.pins if pin.role is Role.DATA):
            source = self.source.get(pin.number)
            if isinstance(source, Pin) and source.role is Role.DATA:
                found[int(source.function[1:])] = int(pin.function[1:])
        return found

    def check_outputs(self) -> dict | None:
        """Return the first output of the chip, of those that the socket has no use for, that meets a driven line."""
        for pin in self.chip.pins:
            spare = pin.role is Role.DATA and self.layout.data[int(pin.function[1:])] < 0
            source = self.source.get(pin.number)
            idle = source is None or (isinstance(source, Pin) and source.role in (Role.NC, pin.role) and not spare)
            if (spare or pin.role is Role.OUTPUT) and not idle:
                return {"chip": pin.number, "function": pin.name, "expected": "open", "found": describe(source)}
        return None

    def check_data_lines(self) -> dict | None:
        """Send a single 1 over each data line in turn; return the first that arrives elsewhere, or not at all."""
        reached = [self.source.get(pin.number) for pin in self.chip.pins if pin.role is Role.DATA]
        for line in range(self.original.bits):
            pins = [source for source in reached if isinstance(source, Pin) and source.function == f"D{line}"]
            bit = self.arriving.get(line, -1)
            carried = self.layout.data[bit] if bit >= 0 else -1
            if len(pins) != 1 or carried != line:
                found = f"D{carried}" if carried >= 0 else "nothing"
                found = found if len(pins) < 2 else f"{len(pins)} pins"
                return {"line": f"D{line}", "expected": f"D{line}", "found": found}
        return None

    def find_difference(self, address: np.ndarray, state: State, driving: Levels, bank: int) -> dict | None:
        """Return the first address whose word does not come back in this state of the controls and of the switches."""
        if not np.all(driving):
            return differ(state, int(np.argmin(driving)), "driven", "off")
        for name, wanted in self.chip.read_levels.items():
            level = self.level(self.chip.by_function[name], address, state)
            wrong = level == UNKNOWN if name in self.chip.read_either else level != (wanted == "H")
            if np.any(wrong):
                return differ(state, int(np.argmax(wrong)), f"{name} at {wanted}", f"{name} not at {wanted}")
        straps = [row.strap for row in self.rows if row.strap]
        switches = {name: bank >> (int(name[1:]) - 1) & 1 for name in straps}
        cell, own = np.zeros_like(address), 0
        for pin in (pin for pin in self.chip.pins if pin.role is Role.ADDRESS):
            source = self.source.get(pin.number)
            if isinstance(source, Pin) and source.function == pin.function:
                own |= 1 << int(pin.function[1:])
                continue
            level = self.level(pin, address, state | switches)
            if np.any(unknown := level == UNKNOWN):
                return differ(state, int(np.argmax(unknown)), f"a level at {pin.function}", "open")
            cell |= level << int(pin.function[1:])
        cell |= address & own  # the lines that arrive at their own pins, taken together
        if self.burnt and (found := self.compare_words(cell, state | switches, bank)):
            return found
        wrong = (self.layout.address[cell] != address) | (self.layout.bank[cell] != bank)
        if wrong.any():
            at = int(address[wrong][0])
            right = np.flatnonzero((self.layout.address == at) & (self.layout.bank == bank))
            expected = f"cell {int(right[0]):04X}" if len(right) else "a cell of the chip"
            return differ(state | switches, at, expected, f"cell {int(cell[at]):04X}")
        return None

    def compare_words(self, cell: np.ndarray, state: State, bank: int) -> dict | None:
        """Return the first address at which another word arrives than the socket must show."""
        held, seen = self.burnt.chip[cell], np.zeros(len(cell), self.burnt.chip.dtype)
        for line, bit in self.arriving.items():
            seen |= (held >> bit & 1) << line
        wrong = np.flatnonzero(seen != self.burnt.wanted[bank])
        if not len(wrong):
            return None
        at, digits = int(wrong[0]), -(-self.original.bits // 4)
        expected, found = (f"{int(words[at]):0{digits}X}" for words in (self.burnt.wanted[bank], seen))
        return differ(state, at, expected, found)


def describe(source: Source) -> str:
    """Name what a chip pin is connected to."""
    if isinstance(source, PlacedGate):
        return f"gate {source.name}"
    if isinstance(source, str):
        return source
    if isinstance(source, Pin):
        return f"socket pin {source.number}, {source.function}"
    return "nothing" if source is None else "VCC" if source == HIGH else "GND"
