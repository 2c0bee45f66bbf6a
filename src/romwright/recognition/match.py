"""Match the pages of a dump with those of the known images, at any offset and in spite of damage.

A page is 256 bytes. Its *hash* is a polynomial in an odd number modulo 2^64 over the bytes (each replaced by a random
64-bit number), so the hashes of all windows of a dump come out of one running sum. Hashes point to a place; digests
decide: the whole image by SHA-256, a page by its *check*, the first 8 bytes of its SHA-256.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Mapping
from functools import cache
from typing import NamedTuple

import numpy as np

from romwright.images.words import in_bytes
from romwright.recognition import forms
from romwright.recognition.reference import Known
from romwright.recognition.verdicts import PAGE_BYTES as PAGE
from romwright.recognition.verdicts import Match, pages_of, said_to_differ

CHECK = 8
CHUNK = 1 << 20  # windows hashed at a time
TELLING_VALUES = 8  # a page with fewer different bytes is no evidence; its hash is stored as 0
LEAST_PAGES = 2  # so many different telling pages must agree
LEAST_SHARE = 0.5  # of the telling pages that could agree
MOST_IMAGES = 8  # looked at more closely, by number of pages that agree
_BASE = 0x9E3779B97F4A7C15  # odd, so that it has an inverse
_BYTES = np.frombuffer(b"".join(hashlib.sha256(bytes([b])).digest()[:8] for b in range(256)), "<u8").astype(np.uint64)
_SIEVE_BITS = 22


@cache
def _powers(base: int, count: int) -> np.ndarray:
    powers = np.full(count, base % (1 << 64), np.uint64)
    powers[0] = 1
    return np.multiply.accumulate(powers)


def window_hashes(data: bytes) -> np.ndarray:
    """Return the hash of every window of 256 bytes, by the offset at which it starts."""
    values = np.frombuffer(data, np.uint8)
    count = len(values) - PAGE + 1
    if count <= 0:
        return np.empty(0, np.uint64)
    span = min(count, CHUNK)
    room = 1 << (span + PAGE).bit_length()  # few different sizes, so that the powers are soon all at hand
    up, down = _powers(_BASE, room), _powers(pow(_BASE, -1, 1 << 64), room)
    out = np.empty(count, np.uint64)
    for first in range(0, count, span):
        part = values[first : first + span + PAGE - 1]
        sums = np.zeros(len(part) + 1, np.uint64)
        np.cumsum(_BYTES[part] * up[: len(part)], out=sums[1:])
        windows = len(part) - PAGE + 1
        out[first : first + windows] = (sums[PAGE:] - sums[:windows]) * down[:windows]
    return out


def page_hashes(data: bytes) -> bytes:
    """Return the hashes of the whole pages, 8 bytes each, low byte first; 0 for a page that is no evidence."""
    whole = len(data) // PAGE * PAGE
    hashes = (_BYTES[np.frombuffer(data[:whole], np.uint8)].reshape(-1, PAGE) * _powers(_BASE, PAGE)).sum(1, np.uint64)
    telling = [len(set(data[i : i + PAGE])) >= TELLING_VALUES for i in range(0, whole, PAGE)]
    return np.where(telling, hashes, 0).astype("<u8").tobytes()


def page_checks(data: bytes) -> bytes:
    """Return the checks of all pages, of a last short one too."""
    return b"".join(hashlib.sha256(data[i : i + PAGE]).digest()[:CHECK] for i in range(0, len(data), PAGE))


class Sighting(NamedTuple):
    """A known image seen in a file: its first byte would lie at `offset` of the file.

    `compared` are the pages of the image that the file has room for, `differ` those of them that are not equal. With
    `wraps`, the image goes on at the start of the file.
    """

    image: int
    offset: int
    compared: range
    differ: tuple[int, ...]
    wraps: bool


class PageIndex:
    """The pages of all known images, in memory: eight bytes of hash and a few of place for each."""

    def __init__(self, images: Iterable[tuple[int, int, bytes, bytes]]) -> None:
        """Index (number, size in bytes, page hashes, page checks) of images."""
        self._images = {number: (size, checks, np.frombuffer(pages, "<u8")) for number, size, pages, checks in images}
        hashes = [pages for _, _, pages in self._images.values()] or [np.empty(0, "<u8")]
        counts = [len(pages) for pages in hashes]
        flat = np.concatenate(hashes)
        owners = np.repeat(np.array(list(self._images) or [0], np.int64), counts if self._images else [0])
        numbers = np.concatenate([np.arange(count) for count in counts])
        order = np.argsort(flat, kind="stable")
        order = order[flat[order] != 0]
        self._hashes, self._owners, self._numbers = flat[order], owners[order], numbers[order]
        self._sizes = np.array([self._images[n][0] for n in self._owners.tolist()], np.int64)
        self._sieve = np.zeros(1 << _SIEVE_BITS, bool)
        self._sieve[self._hashes >> np.uint64(64 - _SIEVE_BITS)] = True

    def find_sightings(self, data: bytes) -> list[Sighting]:
        """Return the known images of which enough telling pages are in the data, the fullest agreement first."""
        if not len(self._hashes) or len(data) < PAGE:
            return []
        windows = window_hashes(data + data[: PAGE - 1])
        at = self._sieve[windows >> np.uint64(64 - _SIEVE_BITS)].nonzero()[0]
        first = np.searchsorted(self._hashes, windows[at], "left")
        counts = np.searchsorted(self._hashes, windows[at], "right") - first
        places = np.repeat(at, counts)
        if not len(places):
            return []
        rows = np.repeat(first - np.cumsum(counts) + counts, counts) + np.arange(len(places))
        offsets = places - self._numbers[rows] * PAGE
        small = self._sizes[rows] <= len(data)
        offsets = np.where(small, offsets % len(data), offsets)
        pairs = np.stack([self._owners[rows], offsets])
        pairs, votes = np.unique(pairs, axis=1, return_counts=True)
        best: dict[int, tuple[int, int]] = {}
        for index in np.argsort(-votes, kind="stable").tolist():
            image, offset = pairs[:, index].tolist()
            if image not in best and len(best) < MOST_IMAGES:
                best[image] = (offset, int(votes[index]))
        seen = [self._look(image, offset, data) for image, (offset, _) in best.items()]
        return sorted(filter(None, seen), key=lambda s: len(s.differ) - len(s.compared))

    def _look(self, image: int, offset: int, data: bytes) -> Sighting | None:
        """Compare an image with the file at one offset, page by page; None if too little agrees."""
        size, checks, hashes = self._images[image]
        total = len(checks) // CHECK
        wraps = size <= len(data) < offset + size
        if size <= len(data):
            compared, view = range(total), (data + data)[offset : offset + size]
            found = page_checks(view)
        else:
            first, last = -(min(offset, 0) // PAGE), min((len(data) - offset) // PAGE, total)
            compared = range(first, last)
            found = bytes(first * CHECK) + page_checks(data[offset + first * PAGE : offset + last * PAGE])
        equal = [n for n in compared if found[n * CHECK : (n + 1) * CHECK] == checks[n * CHECK : (n + 1) * CHECK]]
        telling = {int(hashes[n]) for n in compared if n < len(hashes)} - {0}
        agreed = {int(hashes[n]) for n in equal if n < len(hashes)} - {0}
        room = min(size, len(data)) // PAGE  # what sticks out at either end of the image speaks against it
        if len(agreed) < max(LEAST_PAGES, LEAST_SHARE * len(telling)) or len(equal) < LEAST_SHARE * room:
            return None
        return Sighting(image, offset, compared, tuple(sorted(set(compared) - set(equal))), wraps)


CHANGES = {
    "": lambda data: data,
    "inverted": forms.inverted,
    "bytes swapped": forms.swapped,
    "lines crossed": forms.mirrored,
}


def matches_by_pages(
    index: PageIndex, owners: Callable[[Iterable[int]], Mapping[int, Known]], data: bytes
) -> list[Match]:
    """Match a file by its pages, as it is and after each of CHANGES; damaged ones only if nothing better is found."""
    found: list[tuple[Match, int]] = []
    for change, function in CHANGES.items():
        changed = function(data)
        sightings = index.find_sightings(changed)
        known = owners(sighting.image for sighting in sightings)
        found += [
            (_match(sighting, known[sighting.image], changed, change), len(sighting.differ)) for sighting in sightings
        ]
    whole = [match for match, _ in found if match.lossless]
    return whole or [match for match, _ in sorted(found, key=lambda pair: pair[1] / pair[0].pages_total)]


def _match(sighting: Sighting, known: Known, data: bytes, change: str) -> Match:
    """Say in what way a file shows a known image.

    It is whole if SHA-256 says so, or if the file is a part of it of which every page agrees.
    """
    offset, size, room = sighting.offset, known.row.size, len(data)
    total, differ = pages_of(size), sighting.differ
    if size > room:
        first, last = max(-offset, 0), min(room - offset, size) - 1
        how, where = "part", f"bytes {first:04X}-{last:04X} of the known image"
        whole = not differ and offset <= 0 and offset + size >= room
        unchecked = room - len(sighting.compared) * PAGE
        if whole and unchecked:
            where += f"; {in_bytes(unchecked)} at the ends of the file could not be checked"
    else:
        how, where = _placed(offset, size, data)
        whole = (
            not differ and hashlib.sha256((data + data)[offset : offset + size]).digest() == known.row.digests["sha256"]
        )
    if not whole:
        how = "shifted and damaged" if size <= room and how == "shifted" else "damaged"
        where = "; ".join(filter(None, [where, said_to_differ(differ, len(sighting.compared), total)]))
    how = " and ".join(filter(None, [change, how]))
    return Match(known.row.name, known.list, how, where, len(sighting.compared) - len(differ), total, differ)


def _placed(offset: int, size: int, data: bytes) -> tuple[str, str]:
    """Say where in a file an image lies."""
    room, after = len(data), data[offset + size :]
    if offset + size > room:
        return "shifted", f"it starts at {offset:04X} of the file and goes on at its start"
    if size == room:
        return "", ""
    where = f"it lies at {offset:04X}-{offset + size - 1:04X} of the file"
    blank = all(len(set(rest)) <= 1 for rest in (data[:offset], after))
    if blank:
        return "filled", where
    return ("half" if 2 * size == room and offset in (0, size) else "shifted"), where
