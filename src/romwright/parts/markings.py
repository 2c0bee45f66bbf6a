"""What is printed on a chip besides the number of its page: pinmaps/markings.toml, each rule with its source."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Collection, Iterator, Mapping
from pathlib import Path

from msgspec import Struct

from romwright.datafiles import data_folder, read_data_file


class Maker(Struct, frozen=True, forbid_unknown_fields=True):
    """A maker's letters: those in front of the number, and those behind it that name only the package.

    `names` are the words for the maker that people write in front of a number.
    """

    maker: str
    prefixes: tuple[str, ...]
    names: tuple[str, ...] = ()
    packages: tuple[str, ...] = ()
    source: str = ""
    unchecked: str = ""


class Speeds(Struct, frozen=True, forbid_unknown_fields=True):
    """What the digits behind the dash promise: the largest access time in nanoseconds."""

    markings: tuple[str, ...]
    ns: dict[str, int]
    source: str = ""
    unchecked: str = ""


class Meanings(Struct, frozen=True, forbid_unknown_fields=True):
    """Words that more than one part bears, and how to tell these parts."""

    words: tuple[str, ...]
    parts: dict[str, str]
    source: str = ""
    unchecked: str = ""


class Pageless(Struct, frozen=True, forbid_unknown_fields=True):
    """Numbers that have no page, and why none of the pages with a near name may be taken for them."""

    words: tuple[str, ...]
    trap: str
    source: str = ""
    unchecked: str = ""


class Markings(Struct, frozen=True, forbid_unknown_fields=True):
    """The rules of pinmaps/markings.toml."""

    makers: tuple[Maker, ...]
    speeds: tuple[Speeds, ...]
    meanings: tuple[Meanings, ...]
    pageless: tuple[Pageless, ...] = ()


def read_markings(path: Path | None = None) -> Markings:
    """Read the rules; raises DataFileError with all faults."""
    return read_data_file(path or data_folder("pinmaps") / "markings.toml", Markings, [find_faults])


def meanings(word: str, rules: Markings | None = None) -> Meanings | None:
    """Return what a word can mean, if more than one part bears it.

    >>> list(meanings("2716").parts)
    ['2716', '2516', 'TMS2716']
    """
    wanted = squeeze(word)
    return next((m for m in (rules or read_markings()).meanings if wanted in map(squeeze, m.words)), None)


def fold(word: str) -> str:
    """Return a word as it is taken apart: any case, plain digits, single blanks, none around a dash, u for micro.

    >>> fold("UPD２７１６  - 45")
    'upd2716-45'
    """
    plain = " ".join(unicodedata.normalize("NFKC", word).split()).replace("μ", "u").casefold()
    return re.sub(r" ?[-‐‑‒–—−] ?", "-", plain)


def squeeze(word: str) -> str:
    """Return a word as it is compared: folded, joined at blanks and dashes, but not between digits.

    So `2764 A` is a 2764A, and `27C32-2`, a fast 27C32, is no 27C322.

    >>> squeeze("2764 A"), squeeze("TMS-2716"), squeeze("27C32 2")
    ('2764a', 'tms2716', '27c32-2')
    """
    return re.sub(r"(?<!\d)[- ]|[- ](?!\d)", "", fold(word)).replace(" ", "-")


def owners(pages: Mapping[str, Collection[str]]) -> dict[str, list[str]]:
    """Return the pages that each squeezed name or alias stands on; `pages` has the aliases of every page."""
    found: dict[str, list[str]] = {}
    for page, aliases in pages.items():
        for word in {squeeze(page), *map(squeeze, aliases)}:
            found.setdefault(word, []).append(page)
    return found


def find_faults(rules: Markings) -> Iterator[str]:
    """Yield what is wrong with the rules taken alone: key, fault and the rule's name."""
    for key, records in (("makers", rules.makers), ("speeds", rules.speeds), ("meanings", rules.meanings),
                         ("pageless", rules.pageless)):  # fmt: skip
        for number, record in enumerate(records, 1):
            if not (record.source.strip() or record.unchecked.strip()):
                yield f"{key}, number {number}: neither a source nor what is unchecked [no-source]"
    prefixes = [fold(prefix) for maker in rules.makers for prefix in maker.prefixes]
    for prefix in sorted({p for p in prefixes if prefixes.count(p) > 1}):
        yield f"makers: the prefix {prefix!r} stands at two makers [prefix-twice]"
    for number, speeds in enumerate(rules.speeds, 1):
        for code in sorted(code for code in speeds.ns if not code.isdigit()):
            yield f"speeds, number {number}: {code!r} is not the digits behind a dash [speed-code]"
    words = [squeeze(word) for record in (*rules.meanings, *rules.pageless) for word in record.words]
    for word in sorted({w for w in words if words.count(w) > 1}):
        yield f"meanings, pageless: the word {word!r} stands in two places [word-twice]"
    for number, several in enumerate(rules.meanings, 1):
        if len(several.parts) < 2:
            yield f"meanings, number {number}: {len(several.parts)} parts, expected two or more [one-meaning]"
        for part in (part for part, tell in several.parts.items() if not tell.strip()):
            yield f"meanings, number {number}: nothing says how to tell {part} [untold]"
    for number, record in enumerate(rules.pageless, 1):
        if not record.trap.strip():
            yield f"pageless, number {number}: the trap is empty [no-trap]"


def find_strangers(
    rules: Markings, pages: Mapping[str, Collection[str]], grades: Mapping[str, Collection[float]]
) -> Iterator[str]:
    """Yield what does not agree with the pages: `pages` has the aliases of each, `grades` the access times."""
    known = owners(pages)
    for number, speeds in enumerate(rules.speeds, 1):
        for marking in speeds.markings:
            if squeeze(marking) not in known:
                yield f"speeds, number {number}: {marking} is no page's name or alias [no-marking]"
                continue
            for ns in sorted(set(speeds.ns.values()).difference(*(grades[page] for page in known[squeeze(marking)]))):
                yield f"speeds, number {number}: {ns:g} ns is no grade on the page of {marking} [no-grade]"
    for number, several in enumerate(rules.meanings, 1):
        for part in sorted(several.parts.keys() - pages.keys()):
            yield f"meanings, number {number}: {part} is no page [no-page]"
    for word in (word for record in rules.pageless for word in record.words if squeeze(word) in known):
        yield f"pageless: {word} is a name or alias of {known[squeeze(word)][0]} [has-page]"
    told = {squeeze(word): several.parts.keys() for several in rules.meanings for word in several.words}
    for word, bearers in sorted(known.items()):
        for page in bearers if len(bearers) > 1 or word in told else ():
            if page not in told.get(word, ()):
                yield f"meanings: {word} is printed on {page} too, which is not told there [left-out]"
