"""What a board's file says of time: the clock and grade of the CPU, waits, and what lies in line with CPU lines."""

from __future__ import annotations

from msgspec import Struct


class Wait(Struct, frozen=True, forbid_unknown_fields=True):
    """Waits that the board puts in: whole ones, or the clock held for so long.

    In reads of a `range` of memory, of everything if it is empty; in one kind of `cycle`, in all if it is empty.
    """

    clocks: int = 0
    stretch_ns: float = 0
    range: str = ""
    cycle: str = ""


class Buffer(Struct, frozen=True, forbid_unknown_fields=True):
    """A buffer, latch or transceiver between the CPU's pins and the lines of the schematic that have their names.

    `chip` is its number, `delay_ns` what is known of it otherwise; neither: its delay is unknown.
    """

    lines: str
    chip: str = ""
    delay_ns: float | None = None


class Clocking(Struct, frozen=True, forbid_unknown_fields=True):
    """The clock of the CPU, its speed grade, waits and buffers; what is left out is unknown.

    `steady` are those of the board's `signals` that stand still in every read, such as a bank latch's.
    """

    clock_mhz: float | None = None
    cpu_grade: str = ""
    waits: tuple[Wait, ...] = ()
    buffers: tuple[Buffer, ...] = ()
    steady: str = ""
