"""What must hold for a part's page. Each rule yields one line per fault: key, what is wrong, and the rule's name."""

from __future__ import annotations

import difflib
import math
import re
from collections import Counter
from collections.abc import Iterable, Iterator

import msgspec

from romwright.parts.model import Part, Role

SOURCED = ("pins", "supplies", "drives", "writes", "read_levels", "programming", "times")  # each has a source or a mark
MEASURED = (*SOURCED, "currents", "levels")  # what a page without sources marks unchecked
TABLES = ("programming", "times", "currents", "levels")
FAMILIES = ("EEPROM", "EPROM", "SRAM", "bipolar PROM", "flash", "mask ROM")
# What no memory of these years goes beyond, by the unit at the end of a name; far above any page, to catch slips.
MOST = {"v": 30, "ns": 10_000, "ma": 1000, "ua": 1000}
SUPPLY_MOST = 15  # volts of a supply in read, either way from 0 V
WIDTHS = (1, 4, 8, 16)  # bits of a word
ROW_PITCHES = (7.62, 10.16, 15.24, 22.86)  # 300, 400, 600 and 900 mil


def check_family(part: Part) -> Iterator[str]:
    """The family is one of those that the library knows."""
    if part.family not in FAMILIES:
        near = difflib.get_close_matches(part.family, FAMILIES, n=1)
        hint = f"did you mean {near[0]}?" if near else f"expected one of {', '.join(FAMILIES)}"
        yield f"family: {part.family!r} is not known; {hint} [family]"


def check_pin_count(part: Part) -> Iterator[str]:
    """The columns hold as many pins as the package has, the same number in each."""
    if not re.fullmatch(r"DIP-(8|1[468]|2[02468]|32|4[0248])", part.package):
        yield f"package: {part.package!r}, expected DIP- and an even number of pins, such as DIP-28 [package]"
        return
    counts = len(part.left.split()), len(part.right.split())
    for key, count in zip(("left", "right"), counts):
        if count != part.pin_count // 2:
            yield f"{key}: {count} pins, but a column of {part.package} has {part.pin_count // 2} [pin-count]"


def check_pin_names(part: Part) -> Iterator[str]:
    """A name is a pin function in the trade's spelling; only supplies and NC may stand on several pins."""
    for pin in part.pins:
        if not re.fullmatch(r"/?[A-Z]+-?\d*\??(\|/?[A-Z]+-?\d*)?", pin.name):
            yield f"pin {pin.number}: {pin.name!r} is no pin name such as A0, D7, /CE, CS1?, /OE|VPP [pin-name]"
    for name, count in Counter(p.function for p in part.pins if p.role not in (Role.SUPPLY, Role.NC)).items():
        if count > 1:
            yield f"left, right: {name} stands on {count} pins [pin-twice]"


def check_lines(part: Part) -> Iterator[str]:
    """The address pins are A0 to A(n-1) for 2^n words, the data pins D0 to D(bits-1)."""
    if part.words < 1 or part.words & (part.words - 1):
        yield f"words: {part.words} is no power of two [words]"
        return
    if part.bits not in WIDTHS:
        yield f"bits: {part.bits}, expected {', '.join(map(str, WIDTHS))} [bits]"
        return
    for role, letter, count, why in (
        (Role.ADDRESS, "A", part.address_bits, f"{part.words} words"),
        (Role.DATA, "D", part.bits, f"{part.bits} bits"),
    ):
        found = {pin.function for pin in part.pins if pin.role is role}
        wanted = {f"{letter}{i}" for i in range(count)}
        for name in sorted(wanted - found):
            yield f"left, right: {name} is missing, needed for {why} [{role}-lines]"
        for name in sorted(found - wanted):
            yield f"left, right: {name} is one line too many for {why} [{role}-lines]"


def check_supply_pins(part: Part) -> Iterator[str]:
    """Supplies are pins."""
    for name in sorted(part.supplies.keys() - {pin.function for pin in part.pins}):
        yield f"supplies: {name} is no pin of this part [supply-pin]"


def check_supplies(part: Part) -> Iterator[str]:
    """GND is 0 V, at least one supply is positive, and none is out of the ordinary."""
    for name, volts in part.supplies.items():
        if not -SUPPLY_MOST <= volts <= SUPPLY_MOST:
            yield f"supplies: {name} = {volts:g}, expected volts from -{SUPPLY_MOST} to {SUPPLY_MOST} [supply-volts]"
    if part.supplies.get("GND") != 0:
        yield "supplies: GND = 0 is missing [ground]"
    if not any(volts > 0 for volts in part.supplies.values()):
        yield "supplies: no positive supply [supply]"


