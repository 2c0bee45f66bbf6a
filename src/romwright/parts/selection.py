"""Which parts are wanted: by family, size, package, pins and volts."""

from __future__ import annotations

from collections.abc import Iterable

from msgspec import Struct

from romwright.errors import UnknownNameError
from romwright.parts.model import Part


class Wanted(Struct, frozen=True):
    """What a part must be; what is None does not matter.

    `size_bytes` counts all bits, eight to a byte, so that 256 x 4 is 128 bytes. `volts` is a voltage that the part
    needs at some pin: a supply, or its programming or erase voltage, also within the range that the page gives.
    """

    family: str | None = None
    size_bytes: int | None = None
    organisation: tuple[int, int] | None = None
    package: str | None = None
    pins: int | None = None
    volts: float | None = None

    def __call__(self, part: Part) -> bool:
        """Tell whether a part is wanted."""
        return (
            self.family in (None, part.family)
            and self.size_bytes in (None, size_bytes(part))
            and self.organisation in (None, *organisations(part))
            and self.package in (None, part.package)
            and self.pins in (None, part.pin_count)
            and (self.volts is None or needs_volts(part, self.volts))
        )


def size_bytes(part: Part) -> int:
    """Return how many bytes a part holds."""
    return part.words * part.bits // 8


def organisations(part: Part) -> list[tuple[int, int]]:
    """Return words and bits, and those of the byte mode."""
    return [(part.words, part.bits), *([(part.words_x8, 8)] if part.words_x8 else [])]


def needs_volts(part: Part, volts: float) -> bool:
    """Tell whether a pin of the part gets this voltage, in read or while it is programmed.

    >>> from romwright.parts.library import require_part
    >>> needs_volts(require_part("2708"), -5), needs_volts(require_part("27C256"), 12.5)
    (True, True)
    """
    programming = part.programming
    if volts in part.supplies.values() or programming is None:
        return volts in part.supplies.values()
    ranges = [span for span in (programming.vpp_range_v, programming.vcc_range_v) if span]
    exact = (programming.vpp_v, programming.vpp_erase_v, programming.vcc_v)
    return volts in exact or any(low <= volts <= high for low, high in ranges)


def require_known(kind: str, asked: str, known: Iterable[str]) -> str:
    """Return the known name that was asked for in any case of letters.

    Raises UnknownNameError with near names, or those that end in what was asked: DIP-28 for 28.
    """
    names, wanted = sorted(set(known)), asked.strip().casefold()
    found = next((name for name in names if name.casefold() == wanted), None)
    if found is None:
        error = UnknownNameError(kind, asked, names)
        if wanted and (ending := [name for name in names if name.casefold().endswith(wanted)]):
            error.help = f"did you mean {' or '.join(ending)}?"
        raise error
    return found
