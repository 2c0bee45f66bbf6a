"""A simulated read of every address through a finished wiring table, in every state of the socket's controls.

Shares no function with wiring.py, drive.py or socket.py, which decide the table: it takes the rows and the two
pages, and works out for itself what each chip pin gets. Every cell of the chip holds its own number, so the read
tells which cell a board address reaches; the data lines are told apart by words with a single 1. What holds for
these two holds for any contents.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from romwright.fit.plans.bench import HIGH, LOW, UNKNOWN, Bench, Burnt, differ, holds
from romwright.fit.plans.contents import Layout
from romwright.fit.plans.glue import PlacedGate
from romwright.fit.plans.rows import Row
from romwright.fit.socket import Beyond
from romwright.parts.model import Part


class Proof(Struct, frozen=True):
    """What the simulation gave.

    `equal`: every read that the original answers comes back with its word, and no state writes the chip that does not
    write the original. `states` counts the combinations of the socket's control levels; `states_differ` those in
    which the chip drives the bus and the original does not, or the other way round, at one address at least;
    `states_written` those in which the chip is or may be written and the original is not. A level that is not
    known counts as either: no read relies on it, and any write may come of it. `power_up_safe`: a chip that keeps
    its contents cannot be written while no control line has its level yet, or the original could be too.
    """

    addresses: int
    states: int
    states_differ: int
    states_written: int
    power_up_safe: bool
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
            "power_up_safe": self.power_up_safe,
        }
        return found | ({"first_difference": self.first_difference} if self.first_difference else {})


def read_every_address(
    original: Part, chip: Part, rows: Sequence[Row], image_at: int, gates: Sequence[PlacedGate] = (),
    layout: Layout | None = None, banks: int = 1, burnt: Burnt | None = None, beyond: Beyond = Beyond(),
) -> Proof:  # fmt: skip
    """Read every address through the rows, in every state of the control levels, and compare with the original.

    The original's contents are taken to lie at chip address `image_at`, or as `layout` says; with `burnt` the words
    that come back are compared too. Every setting of the switches that choose among `banks` is read; `beyond` has
    the states that never come, and those that choose a bank by themselves. Pins must be at the level that the data
    sheet asks for in read, and supplies on their rails, or the read counts as different.
    """
    bench = Bench(original, chip, rows, gates, layout or straight(original, chip, image_at), burnt)
    address = np.arange(original.words, dtype=np.int64)
    rows_of_levels = (*original.drives, *original.writes, *beyond.idle)
    controls = sorted({*beyond.signals, *(name for row in rows_of_levels for name in row)})
    found = [bench.check_supplies(), bench.check_outputs(), None if burnt else bench.check_data_lines()]
    states = states_differ = states_written = answered = 0
    for levels in itertools.product((LOW, HIGH), repeat=len(controls)):
        state = dict(zip(controls, levels))
        if holds(beyond.idle, state):
            continue
        states += 1
        shown = [number for number, rows in enumerate(beyond.shares) if holds(rows, state)]
        if holds(original.drives, state):
            answered += 1
            driving = bench.match(chip.drives, address, state)
            states_differ += not np.all(driving)
            for bank in shown or range(banks):
                found.append(None if any(found) else bench.find_difference(address, state, driving, bank))
        else:
            states_differ += bool(np.any(bench.match(chip.drives, address, state, doubt=True)))
        if not holds(original.writes, state) and np.any(hit := bench.match(chip.writes, address, state, doubt=True)):
            states_written += 1
            found.append(differ(state, int(np.argmax(hit)), "not written", "may be written"))
    found.append(bench.check_data_lines())
    if not answered:
        found.append({"expected": "a state in which the original answers", "found": "none"})
    dark = dict.fromkeys(controls, UNKNOWN)
    exposed = np.any(bench.match(chip.writes, address, dark, doubt=True))
    safe = bool(original.writes or chip.volatile or not exposed)
    return Proof(original.words, states, states_differ, states_written, safe, next(filter(None, found), None))


def straight(original: Part, chip: Part, image_at: int) -> Layout:
    """Return the layout of contents that lie in one piece, every line straight."""
    address = np.arange(chip.words, dtype=np.int64) - image_at
    address[(address < 0) | (address >= original.words)] = -1
    return Layout(address, np.zeros_like(address), tuple(range(chip.bits)))
