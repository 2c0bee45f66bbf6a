"""Numbers that differ by a letter and take another programming voltage; what erases a part and how often.

pinmaps/programming.toml has the look-alikes, and what erases a family.

A voltage above what the chip takes destroys it, so the higher one is a stop until the marking on the chip was read.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping
from functools import lru_cache
from pathlib import Path

from msgspec import Struct

from romwright.datafiles import data_folder, read_data_file
from romwright.findings import Code, Finding, Severity
from romwright.parts.markings import fold, squeeze
from romwright.parts.model import Part

SAME_V = (
    1.0  # volts: those of one kind of chip lie nearer together than this (12.5 and 12.75), those of two further apart
)
MOST_ERASING = 1000  # W s/cm2, minutes and mW/cm2: far above any sheet, to catch slips
VOLTAGE_UNCONFIRMED = Code(
    "voltage-unconfirmed",
    Severity.STOP,
    "no voltage that kills a look-alike is used before the marking is read",
    "Chips whose numbers differ by a letter are programmed at 25, 21 or 12.5 V: the higher one destroys the others.",
    do="Do not power up. Read the whole marking on the chip, then state it: --marking, or confirmed in the job's file. "
    "If it says another number, take the page of that one.",
    example="2732 is burnt at 25 V; a 2732A takes 21 V, a 2732B takes 12.5 V",
)


class LookAlikes(Struct, frozen=True, forbid_unknown_fields=True):
    """Markings that are easily taken for each other, with the programming voltage of each."""

    vpp_v: dict[str, float]
    source: str
    unchecked: tuple[str, ...] = ()


class Erasing(Struct, frozen=True, forbid_unknown_fields=True):
    """What erases a family where a page says nothing: dose, and minutes under a tube of that intensity."""

    dose_ws_cm2: tuple[float, float]
    minutes: tuple[float, float]
    intensity_mw_cm2: float
    source: str


class ProgrammingFacts(Struct, frozen=True, forbid_unknown_fields=True):
    """The rules of pinmaps/programming.toml."""

    look_alikes: tuple[LookAlikes, ...]
    erasing: dict[str, Erasing]


def find_faults(facts: ProgrammingFacts) -> Iterator[str]:
    """Yield what is wrong with the facts taken alone."""
    seen: set[str] = set()
    for number, record in enumerate(facts.look_alikes, 1):
        where = f"look_alikes, number {number}"
        if not record.source.strip():
            yield f"{where}: the source is empty [no-source]"
        if len(record.vpp_v) < 2 or max(record.vpp_v.values()) - min(record.vpp_v.values()) < SAME_V:
            yield f"{where}: expected two markings or more whose voltages are not the same [look-alike]"
        for word in (word for word, volts in record.vpp_v.items() if not 0 < volts <= 30):
            yield f"{where}: {word} at {record.vpp_v[word]:g} V, expected more than 0 and at most 30 V [vpp-volts]"
        for word in (word for word in record.vpp_v if word in seen):
            yield f"{where}: {word} stands in two records [word-twice]"
        seen |= record.vpp_v.keys()
        for word in (word for word in record.unchecked if word not in record.vpp_v):
            yield f"{where}: {word} is unchecked, but no marking of this record [unchecked]"
    for family, each in facts.erasing.items():
        if not each.source.strip():
            yield f"erasing.{family}: the source is empty [erasing-source]"
        for low, high in (each.dose_ws_cm2, each.minutes):
            if not 0 < low <= high <= MOST_ERASING:
                yield f"erasing.{family}: {low:g} to {high:g}, expected the smaller first, above 0 [erasing-range]"
        if not 0 < each.intensity_mw_cm2 <= MOST_ERASING:
            light = f"{each.intensity_mw_cm2:g} mW/cm2"
            yield f"erasing.{family}: {light}, expected more than 0 and at most {MOST_ERASING:,} [erasing-light]"


@lru_cache(maxsize=4)
def read_facts(path: Path | None = None) -> ProgrammingFacts:
    """Read the facts; raises DataFileError with all faults."""
    return read_data_file(path or data_folder("pinmaps") / "programming.toml", ProgrammingFacts, [find_faults])


def find_strangers(facts: ProgrammingFacts, pages: Mapping[str, Part]) -> Iterator[str]:
    """Yield what does not agree with the pages: a marking that is a page's own name has the page's voltage.

    A page of a chip that can be written and has no VPP has that of its supply.
    """
    for record in facts.look_alikes:
        for word, volts in record.vpp_v.items():
            page = pages.get(word)
            own = page.programming.vpp_v if page and page.programming else None
            if page and own is None and page.writes:
                own = page.supplies["VCC"]
            if page and (own is None or abs(own - volts) > SAME_V):
                yield f"look_alikes: {word} at {volts:g} V, but its page has {own} [page-volts]"


def look_alikes_of(part: Part) -> LookAlikes | None:
    """Return the record that has a part's own name."""
    return next((record for record in read_facts().look_alikes if part.name in record.vpp_v), None)


