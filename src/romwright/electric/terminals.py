"""A thing on a line, as driver and as load: a part by its own page, else by the family that stands for it.

A *span* is the least and the most that a number can be; None is unknown, and stays so through every sum.
"""

from __future__ import annotations

from functools import lru_cache

from msgspec import Struct

from romwright.errors import UnknownNameError
from romwright.parts.families import Family, FamilySource, family_names, require_family
from romwright.parts.library import part_names, require_marked
from romwright.parts.model import Part

Span = tuple[float, float]
NOMINAL_VCC_V: Span = (5.0, 5.0)
PLACES = 4  # digits behind the point that are kept: far finer than any sheet


class Drive(Struct, frozen=True):
    """An output level: volts, and the milliamperes at which the sheet promises them, None if it names none."""

    volts: Span
    ma: float | None


class Terminal(Struct, frozen=True):
    """A driver and load at one supply. `low` and `high` are its output levels, the smallest current first.

    `sources` and `doubts` say for what was taken from where, and what of it nobody has read.
    """

    name: str
    vcc_v: Span
    vih_min_v: Span | None = None
    vil_max_v: Span | None = None
    low: tuple[Drive, ...] = ()
    high: tuple[Drive, ...] = ()
    iil_ua: Span | None = None
    iih_ua: Span | None = None
    pulls_low_only: bool = False
    sources: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()


def rounded(span: Span) -> Span:
    """Return a span without the dust of binary fractions.

    >>> rounded((0.1 + 0.2, 1.0))
    (0.3, 1.0)
    """
    return round(span[0], PLACES), round(span[1], PLACES)


def spoken(span: Span, unit: str) -> str:
    """Write a span: a number, or a range.

    >>> spoken((0.4, 0.5), "V"), spoken((2.4, 2.4), "V")
    ('0.4 to 0.5 V', '2.4 V')
    """
    return f"{span[0]:g} {unit}" if span[0] == span[1] else f"{span[0]:g} to {span[1]:g} {unit}"


def rated_ma(drives: tuple[Drive, ...]) -> float | None:
    """Return the largest current that an output is rated for at a level, None if its sheet names none."""
    return max((each.ma for each in drives if each.ma is not None), default=None)


def scaled(span: Span | None, part: float | None) -> Span | None:
    """Return a part of a span; None of what is unknown."""
    return None if span is None or part is None else rounded((span[0] * part, span[1] * part))


def exactly(value: float | None) -> Span | None:
    """Return a number as a span."""
    return None if value is None else (value, value)


def family_terminal(family: Family, vcc_v: Span = NOMINAL_VCC_V) -> Terminal:
    """Return a family at a supply, lowest and highest volts.

    >>> family_terminal(require_family("HC"), (4.5, 5.5)).vih_min_v
    (3.15, 3.85)
    """
    low = sorted((Drive(exactly(each.max_v), each.iol_ma) for each in family.vol), key=current)
    high = []
    for each in family.voh:
        below = each.below_vcc_v
        volts = exactly(each.min_v) if below is None else rounded((vcc_v[0] - below, vcc_v[1] - below))
        high.append(Drive(volts, each.ioh_ma))
    return Terminal(
        family.name, vcc_v, exactly(family.vih_min_v) or scaled(vcc_v, family.vih_min_of_vcc),
        exactly(family.vil_max_v) or scaled(vcc_v, family.vil_max_of_vcc), tuple(low),
        tuple(sorted(high, key=current)), family.iil_ua, family.iih_ua, False,
        tuple(f"{family.name}, {each.covers}: {each.text} ({each.confidence})" for each in of_levels(family)),
        tuple(doubts_of(family, vcc_v)),
    )  # fmt: skip


def of_levels(family: Family) -> list[FamilySource]:
    """Return the sources of a family's levels: all but those for what it stands for."""
    return [each for each in family.sources if each.covers != "stands_for"]


def current(drive: Drive) -> float:
    """Return what to sort output levels by."""
    return drive.ma or 0


