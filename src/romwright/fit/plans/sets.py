"""One original served by several chips, and two originals by one: each a socket that the planner knows how to fill."""

from __future__ import annotations

from collections.abc import Callable

from msgspec import Struct
from msgspec.structs import replace

from romwright.errors import OptionError
from romwright.fit.plans.contents import whole
from romwright.fit.socket import Beyond, Rows
from romwright.parts.model import Part


class Share(Struct, frozen=True):
    """What one of several chips takes over from the original; `of` takes it out of the bytes of the contents.

    Short contents are repeated first, as they show in the original; `of` raises NotFittingError for others.
    """

    part: Part
    title: str
    of: Callable[[bytes], bytes]


def share_out(original: Part, chip: Part, count: int) -> list[Share]:
    """Share an original out to `count` chips: half of each word if these are half as wide, else a part of the words.

    Raises OptionError.
    """
    if original.bits != 2 * chip.bits:
        return split_words(original, count)
    if count != 2:
        raise OptionError(f"{count} chips of {chip.bits} bits for {original.bits} data lines", expected="--chips 2")
    return split_lanes(original)


def split_lanes(original: Part) -> list[Share]:
    """Split a 16-bit original into two 8-bit ones: D0-D7 and D8-D15. Raises OptionError for any other."""
    if original.bits != 16:
        raise OptionError(f"{original.name} has {original.bits} data lines", expected="16, for two chips with 8 each")
    shares = []
    for low in (0, 8):
        names = {f"D{line}": f"D{line - low}" if low <= line < low + 8 else f"D{line}(other)" for line in range(16)}
        title = f"D{low}-D{low + 7}"
        part = renamed(original, names, f"{original.name} {title}", bits=8)
        shares.append(Share(part, title, lambda data, first=low // 8: whole(data, original)[first::2]))
    return shares


def split_words(original: Part, count: int) -> list[Share]:
    """Split an original into `count` of equal size, each with a part of the addresses.

    The highest address lines become enables of each. Raises OptionError if the count is no power of two.
    """
    lines = count.bit_length() - 1
    if count < 2 or count & (count - 1) or lines >= original.address_bits:
        raise OptionError(f"{count} chips cannot share {original.words:,} words", expected="2, 4, 8, ... chips")
    upper = [f"A{line}" for line in range(original.address_bits - lines, original.address_bits)]
    names = {line: f"{line}(select)" for line in upper}
    words, shares = original.words // count, []
    size = words * original.word_bytes
    for number in range(count):
        levels = {names[line]: "H" if number >> bit & 1 else "L" for bit, line in enumerate(upper)}
        title = f"{number * words:04X}-{(number + 1) * words - 1:04X}"
        rows = tuple(row | levels for row in original.drives)
        part = renamed(original, names, f"{original.name} {title}", words=words, drives=rows)
        first = number * size
        shares.append(Share(part, title, lambda data, first=first: whole(data, original)[first : first + size]))
    return shares


def renamed(part: Part, names: dict[str, str], name: str, **changes) -> Part:
    """Return a part with pins whose functions have other names, and whatever else changes."""
    columns = (column.split() for column in (part.left, part.right))
    left, right = (" ".join(names.get(pin.split("|")[0], pin) for pin in column) for column in columns)
    return replace(part, name=name, left=left, right=right, **changes)


def join_sockets(first: Part, second: Part, place: str = "second socket") -> tuple[Part, Beyond]:
    """Return the first socket as one that answers in place of both, and what its chip must know of the second one.

    The address lines, the data lines and every enable but the select are taken to be the same lines at both sockets;
    the select of the second is a point to wire to, and both selects are never on at once. Raises OptionError if the two
    differ in size or have no select.
    """
    if (first.words, first.bits) != (second.words, second.bits):
        raise OptionError(
            f"{first.name} has {first.words:,} x {first.bits}, {second.name} {second.words:,} x {second.bits}",
            expected="two ROMs of one size",
        )
    if not first.select or not second.select:
        which = first if not first.select else second
        raise OptionError(f"the page of {which.name} does not say which pin takes the decoder's select")
    pin = second.by_function[second.select]
    point = f"pin {pin.number} ({pin.function}) of the {place}"
    moved = tuple(
        {point if name == second.select else name: level for name, level in row.items()} for row in second.drives
    )
    if unknown := sorted({name for row in moved for name in row} - {point, *first.by_function}):
        raise OptionError(
            f"{second.name} has an enable {unknown[0]} that {first.name} has not", expected="enables of the same names"
        )
    both: Rows = tuple(one | other for one in first.drives for other in moved if agree(one, other))
    part = replace(first, name=f"{first.name} and {second.name}", drives=(*first.drives, *moved))
    return part, Beyond((point,), (first.drives, moved), both)


def agree(one: dict, other: dict) -> bool:
    """Tell whether no name stands in both rows at two levels."""
    return all(one.get(name, level) == level for name, level in other.items())