def endangered(part: Part) -> dict[str, float]:
    """Return the look-alikes of a part that its programming voltage destroys, with theirs.

    >>> from romwright.parts.library import require_part
    >>> endangered(require_part("27128")), endangered(require_part("27128A"))
    ({'27128A': 12.5, '27C128': 13.0}, {})
    """
    record, own = look_alikes_of(part), part.programming and part.programming.vpp_v
    if not record or not own:
        return {}
    return {word: volts for word, volts in record.vpp_v.items() if own - volts > SAME_V}


def find_voltage(part: Part, marking: str, read_as: str = "", pages: Collection[str] = ()) -> Iterator[Finding]:
    """Yield the stop of a chip that is to be burnt at a voltage that kills its look-alikes.

    `marking` is what the user has read on the chip, empty if nothing; `read_as` the page that the library reads it as,
    if it does; `pages` the names of all pages.
    """
    if not (takers := endangered(part)) or not (seen := unconfirmed(part, marking, read_as, pages)):
        return
    record, volts = look_alikes_of(part), part.programming.vpp_v
    others = ", ".join(f"a {word} takes {each:g} V" for word, each in takers.items())
    memory = [word for word in record.unchecked if word in (*takers, part.name)]
    doubt = f"; from memory, unchecked: {', '.join(memory)}" if memory else ""
    title = f"{part.name} is burnt at {volts:g} V; {others}"
    yield Finding(
        VOLTAGE_UNCONFIRMED, title, f"{seen} ({record.source}{doubt})", "read the marking on the chip, and state it"
    )


def unconfirmed(part: Part, marking: str, read_as: str, pages: Collection[str]) -> str:
    """Say why a marking does not confirm the voltage of a part; nothing if it does.

    It confirms it if its number is the part's and nothing unknown stands behind that, or if the voltage is printed on
    the chip too; a number that only is part of another page's, such as 2716 of TMS2716, is that one's.
    """
    if not marking.strip():
        return "no marking was stated"
    record, volts = look_alikes_of(part), part.programming.vpp_v
    bare, printed = take_volts(marking)
    said, stated = number_in(bare, record), f"marking {marking!r}:"
    if not said:
        return f"{stated} none of these numbers"
    whole = [page for page in pages if page != part.name and squeeze(said) in squeeze(page)]
    if other := next((page for page in whole if page not in record.vpp_v and squeeze(page) in squeeze(bare)), ""):
        return f"{stated} that is a {other}"
    if abs(record.vpp_v[said] - volts) > SAME_V:
        return f"{stated} that is a {said}, {record.vpp_v[said]:g} V"
    if wrong := [each for each in printed if abs(each - volts) > SAME_V]:
        return f"{stated} {wrong[0]:g} V is printed on the chip"
    behind = squeeze(re.sub(MAKER, "", bare)).partition(squeeze(said))[2]
    if printed or read_as == part.name or not behind or (behind[0] == "-" and said == part.name):
        return ""
    return (
        f"{stated} nobody has read what {behind.upper()} behind {said} means; if its maker's sheet says that it names "
        "only the package, state the marking without it"
    )


MAKER = r" [a-z]{3,}(?![a-z0-9-])"  # a word of its own behind the number: a name, not letters of the number
PRINTED_VOLTS = r"(?:(?<![a-z0-9])vpp)? ?[=:]? ?(?<![\d.,])(\d{1,2}(?:[.,]\d{1,2})?) ?v(?:olts?)?(?![a-z0-9])"


def take_volts(marking: str) -> tuple[str, list[float]]:
    """Part a marking from the programming voltages that are printed beside the number.

    >>> take_volts("MBM2764-25 VPP 21V"), take_volts("2764 12,5 V")
    (('mbm2764-25', [21.0]), ('2764', [12.5]))
    """
    folded = fold(marking)
    found = [float(volts.replace(",", ".")) for volts in re.findall(PRINTED_VOLTS, folded)]
    return re.sub(PRINTED_VOLTS, " ", folded).strip(), found


