"""Identify files: forms of the file against checksums, then kept forms of known images, then pages.

Files are handled a batch at a time, so that their look-ups are few.
"""

from __future__ import annotations

import hashlib
import itertools
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

from romwright.errors import FormatError, RomwrightError
from romwright.recognition import forms
from romwright.recognition.digests import KINDS, Row, key_of, sha256_on_the_way
from romwright.recognition.reference import Known, Store, Traces
from romwright.recognition.verdicts import Contents, Identification, Match, pages_of

if TYPE_CHECKING:
    from romwright.recognition.match import PageIndex
    from romwright.recognition.signatures import SketchIndex

SIMPLEST = list(forms.KEPT)  # of several forms of one image, the first explains best
WEAK_BYTES = 4  # a checksum this short can agree by chance
TRIED = ("exact", "repeated", "filled", "half", "inverted", "bytes swapped")
TRIED_THOROUGHLY = ("even and odd bytes", "quarter", "blocks down to 1K", "data lines reversed", "two changes at once")
TRIED_BY_PAGES = ("shifted by any number of bytes", "damaged")
TRIED_BY_LINES = ("lines crossed, stuck, joined or inverted", "wrong bits throughout", "two known ROMs at once")


class _File(NamedTuple):
    name: str
    data: bytes
    note: str
    faulty: bool
    digests: dict[str, bytes]
    lower: bytes  # SHA-256 of the lower half
    stored: bytes


class _Probe(NamedTuple):
    """One form of a file, ready to be looked up; `index` counts the forms."""

    index: int
    how: str
    detail: str
    part: str
    size: int
    digests: dict[str, bytes]


