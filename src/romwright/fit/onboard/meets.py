"""What is wrong pin by pin with a chip in a board's socket: the checks of fit/pins.py, on nets instead of a layout."""

from __future__ import annotations

from collections.abc import Iterator

from romwright.findings import Code, Finding, Severity
from romwright.fit import pins
from romwright.fit.kinds import PITCH, SIZE, WIDTH
from romwright.fit.onboard.latches import check_select, latch_findings, taken_away
from romwright.fit.onboard.mounted import Mounted
from romwright.parts.model import Pin, Role

FLOATING = Code(
    "input-open", Severity.FAULT, "no control input of the chip is left without a driver or a resistor",
    "A floating input takes either level at random: the chip drives, or is written, when it likes.",
    do="Set the links so that something drives that pin, or bend it up and tie it to the level that it needs.",
    example="/WE (chip pin 27) floats",
)  # fmt: skip
WIRE = "bend these pins up and wire them to their own lines"
BEND = "bend chip pin {0} up and {1}"


def check_pitch(m: Mounted) -> Iterator[Finding]:
    """Find a chip whose rows of pins are further apart than the socket's, or nearer."""
    if m.chip.row_pitch_mm != m.socket.row_pitch_mm:
        apart = f"rows {m.chip.row_pitch_mm:g} mm apart, those of {m.socket.name} {m.socket.row_pitch_mm:g} mm"
        yield Finding(PITCH, f"{m.chip.name} cannot be plugged in", apart, "take a chip of that package, or an adapter")


def check_supplies(m: Mounted) -> Iterator[Finding]:
    """Look at the supplies, and for rails of other voltages on pins that are not made for them."""
    for pin in m.pins:
        volts = m.nets.volts(m.node(pin))
        if pin.role is Role.SUPPLY:
            wanted = m.chip.supplies[pin.function]
            if volts != wanted:
                title = f"{pin.function} of the chip ({wanted:g} V) does not meet its rail"
                yield Finding(pins.SUPPLY, title, m.place(pin), BEND.format(pin.number, f"wire it to {wanted:+g} V"))
        elif volts not in (None, 0, 5) and pin.role is not Role.NC:
            do = BEND.format(pin.number, "keep it off that rail")
            yield Finding(pins.RAIL, f"{volts:+g} V on {pin.name}", m.place(pin), do)


def check_data_pins(m: Mounted) -> Iterator[Finding]:
    """Find data pins that do not meet their own data line."""
    data = [pin for pin in m.pins if pin.role is Role.DATA]
    wanted = {pin.number: f"D{pin.index + m.data_base}" for pin in data}
    wrong = [pin for pin in data if m.nets.lines(m.node(pin), data=True) != [wanted[pin.number]]]
    driven = [pin for pin in wrong if any(not source.data for source in m.nets.sources(m.node(pin)))]
    lost = [pin for pin in wrong if pin not in driven]
    if driven:
        yield Finding(pins.DATA_DRIVEN, f"{pins.names(driven)} of the chip on driven lines", m.places_of(driven), WIRE)
    if lost:
        yield Finding(pins.DATA_LINE, pins.off_lines(lost, "data"), m.places_of(lost), WIRE)
    lines = len(m.nets.wiring.data_lines[m.socket.name])
    if lines != m.chip.bits:
        widths = f"{m.chip.name} has {m.chip.bits} data lines, {m.socket.name} {lines}"
        yield Finding(WIDTH, "the chip has another number of data lines", widths, "take a chip of that width")


def check_address_pins(m: Mounted) -> Iterator[Finding]:
    """Find address pins below the socket's size that do not meet their own line."""
    needed = m.area_lines[: m.chip.address_bits]
    address = {pin.index: pin for pin in m.pins if pin.role is Role.ADDRESS}
    wrong = [address[i] for i, line in enumerate(needed) if i in address and m.nets.lines(m.node(address[i])) != [line]]
    gone = taken_away(m, {pin: needed[pin.index] for pin in wrong}) if wrong else {}
    if never := [pin for pin in wrong if pin not in gone]:
        yield Finding(pins.ADDRESS_LINE, pins.off_lines(never, "address"), m.places_of(never), WIRE)
    yield from latch_findings(m, gone)
    if m.chip.address_bits < len(m.area_lines):
        sizes = f"{m.chip.name} holds {m.chip.words:,} words, {m.socket.name} has {1 << len(m.area_lines):,} addresses"
        yield Finding(SIZE, "the chip is too small", sizes, "take a larger chip; this one cannot hold the contents")


