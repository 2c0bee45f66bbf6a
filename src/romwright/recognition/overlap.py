"""Two ROMs on the bus at once: a dump that is the AND of two known images.

With NMOS and TTL outputs a low usually wins (common practice, no source), so what is read is the AND of both. One of
them can be an image only if it has a 1 wherever the dump has one; so few are left, and pairs of them are compared with
the dump at the addresses that were sampled of all images. A smaller image is there again and again.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from itertools import combinations
from math import log2
from typing import NamedTuple

import numpy as np

from romwright.faults.alone import signs
from romwright.findings import Code, Finding, Severity
from romwright.recognition import forms
from romwright.recognition.dump import BLANK_SHARE, Dump
from romwright.recognition.evidence import MARGIN
from romwright.recognition.reference import Known, Store
from romwright.recognition.signatures import SketchIndex
from romwright.recognition.sketch import LEAST_BYTES, MOST_BYTES, sample_places
from romwright.recognition.verdicts import Match, pages_of

BOTH = Code(
    "two-known-at-once", Severity.FAULT, "a dump is not the AND of two known ROMs",
    "Two chips answered at once: no byte can be trusted, and in the computer their outputs fight.",
    do="Pull one of the two and read again; then probe the /CE and /OE of both: they must never be active together. "
    "On a board, romwright links tells which setting makes them so.",
    example="two ROMs answered at once: tern-logger.bin and tern-diagnostic.bin",
)  # fmt: skip

WRONG = 0.01  # share of bits that may be wrong
RIGHT = 0.9  # share of the bytes that is expected to be right, and that must be of those that tell anything
LEAST_ONES = 64  # ones in the sampled bytes of a dump: almost only zeros can be the AND of nearly any two
MOST = 64  # images of which pairs are made


class Overlap(NamedTuple):
    """Two known images, by their numbers in the store, of which a dump is the AND.

    Of all sampled bytes seen `equal` are the AND of the two. By chance that would be so with a probability of `chance`
    at most, whichever of the two is certain and the other not, and all pairs of known images counted.
    """

    images: tuple[int, int]
    equal: int
    seen: int
    bits: float

    @property
    def chance(self) -> float:
        """The probability that the second image of the pair agrees by chance."""
        return min(2.0**-self.bits, 1.0)


def find_overlaps(index: SketchIndex, dump: Dump) -> list[Overlap]:
    """Return the pairs of known images of which a dump is the AND, the surest first.

    A blank image, or one that clears nothing that the other does not, proves nothing and is in no pair.
    """
    places = sample_places() & (1 << dump.lines) - 1
    there = places < dump.size
    seen = dump.values[places[there]]
    rows = np.flatnonzero(index.lines <= dump.lines)
    if np.bitwise_count(seen).sum() < LEAST_ONES or len(rows) < 2:
        return []
    samples = index.samples[rows][:, there]
    risen = np.bitwise_count(seen & ~samples).sum(axis=1, dtype=np.int64)
    possible = np.flatnonzero(risen <= WRONG * 8 * len(seen))
    more = np.bitwise_count(samples[possible] & ~seen).sum(axis=1, dtype=np.int64)
    possible = possible[np.argsort(more, kind="stable")[:MOST]]
    tries = 2 * log2(len(rows))
    found = []
    for a, b in combinations(possible.tolist(), 2):
        both = samples[a] & samples[b]
        if np.bitwise_count(both ^ seen).sum() > 2 * WRONG * 8 * len(seen):
            continue
        bits = min(evidence(seen, samples[a], samples[b]), evidence(seen, samples[b], samples[a])) - tries
        if bits >= MARGIN:
            pair = index.numbers[rows[a]], index.numbers[rows[b]]
            found.append(Overlap(pair, int((both == seen).sum()), len(seen), bits))
    return sorted(found, key=lambda overlap: -overlap.bits)


def evidence(seen: np.ndarray, first: np.ndarray, second: np.ndarray) -> float:
    """Return in bits how much likelier what is seen is with the second image than with another beside the first.

    Where the first has zeros nothing can be told of the second; fill of the second tells nothing either. By chance each
    bit would be as often 1 as it is seen to be where the first has a 1.
    """
    times = np.bincount(second, minlength=256)
    tells = (times < BLANK_SHARE * len(second))[second] & (first != 0)
    first, second, seen = first[tells], second[tells], seen[tells]
    if not len(seen):
        return 0.0
    open_to, high = (np.unpackbits(part[:, None], axis=1) for part in (first, seen & first))
    share = (high.sum(axis=0) + 1) / (open_to.sum(axis=0) + 2)
    chance = np.where(high, np.log2(share), np.log2(1 - share)) * open_to
    chance = np.clip(2.0 ** chance.sum(axis=1), 1e-6, 0.99)
    equal = (seen & first) == (second & first)
    if equal.mean() < RIGHT - 0.1:
        return 0.0
    return float(np.where(equal, np.log2(RIGHT / chance), np.log2((1 - RIGHT) / (1 - chance))).sum())


def match_overlap(index: SketchIndex, store: Store, data: bytes) -> list[Match]:
    """Return a match for each of the two known images of which a dump is surest to be the AND."""
    if not LEAST_BYTES <= len(data) <= MOST_BYTES or forms.blank(data):
        return []
    for overlap in find_overlaps(index, Dump(data))[:1]:
        known = [store.owners([number])[number] for number in overlap.images]
        count = f"{overlap.equal} of {overlap.seen} sampled bytes agree"
        return [
            Match(
                one.row.name, one.list, "two at once",
                f"the file is the AND of this and {other.row.name} (list {other.list}), {count}",
                0, pages_of(one.row.size), samples_equal=overlap.equal, samples_total=overlap.seen,
                evidence_bits=round(overlap.bits),
            )
            for one, other in (known, known[::-1])
        ]  # fmt: skip
    return []


def check_known(store: Store) -> signs.Check:
    """Return the check whether a dump is two ROMs of a reference list at once. A store is read when it is called."""

    @cache
    def index() -> SketchIndex:
        return SketchIndex(store.sketches())

    def check(dump: signs.Dump) -> Iterator[signs.Sign]:
        data = dump.image.flat(0xFF)
        if not dump.whole or not LEAST_BYTES <= len(data) <= MOST_BYTES or forms.blank(data):
            return
        for overlap in find_overlaps(index(), Dump(data))[:1]:
            yield said(overlap, [store.owners([number])[number] for number in overlap.images])

    return check


def said(overlap: Overlap, known: list[Known]) -> signs.Sign:
    """Say which two ROMs answered at once, with the evidence."""
    names = [f"{each.row.name} (list {each.list})" for each in known]
    return signs.Sign(
        Finding(
            BOTH, f"two ROMs answered at once: {names[0]} and {names[1]}",
            f"a bit is 1 where it is 1 in both, in {overlap.equal} of {overlap.seen} sampled bytes; that the second of "
            f"them agrees so by chance is {signs.one_in(overlap.bits)}. A low wins against a high {signs.UNSOURCED}",
            "pull one of the two and read again; probe the /CE and /OE of both: they must never be active together; "
            "romwright links predicts it for a board",
        ),
        {"images": [{"name": each.row.name, "list": each.list} for each in known], "samples_equal": overlap.equal,
         "samples_total": overlap.seen, "evidence_bits": round(overlap.bits)},
    )  # fmt: skip
