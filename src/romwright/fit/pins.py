"""What is wrong pin by pin if a chip is simply plugged in: supplies, outputs, address lines, levels needed in read."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from romwright.findings import Code, Finding, Severity
from romwright.fit import tables
from romwright.fit.seating import Seating
from romwright.fit.socket import Kind
from romwright.parts.model import Pin, Role

BY_TABLE = "follow the wiring table"

SUPPLY = Code(
    "supply-pin", Severity.STOP, "each supply pin of the chip meets a rail of its voltage",
    "A chip without its supply, or with it turned round, is fed through its other pins and dies.",
)  # fmt: skip
RAIL = Code(
    "rail-on-pin", Severity.STOP, "no rail of -5 V or +12 V meets a pin that is not made for it",
    "-5 V or +12 V on another pin destroys the chip.",
)  # fmt: skip
DATA_DRIVEN = Code(
    "data-pin-driven", Severity.STOP, "no data output of the chip meets a rail or a line that the board drives",
    "Two outputs against each other: one of them gives way.",
)  # fmt: skip
DATA_LINE = Code(
    "data-line", Severity.FAULT, "each data pin meets its own data line", "The bits arrive crossed or not at all."
)
ADDRESS_LINE = Code(
    "address-line", Severity.FAULT, "each address pin meets its own address line",
    "Bytes show at wrong addresses, or a half of the contents never shows.",
)  # fmt: skip
ADDRESS_SIGNAL = Code(
    "address-on-signal", Severity.FAULT, "an address pin that the original does not have is held at one level",
    "A control line on an address pin picks a part of the chip instead of enabling it.",
)  # fmt: skip
ADDRESS_OPEN = Code(
    "address-open", Severity.FAULT, "an address pin that the original does not have does not float",
    "A floating address pin shows one part of the chip or another at random.",
)  # fmt: skip
PART_SHOWN = Code(
    "part-shown", Severity.NOTE, "address pins above the original's are at a constant level",
    "Only that part of the chip shows, so the contents must be burnt there.",
)  # fmt: skip
SIZE = Code("size", Severity.FAULT, "the chip holds as many words as the original", "What does not fit is lost.")
WIDTH = Code("width", Severity.FAULT, "the chip has as many data lines as the original", "Bits are missing or unused.")
PITCH = Code(
    "row-pitch", Severity.FAULT, "the rows of pins are as far apart as the socket's", "It cannot be plugged in."
)
VPP_LEVEL = Code(
    "vpp-level", Severity.FAULT, "VPP sits at VCC in read",
    "Below VCC the read is outside the data sheet; one NEC uPD27C256 read all 00 with VPP low (minuszerodegrees.net).",
)  # fmt: skip
VPP_OPEN = Code(
    "vpp-unknown", Severity.CAUTION, "VPP meets a position that the original uses",
    "No data sheet read says what a floating VPP does, so it is taken that it may not float.",
)  # fmt: skip
READ_LEVEL = Code(
    "read-level", Severity.FAULT, "pins such as /PGM are at the level that the data sheet asks for in read",
    "At another level the read is outside the data sheet.",
)  # fmt: skip
STATUS_DRIVEN = Code(
    "status-pin-driven", Severity.STOP, "a status output such as RDY//BUSY does not meet a rail or a driven line",
    "It pulls low while the chip writes, against whatever holds the line high.",
)  # fmt: skip
STATUS_IDLE = Code(
    "status-pin", Severity.CAUTION, "a status output that never moves here stays clear of rails and lines",
    "As long as the chip is not written it is off; one write and it pulls against the line.",
)  # fmt: skip
OUTPUT_KIND = Code(
    "output-kind", Severity.CAUTION, "three-state and open-collector outputs are not exchanged",
    "Open-collector outputs may be joined to form an AND; three-state outputs joined so fight. "
    "The other way round needs pull-ups.",
)  # fmt: skip
LATCHED = Code(
    "address-latch", Severity.CAUTION, "the chip does not latch its address where the original did not",
    "A latched chip shows stale bytes unless its select returns to the off level between reads.",
)  # fmt: skip


def check_supplies(s: Seating) -> Iterator[Finding]:
    """Look at both ends of every supply."""
    for pin in s.chip.pins:
        seat = s.seats[pin.number]
        if pin.role is Role.SUPPLY:
            volts = s.chip.supplies[pin.function]
            if seat.kind is not Kind.RAIL or seat.volts != volts:
                there = any(net.kind is Kind.RAIL and net.volts == volts for net in s.socket.nets.values())
                do = (
                    BY_TABLE
                    if there
                    else f"the socket has no {volts:+g} V: take another chip, or bring that supply from elsewhere"
                )
                yield Finding(
                    SUPPLY, f"{pin.function} of the chip ({volts:g} V) does not meet its rail", s.place(pin), do
                )
        elif seat.kind is Kind.RAIL and pin.role is not Role.NC and seat.level is None:
            yield Finding(
                RAIL, f"{seat.volts:+g} V on {pin.name}", s.place(pin), "cut the pin off from that rail: " + BY_TABLE
            )


def check_fit_in_socket(s: Seating) -> Iterator[Finding]:
    """Compare sizes, widths, row pitch, outputs and latches of the two parts."""
    a, b = s.original, s.chip
    if a.row_pitch_mm != b.row_pitch_mm:
        pitch = f"rows {b.row_pitch_mm} mm apart, the socket's {a.row_pitch_mm} mm"
        yield Finding(PITCH, f"{b.name} cannot be plugged in", pitch, "every pin must be wired, on a carrier")
    if b.words < a.words:
        sizes = f"{b.name} holds {b.words:,} words, {a.name} {a.words:,}"
        yield Finding(SIZE, "the chip is too small", sizes, "take a larger chip; this one cannot hold the contents")
    if b.bits != a.bits:
        widths = f"{b.name} has {b.bits} data lines, {a.name} {a.bits}"
        remedy = "take a wider chip, or two side by side" if b.bits < a.bits else "leave the upper data pins open"
        yield Finding(WIDTH, "the chip has another number of data lines", widths, remedy)
    if a.output != b.output:
        kinds = f"{a.name} has {a.output} outputs, {b.name} {b.output}"
        yield Finding(
            OUTPUT_KIND, "the outputs are of another kind", kinds, "check what else is joined to the data lines"
        )
    if b.latched and not a.latched:
        names = f"{b.name} takes its address in on the edge of its select; of {a.name} that was not read"
        yield Finding(
            LATCHED, "the chip latches its address", names, "check that the select is off between any two reads"
        )


def check_data_lines(s: Seating) -> Iterator[Finding]:
    """Find data pins that meet something else than their line."""
    driven, lost = [], []
    for pin in (p for p in s.chip.pins if p.role is Role.DATA):
        seat = s.seats[pin.number]
        if seat.function == pin.function or (pin.index >= s.original.bits and seat.kind is Kind.OPEN):
            continue
        bus = seat.kind is Kind.SIGNAL and seat.function in s.original.by_function and seat.function[0] == "D"
        (lost if bus or seat.kind is Kind.OPEN else driven).append(pin)
    if driven:
        yield Finding(DATA_DRIVEN, f"{names(driven)} of the chip on driven lines", places(s, driven), BY_TABLE)
    if lost:
        yield Finding(DATA_LINE, f"{names(lost)} of the chip not on their data lines", places(s, lost), BY_TABLE)


def check_address_lines(s: Seating) -> Iterator[Finding]:
    """Find address pins that do not meet their line, and what becomes of those that the original does not have."""
    needed = [p for p in s.chip.pins if p.role is Role.ADDRESS and p.index < s.original.address_bits]
    wrong = [pin for pin in needed if s.seats[pin.number].function != pin.function]
    if wrong:
        yield Finding(
            ADDRESS_LINE, f"{names(wrong)} of the chip not on their address lines", places(s, wrong), BY_TABLE
        )
    extra = [p for p in s.chip.pins if p.role is Role.ADDRESS and p.index >= s.original.address_bits]
    fixed = [pin for pin in extra if s.seats[pin.number].level]
    for pin in extra:
        seat = s.seats[pin.number]
        if seat.kind is Kind.SIGNAL:
            title = f"{pin.function} of the chip follows {seat.function.rstrip('?')}"
            why = f"{s.place(pin)}, which picks a half of the chip instead of enabling it"
            yield Finding(ADDRESS_SIGNAL, title, why, f"bend chip pin {pin.number} up and tie it to GND or VCC")
    if floating := [pin for pin in extra if s.seats[pin.number].kind is Kind.OPEN]:
        ties = " and ".join(str(pin.number) for pin in floating)
        do = f"tie chip pin {ties} to GND or VCC, and burn the contents into that part"
        yield Finding(ADDRESS_OPEN, f"{names(floating)} of the chip may float", places(s, floating), do)
    if fixed and len(fixed) == len(extra):
        start = sum(1 << pin.index for pin in fixed if s.seats[pin.number].level == "H")
        shown = f"{start:04X}-{start + s.original.words - 1:04X}"
        yield Finding(
            PART_SHOWN,
            f"only {shown} of the chip shows",
            places(s, fixed),
            f"burn the contents at {start:04X}, or into every part",
        )


def check_read_levels(s: Seating) -> Iterator[Finding]:
    """Find VPP, /PGM and their like at another level than reading needs."""
    names_ = list(s.drive.names)
    reads = s.drive.tables[0] & s.drive.tables[1]
    for function, level in s.chip.read_levels.items():
        pin = s.chip.by_function[function]
        seat, number = s.seats[pin.number], pin.number
        bend = f"bend chip pin {number} up and tie it" if seat.position else f"tie chip pin {number}"
        tie = f"{bend} to {'VCC' if level == 'H' else 'GND'}"
        if seat.level == level:
            continue
        if pin.role is Role.VPP:
            if seat.kind is Kind.OPEN and seat.position:
                do = f"measure socket pin {seat.position}; unless the board has +5 V there, {tie}"
                yield Finding(
                    VPP_OPEN,
                    f"VPP (chip pin {number}) must be at VCC, and the original has {seat.function} there",
                    s.place(pin),
                    do,
                )
            else:
                yield Finding(VPP_LEVEL, f"VPP (chip pin {number}) is not at VCC in read", s.place(pin), tie)
        elif seat.kind is not Kind.SIGNAL:
            yield Finding(READ_LEVEL, f"{pin.name} (chip pin {number}) is not at {level} in read", s.place(pin), tie)
        elif seat.label not in names_ or reads & ~tables.row(names_, {seat.label: level}):
            title = f"{pin.name} (chip pin {number}) is {'low' if level == 'H' else 'high'} while the chip is read"
            yield Finding(READ_LEVEL, title, f"{s.place(pin)}; the data sheet asks for {level} in read", tie)


def check_status_outputs(s: Seating) -> Iterator[Finding]:
    """Find status outputs on rails and driven lines."""
    for pin in (p for p in s.chip.pins if p.role is Role.OUTPUT):
        seat = s.seats[pin.number]
        if seat.function == pin.function or seat.position is None:
            continue
        live = seat.kind is not Kind.OPEN and bool(s.writes.rows)
        yield Finding(
            STATUS_DRIVEN if live else STATUS_IDLE,
            f"{pin.name} is an output",
            s.place(pin) + (", and the chip can be written as it sits" if live else ""),
            f"bend chip pin {pin.number} up and leave it open",
        )


def names(pins: Iterable[Pin]) -> str:
    """List the functions of pins."""
    return ", ".join(pin.function for pin in pins)


def places(s: Seating, pins: Iterable[Pin]) -> str:
    """List what pins meet."""
    return "; ".join(map(s.place, pins))


CHECKS = (
    check_supplies,
    check_fit_in_socket,
    check_data_lines,
    check_address_lines,
    check_read_levels,
    check_status_outputs,
)
