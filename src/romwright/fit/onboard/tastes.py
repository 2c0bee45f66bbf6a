"""What speaks against a setting of the links that works all the same: settings without it come first."""

from __future__ import annotations

from collections.abc import Iterator

from msgspec import Struct

from romwright.fit.onboard.mounted import Mounted
from romwright.parts.model import Role

LEVELS = {5: "H", 0: "L"}


class Taste(Struct, frozen=True):
    """A reason to like a setting less, and the chip pin that it is about."""

    why: str
    pin: int


def find_tastes(m: Mounted) -> Iterator[Taste]:
    """Yield what one would rather not have at the chip's pins.

    A rail above or below the logic levels at a pin that is not used does no harm until another chip is plugged in. An
    enable besides the select that is tied on leaves the select alone to keep the chip off the bus.
    """
    for pin in m.pins:
        volts = m.nets.volts(m.node(pin))
        if pin.role is Role.NC and volts not in (None, *LEVELS):
            yield Taste("a rail of another voltage at a pin that is not used", pin.number)
        elif pin.function != m.chip.select and LEVELS.get(volts) in m.chip.enables.get(pin.function, ()):
            yield Taste("an enable that no strobe switches", pin.number)
