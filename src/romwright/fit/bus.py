"""Who drives the data bus in every cycle: fine, contention, open bus or wrong device; and what writes by accident."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from romwright.boards.model import NOBODY, expand
from romwright.findings import Code, Finding, Severity
from romwright.fit import tables
from romwright.fit.accesses import Access, Accesses, Span
from romwright.fit.mounted import Mounted, restate
from romwright.fit.nets import Nets
from romwright.fit.writes import WRITE

CPU = "CPU"
CONTENTION = Code(
    "bus-contention", Severity.FAULT, "no two devices drive one data line in any bus cycle",
    "Every byte read there is a mix of both, and the outputs strain against each other.",
)  # fmt: skip
OPEN_BUS = Code(
    "open-bus", Severity.FAULT, "the device that should answer a read drives the data bus", "The CPU reads noise."
)
WRONG_DEVICE = Code(
    "wrong-device", Severity.FAULT, "no other device answers in the place of the one that should",
    "The CPU reads the bytes of another device.",
)  # fmt: skip


class Outcome(StrEnum):
    """What becomes of the data bus."""

    FINE = "fine"
    CONTENTION = "contention"
    OPEN = "open bus"
    WRONG = "wrong device"


CODES = {Outcome.CONTENTION: CONTENTION, Outcome.OPEN: OPEN_BUS, Outcome.WRONG: WRONG_DEVICE}


@dataclass(frozen=True, slots=True)
class Driver:
    """A device on the data bus: where it surely drives, where it may, on which lines, and where it is written."""

    name: str
    sure: int
    may: int
    lines: frozenset[str]


@dataclass(frozen=True, slots=True)
class Case:
    """The states of one access in which the same devices drive: `drives`, against `expected`."""

    access: Access
    mask: int
    drives: tuple[str, ...]
    outcome: Outcome
    sure: bool
    names: tuple[str, ...]

    @property
    def witness(self) -> dict[str, str]:
        """The levels of one state: the lowest."""
        return next(tables.true_rows(self.names, self.mask))

    @property
    def address(self) -> int:
        """The lowest address of the witness in the span of the access."""
        return lowest_address(self.witness, self.access.span)

    def as_json(self) -> dict:
        """The case under the documented JSON keys."""
        digits = 4 if self.access.span[1] < 1 << 16 else 6
        first, last = (f"{end:0{digits}X}" for end in self.access.span)
        return {
            "name": self.access.cycle.name,
            "space": self.access.cycle.space,
            "range": f"{first}-{last}",
            "access": self.access.cycle.access,
            "expected": self.access.expected or (CPU if self.access.cycle.access == "write" else None),
            "drives": list(self.drives),
            "outcome": str(self.outcome),
            "sure": self.sure,
            "address": f"{self.address:0{digits}X}",
            "levels": self.witness,
        }


def lowest_address(levels: dict[str, str], span: Span) -> int:
    """Return the lowest address of a span whose lines have the levels named."""
    lines = {name: level for name, level in levels.items() if name[0] == "A" and name[1:].isdigit()}
    mask = sum(1 << int(name[1:]) for name in lines)
    wanted = sum(1 << int(name[1:]) for name, level in lines.items() if level == "H")
    first, last = span
    if first & mask == wanted:
        return first
    for bit in range(last.bit_length()):
        above = (first >> bit | 1) << bit
        if not first >> bit & 1 and (above & mask) >> bit == wanted >> bit:
            return above | wanted & ((1 << bit) - 1)
    raise ValueError(f"no address of {first:X}-{last:X} has those levels")


def list_drivers(nets: Nets, mounted: Mounted | None) -> list[Driver]:
    """List the board's devices, and the chip if there is one."""
    found = []
    for device in nets.wiring.board.devices:
        lines = {node: nets.level(node) for row in device.drives for node in row}
        sure = tables.matching(nets.whole, device.drives, lines)
        may = tables.matching(nets.whole, device.drives, tables.loosened(nets.whole, lines))
        found.append(Driver(device.name, sure, may, frozenset(expand(device.data) or nets.wiring.cpu.data_lines)))
    if mounted:
        found.append(Driver(mounted.socket.name, *mounted.driving, frozenset(mounted.data.values())))
    return found


def lanes_of(drivers: Iterable[Driver], data_lines: Sequence[str]) -> list[frozenset[str]]:
    """Group the data lines that the same devices share."""
    groups: dict[frozenset[str], set[str]] = {}
    for line in data_lines:
        groups.setdefault(frozenset(d.name for d in drivers if line in d.lines), set()).add(line)
    return [frozenset(lines) for lines in groups.values()]


