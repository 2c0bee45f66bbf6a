"""What a board's file says of its supplies, and of the families on its bus; and what must hold for that."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from msgspec import Struct

from romwright.parts.families import family_names

MOST_OF_RAIL = 2  # so many times a rail's voltage is no limit of it
MOST_MA = 100_000  # far above the supply of any board, to catch slips


class RailLimits(Struct, frozen=True, forbid_unknown_fields=True):
    """What one rail must keep to, and where it is probed.

    `current_ma` is what the board draws from it, least and most, all its chips in; `most_ma` what the supply gives.
    """

    probe: str
    range_v: tuple[float, float] | None = None
    current_ma: tuple[float, float] | None = None
    most_ma: float | None = None


class Bus(Struct, frozen=True, forbid_unknown_fields=True):
    """The families on the bus: of what drives the inputs of the sockets, and of the inputs that their data pins drive.

    `loads` counts inputs on one data line, the socket's own left out.
    """

    drivers: str = ""
    loads: dict[str, int] = {}


def find_power_faults(rails: Mapping[str, float], limits: Mapping[str, RailLimits], bus: Bus | None) -> Iterator[str]:
    """Yield what is wrong with the limits of the rails, and with the families."""
    for name, limit in limits.items():
        yield from find_limit_faults(f"limits.{name}", rails.get(name), limit)
    if bus:
        yield from find_bus_faults(bus)


def find_limit_faults(where: str, volts: float | None, limit: RailLimits) -> Iterator[str]:
    """Yield what is wrong with the limits of a rail of so many volts, None if the file has no such rail."""
    if not volts:
        found = "no rail of that name" if volts is None else "the rail of 0 V"
        yield f"{where}: {found}; expected a rail with a voltage of this file [limits-rail]"
        return
    if not limit.probe.strip():
        yield f"{where}.probe: empty; say where it is measured, such as U7 28 to 14 [limits-probe]"
    if limit.range_v and not (limit.range_v[0] < limit.range_v[1] and limit.range_v[0] <= volts <= limit.range_v[1]):
        span = f"{limit.range_v[0]:g} to {limit.range_v[1]:g} V"
        yield f"{where}.range_v: {span}, expected the lower first, and {volts:g} V between them [limits-range]"
    elif limit.range_v and not all(0 < end / volts <= MOST_OF_RAIL for end in limit.range_v):
        span = f"{limit.range_v[0]:g} to {limit.range_v[1]:g} V"
        yield f"{where}.range_v: {span}, expected the sign of the rail, and less than twice it [limits-wide]"
    low, high = limit.current_ma or (0, 0)
    most = MOST_MA if limit.most_ma is None else limit.most_ma
    if not (0 <= low <= high <= most and 0 < most <= MOST_MA):
        gives = f", most_ma {most:g}" if limit.most_ma is not None else ""
        least = f"{where}.current_ma: {low:g} to {high:g} mA{gives}"
        yield (
            f"{least}; expected least, then most, no more than the supply gives, and at most {MOST_MA:,} "
            "[limits-current]"
        )


def find_bus_faults(bus: Bus) -> Iterator[str]:
    """Yield what is wrong with the families on a bus."""
    known = family_names()
    for name in dict.fromkeys((*filter(None, [bus.drivers]), *bus.loads)):
        if name not in known:
            yield f"bus: {name!r} is no family; expected one of {', '.join(known)} [bus-family]"
    for name in (name for name, count in bus.loads.items() if count < 1):
        yield f"bus.loads.{name}: {bus.loads[name]}, expected how many inputs: 1 or more [bus-loads]"
