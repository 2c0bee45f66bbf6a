"""Checksums in an image: stored at a place, or made to come to a value by the bytes at a place."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import Struct

from romwright.errors import NotSolvableError, OptionError
from romwright.images import fixup
from romwright.images.image import hex_range


class Sum(Struct, frozen=True):
    """A checksum to be put into the image.

    `value` is what the checksum of `over` is made to come to by the bytes at `at`; with `value` None, the checksum
    itself is stored there. Ranges are (first, after the last); `over` None is the whole image, `at[1]` None the usual
    length.
    """

    kind: fixup.Kind
    at: tuple[int, int | None]
    value: int | None = None
    over: tuple[int, int] | None = None


class Placed(Struct, frozen=True):
    """A Sum once it is in the image: the range it covers, the place it took, and the value that it must keep."""

    wanted: Sum
    over: tuple[int, int]
    at: tuple[int, int]
    value: int

    @property
    def name(self) -> str:
        """The sum in words."""
        return f"the {self.wanted.kind.name} over {hex_range(*self.over)}"

    def measured(self, data: bytes) -> int:
        """Compute the checksum; a stored one leaves out its own place."""
        return self.wanted.kind.compute(
            data[slice(*self.over)] if self.wanted.value is not None else without(data, self.over, self.at)
        )


def put_sums(data: bytes, filled: bytearray, sums: Sequence[Sum], order: str, steps: list[str]) -> bytes:
    """Put all sums into the data, one after the other, and say so in `steps`; `filled` is 1 where only fill is.

    `order` says which end of a stored value comes first, "little" or "big". Raises OptionError if a range is not in the
    data or a later sum spoils an earlier one, NotSolvableError if no bytes make a sum come out.
    """
    done: list[Placed] = []
    for wanted in sums:
        over = wanted.over or (0, len(data))
        at = (wanted.at[0], wanted.at[1] or wanted.at[0] + wanted.kind.size_bytes)
        for begin, end in (over, at):
            if not begin < end <= len(data):
                raise OptionError(
                    f"{hex_range(begin, end)} does not lie in the image",
                    expected=f"addresses in {hex_range(0, len(data))}",
                )
        at, patch = (store if wanted.value is None else fix)(data, filled, wanted, over, at, order)
        if spoilt := next((one for one in done if one.at[0] < at[1] and at[0] < one.at[1]), None):
            raise OptionError(
                f"two checksums take the place {hex_range(*at)}", help=f"move one; {spoilt.name} is there"
            )
        data = data[: at[0]] + patch + data[at[1] :]
        value = int.from_bytes(patch, order) if wanted.value is None else wanted.value
        done.append(Placed(wanted, over, at, value))
        steps.append(in_words(done[-1], patch, order))
        if lost := len(patch) - sum(filled[slice(*at)]):
            steps.append(f"note: {lost} of these bytes replaced {'a byte' if lost == 1 else 'bytes'} of the program")
        filled[slice(*at)] = bytes(len(patch))
    for one in done:
        if one.measured(data) != one.value:
            raise OptionError(
                f"{one.name} does not hold: a later checksum has its bytes at a place inside that range",
                help="keep each place out of the other ranges, or put the checksum over the smaller range first",
            )
    return data


def store(data: bytes, filled: bytearray, wanted: Sum, over: tuple, at: tuple, order: str) -> tuple[tuple, bytes]:
    """Return the place and the bytes of a checksum that is to be stored."""
    value = wanted.kind.compute(without(data, over, at))
    return at, value.to_bytes(wanted.kind.size_bytes, order)


def fix(data: bytes, filled: bytearray, wanted: Sum, over: tuple, at: tuple, order: str) -> tuple[tuple, bytes]:
    """Return the place and the bytes that make a checksum come out.

    A byte sum moves by at most 255 a byte, so it may need more bytes than it is wide: unless the place was given as a
    range, it grows over fill, upwards first, never over the program.
    """
    first, last = over
    if not first <= at[0] < at[1] <= last:
        raise OptionError(f"the bytes at {hex_range(*at)} lie outside {hex_range(*over)}, which they are to change")
    ranges = [at] if wanted.at[1] else [at, *grown(at, over, filled)]
    for begin, end in ranges:
        try:
            return (begin, end), fixup.solve(data[first:last], wanted.kind, wanted.value, begin - first, end - begin)
        except NotSolvableError as caught:
            error = caught
    error.where = f"chip address {hex_range(*at)}, over {hex_range(*over)}"
    for begin, end in grown(at, over, bytes([1]) * len(data)):
        try:
            fixup.solve(data[first:last], wanted.kind, wanted.value, begin - first, end - begin)
        except NotSolvableError:
            continue
        error.help = f"{hex_range(begin, end)} would do, if nothing that matters is there: give it as the place"
        break
    raise error


def grown(at: tuple[int, int], over: tuple[int, int], free: bytes | bytearray):
    """Yield ever larger ranges around a place, within `over` and over bytes that are free."""
    begin, end = at
    while end - begin < 260:  # 257 bytes reach every 16-bit sum
        if end < over[1] and free[end]:
            end += 1
        elif begin > over[0] and free[begin - 1]:
            begin -= 1
        else:
            return
        yield begin, end


def without(data: bytes, over: tuple[int, int], at: tuple[int, int]) -> bytes:
    """Return the bytes of a range, leaving out those at a place."""
    first, last = over
    return data[first : max(min(at[0], last), first)] + data[min(max(at[1], first), last) : last]


def in_words(placed: Placed, patch: bytes, order: str) -> str:
    """Say what was done."""
    value, where = placed.wanted.kind.text(placed.value), hex_range(*placed.at)
    if placed.wanted.value is not None:
        shown = patch[:16].hex().upper() + ("..." if len(patch) > 16 else "")
        return f"made {placed.name} come to {value} by {shown} at {where}"
    inside = placed.over[0] < placed.at[1] and placed.at[0] < placed.over[1]
    return f"stored {placed.name}{' without this place' if inside else ''}, {value}, {order} end first at {where}"
