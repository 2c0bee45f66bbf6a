"""What a change at the bench costs, and the gates that a plan may use: pinmaps/work.toml."""

from __future__ import annotations

from functools import cache
from typing import Literal

import msgspec
from msgspec import Struct

from romwright.datafiles import data_folder, read_data_file
from romwright.errors import UnknownNameError

Kind = Literal["inverter", "nand", "or", "and", "3-to-8", "diodes"]


class Points(Struct, frozen=True, forbid_unknown_fields=True):
    """What each change costs, in points, whether lines may be crossed, and how many gates a plan may take."""

    link: int
    open: int
    tie: int
    wire: int
    point: int
    pull: int
    strap: int
    package: int
    diodes: int
    fight: int
    crossed: int
    most_gates: int


class GatePart(Struct, frozen=True, forbid_unknown_fields=True):
    """A gate package: for each of its gates the input pins, the output pins, the supply pins; nanoseconds."""

    part: str
    kind: Kind
    inputs: tuple[tuple[int, ...], ...] = ((),)
    outputs: tuple[int, ...] = ()
    package: str = ""
    vcc: int | None = None
    gnd: int | None = None
    delay_ns: float | None = None
    source: str = ""
    unchecked: str = ""


class WorkPage(Struct, frozen=True, forbid_unknown_fields=True):
    """The file as it stands."""

    points: Points
    prefer: dict[str, dict[str, int]]
    gates: tuple[GatePart, ...]


@cache
def work_page() -> WorkPage:
    """Read pinmaps/work.toml; raises DataFileError."""
    return read_data_file(data_folder("pinmaps") / "work.toml", WorkPage)


@cache
def points(prefer: tuple[str, ...] = ()) -> Points:
    """Return the costs, changed by preferences; raises UnknownNameError for one that is not in the file."""
    page = work_page()
    found = page.points
    for name in prefer:
        if name not in page.prefer:
            raise UnknownNameError("preference", name, list(page.prefer))
        found = msgspec.structs.replace(found, **page.prefer[name])
    return found


@cache
def gate_parts() -> dict[Kind, GatePart]:
    """Return the gate packages by the kind of their gates."""
    return {gate.kind: gate for gate in work_page().gates}