class Identifier:
    """Identifies files against the lists of one store; `thorough` tries what costs several times as much.

    A CRC-32 takes a tenth of the time: without `with_crc32` it is worked out only where a list needs it.
    """

    def __init__(self, store: Store, thorough: bool = False, with_crc32: bool = True) -> None:
        self._store, self.thorough = store, thorough
        self._kinds = store.kinds
        self._other_kinds = {*self._kinds, *(["crc32"] if with_crc32 else [])} - {"sha256"}
        self._index: PageIndex | None = None
        self._sketches: SketchIndex | None = None
        self._by_pages = store.has_images
        self._tried = TRIED + TRIED_THOROUGHLY * thorough + TRIED_BY_PAGES * self._by_pages
        self._by_lines = thorough and store.has_sketches
        self._tried += TRIED_BY_LINES * self._by_lines

    def identify(self, files: Sequence[str], read: Callable[[str], Contents]) -> list[Identification]:
        """Identify files, one row each.

        `read` gives the contents of a file, or raises a RomwrightError, which the row then tells.
        """
        loaded = [self._load(file, read) for file in files]
        good = [item for item in loaded if isinstance(item, _File)]
        whole = [[*self._exact_probes(file)] for file in good]
        exact = self._look_up(good, whole)
        missed = [file for file, matches in zip(good, exact) if not matches]
        changed = iter(self._look_up(missed, [self._probes(file) for file in missed]))
        rows = []
        for item, matches in zip(good, exact):
            tried = TRIED[:1] if matches else self._tried
            if not matches:
                matches = next(changed) or self._match_pages(item.data)
                if not any(match.lossless for match in matches):
                    matches = _better(matches, self._match_lines(item.data))
            if self.thorough and tried is self._tried:
                tried += (f"rotated by multiples of {forms.rotation_step(len(item.data))}",)
            crc32, sha256 = item.digests.get("crc32", b"").hex().upper(), item.digests["sha256"].hex()
            head = (item.name, len(item.data), crc32, sha256)
            rows.append(Identification(*head, tuple(matches), tried, item.note, faulty=item.faulty))
        done = iter(rows)
        return [next(done) if isinstance(item, _File) else item for item in loaded]

    def _load(self, file: str, read: Callable[[str], Contents]) -> _File | Identification:
        try:
            data, note, faulty, stored = read(file)
        except RomwrightError as error:
            line = f"line {error.line}: " if isinstance(error, FormatError) else ""
            return Identification(file, 0, "", "", error=line + error.found)
        if forms.blank(data):
            note = "; ".join(filter(None, [note, f"blank: every byte is {data[0]:02X}"]))
        lower, whole = sha256_on_the_way(data, len(data) // 2)
        digests = {kind: KINDS[kind](data) for kind in self._other_kinds} | {"sha256": whole}
        return _File(file, data, note, faulty, digests, lower, stored)

    def _exact_probes(self, file: _File) -> Iterator[_Probe]:
        """Yield the image and, of a hex file, the file as it is stored, which a list may hold as well."""
        yield _Probe(0, "exact", "", "", len(file.data), file.digests)
        if file.stored:
            digests = {kind: KINDS[kind](file.stored) for kind in {*self._kinds, "sha256"}}
            yield _Probe(0, "exact", "the file itself", "", len(file.stored), digests)

    def _probes(self, file: _File) -> list[_Probe]:
        return [
            _Probe(
                index,
                how,
                detail,
                part,
                len(data),
                self._digest(data, {"sha256": file.lower} if part == "lower" else {}),
            )
            for index, (how, detail, data, part) in enumerate(forms.forms(file.data, self.thorough))
            if self._sizes is None or len(data) in self._sizes
        ]

    @cached_property
    def _sizes(self) -> frozenset[int] | None:
        """The sizes that a form must have to be worth hashing; None if any may: images keep forms of all sizes."""
        return None if self._by_pages else self._store.sizes

    def _digest(self, data: bytes, known: dict[str, bytes]) -> dict[str, bytes]:
        return {kind: known.get(kind) or KINDS[kind](data) for kind in self._kinds}

    def _look_up(self, files: Sequence[_File], probes: Sequence[list[_Probe]]) -> list[list[Match]]:
        """Look up the probes of several files in one go; return the matches of each, simplest change first."""
        every = list(itertools.chain.from_iterable(probes))
        known = self._store.find(key_of(kind, probe.digests[kind]) for probe in every for kind in self._kinds)
        kept = {}
        if self._by_pages:
            kept = self._store.find_forms(probe.digests["sha256"] for probe in every)
        if not known and not kept:
            return [[] for _ in files]
        return [
            _first_of_each(match for probe in mine for match in self._agreeing(file, probe, known, kept))
            for file, mine in zip(files, probes)
        ]

    def _agreeing(self, file: _File, probe: _Probe, known: dict, kept: dict) -> Iterator[Match]:
        exact = probe.how == "exact"
        for kind in self._kinds:
            digest = probe.digests[kind]
            for found in known.get(key_of(kind, digest), ()):
                row, weak = found.row, len(digest) <= WEAK_BYTES
                if row.digests.get(kind) != digest or row.size not in (None, probe.size):
                    continue
                if not exact and (weak and row.size is None or not self._tells(file, probe)):
                    continue
                detail = "; ".join(
                    filter(None, [probe.detail, f"by a checksum of 32 bits only ({kind})" if weak else ""])
                )
                pages = pages_of(probe.size)
                yield Match(row.name, found.list, probe.how, detail, pages, pages)
        if kept and (exact or probe.part in ("whole", "core")):
            for form, found in sorted(kept.get(probe.digests["sha256"], ()), key=lambda hit: SIMPLEST.index(hit[0])):
                if match := self._of_kept(file, probe, form, found):
                    yield match

    def _of_kept(self, file: _File, probe: _Probe, form: str, found: Known) -> Match | None:
        """Make a match of a form of the file that is also a form of a known image."""
        how, detail = forms.KEPT[form]
        if probe.part == "core":
            if form != "core":
                return None
            if len(file.data) == found.row.size:
                how, detail = "shifted", f"the same bytes at another place in the fill; {probe.detail}"
            else:
                detail = f"the same bytes with other fill at the ends; {probe.detail}"
        elif probe.how not in ("exact", how):
            how = f"{probe.how} and {how}"
            detail = "; ".join(filter(None, [probe.detail, detail]))
        total = pages_of(found.row.size)
        return Match(found.row.name, found.list, how, detail, min(pages_of(len(file.data)), total), total)

    def _tells(self, file: _File, probe: _Probe) -> bool:
        """Tell whether a form that was found has enough in it to be evidence."""
        return forms.telling(next(itertools.islice(forms.forms(file.data, self.thorough), probe.index, None)).data)

    def _match_pages(self, data: bytes) -> list[Match]:
        if not self._by_pages:
            return []
        from romwright.recognition.match import PageIndex, matches_by_pages

        if self._index is None:
            self._index = PageIndex(self._store.images())
        return matches_by_pages(self._index, self._store.owners, data)

    def _match_lines(self, data: bytes) -> list[Match]:
        """Look for what was read through faulty lines, and for two ROMs on the bus: slow, so only if thorough."""
        if not self._by_lines:
            return []
        from romwright.recognition.misreads import match_misread
        from romwright.recognition.overlap import match_overlap
        from romwright.recognition.signatures import SketchIndex

        if self._sketches is None:
            self._sketches = SketchIndex(self._store.sketches())
        return match_overlap(self._sketches, self._store, data) or match_misread(self._sketches, self._store, data)


def _first_of_each(matches: Iterable[Match]) -> list[Match]:
    """Keep the first, simplest match with each known ROM."""
    kept: dict[tuple[str, str], Match] = {}
    for match in matches:
        kept.setdefault((match.list, match.name), match)
    return list(kept.values())


def _better(by_pages: list[Match], by_lines: list[Match]) -> list[Match]:
    """Choose what explains more pages: crossed lines leave some where they are."""
    if not (by_pages and by_lines):
        return by_pages or by_lines
    old, new = by_pages[0], by_lines[0]  # of two ROMs at once no pages are compared
    fewer = len(new.pages_differ) < len(old.pages_differ) and new.pages_equal >= old.pages_equal
    return by_lines if fewer else by_pages


def measured(name: str, data: bytes) -> tuple[Row, Traces]:
    """Measure an image that is to be added to a list: its checksums, and digests of its forms and pages."""
    from romwright.recognition.match import page_checks, page_hashes
    from romwright.recognition.sketch import build_sketch

    row = Row(name, len(data), {kind: KINDS[kind](data) for kind in ("sha256", "sha1", "md5", "crc32")})
    kept = {form: hashlib.sha256(part).digest() for form, part in forms.kept_forms(data)}
    return row, Traces(kept, page_hashes(data), page_checks(data), build_sketch(data))
