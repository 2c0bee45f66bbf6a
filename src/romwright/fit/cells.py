"""Which cell of a chip shows at each address of a cycle, and which bits of another device's reads it can spoil."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from romwright.boards.spaces import moved_bits
from romwright.fit import tables
from romwright.fit.bus import Case
from romwright.fit.mounted import Mounted
from romwright.parts.model import Role


class Spoilt:
    """The bits of a device's reads that a chip can change, at every address from `first` to `last`, `step` apart.

    Bits are those of the chip's data pins. `wins` has for each cell of the chip the bits that win a fight; without it
    any bit may.
    """

    def __init__(self, first: int, last: int, step: int, wins: np.ndarray | None) -> None:
        self.first, self.step, self.wins = first, step, wins
        self.bits = np.zeros((last - first) // step + 1, np.uint16)
        self.seen = np.zeros(len(self.bits), bool)

    def add(self, chip: Mounted, case: Case, shared: int) -> None:
        """Add what the chip can change in a case, `shared` being the bits that both drive there."""
        for addresses, cells in cells_of(chip, case):
            at = (addresses - self.first) // self.step
            self.seen[at] = True
            self.bits[at] |= np.uint16(shared) if self.wins is None else self.wins[cells] & np.uint16(shared)

    @property
    def addresses(self) -> int:
        """At how many addresses the two fight."""
        return int(self.seen.sum())

    def count(self, bit: int) -> int:
        """Return at how many addresses a bit can read wrong."""
        return int((self.bits >> bit & 1).sum())


def cells_of(chip: Mounted, case: Case) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """Yield all addresses of a case, and the cells of the chip that show there; one that may show two comes twice."""
    names, space, (first, last) = chip.nets.names, case.access.space, case.access.span
    moving, levels = address_pins(chip)
    fixed = [line for line in names if line in chip.cpu.address_lines]
    keys: dict[int, list[int]] = {}  # by what the address pins above show: the numbers of the lines' levels
    for state in tables.true_rows(names, case.mask):
        row = tables.row(names, state)
        upper = sum(1 << index for index, high in levels.items() if high & row)
        keys.setdefault(upper, []).append(sum((state[line] == "H") << place for place, line in enumerate(fixed)))
    addresses = np.arange(first, last + 1, 1 << int(chip.cpu.address_lines[0][1:]), dtype=np.int64)
    for shown in space.on_lines(addresses):
        key = moved_bits(shown, [(int(line[1:]), place) for place, line in enumerate(fixed)])
        low = moved_bits(shown, moving)
        for upper, allowed in keys.items():
            here = np.isin(key, allowed)
            yield addresses[here], low[here] | upper


def address_pins(chip: Mounted) -> tuple[list[tuple[int, int]], dict[int, int]]:
    """Return the address lines of the CPU on the chip's pins, with the pins' indices; where the other pins are at H."""
    moving, levels = [], {}
    for pin in (pin for pin in chip.chip.pins if pin.role is Role.ADDRESS):
        own = [line for line in chip.nets.lines(chip.node(pin)) if line in chip.cpu.address_lines]
        if own:
            moving.append((int(own[0][1:]), pin.index))
        else:
            levels[pin.index] = chip.level(pin)[0]
    return moving, levels
