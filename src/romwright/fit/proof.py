"""A simulated read of every address through a finished wiring table, in every state of the socket's controls.

Shares no function with wiring.py, drive.py or socket.py, which decide the table: it takes the rows and the two
pages, and works out for itself what each chip pin gets. Every cell of the chip holds its own number, so the read
tells which cell a board address reaches; the data lines are told apart by words with a single 1. What holds for
these two holds for any contents.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from romwright.fit.wiring import How, Row
from romwright.parts.model import Part, Pin, Role

HIGH, LOW, UNKNOWN = 1, 0, 2


@dataclass(frozen=True, slots=True)
class Proof:
    """What the simulated read gave: `equal` if every read that the original answers comes back with its word.

    `states` counts the combinations of the socket's control levels, `states_differ` those in which the chip
    drives the bus and the original does not, or the other way round, at one address at least.
    """

    addresses: int
    states: int
    states_differ: int
    first_difference: dict | None

    @property
    def equal(self) -> bool:
        """Whether every read agreed."""
        return self.first_difference is None

    def as_json(self) -> dict:
        """The proof under the documented JSON keys."""
        found = {
            "addresses": self.addresses,
            "equal": self.equal,
            "states": self.states,
            "states_differ": self.states_differ,
        }
        return found | ({"first_difference": self.first_difference} if self.first_difference else {})


def read_every_address(original: Part, chip: Part, rows: Sequence[Row], image_at: int) -> Proof:
    """Read every address through the rows, in every state of the control levels, and compare with the original.

    The original's contents are taken to have been burnt at chip address `image_at`. Pins must be at the level
    that the data sheet asks for in read, and supplies on their rails, or the read counts as different.
    """
    bench = Bench(original, chip, rows)
    address = np.arange(original.words, dtype=np.int64)
    controls = sorted({name for row in (*original.drives, *original.writes) for name in row})
    first = bench.check_supplies() or bench.check_data_lines()
    states_differ = 0
    for levels in itertools.product((LOW, HIGH), repeat=len(controls)):
        state = dict(zip(controls, levels))
        expected = any(all(state[n] == (level == "H") for n, level in row.items()) for row in original.drives)
        driving = bench.match(chip.drives, address, state)
        states_differ += bool((driving != expected).any())
        if expected and first is None:
            first = bench.find_difference(address, state, driving, image_at)
    return Proof(original.words, 1 << len(controls), states_differ, first)


class Bench:
    """A chip held in a socket by the rows of a table."""

    def __init__(self, original: Part, chip: Part, rows: Sequence[Row]) -> None:
        self.original, self.chip = original, chip
        self.source = {row.chip: self._source(row) for row in rows if row.chip is not None}

    def _source(self, row: Row) -> Pin | int | None:
        """Return the socket pin, or the constant level, or None for nothing, that a row gives its chip pin."""
        if row.how in (How.VCC, How.GND):
            return HIGH if row.how is How.VCC else LOW
        place = {How.STRAIGHT: row.socket, How.WIRE: row.wire_to, How.OPEN: None}[row.how]
        return None if place is None else self.original.pins[place - 1]

    def level(self, pin: Pin, address: np.ndarray, state: dict[str, int]) -> np.ndarray | int:
        """Return the level at a chip pin: one for all addresses, or one for each."""
        source = self.source.get(pin.number)
        if not isinstance(source, Pin):
            return UNKNOWN if source is None else source
        if source.role is Role.ADDRESS:
            return address >> int(source.function[1:]) & 1
        if source.function in state:
            return state[source.function]
        if source.role is Role.SUPPLY:
            return {5: HIGH, 0: LOW}.get(self.original.supplies[source.function], UNKNOWN)
        return {"H": HIGH, "L": LOW, None: UNKNOWN}[self.original.read_levels.get(source.function)]

    def match(self, table, address: np.ndarray, state: dict[str, int]) -> np.ndarray:
        """Tell for each address whether a row of levels holds at the chip; an unknown level never matches."""
        holds = np.zeros(len(address), bool)
        for row in table:
            matches = np.ones(len(address), bool)
            for name, level in row.items():
                matches &= self.level(self.chip.by_function[name], address, state) == (level == "H")
            holds |= matches
        return holds

    def check_supplies(self) -> dict | None:
        """Return the first supply pin that is not on a rail of its voltage."""
        for pin in self.chip.pins:
            if pin.role is not Role.SUPPLY:
                continue
            source, volts = self.source.get(pin.number), self.chip.supplies[pin.function]
            have = (
                self.original.supplies.get(source.function)
                if isinstance(source, Pin)
                else {HIGH: 5, LOW: 0}.get(source)
            )
            if have != volts:
                return {
                    "chip": pin.number,
                    "function": pin.name,
                    "expected": f"{volts:+g} V",
                    "found": describe(source),
                }
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

    def find_difference(
        self, address: np.ndarray, state: dict[str, int], driving: np.ndarray, image_at: int
    ) -> dict | None:
        """Return the first address whose word does not come back in this state of the controls."""
        levels = {name: "LH"[level] for name, level in state.items()}
        if not driving.all():
            lost = int(address[~driving][0])
            return {"address": f"{lost:04X}", "levels": levels, "expected": "driven", "found": "off"}
        for name, level in self.chip.read_levels.items():
            wrong = np.broadcast_to(
                self.level(self.chip.by_function[name], address, state) != (level == "H"), address.shape
            )
            if wrong.any():
                at = f"{int(address[wrong][0]):04X}"
                return {
                    "address": at,
                    "levels": levels,
                    "expected": f"{name} at {level}",
                    "found": f"{name} not at {level}",
                }
        cell = np.zeros_like(address)
        for pin in self.chip.pins:
            if pin.role is Role.ADDRESS:
                level = self.level(pin, address, state)
                if isinstance(level, int) and level == UNKNOWN:
                    return {
                        "address": "0000",
                        "levels": levels,
                        "expected": f"a level at {pin.function}",
                        "found": "open",
                    }
                cell |= np.asarray(level, np.int64) << int(pin.function[1:])
        wrong = cell != address + image_at
        if wrong.any():
            at = int(address[wrong][0])
            found = f"{int(cell[at]):04X}"
            return {
                "address": f"{at:04X}",
                "levels": levels,
                "expected": f"cell {at + image_at:04X}",
                "found": f"cell {found}",
            }
        return None


def describe(source: Pin | int | None) -> str:
    """Name what a chip pin is connected to."""
    if isinstance(source, Pin):
        return f"socket pin {source.number}, {source.function}"
    return "nothing" if source is None else "VCC" if source == HIGH else "GND"
