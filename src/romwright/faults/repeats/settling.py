"""Repeated reads of one chip, combined: the majority of each bit, what is not stable, and whether that is enough."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cached_property

import numpy as np
from msgspec import Struct

from romwright.errors import InputError, OptionError
from romwright.faults.repeats.agreement import Agreement, Walk, agree, plain
from romwright.faults.repeats.asides import Aside, set_aside
from romwright.faults.repeats.chances import Count, alike, counts_of, missed_at, reads_needed, tail, unseen, wrong_at
from romwright.faults.repeats.reads import Reads, stretches
from romwright.faults.repeats.votes import Votes
from romwright.faults.repeats.wobble import Wobble
from romwright.faults.residue import Cluster
from romwright.findings import Finding
from romwright.images.formats import Loaded

RISK = 0.01  # seven reads that are alike in every bit do
FORMULA = (
    "P(any bit wrong) <= sum over unstable bits of P(X <= k), X ~ binomial(n, 1/2), k of n reads against; "
    "+ (u + 1) / 2^n for all bits read alike, u unstable bits, n reads at least"
)
RISKS = (1e-12, 0.25)  # the least and the most that can be asked for


class Settlement(Struct, frozen=True, eq=False, dict=True):
    """What repeated reads of one chip say together. `risk` is the chance of a wrong bit that is allowed.

    Where no reads can be called right `votes` is None, and nothing is settled.
    """

    given: Reads
    agreement: Agreement
    asides: tuple[Aside, ...]
    votes: Votes | None
    risk: float

    @cached_property
    def counts(self) -> list[Count]:
        """The unstable bits by their counts, the most even first."""
        return counts_of(self.votes.less, self.votes.of_each) if self.votes else []

    @property
    def unstable(self) -> int:
        """How many bits were not read alike."""
        return sum(each.cells for each in self.counts)

    @property
    def fewest(self) -> int:
        """In how many reads every byte is, at least."""
        return self.votes.fewest if self.votes else 0

    @cached_property
    def risk_unstable(self) -> float:
        """The most with which any unstable bit is wrong as it is settled."""
        return min(sum(each.cells * tail(each.reads, each.less) for each in self.counts), 1.0)

    @property
    def risk_alike(self) -> float:
        """The most with which any bit is wrong that was read alike."""
        return alike(self.unstable, self.fewest)

    @property
    def risk_reached(self) -> float:
        """The most with which any bit of the settled image is wrong."""
        return min(self.risk_unstable + self.risk_alike, 1.0)

    @property
    def settled(self) -> bool:
        """Whether the reads settle the chip to the chance that is allowed."""
        return self.votes is not None and self.risk_reached <= self.risk

    @cached_property
    def reads_needed(self) -> int | None:
        """How many reads in all would do, if bits go on as they have; None: over 1,000, or nothing is counted."""
        return reads_needed(self.counts, self.risk, max(self.fewest, 2)) if self.votes else None

    def state(self, count: Count) -> str:
        """Return what unstable bits with such counts are: settled, leaning, even, or tied."""
        if count.tied:
            return "tied"
        if self.risk_unstable <= self.risk or tail(count.reads, count.less) <= self.risk / self.unstable:
            return "settled"
        return "even" if count.even else "leaning"

    def number(self, *states: str) -> int:
        """Return how many unstable bits are in any of the states."""
        return sum(each.cells for each in self.counts if self.state(each) in states)

    @property
    def undecided(self) -> int:
        """How many unstable bits are not settled."""
        return self.number("tied", "even", "leaning")

    @cached_property
    def never(self) -> list[str]:
        """The unstable bits that no number of reads will settle, as it looks: address and data line."""
        even = [each for each in self.counts if each.even and self.state(each) != "settled"]
        if not even:
            return []
        votes, most = self.votes, int(self.votes.times.max())
        keys = [each.reads * most + each.less for each in even]
        which = np.flatnonzero(np.isin(votes.of_each * most + votes.less, keys))
        cells = zip((votes.start + votes.at[which]).tolist(), votes.bit[which].tolist())
        return [f"{address:04X} D{bit}" for address, bit in cells]

    @property
    def unseen(self) -> float | None:
        """How many more bits may be unstable but were read alike, estimated from below; None for too few reads."""
        return unseen(self.counts, self.fewest)

    @cached_property
    def wobble(self) -> Wobble | None:
        """Where the unstable bits lie, and what that suggests."""
        return Wobble(self.votes, self.agreement) if self.unstable else None

    @property
    def clusters(self) -> list[Cluster]:
        """Where unstable bits lie together, the surest first."""
        return self.wobble.clusters if self.wobble else []

    @property
    def once(self) -> list[tuple[int, int]]:
        """Where bytes are in one read only, as (first, after the last)."""
        return self.where(self.votes.times == 1) if self.votes else []

    @property
    def gaps(self) -> list[tuple[int, int]]:
        """Where bytes are in no read, as (first, after the last)."""
        return self.where(self.votes.times == 0) if self.votes else []

    def where(self, mask: np.ndarray) -> list[tuple[int, int]]:
        """Return the addresses of runs of true values."""
        return [(self.votes.start + a, self.votes.start + b) for a, b in stretches(mask)]

    @cached_property
    def findings(self) -> Sequence[Finding]:
        """What is wrong, in a technician's words."""
        from romwright.faults.repeats.unsettled import judge

        return tuple(judge(self))

    def entries(self, most: int | None = None) -> list[dict[str, object]]:
        """Return unstable bits by address, the first `most` or all, under the documented JSON keys."""
        votes = self.votes
        known = {
            (each.reads, each.less): {"state": self.state(each), "chance_wrong": tail(each.reads, each.less)}
            for each in self.counts
        }
        columns = (votes.at, votes.bit, votes.settled[votes.at] >> votes.bit & 1, votes.zeros, votes.ones)
        return [
            {
                "address": votes.start + at, "bit": f"D{bit}", "zeros": zeros, "ones": ones,
                "value": None if zeros == ones else written, "written": written,
                **known[zeros + ones, min(zeros, ones)],
            }
            for at, bit, written, zeros, ones in zip(*(column[:most].tolist() for column in columns))
        ]  # fmt: skip

    def of_reads(self) -> list[dict[str, object]]:
        """Return what became of every file that was given, under the documented JSON keys."""
        counted = dict(zip(self.agreement.counted, self.agreement.stray)) if self.votes else {}
        # Where none can be called right, it is not said which are the wrong ones.
        named = [each for each in self.asides if self.votes or each.reason == "blank"]
        why = {each.read: {"reason": each.reason, "detail": each.detail} for each in named}
        reads = [
            {
                "file": read.file, "format": read.format, "size": read.size, "first": read.start,
                "last": read.stop - 1, "counted": read in counted,
                "stray_bits": counted.get(read),
                **why.get(read, {"reason": None if read in counted else "no majority", "detail": ""}),
            }
            for read in self.given.reads
        ]  # fmt: skip
        return reads + [
            {"file": file, "counted": False, "stray_bits": None, "reason": "same", "detail": f"the same read as {of}"}
            for file, of in self.given.same
        ]

    def of_counts(self) -> list[dict[str, object]]:
        """Return the unstable bits by their counts, with what follows from these, under the documented JSON keys."""
        return [
            {
                "less_often": each.less, "reads": each.reads, "bits": each.cells, "state": self.state(each),
                "chance_wrong": tail(each.reads, each.less), "wrong_at_rate": wrong_at(each.reads, each.less),
                "missed_at_rate": missed_at(each.reads, each.less, each.reads),
            }
            for each in self.counts
        ]  # fmt: skip

    def as_json(self) -> dict[str, object]:
        """The settlement under the documented JSON keys, every unstable bit among them."""
        votes = self.votes
        ranges = {name: [{"first": a, "last": b - 1} for a, b in getattr(self, name)] for name in ("once", "gaps")}
        return {
            "reads": self.of_reads(), "reads_counted": len(self.agreement.counted) if votes else 0,
            "raw_placed_at": self.given.moved_to,
            "first": votes.start if votes else None, "last": votes.stop - 1 if votes else None,
            "bytes": int(votes.known.sum()) if votes else 0,
            "settled": self.settled, "risk": self.risk, "risk_reached": self.risk_reached if votes else None,
            "risk_unstable": self.risk_unstable if votes else None, "risk_alike": self.risk_alike if votes else None,
            "fewest_reads": self.fewest, "reads_needed": self.reads_needed,
            "even_missed": missed_at(self.fewest, 1, 2) if votes else None,
            "unseen": self.unseen, "formula": FORMULA,
            "unstable_bits": self.unstable, "unstable_bytes": len(votes.places) if votes else 0,
            "undecided_bits": self.undecided, "tied_bits": self.number("tied"), "even_bits": len(self.never),
            "counts": self.of_counts(), "clusters": [cluster.as_json() for cluster in self.clusters],
            "unstable": self.entries() if votes else [], **ranges,
            "findings": [finding.as_json() for finding in self.findings],
        }  # fmt: skip