def upper_pins(m: Mounted) -> list[Pin]:
    """List the address pins above the socket's size."""
    return [pin for pin in m.chip.pins if pin.role is Role.ADDRESS and pin.index >= len(m.area_lines)]


def check_upper_addresses(m: Mounted) -> Iterator[Finding]:
    """Say what becomes of the address pins above the socket's size while the chip is read there."""
    reads = m.reads
    held: dict[Pin, str] = {}
    for pin in upper_pins(m):
        high, low = m.level(pin)
        if not reads & ~high or not reads & ~low:
            held[pin] = "H" if not reads & ~high else "L"
        elif reads & ~(high | low):
            do = BEND.format(pin.number, "tie it to GND or VCC")
            yield Finding(pins.ADDRESS_OPEN, f"{pin.function} of the chip may float", m.place(pin), do)
        elif not m.nets.lines(m.node(pin)) or m.nets.lines(m.node(pin))[0] not in m.cpu.address_lines:
            do = BEND.format(pin.number, "tie it to GND or VCC")
            title = f"{pin.function} of the chip moves while the chip is read"
            yield Finding(pins.ADDRESS_SIGNAL, title, m.place(pin), do)
    if reads and held and len(held) == len(upper_pins(m)):
        start = sum(1 << pin.index for pin, level in held.items() if level == "H")
        shown = f"only {start:04X}-{start + (1 << len(m.area_lines)) - 1:04X} of the chip shows"
        where = "; ".join(m.place(pin) for pin in held)
        yield Finding(pins.PART_SHOWN, shown, where, f"the contents must lie at {start:04X}, or in every part")


def check_read_levels(m: Mounted) -> Iterator[Finding]:
    """Find VPP, /PGM and their like at another level than reading needs."""
    reads = m.reads
    for function, level in m.chip.read_levels.items():
        pin = m.chip.by_function[function]
        high, low = m.level(pin)
        kept = (high | low) if function in m.chip.read_either else high if level == "H" else low
        if reads & ~kept and not (pin.role is Role.VPP and (m.nets.volts(m.node(pin)) or 0) > 5):
            where = "VCC" if pin.role is Role.VPP else level
            title = f"{pin.name} (chip pin {pin.number}) is not at {where} while the chip is read"
            tie = "VCC" if level == "H" else "GND"
            yield Finding(pins.READ_LEVEL, title, m.place(pin), BEND.format(pin.number, f"tie it to {tie}"))


def check_floating(m: Mounted) -> Iterator[Finding]:
    """Find control inputs that nothing drives in some state."""
    for pin in m.pins:
        if pin.function in m.chip.signals:
            high, low = m.level(pin)
            if m.accesses.valid & ~(high | low):
                do = "set the links so that it is driven, or tie it"
                yield Finding(FLOATING, f"{pin.name} (chip pin {pin.number}) floats", m.place(pin), do)


def check_status_outputs(m: Mounted) -> Iterator[Finding]:
    """Find status outputs on rails and driven lines."""
    for pin in (pin for pin in m.pins if pin.role is Role.OUTPUT):
        if m.nets.sources(m.node(pin)):
            code = pins.STATUS_DRIVEN if m.written else pins.STATUS_IDLE
            yield Finding(code, f"{pin.name} is an output", m.place(pin), BEND.format(pin.number, "leave it open"))


# Checks of single pins depend on the nets of these pins alone; joint ones on when the chip drives or is written too.
ALONE = (check_pitch, check_supplies, check_data_pins, check_address_pins, check_floating)
JOINT = (check_upper_addresses, check_read_levels, check_status_outputs, check_select)
