"""A part's page as values: the rows of its function table, and everything as JSON."""

from __future__ import annotations

import msgspec
from msgspec import Struct

from romwright.parts.model import Part, Pin, Role

DRIVEN, OFF, TAKEN = "driven", "off", "taken in"


class FunctionRow(Struct, frozen=True):
    """One row of the function table: what the chip does, the level at each pin, what its data pins do.

    A level is H or L; "?" (the factory chose it), "H/L" (tied H, L is allowed too), "Vpp" (at its programming voltage)
    or "-" (not named by the row).
    """

    mode: str
    levels: dict[str, str]
    data: str


def function_pins(part: Part) -> list[Pin]:
    """List the pins of the function table in the order in which its rows name them."""
    rows = (*part.drives, part.read_levels, *part.writes, *part.standby, part.byte_mode)
    return [part.by_function[name] for name in dict.fromkeys(name for row in rows for name in row)]


def function_table(part: Part) -> list[FunctionRow]:
    """List what the chip does at which levels: read, read bytes, write, standby.

    >>> from romwright.parts.library import require_part
    >>> [(row.mode, row.levels) for row in function_table(require_part("28C256"))][:2]
    [('read', {'/CE': 'L', '/OE': 'L', '/WE': 'H'}), ('write', {'/CE': 'L', '/OE': 'H', '/WE': 'L'})]
    """
    names = [pin.function for pin in function_pins(part)]
    held = {name: f"{level}/{'L' if level == 'H' else 'H'}" if name in part.read_either else level
            for name, level in part.read_levels.items()}  # fmt: skip
    lines = f"D0-D{part.bits - 1}"
    found = [("read", {**held, **row}, f"{lines} {DRIVEN}") for row in part.drives]
    if part.byte_mode:
        found += [("read bytes", {**held, **row, **part.byte_mode}, f"D0-D7 {DRIVEN}") for row in part.drives]
    vpp = {pin.function: "Vpp" for pin in part.pins if pin.role is Role.VPP}
    found += [("write", {**vpp, **row}, f"{lines} {TAKEN}") for row in part.writes]
    found += [("standby", row, f"{lines} {OFF}") for row in part.standby]
    return [FunctionRow(mode, {name: row.get(name, "-") for name in names}, data) for mode, row, data in found]


def page_json(part: Part) -> dict[str, object]:
    """Return everything that the page says, its pins one by one, and its function table."""
    return {
        **msgspec.to_builtins(part),
        "pins": [{"number": p.number, "name": p.name, "function": p.function, "role": str(p.role)} for p in part.pins],
        "function_table": [{"mode": row.mode, "levels": row.levels, "data": row.data} for row in function_table(part)],
    }
