"""A damaged dump and its reference: which bytes of the dump must change, and whether that may be called a repair."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property

import numpy as np
from msgspec import Struct

from romwright.faults.causes import FEWEST, VERSION
from romwright.faults.comparison import Comparison
from romwright.faults.diagnosis import BLANK, NO_REFERENCE, UNEXPLAINED
from romwright.faults.lines import Line
from romwright.findings import Code, Finding, Severity
from romwright.images.words import in_bytes

RESTORES = Code(
    "restores-reference", Severity.CAUTION, "what replaces the bytes of a damaged dump was read from the same chip",
    "With a reference the changed bytes are the reference's: nothing shows that this very chip ever held them.",
    do="Make sure that the reference is the version that this board needs, before you burn it.",
    example="the reference's contents are restored, not this chip's own",
)  # fmt: skip
NO_REPAIR = Code(
    "not-a-repair", Severity.FAULT, "a dump is so much like its reference that to change the rest is a repair",
    "Where bytes are altogether different the dump may be another version, good as it is: to change them would destroy "
    "the only copy.",
    do="Read the chip again. If it reads the same, keep this dump as it is and ask romwright identify; if you want "
    "the reference in the chip, burn the reference.",
    example="this is not called a repair: the dump may be another version or another ROM, or no read at all",
)  # fmt: skip
UNREAD = Code(
    "not-in-the-dump", Severity.CAUTION, "every byte of a reference was read in the dump",
    "Of what was never read, nothing in the dump says which version it is.",
    do="Put the lines right and read again, before you trust that it is the same version.",
    example="4,096 bytes of the reference are nowhere in the dump",
)  # fmt: skip

ANOTHER = {VERSION, UNEXPLAINED, BLANK, NO_REFERENCE}  # findings of compare with which it may be another ROM
MIXED = 0.25  # share of wrong bytes in which bits went both ways, from which they were written so


class Change(Struct, frozen=True):
    """One byte of the dump: where, what it reads, what it must become, and where the reference has that."""

    address: int
    reads: int
    becomes: int
    reference: int | None


class Restoration(Struct, frozen=True, dict=True):
    """What makes a dump its reference, seen through the lines that compare finds.

    Addresses are the files' own: `start` is the dump's first, `start_reference` the reference's.
    """

    comparison: Comparison
    start: int
    start_reference: int

    @property
    def straight(self) -> bool:
        """Whether every line that the read needed follows its own: each byte stands where it belongs."""
        lines = self.comparison.best.lines
        read = (*enumerate(lines.address[: self.comparison.reader_lines]), *enumerate(lines.data))
        return not lines.start and all(line == Line.follows(number) for number, line in read)

    @cached_property
    def cells(self) -> np.ndarray:
        """Where the reference has each byte of the dump, from its first; -1 for what lies past its end."""
        numbers = np.arange(len(self.comparison.filled))
        lines = self.comparison.best.lines
        found = lines.cells(numbers, len(self.comparison.dump))
        if lines.beyond is not None:
            wanted = np.arange(len(found)) + lines.start
            found = np.where((wanted >= 0) & (wanted < len(numbers)), found, -1)
        return np.where(found < len(self.comparison.reference), found, -1)

    def changes(self) -> Iterator[Change]:
        """Yield the bytes that are wrong beside the lines, in order of address."""
        residue, first = self.comparison.residue, self.start + self.comparison.extra.before
        for at in residue.addresses.tolist():
            cell = int(self.cells[at])
            where = None if cell < 0 else cell + self.start_reference
            yield Change(first + at, int(residue.dump[at]), int(residue.expected[at]), where)

    @cached_property
    def unread(self) -> int:
        """How many bytes of the reference are nowhere in the dump, regions of one wrong value not counted as read."""
        told = np.ones(len(self.cells), bool) if self.comparison.known is None else self.comparison.known.copy()
        wrong = self.comparison.residue.addresses
        told[wrong[self.comparison.residue.dead(wrong)]] = False
        seen = np.zeros(len(self.comparison.reference), bool)
        seen[self.cells[told & (self.cells >= 0)]] = True
        return int((~seen).sum())

    @cached_property
    def mixed(self) -> int:
        """In how many wrong bytes, outside regions of one value, bits went both ways."""
        rest = self.comparison.residue.rest
        held = rest.held[rest.addresses]
        return int(((rest.changed & held != 0) & (rest.changed & ~held != 0)).sum())

    @cached_property
    def refusal(self) -> Finding | None:
        """Why this is not called a repair; None if it is one."""
        wrong = len(self.comparison.residue.rest.addresses)
        why = next((each.title for each in self.comparison.findings if each.code in ANOTHER), None)
        if not why and self.mixed >= FEWEST and self.mixed >= MIXED * wrong:
            why = f"in {self.mixed:,} of {in_bytes(wrong)} that are wrong, bits went both ways"
        size = len(self.comparison.reference)
        if not why and 2 * self.unread > size:
            why = f"only {size - self.unread:,} of {in_bytes(size)} of the reference are in the dump"
        return why and Finding(
            NO_REPAIR, "this is not called a repair: the dump may be another version or another ROM, or no read at all",
            why,
            "read the chip again: if it reads the same, keep this dump as it is; romwright identify may know it. If "
            "you want the reference in the chip, burn the reference",
        )  # fmt: skip

    @cached_property
    def findings(self) -> tuple[Finding, ...]:
        """What must be known before the changed bytes are burnt."""
        if self.comparison.identical:
            return ()
        if self.refusal:
            return (self.refusal,)
        found = [Finding(
            RESTORES, "the reference's contents are restored, not this chip's own",
            "the changes are the reference's bytes; that this chip held them before follows only from how well the rest"
            " agrees", "make sure that the reference is the version that this board needs",
        )]  # fmt: skip
        if self.unread:
            found.append(Finding(
                UNREAD, f"{in_bytes(self.unread)} of the reference are nowhere in the dump",
                "the dump is shorter, or lines that are stuck or joined hid them, or a region reads one value",
                "put the lines right and read again before you trust that it is the same version",
            ))  # fmt: skip
        return tuple(found)