def find_cases(accesses: Accesses, drivers: Sequence[Driver], known: Iterable[str]) -> Iterator[Case]:
    """Yield every access, cut up by who drives; `known` names the devices whose silence can be judged."""
    known = {*known, NOBODY}
    for lane in lanes_of(drivers, accesses.cpu.data_lines):
        here = [driver for driver in drivers if driver.lines & lane]
        answering = {driver.name for driver in here} | {NOBODY}
        for access in accesses.all:
            if not access.lines & lane or not access.mask:
                continue
            judged = access.expected in known & answering
            for mask, drives, sure in split(access.mask, here):
                outcome = judge(access, drives, sure, judged)
                everyone = ((CPU,) if access.cycle.access == "write" else ()) + tuple(d.name for d in drives)
                yield Case(access, mask, everyone, outcome, sure, accesses.names)


def split(mask: int, drivers: Sequence[Driver]) -> Iterator[tuple[int, tuple[Driver, ...], bool]]:
    """Cut a table of states by who may drive in them; the flag says whether all of these surely do."""
    pieces: list[tuple[int, tuple[Driver, ...], bool]] = [(mask, (), True)]
    for driver in drivers:
        cut = []
        for states, drives, sure in pieces:
            certain, maybe = states & driver.sure, states & driver.may & ~driver.sure
            cut += [(states & ~driver.may, drives, sure), (certain, (*drives, driver), sure)]
            cut.append((maybe, (*drives, driver), False))
        pieces = [piece for piece in cut if piece[0]]
    yield from pieces


def judge(access: Access, drives: Sequence[Driver], sure: bool, judged: bool) -> Outcome:
    """Say what becomes of the bus where these devices drive it."""
    if len(drives) + (access.cycle.access == "write") > 1:
        return Outcome.CONTENTION
    if not judged:
        return Outcome.FINE
    if access.expected == NOBODY:
        return Outcome.WRONG if drives else Outcome.FINE
    if not drives:
        return Outcome.OPEN
    return Outcome.WRONG if drives[0].name != access.expected else Outcome.FINE if sure else Outcome.OPEN


def bus_findings(cases: Iterable[Case], subject: str) -> Iterator[Finding]:
    """Yield one finding for each set of devices and outcome, with a witness."""
    groups: dict[tuple, list[Case]] = {}
    for case in cases:
        if case.outcome is not Outcome.FINE:
            expected = None if case.outcome is Outcome.CONTENTION else case.access.expected
            groups.setdefault((case.outcome, case.drives, expected), []).append(case)
    for (outcome, drives, expected), of in groups.items():
        may = "" if all(case.sure for case in of) else "may "
        who = " and ".join(drives)
        title = {
            Outcome.CONTENTION: f"{who} {may + 'drive' if may else 'drive'} the data bus together",
            Outcome.OPEN: f"{expected} {'may not answer' if may else 'does not answer'}",
            Outcome.WRONG: f"{who} {may + 'answer' if may else 'answers'} where {asked(expected)}",
        }[outcome]
        first = of[0]
        names = ", ".join(dict.fromkeys(case.access.name for case in of))
        seen = f"in {names}; for instance at {first.address:04X} with {restate(first.witness)}"
        do = "set the links so that the decoder's select reaches the pin that the chip selects on"
        yield Finding(CODES[outcome], title, seen, do if subject in (*drives, expected) else "check the board's file")


def asked(expected: str | None) -> str:
    """Say who should have answered."""
    return "nothing should" if expected == NOBODY else f"{expected} should"


def find_writes(accesses: Accesses, mounted: Mounted) -> Iterator[Finding]:
    """Yield a stop if a cycle writes the chip that no program means to write there."""
    own = mounted.socket.name
    hit = [a for a in accesses.all if a.mask & mounted.written and not (a.may_write and a.device == own)]
    if hit:
        first = hit[0]
        levels = next(tables.true_rows(accesses.names, first.mask & mounted.written))
        at = lowest_address(levels, first.span)
        strobes = [mounted.chip.by_function[name] for name in mounted.chip.strobes]
        where = mounted.places_of(strobes)
        names = ", ".join(a.name for a in hit)
        pins = " and ".join(str(pin.number) for pin in strobes)
        yield Finding(
            WRITE, f"the board writes the {mounted.chip.name}",
            f"in {names}; for instance at {at:04X} with {restate(levels)}. {where}",
            f"bend chip pin {pins} up and tie it to VCC; never leave it in the socket",
        )  # fmt: skip
