"""Logic families and CPUs as drivers and loads: pinmaps/families/, one file each, every number with its source.

A number that no document gave is left out: it is unknown, never 0.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path

from msgspec import Struct

from romwright.datafiles import data_folder, read_data_file
from romwright.errors import DataFileError, UnknownNameError

QUANTITIES = (  # what a source covers, by the keys of the file
    "at_vcc_v", "vih_min_v", "vil_max_v", "vih_min_of_vcc", "vil_max_of_vcc", "vol", "voh", "iil_ua", "iih_ua",
    "stands_for",
)  # fmt: skip
CONFIDENCES = (
    "document read", "document read (third-party copy)", "document read + arithmetic", "from memory, unchecked",
)  # fmt: skip
MOST_V, MOST_MA, MOST_UA = 15, 200, 100_000  # far above any family, to catch slips


class Low(Struct, frozen=True, forbid_unknown_fields=True):
    """An output at L: no more than so many volts while it sinks so many milliamperes."""

    max_v: float
    iol_ma: float | None = None


class High(Struct, frozen=True, forbid_unknown_fields=True):
    """An output at H: no less than so many volts, or no further below VCC, while it sources so many milliamperes."""

    ioh_ma: float | None = None
    min_v: float | None = None
    below_vcc_v: float | None = None


class FamilySource(Struct, frozen=True, forbid_unknown_fields=True):
    """What was read for which of the numbers, and how sure that is."""

    covers: str
    text: str
    confidence: str


class Family(Struct, frozen=True, forbid_unknown_fields=True):
    """One family. `at_vcc_v`: the supply, lowest and highest, for which the volts hold, if it was read.

    Thresholds are volts, or parts of VCC where the sheet gives them so. Input currents are the largest that the sheets
    state: a range where sheets, or parts of the family, differ. `stands_for`: the pages of parts without levels of
    their own, and the CPUs, that are taken to have these.
    """

    name: str
    title: str
    sources: tuple[FamilySource, ...]
    at_vcc_v: tuple[float, float] | None = None
    vih_min_v: float | None = None
    vil_max_v: float | None = None
    vih_min_of_vcc: float | None = None
    vil_max_of_vcc: float | None = None
    vol: tuple[Low, ...] = ()
    voh: tuple[High, ...] = ()
    iil_ua: tuple[float, float] | None = None
    iih_ua: tuple[float, float] | None = None
    stands_for: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    def sources_of(self, key: str) -> str:
        """The sources that cover a number, each with its confidence."""
        said = [f"{each.text}: {each.confidence}" for each in self.sources if key in each.covers.split()]
        return "; ".join(said)

    def covered(self) -> Iterator[str]:
        """Yield the numbers that the file has."""
        yield from (key for key in QUANTITIES if getattr(self, key) not in (None, ()))


def check_shape(family: Family) -> Iterator[str]:
    """There are words for it, and a supply range that runs upwards."""
    if not family.title.strip():
        yield "title: empty; say what the family is [family-title]"
    low, high = family.at_vcc_v or (1, 1)
    if not 0 < low <= high <= MOST_V:
        yield f"at_vcc_v: {low:g} to {high:g} V, expected the lower first, above 0 [family-vcc]"


def supply_of(family: Family) -> float:
    """Return the highest supply of a family, or more than any has where it was not read."""
    return family.at_vcc_v[1] if family.at_vcc_v else MOST_V


def check_thresholds(family: Family) -> Iterator[str]:
    """A threshold is volts or a part of VCC, not both; L lies below H, and both below the supply."""
    for key in ("vih_min", "vil_max"):
        volts, part = getattr(family, f"{key}_v"), getattr(family, f"{key}_of_vcc")
        if volts is not None and part is not None:
            yield f"{key}: as volts and as a part of VCC; expected one of the two [threshold-twice]"
        if part is not None and not 0 < part < 1:
            yield f"{key}_of_vcc: {part:g}, expected a part of VCC between 0 and 1 [threshold-part]"
        if volts is not None and not 0 < volts < supply_of(family):
            yield f"{key}_v: {volts:g} V, expected more than 0 and less than the supply [threshold-volts]"
    for low, high in ((family.vil_max_v, family.vih_min_v), (family.vil_max_of_vcc, family.vih_min_of_vcc)):
        if low is not None and high is not None and low >= high:
            yield f"vil_max, vih_min: {low:g} and {high:g}, expected L below H [threshold-order]"


def check_outputs(family: Family) -> Iterator[str]:
    """Currents of outputs are positive, whatever their direction; a high level is told in one way."""
    for key, currents in (("vol", [each.iol_ma for each in family.vol]), ("voh", [each.ioh_ma for each in family.voh])):
        for current in (each for each in currents if each is not None and not 0 < each <= MOST_MA):
            yield f"{key}: {current:g} mA, expected more than 0 and at most {MOST_MA} [output-current]"
    for each in family.voh:
        if (each.min_v is None) == (each.below_vcc_v is None):
            yield "voh: min_v and below_vcc_v, expected one of the two [output-high]"
    above = [volts for each in family.voh for volts in (each.min_v, each.below_vcc_v) if volts is not None]
    for each in (each for each in (*(low.max_v for low in family.vol), *above) if not 0 < each < supply_of(family)):
        yield f"vol, voh: {each:g} V, expected more than 0 and less than the supply [output-volts]"


def check_inputs(family: Family) -> Iterator[str]:
    """Ranges of input currents run upwards."""
    for key in ("iil_ua", "iih_ua"):
        low, high = getattr(family, key) or (1, 1)
        if not 0 < low <= high <= MOST_UA:
            yield f"{key}: {low:g} to {high:g} uA, expected the smaller first, above 0 [input-current]"


def check_sources(family: Family) -> Iterator[str]:
    """Every number has a source with a confidence of the list; no source covers what is not there."""
    covered = {word for source in family.sources for word in source.covers.split()}
    there = {*family.covered()}
    if not there:
        yield "nothing of it is known; leave the file out [family-empty]"
    for key in sorted(there - covered):
        yield f"{key}: no source covers it; from memory it has the confidence {CONFIDENCES[-1]!r} [family-unsourced]"
    for key in sorted(covered - there):
        yield f"sources: one covers {key}, which this file does not have [family-covers]"
    for number, source in enumerate(family.sources, 1):
        if source.confidence not in CONFIDENCES or not source.text.strip():
            said = f"{source.confidence!r} of {source.text!r}"
            yield f"sources, number {number}: {said}, expected a text, and one of {', '.join(CONFIDENCES)} [confidence]"


RULES = (check_shape, check_thresholds, check_outputs, check_inputs, check_sources)


def read_family(path: Path) -> Family:
    """Read one family; raises DataFileError with all faults."""
    family = read_data_file(path, Family, RULES)
    if family.name != path.stem:
        raise DataFileError(str(path), [f"name: {family.name!r}, but the file is named {path.stem!r} [family-name]"])
    return family


def family_names() -> list[str]:
    """List the families that are shipped."""
    return sorted(path.stem for path in (data_folder("pinmaps") / "families").glob("*.toml"))


@lru_cache(maxsize=64)
def require_family(name: str) -> Family:
    """Return the family of that name, in any case of letters; raises UnknownNameError with near names.

    >>> require_family("hct").vih_min_v
    2.0
    """
    folded = {each.casefold(): each for each in family_names()}
    if name.strip().casefold() not in folded:
        raise UnknownNameError("family", name, family_names())
    return read_family(data_folder("pinmaps") / "families" / f"{folded[name.strip().casefold()]}.toml")
