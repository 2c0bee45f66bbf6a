"""A reference and a dump: what differs, and the simplest line map that explains it."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from itertools import chain
from typing import NamedTuple

import numpy as np
from msgspec import Struct

from romwright.faults.extra import Extra
from romwright.faults.lines import State
from romwright.faults.residue import FEWEST, ONE_WAY, Residue
from romwright.faults.search.ambiguity import Ambiguity
from romwright.faults.search.judge import GOOD, Explanation
from romwright.faults.search.maps import Search
from romwright.faults.search.matching import bits
from romwright.faults.search.prices import odds
from romwright.faults.statement import prove_statement, state_map
from romwright.findings import Finding
from romwright.images.image import Image
from romwright.images.runs import is_uniform

ERASED = 0xFF  # what the cells of a chip hold that the reference does not define
MOST_LISTED = 24  # beside the best; what is alike is listed in any case
BELIEVED = 0.5  # probability from which a map is said: else no explanation is likelier than all that were found
LIKELY = 0.001  # explanations of at least this probability are listed, and all that leave as few bits wrong


class Comparison(Struct, frozen=True, dict=True):
    """How a dump differs from its reference; `best` is the likeliest explanation, `others` are listed beside it.

    `confidence` is the probability of the best, if one of those that were found is true, or none. Where none says much
    of the dump, `explained` is false, the lines are straight and the confidence is 0.
    """

    identical: bool
    reference: np.ndarray  # as defined, without the filling
    filled: np.ndarray  # a power of two of bytes
    dump: np.ndarray  # without the extra bytes
    extra: Extra
    known: np.ndarray | None  # which bytes of the dump are defined, and lead to some that are; None: all
    best: Explanation
    confidence: float
    explained: bool
    others: tuple[tuple[Explanation, float], ...]
    ambiguity: Ambiguity
    expected: np.ndarray  # what is read through the best explanation
    both: np.ndarray | None  # which bytes both define, address by address; None: all

    @property
    def confidence_together(self) -> float:
        """The probability of the best or any that only connects otherwise what is alike: all read the same."""
        ways = set(self.ambiguity.ways)
        return min(self.confidence + sum(share for other, share in self.others if other.lines in ways), 1.0)

    @property
    def blank(self) -> bool:
        """Whether the reference or the dump is one value throughout."""
        return is_uniform(self.reference) or is_uniform(self.dump)

    @property
    def certain(self) -> bool:
        """Whether little is left wrong beside regions of one value, and nothing in it points to another line.

        If not, a map that was not tried may be true.
        """
        rest = self.residue.rest
        if not self.explained or rest.bits > GOOD * 8 * len(self.dump):
            return False
        _, times = rest.doubtful_line
        return times < max(ONE_WAY * len(rest.addresses), FEWEST)

    @property
    def size_dump(self) -> int:
        """How many bytes the dump has, the extra ones too."""
        return len(self.dump) + self.extra.bytes

    @property
    def reader_lines(self) -> int:
        """How many address lines the reader needed for the dump."""
        return (len(self.dump) - 1).bit_length()

    @cached_property
    def plain(self) -> tuple[int, int, int]:
        """Bytes that differ at the addresses that both have; bits that rose there, and that fell."""
        size = min(len(self.reference), len(self.dump))
        known = slice(None) if self.both is None else self.both[:size]
        reference, dump = self.reference[:size][known], self.dump[:size][known]
        changed = reference ^ dump
        return int((changed != 0).sum()), bits(changed & dump), bits(changed & reference)

    @property
    def bytes_compared(self) -> int:
        """How many bytes both define, address by address."""
        size = min(len(self.reference), len(self.dump))
        return size if self.both is None else int(self.both[:size].sum())

    @cached_property
    def residue(self) -> Residue:
        """What the best explanation leaves wrong."""
        seen = self.dump if self.known is None else np.where(self.known, self.dump, self.expected)
        inverted = sum(1 << n for n, line in enumerate(self.best.lines.data) if line.state is State.INVERTED)
        return Residue(self.expected, seen, inverted)

    @cached_property
    def findings(self) -> Sequence[Finding]:
        """What is wrong, in a technician's words."""
        from romwright.faults.diagnosis import diagnose

        return tuple(diagnose(self))

    def as_json(self) -> dict[str, object]:
        """The comparison under the documented JSON keys; what it says of the lines has been proved."""
        bytes_different, rose, fell = self.plain
        said = state_map(self.best.lines)
        prove_statement(said, self.filled, self.residue.dump, (self.residue.addresses, self.residue.changed))
        return {
            "identical": self.identical, "size_reference": len(self.reference), "size_dump": self.size_dump,
            "extra": {"before": self.extra.before, "after": self.extra.after}, "bytes_compared": self.bytes_compared,
            "bytes_different": bytes_different, "bits_different": rose + fell, "rose": rose, "fell": fell, **said,
            "residual_bits": self.best.residual, "explained": self.explained,
            "certain": self.certain,
            "confidence": round(self.confidence, 6),
            "confidence_together": round(self.confidence_together, 6),
            "alternatives": [
                {**state_map(other.lines), "residual_bits": other.residual, "confidence": round(share, 6)}
                for other, share in self.others[:MOST_LISTED]
            ],
            "alternatives_left_out": max(len(self.others) - MOST_LISTED, 0),
            "cannot_tell": self.ambiguity.as_json(), "residual": self.residue.as_json(),
            "findings": [finding.as_json() for finding in self.findings],
        }  # fmt: skip