def check_rows(part: Part) -> Iterator[str]:
    """Rows of levels name control pins; a polarity of the factory's is ? in a drive row and nowhere else."""
    controls = {pin.function for pin in part.pins if pin.role is Role.CONTROL}
    held = controls | {pin.function for pin in part.pins if pin.role is Role.VPP}
    unread = not part.drives and any(entry.startswith("drives:") for entry in part.unchecked)
    if not unread and not (part.drives and all(part.drives)):
        yield "drives: no row of levels in which the part drives its outputs [no-drive-row]"
    for key, rows, allowed in (
        ("drives", part.drives, controls),
        ("writes", part.writes, controls),
        ("standby", part.standby, controls),
        ("read_levels", [part.read_levels], held),
        ("byte_mode", [part.byte_mode], controls),
    ):
        if key in ("writes", "standby") and not all(rows):
            yield f"{key}: a row without a level [empty-row]"
        for name in sorted({name for row in rows for name in row} - allowed):
            yield f"{key}: {name} is no control pin of this part [row-pin]"
    for row in part.drives:
        for name, level in row.items():
            if name.endswith("?") != (level == "?"):
                yield f"drives: {name} = {level}: the level ? belongs to a pin whose name ends in ? [row-level]"


def check_standby(part: Part) -> Iterator[str]:
    """A part at rest drives nothing: each row of standby denies a level that each row of drives needs."""
    for row in part.standby:
        for drive in part.drives:
            if row and not any({level, drive.get(name)} == {"H", "L"} for name, level in row.items()):
                yield f"standby: at {row} the part may drive its outputs too, by {drive} [standby]"


def check_purposes(part: Part) -> Iterator[str]:
    """Every control and VPP pin is explained by a row; select, options and outputs name such pins."""
    explained = part.signals | part.read_levels.keys()
    for pin in part.pins:
        if any(part.drives) and pin.role in (Role.CONTROL, Role.VPP) and pin.function not in explained:
            yield f"pin {pin.number}: {pin.name} is in no row of drives, writes or read_levels [pin-unexplained]"
    if part.select is not None and part.select not in (part.signals or part.by_function):
        yield f"select: {part.select} is in no row of drives [select]"
    for name, choices in part.options.items():
        if len(choices) < 2 or len(set(choices)) < len(choices):
            yield f"options: {name} has {list(choices)}, expected at least two choices, each once [choices]"
        if not name.endswith("?") or name not in part.by_function:
            yield f"options: {name} is no pin of this part with a polarity of the factory's [options]"
    for name in part.read_either:
        if name not in part.read_levels:
            yield f"read_either: {name} is not in read_levels, which says where it is tied [read-either]"
    for name in part.outputs:
        if name not in part.by_function:
            yield f"outputs: {name} is no pin of this part [outputs]"


def check_sources(part: Part) -> Iterator[str]:
    """What can hurt or mislead has a source or is marked unchecked; without sources, so is every measured value.

    A source of the pins covers supplies of +5 V and 0 V too; any other voltage has its own.
    """
    covered: set[str] = set()
    for number, source in enumerate(part.sources, 1):
        covered |= set(source.covers.split())
        for word in sorted(word for word in set(source.covers.split()) if not has(part, word)):
            yield f"sources, number {number}: covers {word}, which this page does not have [source-covers]"
        if not source.text.strip():
            yield f"sources, number {number}: the text is empty [source-text]"
    marked = {entry.split(":")[0].split(".")[0] for entry in part.unchecked}
    if all(volts == 5 or name == "GND" for name, volts in part.supplies.items()):
        marked.add("supplies")
    for key in SOURCED if part.sources else MEASURED:
        if has(part, key) and key not in covered | marked:
            if part.sources:
                yield f"{key}: no source covers it, and it is not marked unchecked [unsourced]"
            else:
                yield f"{key}: there are no sources, and it is not marked unchecked [no-source]"


def has(part: Part, key: str) -> bool:
    """Tell whether a page says anything under a key; `pins` stands for both columns."""
    return key == "pins" or getattr(part, key, None) not in (None, "", (), {})


def check_unchecked(part: Part) -> Iterator[str]:
    """Unchecked entries are KEY, KEY.KEY or either with a remark after a colon, and the key is there."""
    for entry in part.unchecked:
        first, *rest = entry.split(":")[0].strip().split(".")
        value = part.pins if first == "pins" else getattr(part, first, None)
        for key in rest:
            value = getattr(value, key, None)
        if value is None or first not in (*type(part).__struct_fields__, "pins"):
            yield f"unchecked: {entry!r} names a key that this page does not have [unchecked]"


