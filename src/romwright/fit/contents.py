"""The original's contents pushed backwards through a plan: which bytes the chip must hold, cell by cell.

Each address pin of the chip follows an address line of the socket, stands at a level, or hangs on a switch that
chooses a bank; each data pin follows a data line. Lines may be crossed: the bytes are crossed alike.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from romwright.errors import LostLineError, NotFittingError, OptionError
from romwright.fit.socket import Kind
from romwright.fit.wiring import Plan
from romwright.parts.model import Part, Role

NOWHERE = -1


@dataclass(frozen=True)
class Layout:
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
    pickers = 0
    follows: dict[int, int] = {}  # address line of the original -> the chip's address bit that follows it first
    for pin in plan.chip.lines(Role.ADDRESS):
        net, high = plan.nets[pin.number], cells >> pin.index & 1
        if net.kind is Kind.STRAP:
            bank |= high << plan.straps.index(net.label)
        elif level := plan.socket.read_level(net):
            shown &= high == (level == "H")
        elif (line := plan.socket.line_of(net)) is None and plan.beyond.shares:
            bank |= high << pickers
            pickers += 1
        elif line is None:
            raise LostLineError(pin.function, f"chip pin {pin.number} is on {net.words}, which is no address line")
        elif line in follows:
            shown &= high == cells >> follows[line] & 1
        else:
            follows[line] = pin.index
            address |= high << line
    for line in range(plan.original.address_bits):
        if line not in follows:
            name, cell = plan.socket.address[line], f"the words at 0000 and {1 << line:04X} would need one cell"
            raise LostLineError(name, f"{name} reaches no address pin of the {plan.chip.name}: {cell}")
    return Layout(np.where(shown, address, NOWHERE), bank, data_order(plan))


def is_straight(plan: Plan) -> bool:
    """Tell whether each line goes to the chip pin of its own number."""
    lines = {pin.index: plan.socket.line_of(plan.nets[pin.number]) for pin in plan.chip.lines(Role.ADDRESS)}
    order = data_order(plan)
    return all(line in (None, index) for index, line in lines.items()) and order[: plan.original.bits] == tuple(
        range(plan.original.bits)
    )


def data_order(plan: Plan) -> tuple[int, ...]:
    """Return for each data bit of the chip the original's data bit that its pin is wired to, -1 if none."""
    order = tuple(plan.socket.bit_of(plan.nets[pin.number]) for pin in plan.chip.lines(Role.DATA))
    for bit, line in enumerate(plan.socket.data):
        if bit not in order:
            raise LostLineError(line, f"{line} reaches no data pin of the {plan.chip.name}")
    return order


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
    for pin in plan.chip.lines(Role.ADDRESS):
        if (line := plan.socket.line_of(plan.nets[pin.number])) is not None:
            address |= (cells >> pin.index & 1) << line
    return address


def words_of(data: bytes, part: Part) -> np.ndarray:
    """Return a part's words from the bytes of a file, the low byte of a word first; short contents are repeated.

    Of a byte for a part of four bits the upper half says nothing. Raises NotFittingError if they do not go into the
    part a whole number of times.
    """
    room = part.words * part.word_bytes
    if not data or room % len(data):
        raise NotFittingError(
            len(data), room, what="the contents", size=f"{len(data):,} bytes", place=part.name,
            help=f"give {room:,} bytes, or a half, a quarter, ... that is repeated",
        )  # fmt: skip
    whole = np.frombuffer(data * (room // len(data)), np.uint8 if part.word_bytes == 1 else "<u2")
    return whole.astype(np.uint32) & np.uint32((1 << part.bits) - 1)


def bytes_of(words: np.ndarray, part: Part) -> bytes:
    """Return the bytes of a file for a part's words, the low byte of a word first."""
    return words.astype(np.uint8 if part.word_bytes == 1 else "<u2").tobytes()
