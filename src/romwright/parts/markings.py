"""What is printed on a chip: maker's prefix, number, package letters, speed; and numbers with several meanings.

The rules stand in pinmaps/markings.toml, each with its source. A marking that more than one part bears is refused,
unless it is a page's own name: then it is taken, with a caution.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping
from pathlib import Path

from msgspec import Struct

from romwright.datafiles import data_folder, read_data_file
from romwright.errors import SeveralMeaningsError, UnknownNameError
from romwright.findings import Code, Finding, Severity

SEVERAL_MEANINGS = Code(
    "several-meanings",
    Severity.CAUTION,
    "whether a page's name is printed on other parts too",
    "two parts with one number differ in supplies, programming voltage or pins: the wrong page can destroy the chip",
)


class Maker(Struct, frozen=True, forbid_unknown_fields=True):
    """A maker's letters: those in front of the number, and those behind it that name only the package."""

    maker: str
    prefixes: tuple[str, ...]
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


class Markings(Struct, frozen=True, forbid_unknown_fields=True):
    """The rules of pinmaps/markings.toml."""

    makers: tuple[Maker, ...]
    speeds: tuple[Speeds, ...]
    meanings: tuple[Meanings, ...]


class Reading(Struct, frozen=True):
    """What a marking says: the page, and what else could be read of it.

    `how` says what led there: "name" (the page's own), "listed" (one of its aliases), "number" (a name or alias
    behind a maker's prefix that the page does not list) or "file" (a page of the user's). `suffix` stands behind
    that; of it only the speed is decoded.
    """

    word: str
    page: str
    how: str = "name"
    maker: Maker | None = None
    speed_ns: int | None = None
    speeds: Speeds | None = None
    suffix: str = ""
    meanings: Meanings | None = None

    @property
    def findings(self) -> list[Finding]:
        """The caution of a name that is printed on other parts too."""
        return [] if self.meanings is None else [_caution(self.page, self.meanings)]

    def as_json(self) -> dict[str, object]:
        """The reading under the documented JSON keys."""
        return {
            "word": self.word,
            "page": self.page,
            "how": self.how,
            "maker": self.maker and self.maker.maker,
            "maker_unchecked": self.maker.unchecked if self.maker else "",
            "speed_ns": self.speed_ns,
            "speed_source": self.speeds.source if self.speeds else "",
            "speed_unchecked": self.speeds.unchecked if self.speeds else "",
            "suffix": self.suffix,
            "meanings": dict(self.meanings.parts) if self.meanings else {},
        }


def read_markings(path: Path | None = None) -> Markings:
    """Read the rules; raises DataFileError with all faults."""
    return read_data_file(path or data_folder("pinmaps") / "markings.toml", Markings, [find_faults])


def meanings(word: str, rules: Markings | None = None) -> Meanings | None:
    """Return what a word can mean, if more than one part bears it.

    >>> list(meanings("2716").parts)
    ['2716', '2516', 'TMS2716']
    """
    wanted = fold(word)
    return next((m for m in (rules or read_markings()).meanings if wanted in map(fold, m.words)), None)


def cautions_of(page: str) -> list[Finding]:
    """Return the caution for a page whose name is printed on other parts too.

    >>> [finding.code.name for finding in cautions_of("2732")]
    ['several-meanings']
    """
    several = meanings(page)
    return [] if several is None else [_caution(page, several)]


def fold(word: str) -> str:
    """Return a word as it is compared: any case, single blanks, u for the micro sign."""
    return " ".join(word.split()).replace("µ", "u").replace("μ", "u").casefold()


def owners(pages: Mapping[str, Collection[str]]) -> dict[str, list[str]]:
    """Return the pages that each folded name or alias stands on; `pages` has the aliases of every page."""
    found: dict[str, list[str]] = {}
    for page, aliases in pages.items():
        for word in {fold(page), *map(fold, aliases)}:
            found.setdefault(word, []).append(page)
    return found


def decode(word: str, pages: Mapping[str, Collection[str]], rules: Markings) -> Reading:
    """Read a marking; `pages` has the aliases of every page.

    Raises SeveralMeaningsError, or UnknownNameError with near names.

    >>> rules = Markings((Maker("a maker", ("AB",)),), (Speeds(("27C256",), {"12": 120}),), ())
    >>> decode("AB27C256-12X", {"27C256": []}, rules).page
    '27C256'
    """
    folded = fold(word)
    own, known = {fold(page): page for page in pages}, owners(pages)
    maker = _maker_of(folded, rules)
    speeds, speed_ns = _speed_of(folded, rules)
    for stem, bare, suffix in _stems(folded, rules):
        several = next((m for m in rules.meanings if stem in map(fold, m.words)), None)
        found = [own[stem]] if stem in own else known.get(stem, [])
        if stem not in own and (several or len(found) > 1):
            raise SeveralMeaningsError(word, several.parts if several else dict.fromkeys(found, "see its page"))
        if found:
            how = "number" if bare else "name" if stem in own else "listed"
            return Reading(word, found[0], how, maker, speed_ns, speeds, suffix.upper(), several)
    raise UnknownNameError("part", word, [*pages, *(alias for aliases in pages.values() for alias in aliases)])


