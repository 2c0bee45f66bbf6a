"""What a plan read from a file must keep: places that exist, each once, and rows and gates that say what they need."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from romwright.errors import RomwrightError
from romwright.fit.glue import PlacedGate
from romwright.fit.lines import NOTHING
from romwright.fit.rows import How
from romwright.fit.wiring import Plan
from romwright.fit.work import gate_parts, points

NEEDS = {How.WIRE: {"wire_to"}, How.GATE: {"gate"}, How.POINT: {"point"}, How.STRAP: {"strap"}}


def check_preferences(plan: Plan) -> Iterator[str]:
    """Find a preference that does not exist."""
    try:
        points(plan.prefer)
    except RomwrightError as error:
        yield f"prefer: {error.found}; expected {error.expected}"


def check_places(plan: Plan) -> Iterator[str]:
    """Find positions and chip pins that do not exist, are missing or stand twice, or do not meet."""
    socket, chip = plan.socket, plan.chip
    for what, given, have in (
        ("socket position", [row.socket for row in plan.rows if row.socket is not None], set(socket.nets)),
        ("chip pin", [row.chip for row in plan.rows if row.chip is not None], {pin.number for pin in chip.pins}),
    ):
        for number, count in sorted(Counter(given).items()):
            if number not in have:
                yield f"rows: there is no {what} {number}; they go from 1 to {len(have)}"
            elif count > 1:
                yield f"rows: {what} {number} stands in {count} rows"
        for number in sorted(have - set(given)):
            yield f"rows: {what} {number} stands in no row"
    for number, row in enumerate(plan.rows, 1):
        where = f"rows[{number}]"
        if row.socket is None and row.chip is None:
            yield f"{where}: neither a socket position nor a chip pin"
        if row.socket in socket.nets and row.signal != (name := plan.original.pins[row.socket - 1].name):
            yield f"{where}.signal: {row.signal!r}, but socket position {row.socket} is {name}"
        if row.chip is not None and 1 <= row.chip <= chip.pin_count:
            name, place = chip.pins[row.chip - 1].name, socket.position(chip, row.chip)
            if row.function != name:
                yield f"{where}.function: {row.function!r}, but chip pin {row.chip} is {name}"
            if row.socket != place:
                yield f"{where}.socket: chip pin {row.chip} sits {f'at position {place}' if place else 'outside'}"


def check_rows(plan: Plan) -> Iterator[str]:
    """Find rows whose keys do not say what their `how` needs, or say more."""
    names = {gate.name for gate in plan.gates}
    for number, row in enumerate(plan.rows, 1):
        where = f"rows[{number}]"
        given = {key for key in ("wire_to", "gate", "point", "strap") if getattr(row, key)}
        needed = NEEDS.get(row.how, set())
        allowed = needed | ({"wire_to"} if row.inverted and row.how is How.GATE else set())
        yield from (f"{where}.{key}: missing, but the pin is to {str(row.how)!r}" for key in sorted(needed - given))
        yield from (
            f"{where}.{key}: has no meaning where the pin is to {str(row.how)!r}" for key in sorted(given - allowed)
        )
        if row.chip is None and row.how is not How.OPEN:
            yield f"{where}.how: {str(row.how)!r}, but no chip pin is here"
        if row.how is How.STRAIGHT and row.socket is None:
            yield f"{where}.how: {str(row.how)!r}, but chip pin {row.chip} is outside the socket"
        yield from missing_ends(plan, where, "wire_to", row.wire_to, row.point)
        if row.gate and row.gate not in names:
            yield f"{where}.gate: there is no gate {row.gate} in this plan"


def missing_ends(plan: Plan, where: str, key: str, position: int | None, point: str) -> Iterator[str]:
    """Find the end of a wire that the socket, or the board beyond it, does not have; `key` names the position."""
    if position is not None and position not in plan.socket.nets:
        yield f"{where}.{key}: there is no socket position {position}"
    if point and point not in plan.socket.points:
        points = ", ".join(plan.beyond.points) or "none"
        yield f"{where}.point: the board has no point {point!r} (beyond.points: {points})"


def check_levels(plan: Plan) -> Iterator[str]:
    """Find levels of something that is neither a pin of the socket nor a point of the board."""
    rows = [("socket.page.drives", plan.original.drives), ("socket.page.writes", plan.original.writes)]
    rows += [("beyond.idle", plan.beyond.idle), *(("beyond.shares", share) for share in plan.beyond.shares)]
    for key, levels in rows:
        for name in dict.fromkeys(name for row in levels for name in row if name not in plan.socket.by_function):
            yield f"{key}: {name!r} is neither a pin of the socket nor a point of the board"


def check_gates(plan: Plan) -> Iterator[str]:
    """Find gates that no package has, and inputs fed by nothing, by two things, or by a gate that stands later."""
    before: list[str] = []
    for number, gate in enumerate(plan.gates, 1):
        where, part = f"gates[{number}]", gate_parts().get(gate.kind)
        if gate.name in before:
            yield f"{where}.name: {gate.name} stands twice"
        if part is None:
            yield f"{where}.kind: there is no gate {gate.kind!r}; expected one of: {', '.join(gate_parts())}"
        else:
            yield from (f"{where}.{fault}" for fault in package_faults(gate))
        for place, tap in enumerate(gate.taps, 1):
            at = f"{where}.taps[{place}]"
            if sum(map(bool, (tap.position is not None, tap.level, tap.gate, tap.point))) != 1:
                yield f"{at}: expected one of position, level, gate, point"
            yield from missing_ends(plan, at, "position", tap.position, tap.point)
            if tap.gate and tap.gate not in before:
                yield f"{at}.gate: no gate {tap.gate} stands before this one"
        before.append(gate.name)


def package_faults(gate: PlacedGate) -> Iterator[str]:
    """Find pins that the package does not have as one gate."""
    part = gate_parts()[gate.kind]
    if gate.part != part.part:
        yield f"part: {gate.part!r}, but a gate of kind {gate.kind!r} is in {part.part!r}"
    if gate.delay_ns is not None and gate.delay_ns < 0:
        yield f"delay_ns: {gate.delay_ns:g} is less than nothing"
    pins = tuple(tap.pin for tap in gate.taps)
    if not part.outputs:
        ok = gate.output is None and set(pins) == {None}
    elif len(part.inputs) == 1:
        ok = pins == part.inputs[0] and gate.output in part.outputs
    else:
        ok = (pins, gate.output) in set(zip(part.inputs, part.outputs))
    if not ok:
        yield f"taps, output: pins {pins} and {gate.output} are no gate of a {part.part}"
    if gate.name != (f"{gate.package}.{gate.output}" if gate.output else gate.package):
        yield f"name: {gate.name!r} is not the package and its output pin"


def check_banks(plan: Plan) -> Iterator[str]:
    """Find banks without names of their own, switches that no bank needs, and an image that no chip could hold."""
    if len(set(plan.banks)) < len(plan.banks) or len(plan.banks) == 1 or not all(plan.banks):
        yield f"banks: {', '.join(plan.banks)!r}, expected none, or two different names or more"
    wanted = [f"S{number}" for number in range(1, max(len(plan.banks) - 1, 0).bit_length() + 1)]
    straps = [row.strap for row in plan.rows if row.strap]
    if sorted(straps) != ([] if plan.beyond.shares else wanted):
        have, need = (", ".join(names) or "none" for names in (straps, wanted))
        yield f"rows: switches {have}, but {len(plan.banks)} banks need {need}"
    count = plan.chip.address_bits + plan.chip.bits
    if len(plan.lines) != count:
        yield f"lines: {len(plan.lines)}; a {plan.chip.name} has {count} address and data pins"
    known = {*plan.socket.address, *plan.socket.data, *wanted, "H", "L", NOTHING}
    yield from (
        f"lines: {line!r} is no line of the original, no level and no switch" for line in set(plan.lines) - known
    )


RULES = (check_preferences, check_places, check_levels, check_rows, check_gates, check_banks)
