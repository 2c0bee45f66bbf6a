"""The bits that a line map leaves wrong: which way they went, where they lie together, and what that suggests."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import cached_property
from math import log2

import numpy as np
from msgspec import Struct

from romwright.faults.slip import Slip
from romwright.images.image import hex_range

EVIDENCE = 10.0  # bits by which wrong bits must lie closer together than chance would have it
FEWEST = 3  # wrong bits of which anything is said
PAGE_LINES = 8  # address lines within a page of 256 bytes
LISTED = 65536  # wrong bytes that are listed
REGION = 16  # bytes of one value, and wrong bytes in it, from which it is a region
ONLY = 0.999  # share from which wrong bits go one way only: two programs never differ so
TELLING = 64  # wrong bits for that
FEW_BYTES = 0.25  # share of wrong bytes up to which the program outside the regions is the reference's
ONE_WAY = 0.95  # share from which wrong bits go one way, or belong to one line
# Of places that say the same in two ways only the surer is given.
KINDS = {"data bit": "data bit", "address line": "address", "column": "address", "page": "place", "row": "place"}


class Cluster(Struct, frozen=True):
    """What is wrong and lies together: `wrong` of all `of`, bits of a data line, else bytes.

    `evidence` says in bits how far that is from chance.
    """

    kind: str  # data bit, page (256 bytes), row (another aligned range), column (equal low lines), address line
    detail: str
    wrong: int
    of: int
    evidence: float

    def as_json(self) -> dict[str, object]:
        """The cluster under the documented JSON keys."""
        rounded = round(self.evidence, 1)
        return {"kind": self.kind, "detail": self.detail, "wrong": self.wrong, "of": self.of, "evidence_bits": rounded}


class Region(Struct, frozen=True):
    """Addresses from `start` to before `stop` at which a dump reads one value; `wrong` of them should not."""

    start: int
    stop: int
    value: int
    wrong: int

    def as_json(self) -> dict[str, object]:
        """The region under the documented JSON keys."""
        return {"first": self.start, "last": self.stop - 1, "reads": f"{self.value:02X}", "wrong": self.wrong}


class Half(Struct, frozen=True):
    """All addresses at one level of an address line, at which a dump reads one value; `wrong` of them should not."""

    line: int
    level: int
    value: int
    wrong: int

    @property
    def name(self) -> str:
        """Which addresses they are, in words."""
        return f"every byte with A{self.line} {('low', 'high')[self.level]}"

    def holds(self, addresses: np.ndarray) -> np.ndarray:
        """Tell which addresses are among them."""
        return addresses >> self.line & 1 == self.level

    def as_json(self) -> dict[str, object]:
        """The half under the documented JSON keys."""
        return {"line": f"A{self.line}", "level": self.level, "reads": f"{self.value:02X}", "wrong": self.wrong}


class Residue(Struct, frozen=True, dict=True):
    """What is wrong with a dump besides its lines; `expected` and `dump` are whole images of one size.

    `inverted` has the data lines, as bits, that show the opposite of the cells: bits rise and fall at the cell.
    """

    expected: np.ndarray
    dump: np.ndarray
    inverted: int = 0

    @cached_property
    def addresses(self) -> np.ndarray:
        """Where bytes are wrong."""
        return np.flatnonzero(self.expected != self.dump)

    @cached_property
    def changed(self) -> np.ndarray:
        """Which bits are wrong in those bytes."""
        return self.expected[self.addresses] ^ self.dump[self.addresses]

    @cached_property
    def slip(self) -> Slip | None:
        """The stretch that is right but for its place, if all that is wrong lies in one."""
        return Slip.of(self.expected, self.dump, self.addresses) if len(self.addresses) else None

    @cached_property
    def held(self) -> np.ndarray:
        """What the cells should hold, on the data lines where it is seen."""
        return self.expected ^ np.uint8(self.inverted)

    @property
    def rose(self) -> int:
        """How many bits of cells went from 0 to 1."""
        return int(np.bitwise_count(self.changed & ~self.held[self.addresses]).sum(dtype=np.int64))

    @property
    def fell(self) -> int:
        """How many bits of cells went from 1 to 0."""
        return int(np.bitwise_count(self.changed & self.held[self.addresses]).sum(dtype=np.int64))

    @property
    def bits(self) -> int:
        """How many bits are wrong."""
        return int(np.bitwise_count(self.changed).sum(dtype=np.int64))

    @cached_property
    def ones(self) -> np.ndarray:
        """In how many bytes the cells of each data line should be 1."""
        return np.array([int((self.held >> bit & 1).sum(dtype=np.int64)) for bit in range(8)])

    @cached_property
    def way(self) -> str:
        """`rose` or `fell` if nearly all wrong bits go that way, and not because few could go the other; else empty."""
        ones, counts = int(self.ones.sum()), {"rose": self.rose, "fell": self.fell}
        rates = {"rose": self.rose / max(8 * len(self.dump) - ones, 1), "fell": self.fell / max(ones, 1)}
        sure = (
            way for way, rate in rates.items()
            if rate >= ONE_WAY * sum(rates.values()) > 0 and counts[way] >= ONE_WAY * self.bits
        )  # fmt: skip
        return next(sure, "")

    @cached_property
    def room(self) -> np.ndarray:
        """How many bits of each byte could have gone wrong so: zeros if all rose, ones if all fell, else all."""
        ones = np.bitwise_count(self.held)
        return {"rose": 8 - ones, "fell": ones}.get(self.way, np.full_like(ones, 8))

    def clusters(self) -> list[Cluster]:
        """Return where wrong bits lie together, the surest of each kind, the surest first."""
        if self.bits < FEWEST:
            return []
        best: dict[str, Cluster] = {}
        for cluster in self.candidates():
            kind = KINDS[cluster.kind]
            if cluster.evidence >= EVIDENCE and (kind not in best or cluster.evidence > best[kind].evidence):
                best[kind] = cluster
        return sorted(best.values(), key=lambda cluster: -cluster.evidence)

    def candidates(self) -> Iterator[Cluster]:
        """Yield for each way to divide the chip the place where wrong bits are least likely to meet by chance."""
        lines = (len(self.dump) - 1).bit_length()
        wrong, room = np.zeros((2, 1 << lines), np.int64)
        wrong[self.addresses], room[: len(self.room)] = 1, self.room
        by_bit = (self.changed[:, None] >> np.arange(8) & 1).sum(axis=0, dtype=np.int64)
        size = len(self.dump)
        room_by_bit = {"rose": size - self.ones, "fell": self.ones}.get(self.way, np.full(8, size))
        yield self.cluster("data bit", by_bit, room_by_bit, lambda bit: f"D{bit}")
        for line in range(lines):
            halves = (each.reshape(-1, 2, 1 << line).sum(axis=(0, 2)) for each in (wrong, room))
            yield self.cluster("address line", *halves, lambda level, line=line: f"A{line} {('low', 'high')[level]}")
        rows, columns = (wrong, room), (wrong, room)
        for width in range(1, lines):
            rows = tuple(each.reshape(-1, 2).sum(axis=1) for each in rows)
            kind = "page" if width == PAGE_LINES else "row"
            yield self.cluster(kind, *rows, lambda at, width=width: hex_range(at << width, (at + 1) << width))
            columns = tuple(each.reshape(2, -1).sum(axis=0) for each in columns)
            low = lines - width
            if low > 1:
                yield self.cluster("column", *columns, lambda at, low=low: f"A{low - 1}-A0 = {at:0{low}b}")

    def cluster(self, kind: str, wrong: np.ndarray, room: np.ndarray, name: Callable[[int], str]) -> Cluster:
        """Return the place with most evidence, in bits, that its share of the wrong bits is no chance."""
        share = np.clip(room / max(room.sum(), 1), 1e-12, 1 - 1e-12)
        total = int(wrong.sum())
        seen = wrong / total
        with np.errstate(divide="ignore", invalid="ignore"):
            inside = np.where(wrong > 0, wrong * np.log2(seen / share), 0)
            outside = np.where(seen < 1, (total - wrong) * np.log2((1 - seen) / (1 - share)), 0)
        evidence = np.where(seen > share, inside + outside, 0)
        at = int(evidence.argmax())
        return Cluster(kind, name(at), int(wrong[at]), total, float(evidence[at]) - log2(len(wrong)))

    @cached_property
    def regions(self) -> list[Region]:
        """The regions that read one value where they should not; runs of bytes that are right at their ends are cut."""
        if self.half:
            return self.without(self.half.holds).regions
        edges = np.flatnonzero(np.diff(self.dump)) + 1
        starts, stops = np.concatenate(([0], edges)), np.append(edges, len(self.dump))
        first, last = np.searchsorted(self.addresses, starts), np.searchsorted(self.addresses, stops)
        found = []
        for run in np.flatnonzero((stops - starts >= REGION) & (last - first >= REGION)).tolist():
            low, high = self.addresses[[first[run], last[run] - 1]].tolist()
            size = 1 << (low ^ high).bit_length()
            block = low // size * size
            inside = starts[run] <= block and block + size <= stops[run]
            start, stop = (block, block + size) if inside else (low, high + 1)
            found.append(Region(int(start), int(stop), int(self.dump[low]), int(last[run] - first[run])))
        return found

    @cached_property
    def half(self) -> Half | None:
        """The half of the addresses that reads one value where it should not, if it is in several pieces."""
        found = []
        for line in range((len(self.dump) - 1).bit_length() - 1 if len(self.addresses) >= REGION else 0):
            pairs = self.dump[: len(self.dump) >> line + 1 << line + 1].reshape(-1, 2, 1 << line)
            for level in (0, 1):
                here, value = pairs[:, level], int(pairs[0, level, 0])
                if (here == value).all() and not (self.dump == value).all():
                    at = self.addresses[self.addresses >> line & 1 == level]
                    pieces = len(at) >= REGION and at[0] >> line + 1 != at[-1] >> line + 1
                    found += [Half(line, level, value, len(at))] * bool(pieces and (self.dump[at] == value).all())
        return max(found, key=lambda half: half.wrong, default=None)

    def dead(self, addresses: np.ndarray) -> np.ndarray:
        """Tell which addresses are in a half or a region that reads one value."""
        inside = self.half.holds(addresses) if self.half else np.zeros(len(addresses), bool)
        for region in self.regions:
            inside |= (addresses >= region.start) & (addresses < region.stop)
        return inside

    def without(self, holds: Callable[[np.ndarray], np.ndarray]) -> Residue:
        """Return what is wrong besides at some addresses."""
        seen = self.dump.copy()
        left_out = self.addresses[holds(self.addresses)]
        seen[left_out] = self.expected[left_out]
        return Residue(self.expected, seen, self.inverted)

    @cached_property
    def rest(self) -> Residue:
        """What is wrong outside a half and regions that read one value."""
        return self.without(self.dead) if self.half or self.regions else self

    @property
    def one_way(self) -> bool:
        """Whether many bits are wrong and all of them went one way."""
        return self.bits >= TELLING and max(self.rose, self.fell) >= ONLY * self.bits

    @property
    def telling(self) -> bool:
        """Whether the wrong bits speak for this reference, though they are many: two programs do not differ so."""
        rest = self.rest
        if rest.one_way:
            return True
        blank = int(np.bincount(self.expected).argmax())
        program = (self.expected != blank) | (self.dump != blank)
        program &= ~self.dead(np.arange(len(program)))
        return len(rest.addresses) <= FEW_BYTES * int(program.sum())

    @cached_property
    def doubtful_line(self) -> tuple[int, int]:
        """The address line whose other level explains most wrong bytes, and how many; blank bytes tell nothing."""
        found = [(0, 0)]
        for line in range((len(self.dump) - 1).bit_length() if len(self.addresses) else 0):
            other = self.addresses ^ 1 << line
            inside = other < len(self.dump)
            seen = self.dump[self.addresses[inside]]
            same = (self.expected[other[inside]] == seen) & (seen != 0) & (seen != 0xFF)
            found.append((int(same.sum()), line))
        times, line = max(found)
        return line, times

    def examples(self) -> list[dict[str, object]]:
        """Return the wrong bytes, the first LISTED: their address in the dump, what was expected and what was seen."""
        wrong = self.addresses[:LISTED]
        triples = zip(wrong.tolist(), self.expected[wrong].tolist(), self.dump[wrong].tolist())
        return [{"address": at, "expected": f"{due:02X}", "seen": f"{seen:02X}"} for at, due, seen in triples]

    def as_json(self) -> dict[str, object]:
        """The wrong bits under the documented JSON keys."""
        clusters = [cluster.as_json() for cluster in self.rest.clusters()]
        counts = {"bits": self.bits, "bytes": len(self.addresses), "rose": self.rose, "fell": self.fell}
        regions = [region.as_json() for region in self.regions]
        dead = {"half": self.half.as_json() if self.half else None, "regions": regions}
        left_out = max(len(self.addresses) - LISTED, 0)
        return {**counts, **dead, "clusters": clusters, "examples": self.examples(), "left_out": left_out}
