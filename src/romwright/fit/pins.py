"""What is wrong pin by pin if a chip is simply plugged in: supplies, outputs, address lines, levels needed in read."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from romwright.findings import Code, Finding, Severity
from romwright.fit import tables
from romwright.fit.seating import Seating
from romwright.fit.socket import Kind, numbers
from romwright.parts.model import Pin, Role

BY_TABLE = "follow the wiring table"

SUPPLY = Code(
    "supply-pin", Severity.STOP, "each supply pin of the chip meets a rail of its voltage",
    "A chip without its supply, or with it turned round, is fed through its other pins and dies.",
    do="Do not power up. Bring each supply pin of the chip to its own rail as the wiring table says, and measure it "
    "at the empty socket first.",
    example="VCC of the chip (5 V) does not meet its rail",
)  # fmt: skip
RAIL = Code(
    "rail-on-pin", Severity.STOP, "no rail of -5 V or +12 V meets a pin that is not made for it",
    "-5 V or +12 V on another pin destroys the chip.",
    do="Do not power up. Bend that pin of the chip up so that the rail does not reach it, and wire it as the wiring "
    "table says.",
    example="+12 V on A10",
)  # fmt: skip
DATA_DRIVEN = Code(
    "data-pin-driven", Severity.STOP, "no data output of the chip meets a rail or a line that the board drives",
    "Two outputs against each other: one of them gives way.",
    do="Do not power up. Bend those data pins up and wire each to its own data line.",
    example="D0, D7 of the chip on driven lines",
)  # fmt: skip
DATA_LINE = Code(
    "data-line", Severity.FAULT, "each data pin meets its own data line", "The bits arrive crossed or not at all.",
    do="Bend those data pins up and wire each to its own data line; the wiring table has the positions.",
    example="D1, D2, D3, D4, D5, D6 of the chip do not meet their data lines",
)  # fmt: skip
ADDRESS_LINE = Code(
    "address-line", Severity.FAULT, "each address pin meets its own address line",
    "Bytes show at wrong addresses, or a part of the contents never shows.",
    do="Bend those address pins up and wire each to its own address line; the wiring table has the positions.",
    example="A11 of the chip does not meet its address line",
)  # fmt: skip
ADDRESS_SIGNAL = Code(
    "address-on-signal", Severity.FAULT, "an address pin that the original does not have is held at one level",
    "A control line on an address pin picks a part of the chip instead of enabling it.",
    do="Bend that address pin up and tie it to GND or VCC; the contents must lie in the part of the chip that this "
    "picks.",
    example="A14 of the chip follows CS",
)  # fmt: skip
ADDRESS_OPEN = Code(
    "address-open", Severity.FAULT, "an address pin that the original does not have does not float",
    "A floating address pin shows one part of the chip or another at random.",
    do="Tie that address pin to GND or VCC; the contents must lie in the part of the chip that this picks.",
    example="A16 of the chip may float",
)  # fmt: skip
PART_SHOWN = Code(
    "part-shown", Severity.NOTE, "address pins above the original's are at a constant level",
    "Only that part of the chip shows, so the contents must lie there.",
    do="Burn the contents at the address that is named, or repeat them over the whole chip (prepare --repeat).",
    example="only 4000-7FFF of the chip shows",
)  # fmt: skip
READ_LEVEL = Code(
    "read-level", Severity.FAULT, "VPP, /PGM and their like are at the level that the data sheet asks for in read",
    "At another level, or open, the read is outside the data sheet.",
    do="Bend that pin up and tie it to the level that the data sheet asks for in read, as the wiring table says.",
    example="/PGM (chip pin 27) is not at H in read",
)  # fmt: skip
READ_UNKNOWN = Code(
    "read-level-unknown", Severity.CAUTION, "no pin that needs a level in read meets a position of an unknown level",
    "What the board has there is not known: a socket made for a part with nothing on that pin may leave it open.",
    do="Measure that position of the empty socket with the board switched on. Unless it has the level that the chip "
    "needs in read, bend the pin up and tie it.",
    example="VPP (chip pin 1) must be at VCC in read, and the original has NC there",
)  # fmt: skip
STATUS_DRIVEN = Code(
    "status-pin-driven", Severity.STOP, "a status output such as RDY//BUSY does not meet a rail or a driven line",
    "It pulls low while the chip writes, against whatever holds the line high.",
    do="Do not power up. Bend that pin of the chip up and leave it open.",
    example="RDY|/BUSY is an output",
)  # fmt: skip
STATUS_IDLE = Code(
    "status-pin", Severity.CAUTION, "a status output that never moves here stays clear of rails and lines",
    "It pulls low only while the chip writes. As the chip sits nothing writes it, so it is off; one write and it "
    "pulls against the line.",
    do="Bend that pin of the chip up and leave it open: it has no use here.",
    example="RDY|/BUSY is an output",
)  # fmt: skip


def check_supplies(s: Seating) -> Iterator[Finding]:
    """Look at both ends of every supply."""
    for pin in s.chip.pins:
        seat = s.seats[pin.number]
        if pin.role is Role.SUPPLY:
            volts = s.chip.supplies[pin.function]
            if seat.kind is not Kind.RAIL or seat.volts != volts:
                elsewhere = f"the socket has no {volts:+g} V: take another chip, or bring that supply from elsewhere"
                title = f"{pin.function} of the chip ({volts:g} V) does not meet its rail"
                yield Finding(SUPPLY, title, s.place(pin), BY_TABLE if s.socket.rail(volts) else elsewhere)
        elif seat.kind is Kind.RAIL and pin.role is not Role.NC and seat.level is None:
            title = f"{seat.volts:+g} V on {pin.name}"
            yield Finding(RAIL, title, s.place(pin), "cut the pin off from that rail: " + BY_TABLE)


def check_data_lines(s: Seating) -> Iterator[Finding]:
    """Find data pins that meet something else than their line."""
    driven, lost = [], []
    for pin in (p for p in s.chip.pins if p.role is Role.DATA):
        seat = s.seats[pin.number]
        if seat.function == pin.function or (pin.index >= s.original.bits and seat.kind is Kind.OPEN):
            continue
        bus = seat.kind is Kind.SIGNAL and s.original.by_function[seat.function].role is Role.DATA
        (lost if bus or seat.kind is Kind.OPEN else driven).append(pin)
    if driven:
        yield Finding(DATA_DRIVEN, f"{names(driven)} of the chip on driven lines", s.places(driven), BY_TABLE)
    if lost:
        yield Finding(DATA_LINE, off_lines(lost, "data"), s.places(lost), BY_TABLE)


def check_address_lines(s: Seating) -> Iterator[Finding]:
    """Find address pins that do not meet their line."""
    needed = [p for p in s.chip.pins if p.role is Role.ADDRESS and p.index < s.original.address_bits]
    if wrong := [pin for pin in needed if s.seats[pin.number].function != pin.function]:
        yield Finding(ADDRESS_LINE, off_lines(wrong, "address"), s.places(wrong), BY_TABLE)


def check_upper_addresses(s: Seating) -> Iterator[Finding]:
    """Say what becomes of the address pins that the original does not have."""
    extra = [p for p in s.chip.pins if p.role is Role.ADDRESS and p.index >= s.original.address_bits]
    fixed = [pin for pin in extra if s.seats[pin.number].level]
    for pin in extra:
        seat = s.seats[pin.number]
        if seat.kind is Kind.SIGNAL:
            title = f"{pin.function} of the chip follows {seat.function}"
            why = f"{s.place(pin)}, which picks a part of the chip instead of enabling it"
            yield Finding(ADDRESS_SIGNAL, title, why, f"bend chip pin {pin.number} up and tie it to GND or VCC")
    if floating := [pin for pin in extra if s.seats[pin.number].kind is Kind.OPEN]:
        do = f"tie chip pin {numbers(pin.number for pin in floating)} to GND or VCC"
        yield Finding(ADDRESS_OPEN, f"{names(floating)} of the chip may float", s.places(floating), do)
    if fixed and len(fixed) == len(extra):
        start = sum(1 << pin.index for pin in fixed if s.seats[pin.number].level == "H")
        shown = f"only {start:04X}-{start + s.original.words - 1:04X} of the chip shows"
        yield Finding(PART_SHOWN, shown, s.places(fixed), f"the contents must lie at {start:04X}, or in every part")


def check_read_levels(s: Seating) -> Iterator[Finding]:
    """Find VPP, /PGM and their like at another level than reading needs."""
    signals = list(s.drive.names)
    reads = s.drive.tables[0] & s.drive.tables[1]
    for function, level in s.chip.read_levels.items():
        pin = s.chip.by_function[function]
        seat, title = s.seats[pin.number], f"{pin.name} (chip pin {pin.number})"
        either = function in s.chip.read_either
        if seat.level == level or (either and (seat.level or seat.kind is Kind.SIGNAL)):
            continue
        tie, where = s.tie(pin, level), "VCC" if pin.role is Role.VPP else level
        if seat.kind is Kind.OPEN and seat.position:
            must, holds = ("not float", "it") if either else (f"be at {where} in read", f"it at {where}")
            do = f"measure socket pin {seat.position}; unless the board holds {holds}, {tie}"
            yield Finding(
                READ_UNKNOWN, f"{title} must {must}, and the original has {seat.function} there", s.place(pin), do
            )
        elif seat.kind is not Kind.SIGNAL:
            yield Finding(READ_LEVEL, f"{title} is not at {where} in read", s.place(pin), tie)
        elif seat.label not in signals or reads & ~tables.row(signals, {seat.label: level}):
            title += f" is {'low' if level == 'H' else 'high'} while the chip is read"
            yield Finding(READ_LEVEL, title, f"{s.place(pin)}; the data sheet asks for {level} in read", tie)


def check_status_outputs(s: Seating) -> Iterator[Finding]:
    """Find status outputs on rails and driven lines."""
    for pin in (p for p in s.chip.pins if p.role is Role.OUTPUT):
        seat = s.seats[pin.number]
        if seat.function == pin.function or seat.position is None:
            continue
        live = seat.kind is not Kind.OPEN and bool(s.writes.rows)
        code, why = (
            (STATUS_DRIVEN, "and the chip can be written as it sits")
            if live
            else (STATUS_IDLE, "but nothing writes the chip as it sits, so it stays off")
        )
        do = f"bend chip pin {pin.number} up and leave it open"
        yield Finding(code, f"{pin.name} is an output", f"{s.place(pin)}, {why}", do)


def names(pins: Iterable[Pin]) -> str:
    """List the functions of lines, lowest first."""
    return ", ".join(pin.function for pin in sorted(pins, key=lambda pin: pin.index))


def off_lines(pins: list[Pin], lines: str) -> str:
    """Say that pins miss their lines."""
    end = f"do not meet their {lines} lines" if len(pins) > 1 else f"does not meet its {lines} line"
    return f"{names(pins)} of the chip {end}"


CHECKS = (
    check_supplies,
    check_data_lines,
    check_address_lines,
    check_upper_addresses,
    check_read_levels,
    check_status_outputs,
)