def _stems(folded: str, rules: Markings) -> Iterator[tuple[str, bool, str]]:
    """Yield what may be the number, longest first: the stem, whether a prefix was taken off, what stands behind."""
    ends = [len(folded), *(m.start() for m in reversed(list(re.finditer(r"[- ]", folded))))]
    for end in ends:
        head, suffix = folded[:end], folded[end + 1 :]
        tails = [""]
        if maker := _maker_of(head, rules):
            tails += [fold(letters) for letters in maker.packages if head.endswith(fold(letters))]
        for tail in tails:
            stem = head.removesuffix(tail)
            behind = tail + (f"-{suffix}" if tail and suffix else suffix)
            yield stem, False, behind
            if maker and (prefix := _prefix_of(stem, maker)):
                yield stem[len(prefix) :].lstrip("-"), True, behind


def _maker_of(folded: str, rules: Markings) -> Maker | None:
    found = [(len(prefix), maker) for maker in rules.makers if (prefix := _prefix_of(folded, maker))]
    return max(found, key=lambda pair: pair[0])[1] if found else None


def _prefix_of(folded: str, maker: Maker) -> str:
    prefixes = [fold(prefix) for prefix in maker.prefixes]
    return max((p for p in prefixes if re.match(re.escape(p) + r"-?\d", folded)), key=len, default="")


def _speed_of(folded: str, rules: Markings) -> tuple[Speeds | None, int | None]:
    for speeds in rules.speeds:
        for marking in speeds.markings:
            match = re.match(re.escape(fold(marking)) + r"[- ](\d+)", folded)
            if match and match[1] in speeds.ns:
                return speeds, speeds.ns[match[1]]
    return None, None


def _caution(page: str, several: Meanings) -> Finding:
    others = [part for part in several.parts if part != page]
    return Finding(
        SEVERAL_MEANINGS,
        f"{page} is easily taken for {' or '.join(others)}: look at the chip",
        evidence="; ".join(f"{part}: {tell}" for part, tell in several.parts.items())
        + (f" (from memory, unchecked: {several.unchecked})" if several.unchecked else ""),
        remedy="read the whole marking and the maker's data sheet before anything gets power",
    )


def find_faults(rules: Markings) -> Iterator[str]:
    """Yield what is wrong with the rules taken alone: key, fault and the rule's name."""
    for key, records in (("makers", rules.makers), ("speeds", rules.speeds), ("meanings", rules.meanings)):
        for number, record in enumerate(records, 1):
            if not (record.source.strip() or record.unchecked.strip()):
                yield f"{key}, number {number}: neither a source nor what is unchecked [no-source]"
    prefixes = [fold(prefix) for maker in rules.makers for prefix in maker.prefixes]
    for prefix in sorted({p for p in prefixes if prefixes.count(p) > 1}):
        yield f"makers: the prefix {prefix!r} stands at two makers [prefix-twice]"
    for number, speeds in enumerate(rules.speeds, 1):
        for code in sorted(code for code in speeds.ns if not code.isdigit()):
            yield f"speeds, number {number}: {code!r} is not the digits behind a dash [speed-code]"
    words = [fold(word) for several in rules.meanings for word in several.words]
    for word in sorted({w for w in words if words.count(w) > 1}):
        yield f"meanings: the word {word!r} stands in two places [word-twice]"
    for number, several in enumerate(rules.meanings, 1):
        if len(several.parts) < 2:
            yield f"meanings, number {number}: {len(several.parts)} parts, expected two or more [one-meaning]"
        for part in (part for part, tell in several.parts.items() if not tell.strip()):
            yield f"meanings, number {number}: nothing says how to tell {part} [untold]"


def find_strangers(
    rules: Markings, pages: Mapping[str, Collection[str]], grades: Mapping[str, Collection[float]]
) -> Iterator[str]:
    """Yield what does not agree with the pages: `pages` has the aliases of each, `grades` the access times."""
    known = owners(pages)
    for number, speeds in enumerate(rules.speeds, 1):
        for marking in speeds.markings:
            if fold(marking) not in known:
                yield f"speeds, number {number}: {marking} is no page's name or alias [no-marking]"
                continue
            for ns in sorted(set(speeds.ns.values()).difference(*(grades[page] for page in known[fold(marking)]))):
                yield f"speeds, number {number}: {ns:g} ns is no grade on the page of {marking} [no-grade]"
    for number, several in enumerate(rules.meanings, 1):
        for part in sorted(several.parts.keys() - pages.keys()):
            yield f"meanings, number {number}: {part} is no page [no-page]"
    told = {fold(word): several.parts.keys() for several in rules.meanings for word in several.words}
    for word, bearers in sorted(known.items()):
        for page in bearers if len(bearers) > 1 or word in told else ():
            if page not in told.get(word, ()):
                yield f"meanings: {word} is printed on {page} too, which is not told there [left-out]"
