"""The cells of a dump that may be wrong: by the way in which bits went, reads that disagree, lists of weak cells."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping, Sequence
from enum import StrEnum

import numpy as np
from msgspec import Struct

from romwright.errors import InputError, OptionError
from romwright.faults.comparison import defined
from romwright.faults.repairs.syndromes import Condition
from romwright.images.image import Image
from romwright.images.words import in_bytes

MOST_CELLS = 1 << 25


class Decay(StrEnum):
    """Which way bits may have gone between the good chip and the dump."""

    ROSE = "rose"
    FELL = "fell"
    EITHER = "either"

    @property
    def words(self) -> str:
        """What a correction does then."""
        return {"rose": "turns 1 back to 0", "fell": "turns 0 back to 1", "either": "turns bits either way"}[self]


class Suspects(Struct, frozen=True):
    """Cells that a correction may turn, as 8 x byte + bit, ascending; bytes count from the first of the image.

    `weak` tells for each whether it is known to be weak.
    """

    cells: np.ndarray
    weak: np.ndarray

    def __len__(self) -> int:
        return len(self.cells)

    @classmethod
    def of(
        cls, data: bytes, decay: Decay, there: np.ndarray, weak: np.ndarray | None = None, only_weak: bool = False
    ) -> Suspects:
        """Take the bits of the bytes that are `there` which the decay may have made; of the weak ones only, if so."""
        seen = np.frombuffer(data, np.uint8)
        room = {Decay.ROSE: seen, Decay.FELL: ~seen, Decay.EITHER: np.full_like(seen, 0xFF)}[decay]
        bits = np.unpackbits(np.where(there, room, 0).astype(np.uint8), bitorder="little").astype(bool)
        known = np.zeros(len(bits), bool)
        if weak is not None:
            known[weak] = True
        cells = np.flatnonzero(bits & known if only_weak else bits)
        return cls(cells, known[cells])

    def within(self, chosen: np.ndarray) -> Suspects:
        """Take some of them."""
        return Suspects(self.cells[chosen], self.weak[chosen])

    def among(self, cells: np.ndarray) -> Suspects:
        """Take those that are among some cells."""
        return self.within(np.isin(self.cells, cells))


def checked_bytes(image: Image, conditions: Sequence[Condition], whole: bool) -> tuple[np.ndarray, int]:
    """Return which bytes are defined and enter a checksum (all, if one is over the whole), and how many enter none.

    The bytes of a header that promise a checksum are left out: with other ones it would not be promised.
    """
    there, seen = defined(image), np.full(image.span_bytes, whole)
    for each in conditions:
        seen |= each.touched(len(seen))
    free = there & seen
    for begin, end in (says for each in conditions for says in each.relied_on):
        free[begin:end] = False
    return free, int((there & ~seen).sum())


def parse_weak(text: bytes, file: str, start: int, size: int) -> np.ndarray:
    """Read a JSON list of objects with `address` and `bit` (3 or "D3"), or an object with one.

    What `romwright settle --json` prints is one. Returns cells as 8 x byte + bit. Raises InputError for anything else,
    and for a cell outside the image.
    """
    expected = 'a list such as [{"address": 4660, "bit": 3}], or an object that holds one; addresses as numbers'
    try:
        value = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise InputError(f"this is no JSON: {error}", where=file, expected=expected) from None
    lists = [value] if isinstance(value, list) else list(value.values()) if isinstance(value, Mapping) else []
    found = next((each for each in lists if is_cells(each)), [] if [] in lists else None)
    if found is None:
        raise InputError("no list of cells is in this file", where=file, expected=expected)
    for number, cell in enumerate(found):
        address, bit = cell["address"], bit_of(cell)
        if not start <= address < start + size or not 0 <= bit < 8:
            raise InputError(
                f"bit {bit} of address {address:04X} is no cell of the dump", where=f"{file}, entry {number + 1}",
                expected=f"addresses {start:04X} to {start + size - 1:04X}, bits 0 to 7",
            )  # fmt: skip
    return np.unique(np.array([8 * (cell["address"] - start) + bit_of(cell) for cell in found], np.int64))


def bit_of(cell: Mapping) -> int | None:
    """Return the number of a cell's bit, given as a number or as the name of its data line; None if it is neither."""
    bit = cell.get("bit")
    if isinstance(bit, str) and re.fullmatch("D[0-9]", bit):
        return int(bit[1])
    return bit if type(bit) is int else None


def is_cells(value: object) -> bool:
    """Tell whether a JSON value is a list of cells that is not empty."""
    return isinstance(value, list) and bool(value) and all(
        isinstance(each, Mapping) and type(each.get("address")) is int and bit_of(each) is not None for each in value
    )  # fmt: skip


def disagreeing(dump: Image, reads: Iterable[tuple[str, Image]]) -> np.ndarray:
    """Return the cells at which reads of one chip disagree, as 8 x byte + bit. Raises OptionError for another size."""
    seen = np.frombuffer(dump.flat(0), np.uint8)
    differ = np.zeros(len(seen), np.uint8)
    for file, read in reads:
        other = np.frombuffer(read.flat(0), np.uint8)
        if len(other) != len(seen) or read.moved(dump.start - read.start).gaps != dump.gaps:
            raise OptionError(
                f"it has {in_bytes(read.size_bytes)}, the dump {in_bytes(dump.size_bytes)}", where=file,
                expected="reads of one chip, of one size",
            )  # fmt: skip
        differ |= seen ^ other
    return np.flatnonzero(np.unpackbits(differ, bitorder="little"))


def lines_apart(rows: np.ndarray, start: int) -> np.ndarray:
    """Return for each row of cells in how many address lines they differ, and data lines beside the first.

    Cells of one row of a chip, or of one column, differ in few.
    """
    address, bit = (rows >> 3) + start, np.int64(1) << (rows & 7)
    differ = np.bitwise_or.reduce(address ^ address[:, :1], axis=1)
    lines = np.bitwise_count(np.bitwise_or.reduce(bit, axis=1)).astype(np.int64)
    return np.bitwise_count(differ).astype(np.int64) + lines - 1


def turned(data: bytes, cells: Sequence[int]) -> bytes:
    """Return the bytes with these cells turned."""
    changed = bytearray(data)
    for cell in cells:
        changed[cell >> 3] ^= 1 << (cell & 7)
    return bytes(changed)


def require_cells(suspects: Suspects) -> Suspects:
    """Return the suspects. Raises OptionError if there are too many."""
    if len(suspects) > MOST_CELLS:
        raise OptionError(
            f"{len(suspects):,} cells may be wrong", expected=f"at most {MOST_CELLS:,}",
            help="give a range of addresses with --within",
        )  # fmt: skip
    return suspects