def settle(
    loaded: Iterable[Loaded], risk: float = RISK, same: Sequence[tuple[str, str]] = (), walk: Walk = plain
) -> Settlement:
    """Combine repeated reads of one chip, at least two; `risk` is the chance of a wrong bit that is allowed.

    `same` names files that were left out since they are the same as another. Raises InputError if there are fewer than
    two reads, OptionError for a chance that cannot be asked for.

    >>> from romwright.images.image import Image
    >>> reads = [Loaded(name, "raw", Image.from_bytes(bytes([byte]))) for name, byte in zip("abc", (0, 0, 1))]
    >>> found = settle(reads)
    >>> found.unstable, found.votes.settled.tolist(), found.risk_unstable, found.settled
    (1, [0], 0.5, False)
    """
    if not RISKS[0] <= risk <= RISKS[1]:
        raise OptionError(
            f"a chance of {risk:g} cannot be kept", where="--risk",
            expected=f"{RISKS[0]:g} to {RISKS[1]:g}: the chance that any bit of the settled image is wrong",
        )  # fmt: skip
    given = Reads.of(loaded)
    given.same[:0] = same
    if len(given.reads) < 2:
        twice = "; ".join(f"{file} is the same read as {of}" for file, of in given.same)
        raise InputError(
            "there is only one read" if given.reads else "there is no read",
            where=twice, expected="at least two reads of the same chip",
            help="read the chip again, best after taking it out and seating it anew, into a file of another name",
        )  # fmt: skip
    agreement = agree(given.reads, walk)
    asides = tuple(set_aside(agreement, walk))
    trusted = not any(each.loses for each in asides)
    return Settlement(given, agreement, asides, agreement.votes if trusted else None, risk)