def check_grades(part: Part) -> Iterator[str]:
    """Lists of times run in step with access_ns, so none is longer."""
    times = part.times
    for key in ("enable_ns", "output_enable_ns", "float_ns") if times else ():
        if len(getattr(times, key)) > max(1, len(times.access_ns)):
            yield f"times.{key}: {len(getattr(times, key))} values for {len(times.access_ns)} speed grades [grades]"


def check_quantities(part: Part) -> Iterator[str]:
    """No table is empty, and each of its numbers is positive and of an ordinary size."""
    for table in (name for name in TABLES if getattr(part, name) is not None):
        values = msgspec.structs.asdict(getattr(part, table))
        if not any(value is not None and value != () for value in values.values()):
            yield f"{table}: nothing stands in this table; leave it out [empty-table]"
        for key, value in values.items():
            unit = key.rsplit("_")[-1]
            numbers = value if isinstance(value, tuple) else () if value is None else (value,)
            for number in numbers if unit in MOST else ():
                if not 0 < number <= MOST[unit]:
                    yield f"{table}.{key}: {number:g}, expected more than 0 and at most {MOST[unit]:,} [quantity]"


def check_row_pitch(part: Part) -> Iterator[str]:
    """The rows of pins stand as far apart as those of dual in-line packages do."""
    if part.row_pitch_mm not in ROW_PITCHES:
        yield f"row_pitch_mm: {part.row_pitch_mm:g}, expected {', '.join(f'{mm:g}' for mm in ROW_PITCHES)} [row-pitch]"


def check_programming(part: Part) -> Iterator[str]:
    """A range runs upwards and holds its voltage; nothing asks for more VPP than the chip survives."""
    if not (programming := part.programming):
        return
    for name in ("vpp", "vcc"):
        volts, span = getattr(programming, f"{name}_v"), getattr(programming, f"{name}_range_v")
        if span and not span[0] <= (span[0] if volts is None else volts) <= span[1]:
            yield f"programming.{name}_range_v: {list(span)} runs downwards or leaves out {name}_v = {volts} [range]"
    asked = (programming.vpp_v, programming.vpp_erase_v, *(programming.vpp_range_v or ()))
    most = max((volts for volts in asked if volts is not None), default=0)
    if programming.vpp_max_v is not None and most > programming.vpp_max_v:
        yield f"programming.vpp_max_v: {programming.vpp_max_v:g} V destroys it, but {most:g} V is asked for [vpp-limit]"


def check_erasing(part: Part) -> Iterator[str]:
    """Doses, minutes and erase cycles run upwards; the bytes of a software protection are DATA->ADDRESS."""
    if not (programming := part.programming):
        return
    for key in ("erase_dose_ws_cm2", "erase_minutes", "erase_cycles"):
        low, high = getattr(programming, key) or (1, 1)
        if not 0 < low <= high < math.inf:
            yield f"programming.{key}: {low:g} to {high:g}, expected the smaller first, above 0 [erasing]"
    for key in ("erase_intensity_mw_cm2", "erase_dose_max_ws_cm2"):
        value = getattr(programming, key)
        if value is not None and not 0 < value < math.inf:
            yield f"programming.{key}: {value:g}, expected more than 0 [erasing]"
    if protection := programming.protection:
        for step in (*protection.enable, *protection.disable):
            if not re.fullmatch(r"[0-9A-F]{2}->[0-9A-F]{4,5}", step):
                yield f"programming.protection: {step!r}, expected DATA->ADDRESS in hex, such as AA->5555 [protection]"


def check_byte_mode(part: Part) -> Iterator[str]:
    """A byte mode has the levels that choose it and twice as many words, and only a 16-bit part has one."""
    if part.byte_mode and part.bits != 16:
        yield f"byte_mode: of a part with {part.bits} bits, expected 16 [byte-width]"
    if bool(part.byte_mode) != (part.words_x8 is not None) or (part.words_x8 and part.words_x8 != 2 * part.words):
        yield f"words_x8: {part.words_x8}; with byte_mode levels it is words_x8 = {2 * part.words} [byte-mode]"


PINLESS_RULES = (
    check_family,
    check_supplies,
    check_sources,
    check_unchecked,
    check_grades,
    check_quantities,
    check_row_pitch,
    check_programming,
    check_erasing,
    check_byte_mode,
)
PIN_RULES = (check_pin_names, check_lines, check_supply_pins, check_rows, check_standby, check_purposes)


def find_faults(part: Part) -> Iterable[str]:
    """Return the faults that every rule finds; a wrong number of pins hides what else is wrong with the pins: noise."""
    faults = list(check_pin_count(part)) or [fault for rule in PIN_RULES for fault in rule(part)]
    return [*faults, *(fault for rule in PINLESS_RULES for fault in rule(part))]
