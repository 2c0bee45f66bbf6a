"""Bits that repeated reads do not agree on: where they lie, which reads or kinds of read they are from, and why."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property

from msgspec import Struct

from romwright.faults.causes import MOSTLY, RESEAT, UNSOURCED, in_bits, in_words
from romwright.faults.repeats.agreement import Agreement
from romwright.faults.repeats.unsettled import named
from romwright.faults.repeats.votes import Votes
from romwright.faults.residue import FEWEST, ONE_WAY, Cluster, Residue
from romwright.findings import Code, Finding, Severity
from romwright.images.words import in_bytes

UNSTABLE = Code(
    "unstable-bits", Severity.CAUTION, "every bit of a chip is read alike each time",
    "A bit that is read now so, now so is weak, or was read at the limit; a single read hides it.",
    do="Read the chip again, seated anew, slower and at a lower supply too (4.5 V), and give all reads to romwright "
    "settle (reasoning, no source).",
    example="3 bits were not read alike in all 5 reads",
)  # fmt: skip
TOGETHER = 8  # unstable bits that go together, from which it is no chance: with four reads one in seven does
CHARGE = (
    "charge leaks one way, so if it is an EPROM that loses charge such a bit was programmed 0, whatever the majority "
    f"says: read at a lower supply too (4.5 V) and compare {UNSOURCED}"
)


class Unstable(Residue):
    """Bits of which it is not known which way they went wrong."""

    way = ""


class Wobble(Struct, frozen=True, eq=False, dict=True):
    """Where the unstable bits of some reads lie, and which reads they come from."""

    votes: Votes
    agreement: Agreement

    @property
    def bits(self) -> int:
        """How many bits are unstable."""
        return len(self.votes.at)

    @cached_property
    def strays(self) -> tuple[int, int]:
        """How many unstable bits are mostly 0, and how many mostly 1; ties are neither."""
        zeros, ones = self.votes.zeros, self.votes.ones
        return int((zeros > ones).sum()), int((ones > zeros).sum())

    @cached_property
    def clusters(self) -> list[Cluster]:
        """Where unstable bits lie together, the surest of each kind; they are weighed like wrong bits of a dump."""
        settled = self.votes.settled
        kind = Residue if sum(self.strays) >= ONE_WAY * self.bits else Unstable
        return kind(settled, settled ^ self.votes.mask).clusters()

    @cached_property
    def doubtful_line(self) -> tuple[int, int]:
        """The address line whose other level explains most bytes that any read has otherwise, and how many."""
        votes, seen, places = self.votes, self.votes.settled.copy(), self.votes.places
        for read in reversed(self.agreement.counted):
            data, known = read.over(votes.start, votes.stop)
            other = data[places] != votes.settled[places]
            at = places[other if known is None else other & known[places]]
            seen[at] = data[at]
        return Residue(votes.settled, seen).doubtful_line

    @cached_property
    def worst(self) -> tuple[str, int, int]:
        """The read with most bits against the majority, how many, and how many all reads have."""
        bits = self.agreement.stray
        at = max(range(len(bits)), key=lambda n: bits[n])
        return self.agreement.counted[at].file, bits[at], sum(bits)

    @property
    def alone(self) -> bool:
        """Whether most of what differs comes from one read of several."""
        _, bits, of = self.worst
        return len(self.agreement.counted) > 2 and bits >= FEWEST and bits >= MOSTLY * of

    @cached_property
    def kinds(self) -> tuple[tuple[str, ...], ...]:
        """Files of two kinds of read, each alike in itself, two of each at least; empty if cells vary by themselves."""
        votes, kinds = self.votes, {}
        if self.bits < TOGETHER or votes.times[votes.places].min() < len(self.agreement.counted):
            return ()
        for read in self.agreement.counted:
            data, _ = read.over(votes.start, votes.stop)
            kinds.setdefault(data[votes.places].tobytes(), []).append(read.file)
            if len(kinds) > 2:
                return ()
        return tuple(map(tuple, kinds.values())) if min(map(len, kinds.values())) > 1 else ()

    def evidence(self) -> Iterator[str]:
        """Say where they lie, which way they stray, and in which read."""
        up, down = self.strays
        places = "; ".join(map(in_words, self.clusters[:3]))
        yield f"in {in_bytes(len(self.votes.places))}" + (f": {places}" if places else ", scattered")
        yield f"{up:,} mostly 0, {down:,} mostly 1" + f", {self.bits - up - down:,} as often" * (self.bits > up + down)
        if self.alone:
            file, bits, of = self.worst
            yield f"{bits:,} of the {of:,} stray bits of all reads are in {file} alone"
        if self.kinds:
            yield "two kinds of read, each alike in itself: " + " against ".join(map(named, self.kinds))

    def finding(self) -> Finding:
        """Say how many bits are unstable, where, and what that suggests."""
        verb = "was" if self.bits == 1 else "were"
        title = f"{in_bits(self.bits)} {verb} not read alike in all {len(self.agreement.counted)} reads"
        return Finding(UNSTABLE, title, "; ".join(self.evidence()), self.suggestion())

    def suggestion(self) -> str:
        """Say what the unstable bits suggest, and what to do."""
        if self.kinds:
            return (
                "cells that waver do so each by itself, not all together: these may be reads of two chips or versions, "
                f"or a contact changed between them; find out which kind is right, and leave the other out {UNSOURCED}"
            )
        line, times = self.doubtful_line
        clusters = {each.kind: each for each in self.clusters}
        data, address = clusters.get("data bit"), clusters.get("address line")
        place = next((clusters[kind] for kind in ("page", "row", "column") if kind in clusters), None)
        if times >= max(FEWEST, MOSTLY * len(self.votes.places)):
            return f"A{line} makes contact only now and then: stray bytes are those at its other level; {RESEAT}"
        if data and data.wrong >= ONE_WAY * self.bits:
            return (
                f"{data.detail} makes contact only now and then, or its level is at the limit: {RESEAT}; if it stays, "
                f"read slower and look at the level of {data.detail} with a scope {UNSOURCED}"
            )
        if self.alone:
            file = self.worst[0]
            return f"something disturbed the read {file} (supply, contact, speed): leave it out and read once more"
        if place and 2 * place.wrong > place.of:
            return f"weak cells lie together: that part of the chip fails, or was programmed weakly; {CHARGE}"
        if address and address.wrong >= ONE_WAY * address.of:
            return f"look at the contact and the level of {address.detail.split()[0]}; {RESEAT} {UNSOURCED}"
        up, down = self.strays
        if self.bits < FEWEST:
            return f"so few bits prove no cause: read again; {CHARGE}"
        if max(up, down) >= ONE_WAY * self.bits:
            return f"all stray one way, as weak cells or a supply at the limit make them; {CHARGE}"
        return "they stray both ways, as reads at the limit do: read slower, and at 4.5, 5.0 and 5.5 V; " + CHARGE