def compare(reference: Image, dump: Image) -> Comparison:
    """Explain how a dump differs from its reference, both counted from their first byte.

    What the reference does not define, and what the dump has beside it, is left out of account.

    >>> program = bytes(range(256)) * 4
    >>> found = compare(Image.from_bytes(program), Image.from_bytes(bytes(byte | 8 for byte in program)))
    >>> found.as_json()["data_lines"][3], found.best.residual
    ({'line': 'D3', 'state': 'stuck', 'level': 1}, 0)
    """
    plain, whole = (np.frombuffer(image.flat(ERASED), np.uint8) for image in (reference, dump))
    of_reference, of_dump = defined(reference), defined(dump)
    identical = np.array_equal(plain, whole) and np.array_equal(of_reference, of_dump)
    size = 1 << (len(plain) - 1).bit_length()
    filled, there = np.full(size, ERASED, np.uint8), np.zeros(size, bool)
    filled[: len(plain)], there[: len(plain)] = plain, of_reference

    def explain(extra: Extra) -> Explained:
        seen, known = extra.cut(whole), extra.cut(of_dump)
        search = Search(filled, seen, *(None if mask.all() else mask for mask in (known, there)))
        search.run()
        return Explained(extra, seen, known, search, *believed(search))

    first = explain(Extra.of(plain, whole))
    others = () if first.extra.bytes else map(explain, Extra.around(plain, whole))  # each is searched if need be
    tries = chain([first], others)
    extra, seen, known, search, found, shares, ambiguity = next((each for each in tries if each.found), first)
    best, *others = zip(found, shares) if found else [(search.straight, 0.0)]
    listed = [(each, share) for each, share in others if share >= LIKELY or each.residual == best[0].residual]
    common = min(len(of_reference), len(known))
    both = of_reference[:common] & known[:common]
    return Comparison(
        identical, plain, filled, seen, extra, search.compared(best[0].lines), *best, bool(found), tuple(listed),
        ambiguity, search.read(best[0].lines), None if both.all() else both,
    )  # fmt: skip


class Explained(NamedTuple):
    """What a search found in a dump without its extra bytes: the maps believed, and how likely each is."""

    extra: Extra
    seen: np.ndarray
    known: np.ndarray
    search: Search
    found: list[Explanation]
    shares: list[float]
    ambiguity: Ambiguity


def believed(search: Search) -> tuple[list[Explanation], list[float], Ambiguity]:
    """Return the maps that explain a dump, the likeliest first, with their odds, and what cannot be told.

    None if it is likelier that none is true; then the straight map stays if it leaves little wrong.
    """
    ambiguity = Ambiguity.of(search)  # adds what is alike to what was found
    found = sorted(filter(search.explains, search.found.values()), key=lambda each: each.price)
    shares = odds([*(each.price for each in found), search.price_of_nothing])
    if found and shares[-1] > 1 - BELIEVED and found[0] is not search.straight:  # nothing is likelier than any map
        found = [each for each in (search.straight,) if each.residual <= GOOD * search.bits]
        return found, odds([*(each.price for each in found), search.price_of_nothing]), Ambiguity()
    return found, shares, ambiguity if found else Ambiguity()


def defined(image: Image) -> np.ndarray:
    """Tell for each byte from the first to the last whether the image defines it."""
    known = np.zeros(image.span_bytes, bool)
    for segment in image.segments:
        known[segment.start - image.start : segment.stop - image.start] = True
    return known
