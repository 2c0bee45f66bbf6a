"""What writes the chip in a board's socket although no program means to: a bus cycle, or power coming up."""

from __future__ import annotations

from collections.abc import Iterator

from romwright.findings import Finding
from romwright.fit import tables
from romwright.fit.drive import in_words
from romwright.fit.onboard.mounted import Mounted
from romwright.fit.onboard.power_up import at_power_up
from romwright.fit.writes import WRITE
from romwright.images.words import listed


def find_writes(mounted: Mounted) -> Iterator[Finding]:
    """Yield a stop if a cycle writes the chip that no program means to write there, or power coming up may."""
    accesses, own, lines = mounted.accesses, mounted.socket.name, frozenset(mounted.data.values())
    hit = [a for a in accesses.all if a.mask & mounted.written and not (a.may_write and a.device == own)]
    hit = [a for a in hit if a.lines & lines or not lines]
    if hit:
        first = hit[0]
        levels = next(tables.true_rows(accesses.names, first.mask & mounted.written))
        strobes = [mounted.chip.by_function[name] for name in mounted.chip.strobes]
        where, when = mounted.places_of(strobes), listed(list(dict.fromkeys(access.name for access in hit)))
        pins = " and ".join(str(pin.number) for pin in strobes)
        yield Finding(
            WRITE, f"the board writes the {mounted.chip.name}",
            f"in {when}; for instance at {first.at(levels)} with {in_words(levels)}. {where}",
            f"bend chip pin {pins} up and tie it to VCC; never leave it in the socket",
        )  # fmt: skip
    elif mounted.exposed and not mounted.chip.volatile:
        yield at_power_up(mounted, any(a.may_write and a.device == own for a in accesses.all))