def number_in(marking: str, record: LookAlikes) -> str:
    """Return the longest look-alike that stands in a marking, nothing if none does.

    >>> from romwright.parts.library import require_part
    >>> record = look_alikes_of(require_part("27128"))
    >>> number_in("D27128A-2", record), number_in("EPROM", record)
    ('27128A', '')
    """
    folded = squeeze(marking)
    return max((word for word in record.vpp_v if squeeze(word) in folded), key=len, default="")


ERASED_BY = {  # how a chip of a family is erased
    "EPROM": "by UV-C light through its window", "EEPROM": "electrically, by the programmer",
    "flash": "electrically, by the programmer", "bipolar PROM": "never: what is burnt stays burnt",
    "SRAM": "not: it is written like a RAM",
}  # fmt: skip
UNKNOWN = "unknown: no sheet with it was read"
TUBE_MM = 25  # Intel 27128A sheet, 230849-009, p. 5-34: within an inch of the tube; SGS-Thomson M27C1001 alike


def list_facts(part: Part) -> Iterator[tuple[str, str]]:
    """Yield what is known of burning and erasing a part besides its voltages, as pairs of a name and words.

    >>> from romwright.parts.library import require_part
    >>> dict(list_facts(require_part("28C64B")))["erase cycles"]
    '100,000'
    """
    programming = part.programming
    if takers := endangered(part):
        yield "look-alikes", look_alike_words(part, takers)
    if part.family in ERASED_BY:
        yield "erased", erase_words(part)
    if part.family in ("EPROM", "EEPROM", "flash"):
        yield "erase cycles", cycles_words(programming and programming.erase_cycles)
    if protection := programming and programming.protection:
        yield "protection", f"comes with its write protection {protection.supplied}; a used chip may have it on"
        yield "switch it off", ", ".join(protection.disable)
        yield "switch it on", ", ".join(protection.enable)
    elif part.family == "EEPROM":
        yield "protection", f"software write protection: {UNKNOWN}"


def look_alike_words(part: Part, takers: Mapping[str, float]) -> str:
    """Say which chips with nearly the same number its voltage kills, and where that was read."""
    record = look_alikes_of(part)
    said = ", ".join(f"{word} ({volts:g} V{unchecked_mark(record, word)})" for word, volts in takers.items())
    return f"{part.programming.vpp_v:g} V destroys {said}; {record.source}"


def unchecked_mark(record: LookAlikes, word: str) -> str:
    """Return the mark of a voltage that comes from memory."""
    return ", UNCHECKED" if word in record.unchecked else ""


def erase_words(part: Part) -> str:
    """Say how a part is erased: its own sheet first, what other sheets of its family ask where it says nothing.

    Dose and time of one sheet need not agree: 15 W s/cm2 at 12 mW/cm2 take 20.8 minutes, and that sheet says 15 to 20.
    """
    way, own = ERASED_BY[part.family], part.programming
    if own and own.vpp_erase_v:
        way += f", at {own.vpp_erase_v:g} V"
    asked = own if own and own.erase_dose_ws_cm2 else read_facts().erasing.get(part.family)
    if not asked:
        return way
    if asked is own:
        dose, minutes, source = own.erase_dose_ws_cm2, own.erase_minutes, "its page"
    else:
        dose, minutes, source = asked.dose_ws_cm2, asked.minutes, f"its page has none; {asked.source}"
    power = own.erase_intensity_mw_cm2 if asked is own else asked.intensity_mw_cm2
    near = f" within {TUBE_MM} mm of the tube" if asked is own else ""
    light = f", {span(minutes)} minutes at {power:g} mW/cm2{near}" if minutes and power else ""
    most = f", never more than {own.erase_dose_max_ws_cm2:g} in all" if own and own.erase_dose_max_ws_cm2 else ""
    return f"{way}: {span(dose)} W s/cm2{most}{light} ({source})"


def cycles_words(cycles: tuple[int, int] | None) -> str:
    """Say how often a part may be erased."""
    if not cycles:
        return UNKNOWN
    return f"{cycles[0]:,}" if cycles[0] == cycles[1] else f"{cycles[0]:,} to {cycles[1]:,}, by the letters behind it"


def span(values: tuple[float, float]) -> str:
    """Write a range."""
    return f"{values[0]:g}" if values[0] == values[1] else f"{values[0]:g} to {values[1]:g}"
