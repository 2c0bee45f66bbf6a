"""Two parts, position by position: the smaller sits at the bottom of the larger one's site, as JEDEC has it.

Source of the rule: Intel 27128A data sheet, 230849-009, October 1990, Figure 2 ("universal site": 24 pins in 28), and
Fairchild NM27C256 data sheet DS010833, July 1998 (28 in 32).
"""

from __future__ import annotations

from msgspec import Struct

from romwright.parts.model import Part, Pin, Role


class Position(Struct, frozen=True):
    """One position of the larger package, with the pin of each part that sits there."""

    number: int
    first: Pin | None
    second: Pin | None
    kind: str  # see difference_of

    @property
    def same(self) -> bool:
        """Whether both parts have the same pin here."""
        return self.kind == "same"


def list_positions(first: Part, second: Part) -> list[Position]:
    """List the positions of the larger package; the smaller part leaves those at the pin 1 end empty.

    >>> from romwright.parts.library import require_part
    >>> found = list_positions(require_part("27C256"), require_part("28C256"))
    >>> [(place.number, place.first.name, place.second.name, place.kind) for place in found if not place.same]
    [(1, 'VPP', 'A14', 'function'), (27, 'A14', '/WE', 'function')]
    """
    count = max(first.pin_count, second.pin_count)
    places = []
    for number in range(1, count + 1):
        pins = []
        for part in (first, second):
            index = number - 1 - (count - part.pin_count) // 2
            pins.append(part.pins[index] if 0 <= index < part.pin_count else None)
        places.append(Position(number, *pins, difference_of(*pins, first.supplies, second.supplies)))
    return places


def difference_of(first: Pin | None, second: Pin | None, ours: dict[str, float], theirs: dict[str, float]) -> str:
    """Say how two pins differ.

    "same"; "no pin" (one of the packages ends before it); "supply" (a supply of one is no supply of that voltage of the
    other); "function" (it does something else in read); "control" (both are controls, of other names); "polarity"
    (active low, active high or the factory's choice); "programming" (alike in read, but not while it is programmed).
    """
    if first is None or second is None:
        return "no pin"
    volts = [
        rails[pin.function] if pin.role is Role.SUPPLY else None for pin, rails in ((first, ours), (second, theirs))
    ]
    if volts[0] != volts[1]:
        return "supply"
    names = [pin.name.replace(pin.function, "supply") if volts[0] is not None else pin.name for pin in (first, second)]
    if names[0] == names[1]:
        return "same"
    if first.function == second.function or volts[0] is not None:
        return "programming"
    if first.function.strip("/?") == second.function.strip("/?"):
        return "polarity"
    return "control" if first.role is second.role is Role.CONTROL else "function"
