"""What a marking says: the page that is meant, maker and speed where their rules are known, and other meanings.

A marking that more than one part bears is refused, unless it is a page's own name: then it is taken, with a caution.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping

from msgspec import Struct
from msgspec.structs import replace

from romwright.errors import SeveralMeaningsError, UnknownNameError
from romwright.findings import Code, Finding, Severity
from romwright.parts.markings import Maker, Markings, Meanings, Speeds, fold, meanings, owners, squeeze

SEVERAL_MEANINGS = Code(
    "several-meanings",
    Severity.CAUTION,
    "a page's name is printed on no other part",
    "Two parts with one number differ in supplies, programming voltage or pins: the wrong page can destroy the chip.",
    do="Read the whole marking on the chip and its maker's data sheet, before anything gets power; then give the "
    "name of the right page.",
    example="2764 is easily taken for 2764A: look at the chip",
)


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
    voltage: tuple[Finding, ...] = ()

    @property
    def findings(self) -> list[Finding]:
        """The stop of a voltage that nobody confirmed, and the caution of a name that is printed on other parts too."""
        return [*self.voltage, *([] if self.meanings is None else [_caution(self.page, self.meanings)])]

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


def decode(word: str, pages: Mapping[str, Collection[str]], rules: Markings) -> Reading:
    """Read a marking; `pages` has the aliases of every page.

    A maker's name in front stands for each of the maker's prefixes: if these lead to several pages, so does the word.
    Raises SeveralMeaningsError, or UnknownNameError with near names.

    >>> rules = Markings((Maker("a maker", ("AB",)),), (Speeds(("27C256",), {"12": 120}),), ())
    >>> decode("AB27C256-12X", {"27C256": []}, rules).page
    '27C256'
    """
    own, known = {squeeze(page): page for page in pages}, owners(pages)
    makers, rest = _named(fold(word), rules)
    fronts = ["", *(fold(prefix) for maker in makers for prefix in maker.prefixes)]
    readings = [found for front in fronts if (found := _read(word, front + rest, own, known, rules))]
    if led_to := dict.fromkeys(reading.page for reading in readings):
        if len(led_to) > 1:
            told = next((reading.meanings.parts for reading in readings if reading.meanings), {})
            raise SeveralMeaningsError(word, {**dict.fromkeys(led_to, "see its page"), **told})
        best = next((reading for reading in readings if reading.speeds), readings[0])
        return replace(best, maker=best.maker or (makers[0] if makers else None))
    error = UnknownNameError("part", word, [*pages, *(alias for aliases in pages.values() for alias in aliases)])
    stems = {stem for front in fronts for stem, *_ in _stems(front + rest, rules)}
    for record in rules.pageless:
        if not stems.isdisjoint(map(squeeze, record.words)):
            error.expected, error.help = "a number that has a page", record.trap + doubt(record.unchecked)
    raise error


def doubt(unchecked: str) -> str:
    """Return the words that mark what comes from memory."""
    return f" (from memory, unchecked: {unchecked})" if unchecked else ""


def _read(
    word: str, folded: str, own: Mapping[str, str], known: Mapping[str, list[str]], rules: Markings
) -> Reading | None:
    speeds, speed_ns = _speed_of(folded, rules)
    for stem, bare, suffix, maker in _stems(folded, rules):
        several, found = meanings(stem, rules), [own[stem]] if stem in own else known.get(stem, [])
        if several and not _is_suffix(suffix, maker) or stem not in own and (several or len(found) > 1):
            error = SeveralMeaningsError(word, several.parts if several else dict.fromkeys(found, "see its page"))
            error.help += doubt(several.unchecked) if several else ""
            raise error
        if found and _is_suffix(suffix, maker):
            how = "number" if bare else "name" if stem in own else "listed"
            return Reading(word, found[0], how, maker, speed_ns, speeds, suffix.upper(), several)
    return None


def _is_suffix(suffix: str, maker: Maker | None) -> bool:
    """Tell whether what stands behind a number can be no part of it: digits first, or the maker's package letters."""
    packages = {fold(letters) for letters in maker.packages} if maker else set()
    return not suffix or all(token[:1].isdigit() or token in packages for token in re.split("[- ]", suffix))


def _splits(folded: str) -> Iterator[tuple[str, str]]:
    """Yield the word and what stands behind a dash or blank of it, longest first."""
    for end in (len(folded), *(m.start() for m in reversed(list(re.finditer("[- ]", folded))))):
        yield folded[:end], folded[end + 1 :]


def _stems(folded: str, rules: Markings) -> Iterator[tuple[str, bool, str, Maker | None]]:
    """Yield what may be the number, longest first, squeezed: whether a prefix was taken off, what is behind, whose."""
    for head, suffix in _splits(folded):
        maker, tails = _maker_of(head, rules), [""]
        if maker:
            tails += [fold(letters) for letters in maker.packages if head.endswith(fold(letters))]
        for tail in tails:
            stem = head.removesuffix(tail)
            behind = tail + (f"-{suffix}" if tail and suffix else suffix)
            yield squeeze(stem), False, behind, maker
            if maker and (prefix := _prefix_of(stem, maker)):
                yield squeeze(stem[len(prefix) :]), True, behind, maker


def _named(folded: str, rules: Markings) -> tuple[list[Maker], str]:
    """Return the makers whose name stands in front, and the rest."""
    names = {fold(name) for maker in rules.makers for name in maker.names if folded.startswith(fold(name) + " ")}
    if not names:
        return [], folded
    longest = max(names, key=len)
    return [m for m in rules.makers if longest in map(fold, m.names)], folded[len(longest) + 1 :]


def _maker_of(folded: str, rules: Markings) -> Maker | None:
    found = [(len(prefix), maker) for maker in rules.makers if (prefix := _prefix_of(folded, maker))]
    return max(found, key=lambda pair: pair[0])[1] if found else None


def _prefix_of(folded: str, maker: Maker) -> str:
    prefixes = [fold(prefix) for prefix in maker.prefixes]
    return max((p for p in prefixes if re.match(re.escape(p) + r"[- ]?\d", folded)), key=len, default="")


def _speed_of(folded: str, rules: Markings) -> tuple[Speeds | None, int | None]:
    for head, suffix in _splits(folded):
        code = re.match(r"\d*", suffix)[0]
        for speeds in rules.speeds:
            if code in speeds.ns and squeeze(head) in map(squeeze, speeds.markings):
                return speeds, speeds.ns[code]
    return None, None


def _caution(page: str, several: Meanings) -> Finding:
    others = [part for part in several.parts if part != page]
    return Finding(
        SEVERAL_MEANINGS,
        f"{page} is easily taken for {' or '.join(others)}: look at the chip",
        evidence="; ".join(f"{part}: {tell}" for part, tell in several.parts.items()) + doubt(several.unchecked),
        remedy="read the whole marking and the maker's data sheet before anything gets power",
    )
