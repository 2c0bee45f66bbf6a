"""A reference and a dump: what differs, and the simplest line map that explains it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from romwright.faults.ambiguity import Ambiguity
from romwright.faults.matching import bits
from romwright.faults.prices import odds
from romwright.faults.residue import Residue
from romwright.faults.search import Explanation, Search
from romwright.faults.statement import prove_statement, state_map
from romwright.findings import Finding
from romwright.images.image import Image

ERASED = 0xFF  # what the cells of a chip hold that the reference does not define
MOST_LISTED = 24  # beside the best; what is alike is listed in any case
LIKELY = 0.001  # explanations of at least this probability are listed, and all that leave as few bits wrong


@dataclass(frozen=True)
class Comparison:
    """How a dump differs from its reference; `best` is the likeliest explanation, `others` are listed beside it.

    `confidence` is the probability of the best, if one of those that were found is true, or none. Where none says much
    of the dump, `explained` is false, the lines are straight and the confidence is 0.
    """

    reference: np.ndarray  # as defined, without the filling
    filled: np.ndarray  # a power of two of bytes
    dump: np.ndarray
    known: np.ndarray | None
    best: Explanation
    confidence: float
    explained: bool
    others: tuple[tuple[Explanation, float], ...]
    ambiguity: Ambiguity
    expected: np.ndarray  # what is read through the best explanation

    @property
    def confidence_together(self) -> float:
        """The probability of the best or any that only connects otherwise what is alike: all read the same."""
        ways = set(self.ambiguity.ways)
        return min(self.confidence + sum(share for other, share in self.others if other.lines in ways), 1.0)

    @property
    def identical(self) -> bool:
        """Whether both have the same bytes."""
        return self.known is None and np.array_equal(self.reference, self.dump)

    @property
    def reader_lines(self) -> int:
        """How many address lines the reader needed for the dump."""
        return (len(self.dump) - 1).bit_length()

    @cached_property
    def plain(self) -> tuple[int, int, int]:
        """Bytes that differ at the addresses that both have; bits that rose there, and that fell."""
        size = min(len(self.reference), len(self.dump))
        known = slice(None) if self.known is None else self.known[:size]
        reference, dump = self.reference[:size][known], self.dump[:size][known]
        changed = reference ^ dump
        return int((changed != 0).sum()), bits(changed & dump), bits(changed & reference)

    @cached_property
    def residue(self) -> Residue:
        """What the best explanation leaves wrong."""
        seen = self.dump if self.known is None else np.where(self.known, self.dump, self.expected)
        return Residue(self.expected, seen)

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
            "identical": self.identical, "size_reference": len(self.reference), "size_dump": len(self.dump),
            "bytes_different": bytes_different, "bits_different": rose + fell, "rose": rose, "fell": fell, **said,
            "residual_bits": self.best.residual, "explained": self.explained,
            "confidence": round(self.confidence, 6),
            "confidence_together": round(self.confidence_together, 6),
            "alternatives": [
                {**state_map(other.lines), "residual_bits": other.residual, "confidence": round(share, 6)}
                for other, share in self.others[:MOST_LISTED]
            ],
            "cannot_tell": self.ambiguity.as_json(), "residual": self.residue.as_json(),
            "findings": [finding.as_json() for finding in self.findings],
        }  # fmt: skip


def compare(reference: Image, dump: Image) -> Comparison:
    """Explain how a dump differs from its reference, both counted from their first byte.

    What the reference does not define up to a power of two of bytes is taken as erased (FF).

    >>> program = bytes(range(256)) * 4
    >>> found = compare(Image.from_bytes(program), Image.from_bytes(bytes(byte | 8 for byte in program)))
    >>> found.as_json()["data_lines"][3], found.best.residual
    ({'line': 'D3', 'state': 'stuck', 'level': 1}, 0)
    """
    plain = np.frombuffer(reference.flat(ERASED), np.uint8)
    filled = np.full(1 << (len(plain) - 1).bit_length(), ERASED, np.uint8)
    filled[: len(plain)] = plain
    filled = plain if len(plain) == len(filled) else filled
    seen = np.frombuffer(dump.flat(ERASED), np.uint8)
    known = defined(dump) if dump.gaps else None
    search = Search(filled, seen, known)
    search.run()
    ambiguity = Ambiguity.of(search)
    found = sorted(filter(search.explains, search.found.values()), key=lambda each: each.price)
    images = plain, filled, seen, known
    if not found:
        straight = search.straight
        return Comparison(*images, straight, 0.0, False, (), Ambiguity(), search.read(straight.lines))
    best, *others = zip(found, odds([*(each.price for each in found), search.price_of_nothing]))
    listed = [(each, share) for each, share in others if share >= LIKELY or each.residual == best[0].residual]
    return Comparison(*images, *best, True, tuple(listed), ambiguity, search.read(best[0].lines))


def defined(image: Image) -> np.ndarray:
    """Tell for each byte from the first to the last whether the image defines it."""
    known = np.zeros(image.span_bytes, bool)
    for segment in image.segments:
        known[segment.start - image.start : segment.stop - image.start] = True
    return known
