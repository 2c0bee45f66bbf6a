"""What could not be done, and why: one tree of exceptions.

    RomwrightError
    ├── InputError            a file that cannot be read as what it should be
    │   ├── FormatError       a record of a hex file is wrong
    │   ├── OverlapError      two sources give different bytes for one address
    │   ├── SpanError         the addresses lie further apart than an image may span
    │   └── PlanFileError     a plan file is malformed, or a page has changed since (all faults at once)
    ├── GapError              bytes were asked for at addresses that nothing defines
    ├── NotFittingError       an image is larger than the place it must go to
    ├── LostLineError         a line of the socket reaches no pin of the chip, so two words would need one cell
    ├── NotSolvableError      no bytes at that place give the sum that was asked for
    ├── UnknownNameError      no part, list, checksum, ... of that name
    ├── SeveralMeaningsError  a marking that more than one part bears
    ├── OptionError           options that contradict each other or make no sense here
    ├── DataFileError         a shipped or user data file breaks its rules (all faults at once)
    └── OutputError           an output exists already or could not be written

Each carries `found`, `where`, `expected` and `help` as attributes; the command line prints
those four and exits with status 2.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping, Sequence


class RomwrightError(Exception):
    """Something could not be done; the four fields say what, where, what was expected, and the way out."""

    def __init__(self, found: str, *, where: str = "", expected: str = "", help: str = "") -> None:
        super().__init__(found)
        self.found = found
        self.where = where
        self.expected = expected
        self.help = help

    def __str__(self) -> str:
        parts = [self.found]
        parts += [f"{name}: {value}" for name in ("where", "expected", "help") if (value := getattr(self, name))]
        return "\n  ".join(parts)


class InputError(RomwrightError):
    """A file that cannot be read as what it should be."""


class FormatError(InputError):
    """A record of a hex file is wrong; `line` and `record` count from 1."""

    def __init__(
        self, found: str, *, line: int, record: int, file: str = "", expected: str = "", help: str = ""
    ) -> None:
        super().__init__(found, expected=expected, help=help)
        self.line = line
        self.record = record
        self.in_file(file)

    def in_file(self, file: str) -> FormatError:
        """Name the file, once the reader that knows it sees the error."""
        self.file = file
        self.where = ", ".join(filter(None, [file, f"line {self.line}", f"record {self.record}"]))
        return self


class OverlapError(InputError):
    """Two sources give different bytes for one address."""

    def __init__(self, address: int, first: int, second: int, *, where: str = "", help: str = "") -> None:
        super().__init__(
            f"address {address:04X} is given twice with different bytes: {first:02X}, then {second:02X}",
            where=where,
            expected="one value for each address",
            help=help or "find out which of the two is meant and remove the other",
        )
        self.address = address
        self.values = (first, second)


class SpanError(InputError):
    """The addresses lie further apart than an image may span."""

    def __init__(self, start: int, stop: int, limit: int, *, where: str = "") -> None:
        super().__init__(
            f"the addresses span {stop - start:,} bytes, from {start:X} to {stop - 1:X}",
            where=where,
            expected=f"a span of at most {limit:,} bytes ({limit >> 20} MiB)",
            help="a stray record far away from the others usually has a wrong base record before it",
        )
        self.start, self.stop, self.limit = start, stop, limit


class PlanFileError(InputError):
    """A plan file is malformed, or a page has changed since; `faults` has one line for each."""

    def __init__(self, file: str, faults: Sequence[str]) -> None:
        super().__init__(listed(faults), where=file, help="romwright wire FROM TO --plan FILE writes a plan anew")
        self.file, self.faults = file, tuple(faults)


class GapError(RomwrightError):
    """Bytes were asked for at addresses that nothing defines."""

    def __init__(self, gaps: Sequence[tuple[int, int]]) -> None:
        first, stop = gaps[0]
        missing = sum(b - a for a, b in gaps)
        super().__init__(
            f"{missing:,} bytes in {len(gaps)} gap{'s' if len(gaps) > 1 else ''} are not defined",
            where=f"the first gap is {first:04X}-{stop - 1:04X}",
            expected="a byte at every address",
            help="choose what fills the gaps, for instance --fill FF (an erased EPROM)",
        )
        self.gaps = tuple(gaps)


class NotFittingError(RomwrightError):
    """An image is larger than the place it must go to; both sizes in bytes."""

    def __init__(self, size_bytes: int, room_bytes: int, *, what: str, size: str, place: str, help: str = "") -> None:
        super().__init__(
            f"{what} has {size}",
            expected=f"at most {room_bytes:,} bytes, the size of {place}",
            help=help,
        )
        self.size_bytes, self.room_bytes = size_bytes, room_bytes


class LostLineError(RomwrightError):
    """A line of the socket reaches no pin of the chip, so that two words of the contents would need one cell."""

    def __init__(self, line: str, found: str) -> None:
        super().__init__(
            found, expected="every line of the original on a pin of its own",
            help="bring the line to a pin of its own, or take a chip that has one for it",
        )  # fmt: skip
        self.line = line


class NotSolvableError(RomwrightError):
    """No bytes at that place give the sum that was asked for."""


class UnknownNameError(RomwrightError):
    """No such name; near names are offered."""

    def __init__(self, kind: str, name: str, known: Iterable[str], *, where: str = "") -> None:
        known = list(known)
        folded = {k.casefold(): k for k in known}
        near = [folded[n] for n in difflib.get_close_matches(name.casefold(), folded, n=4, cutoff=0.6)]
        super().__init__(
            f"there is no {kind} named {name!r}",
            where=where,
            expected=f"one of the {len(known)} known names" if len(known) > 60 else "one of: " + ", ".join(known),
            help=f"did you mean {' or '.join(near)}?" if near else "",
        )
        self.kind, self.name, self.near = kind, name, tuple(near)


class SeveralMeaningsError(RomwrightError):
    """A marking that more than one part bears; `meanings` says for each how to tell it."""

    def __init__(self, marking: str, meanings: Mapping[str, str]) -> None:
        super().__init__(
            f"the marking {marking!r} has {len(meanings)} meanings",
            expected="\n".join(["one of these parts", *(f"    {part}: {tell}" for part, tell in meanings.items())]),
            help="look at the chip and the board, then give the name of the part",
        )
        self.marking, self.meanings = marking, dict(meanings)


class OptionError(RomwrightError):
    """Options that contradict each other or make no sense here."""


class DataFileError(RomwrightError):
    """A data file breaks its rules; `faults` has one line for each, with the key it is about."""

    def __init__(self, file: str, faults: Sequence[str]) -> None:
        super().__init__(listed(faults), where=file, help="pinmaps/README.md describes every key")
        self.file, self.faults = file, tuple(faults)


def listed(faults: Sequence[str]) -> str:
    """Write faults below each other; one stands alone."""
    return faults[0] if len(faults) == 1 else f"{len(faults)} faults:\n" + "\n".join(f"    - {f}" for f in faults)


class OutputError(RomwrightError):
    """An output exists already or could not be written; nothing was lost."""