def doubts_of(family: Family, vcc_v: Span) -> list[str]:
    """List what is not sure of a family at a supply."""
    found = [
        f"{family.name}: {each.covers}: {each.text}, from memory, unchecked"
        for each in of_levels(family)
        if "unchecked" in each.confidence
    ]
    at = family.at_vcc_v
    if at is None:
        return [*found, f"{family.name}: the supply for which its levels hold was not read"]
    if not (at[0] <= vcc_v[0] and vcc_v[1] <= at[1]):
        held, asked = spoken(at, "V"), spoken(vcc_v, "V")
        found.append(f"{family.name}: its output levels are printed for a supply of {held}, taken for {asked}")
    return found


@lru_cache(maxsize=1)
def stand_ins() -> dict[str, str]:
    """Return for each page without levels, and each CPU, the family that stands for it."""
    return {name: family for family in family_names() for name in require_family(family).stands_for}


def part_terminal(part: Part, vcc_v: Span = NOMINAL_VCC_V) -> Terminal:
    """Return a part at a supply: what its page has, and the family that stands for it where the page has nothing.

    >>> from romwright.parts.library import require_part
    >>> part_terminal(require_part("27128A")).high
    (Drive(volts=(2.4, 2.4), ma=0.4),)
    """
    name = stand_ins().get(part.name)
    behind = family_terminal(require_family(name), vcc_v) if name else Terminal(part.name, vcc_v)
    levels, only_low = part.levels, part.output == "open-collector"
    sources = [f"{part.name}, levels: {text}" for text in part.sources_of("levels")] if levels else []
    doubts = [f"{part.name}: {entry}" for entry in part.unchecked_about("levels", "currents.input_ua")]
    input_ua = part.currents and part.currents.input_ua
    if input_ua is not None:
        sources += [f"{part.name}, currents: {text}" for text in part.sources_of("currents")]
    if name and (levels is None or input_ua is None):
        sources += [f"{part.name} is taken for {name}: {text}" for text in behind.sources]
        doubts += [*behind.doubts, f"{part.name} taken for {name}: {require_family(name).sources_of('stands_for')}"]
    low = levels and levels.vol_max_v is not None and (Drive(exactly(levels.vol_max_v), levels.iol_ma),)
    high = levels and levels.voh_min_v is not None and (Drive(exactly(levels.voh_min_v), levels.ioh_ma),)
    vih, vil = (levels.vih_min_v, levels.vil_max_v) if levels else (None, None)
    return Terminal(
        part.name, vcc_v, exactly(vih) or behind.vih_min_v, exactly(vil) or behind.vil_max_v, low or behind.low,
        () if only_low else high or behind.high, exactly(input_ua) or behind.iil_ua,
        exactly(input_ua) or behind.iih_ua, only_low, tuple(sources), tuple(doubts),
    )  # fmt: skip


def cpu_terminal(name: str, vcc_v: Span = NOMINAL_VCC_V) -> Terminal:
    """Return a CPU of the library, or a family; of one whose levels nobody has read everything is unknown.

    >>> cpu_terminal("68000").vih_min_v is None, cpu_terminal("8088-max").name
    (True, '8088')
    """
    named = stand_ins().get(name, name)
    if named not in family_names():
        return Terminal(name, vcc_v, doubts=(f"{name}: no sheet with its levels was read",))
    return family_terminal(require_family(named), vcc_v)


def require_terminal(name: str, vcc_v: Span = NOMINAL_VCC_V) -> Terminal:
    """Return the family or the part of that name. Raises UnknownNameError with near names, SeveralMeaningsError."""
    folded = {each.casefold(): each for each in family_names()}
    if name.strip().casefold() in folded:
        return family_terminal(require_family(name), vcc_v)
    try:
        return part_terminal(require_marked(name)[0], vcc_v)
    except UnknownNameError as error:
        raise UnknownNameError("family or part", name, [*family_names(), *part_names()]) from error
