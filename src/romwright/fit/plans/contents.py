"""The original's contents pushed backwards through a plan: which bytes the chip must hold, cell by cell.

Each address pin of the chip follows an address line of the socket, stands at a level, or hangs on a switch that
chooses a bank; each data pin follows a data line. Lines may be crossed: the bytes are crossed alike.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from msgspec import Struct

from romwright.errors import LostLineError, NotFittingError, OptionError
from romwright.fit.plans.lines import NOTHING
from romwright.fit.plans.wiring import Plan
from romwright.parts.model import Part

NOWHERE = -1


class Layout(Struct, frozen=True):
    """Where the original's words lie in the chip.

    `address`: for each cell of the chip the original's address that shows it, -1 if none does; `bank`: the number of
    the bank to which it belongs; `data`: for each data bit of the chip the bit of the original that it carries, -1 if
    none.
    """

    address: np.ndarray
    bank: np.ndarray
    data: tuple[int, ...]


def lay_out(plan: Plan) -> Layout:
    """Return where the original's words lie in the chip. Raises LostLineError if two of them would need one cell."""
    cells = np.arange(plan.chip.words, dtype=np.int64)
    address, bank = np.zeros_like(cells), np.zeros_like(cells)
    shown = np.ones(len(cells), bool)
    lines, follows = plan.socket.address, {}  # address line of the original -> the chip's bit that follows it first
    for bit, line in enumerate(plan.carried[: plan.chip.address_bits]):
        high = cells >> bit & 1
        if line in ("H", "L"):
            shown &= high == (line == "H")
        elif line in follows:
            shown &= high == cells >> follows[line] & 1
        elif line in lines:
            follows[line] = bit
            address |= high << lines.index(line)
        elif line == NOTHING:
            pin = plan.chip.by_function[f"A{bit}"]
            raise LostLineError(pin.function, f"chip pin {pin.number} ({pin.name}) is on no address line")
        else:
            bank |= high << (int(line[1:]) - 1)
    for number, line in enumerate(lines):
        if line not in follows:
            cell = f"the words at 0000 and {1 << number:04X} would need one cell"
            raise LostLineError(line, f"{line} reaches no address pin of the {plan.chip.name}: {cell}")
    return Layout(np.where(shown, address, NOWHERE), bank, data_order(plan))


def is_straight(plan: Plan) -> bool:
    """Tell whether each line goes to the chip pin of its own number."""
    address, data = plan.carried[: plan.chip.address_bits], plan.carried[plan.chip.address_bits :]
    return all(line == f"A{bit}" for bit, line in enumerate(address) if line[0] == "A") and all(
        line in (f"D{bit}", NOTHING) for bit, line in enumerate(data)
    )


def data_order(plan: Plan) -> tuple[int, ...]:
    """Return for each data bit of the chip the original's data bit that it holds, -1 if none."""
    carried = plan.carried[plan.chip.address_bits :]
    for line in plan.socket.data:
        if line not in carried:
            raise LostLineError(line, f"{line} reaches no data pin of the {plan.chip.name}")
    return tuple(plan.socket.data.index(line) if line in plan.socket.data else -1 for line in carried)


def burn(plan: Plan, contents: Mapping[str, bytes], fill: int, repeat: bool = False) -> bytes:
    """Return the bytes to burn so that each bank shows its contents at the socket.

    `contents` is keyed by the names of the plan's banks, by "" if it has none; each fills the original. Cells that
    nothing shows are `fill`, or with `repeat` what they would show if the levels of the plan's ties did not matter.
    Raises LostLineError, NotFittingError, OptionError.
    """
    layout = lay_out(plan)
    names = plan.banks or ("",)
    if missing := [name for name in names if name not in contents]:
        raise OptionError(f"nothing is given for the bank {missing[0]}", expected=f"contents for {', '.join(names)}")
    words = np.stack([words_of(contents[name], plan.original) for name in names])
    shown = layout.address != NOWHERE
    address = layout.address
    if repeat:
        address, shown = spread(plan), np.ones(len(address), bool)
    shown = shown & (layout.bank < len(names))
    original = words[np.where(shown, layout.bank, 0), np.where(shown, address, 0)]
    chip = np.zeros(plan.chip.words, np.uint32)
    blank = fill if plan.chip.bits <= 8 else fill * 0x101
    for bit, line in enumerate(layout.data):
        level = original >> line & 1 if line >= 0 else blank >> bit & 1
        chip |= np.asarray(level, np.uint32) << np.uint32(bit)
    return bytes_of(np.where(shown, chip, blank & (1 << plan.chip.bits) - 1), plan.chip)


def spread(plan: Plan) -> np.ndarray:
    """Return for each cell the original's address on its lines alone, whatever the pins at fixed levels are at."""
    cells = np.arange(plan.chip.words, dtype=np.int64)
    address = np.zeros_like(cells)
    for bit, line in enumerate(plan.carried[: plan.chip.address_bits]):
        if line in plan.socket.address:
            address |= (cells >> bit & 1) << plan.socket.address.index(line)
    return address


def whole(data: bytes, part: Part) -> bytes:
    """Return contents that fill a part. Raises NotFittingError for any others: how they fill it is not guessed."""
    room = part.words * part.word_bytes
    if len(data) != room:
        raise NotFittingError(
            len(data), room, what="the file of contents", size=f"{len(data):,} bytes", place=part.name,
            help=f"give all {room:,} bytes; `prepare --plan` fills, or repeats what is shorter",
        )  # fmt: skip
    return data


def words_of(data: bytes, part: Part) -> np.ndarray:
    """Return a part's words from the bytes of a file, the low byte of a word first.

    Of a byte for a part of four bits the upper half says nothing. Raises NotFittingError as `whole` does.
    """
    words = np.frombuffer(whole(data, part), file_type(part))
    return words.astype(np.uint32) & np.uint32((1 << part.bits) - 1)


def bytes_of(words: np.ndarray, part: Part) -> bytes:
    """Return the bytes of a file for a part's words, the low byte of a word first."""
    return words.astype(file_type(part)).tobytes()


def file_type(part: Part) -> np.dtype:
    """Return how a file holds a part's words: bytes, or two of them with the low one first."""
    return np.dtype(np.uint8 if part.word_bytes == 1 else "<u2")
