"""The bits that a line map leaves wrong: which way they went, where they lie together, and what that suggests."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from math import log2

import numpy as np

from romwright.images.image import hex_range

EVIDENCE = 10.0  # bits by which wrong bits must lie closer together than chance would have it
FEWEST = 3  # wrong bits of which anything is said
PAGE_LINES = 8  # address lines within a page of 256 bytes
SHOWN = 16  # wrong bytes that are listed


@dataclass(frozen=True, slots=True)
class Cluster:
    """Wrong bits that lie together: `bits` of all `of`; `evidence` in bits says how far that is from chance."""

    kind: str  # data bit, page, row (one range of addresses), column (equal low address lines) or address line
    detail: str
    bits: int
    of: int
    evidence: float

    def as_json(self) -> dict[str, object]:
        """The cluster under the documented JSON keys."""
        rounded = round(self.evidence, 1)
        return {"kind": self.kind, "detail": self.detail, "bits": self.bits, "of": self.of, "evidence_bits": rounded}


@dataclass(frozen=True)
class Residue:
    """What is wrong with a dump besides its lines; `expected` and `dump` are whole images of one size."""

    expected: np.ndarray
    dump: np.ndarray
    addresses: np.ndarray = field(init=False)
    changed: np.ndarray = field(init=False)

    def __post_init__(self) -> None:
        wrong = self.expected ^ self.dump
        object.__setattr__(self, "addresses", np.flatnonzero(wrong))
        object.__setattr__(self, "changed", wrong[self.addresses])

    @property
    def rose(self) -> int:
        """How many bits went from 0 to 1."""
        return int(np.bitwise_count(self.changed & self.dump[self.addresses]).sum(dtype=np.int64))

    @property
    def fell(self) -> int:
        """How many bits went from 1 to 0."""
        return int(np.bitwise_count(self.changed & self.expected[self.addresses]).sum(dtype=np.int64))

    @property
    def bits(self) -> int:
        """How many bits are wrong."""
        return int(np.bitwise_count(self.changed).sum(dtype=np.int64))

    def clusters(self) -> list[Cluster]:
        """Return where wrong bits lie together, the surest of each kind, the surest first."""
        if self.bits < FEWEST:
            return []
        best: dict[str, Cluster] = {}
        for cluster in self.candidates():
            if cluster.evidence >= EVIDENCE and cluster.evidence > getattr(best.get(cluster.kind), "evidence", 0):
                best[cluster.kind] = cluster
        return sorted(best.values(), key=lambda cluster: -cluster.evidence)

    def candidates(self) -> Iterator[Cluster]:
        """Yield for each way to divide the chip the place with more wrong bits than chance allows."""
        lines = max(len(self.dump) - 1, 1).bit_length()
        count = np.bitwise_count(self.changed).astype(np.int64)
        by_bit = (self.changed[:, None] >> np.arange(8) & 1).sum(axis=0, dtype=np.int64)
        yield self.cluster("data bit", by_bit, lambda bit: f"D{bit}", 1 / 8)
        for width in range(2, lines):
            size = 1 << width
            where = np.bincount(self.addresses >> width, count, len(self.dump) - 1 >> width).astype(np.int64)
            kind = "page" if width == PAGE_LINES else "row"
            share = size / len(self.dump)
            yield self.cluster(kind, where, lambda at, size=size: hex_range(at * size, (at + 1) * size), share)
            where = np.bincount(self.addresses & size - 1, count, size).astype(np.int64)
            words = "every {:X}h bytes from {:0{}X}"
            digits = (lines + 3) // 4
            yield self.cluster(
                "column", where, lambda at, size=size, digits=digits: words.format(size, at, digits), 1 / size
            )
        for line in range(lines):
            high = int(count[self.addresses >> line & 1 == 1].sum())
            where = np.array([self.bits - high, high])
            yield self.cluster("address line", where, lambda level, line=line: f"A{line} {'LH'[level]}", 1 / 2)

    def cluster(self, kind: str, where: np.ndarray, name, share: float) -> Cluster:
        """Judge the fullest of some places that each have the same share of the chip."""
        at = int(where.argmax())
        bits, of = int(where[at]), self.bits
        seen = bits / of
        divergence = seen * log2(seen / share) if seen > share else 0.0
        divergence += (1 - seen) * log2((1 - seen) / (1 - share)) if 1 > seen > share else 0.0
        return Cluster(kind, name(at), bits, of, of * divergence - log2(max(len(where), 1 / share)))

    def doubtful_lines(self) -> list[tuple[int, int]]:
        """Return the address lines that explain wrong bytes if they were at the wrong level then, and how many."""
        found = []
        for line in range(max(len(self.dump) - 1, 0).bit_length()):
            other = self.addresses ^ 1 << line
            inside = other < len(self.dump)
            same = self.expected[other[inside]] == self.dump[self.addresses[inside]]
            found.append((int(same.sum()), line))
        return [(line, times) for times, line in sorted(found, reverse=True) if times]

    def examples(self) -> list[dict[str, object]]:
        """Return the first wrong bytes: their address in the dump, what was expected and what was seen."""
        return [
            {"address": int(at), "expected": f"{self.expected[at]:02X}", "seen": f"{self.dump[at]:02X}"}
            for at in self.addresses[:SHOWN]
        ]

    def as_json(self) -> dict[str, object]:
        """The wrong bits under the documented JSON keys."""
        clusters = [cluster.as_json() for cluster in self.clusters()]
        counts = {"bits": self.bits, "bytes": len(self.addresses), "rose": self.rose, "fell": self.fell}
        return {**counts, "clusters": clusters, "examples": self.examples()}
