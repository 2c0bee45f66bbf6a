"""Who drives the data bus in every cycle: fine, contention, open bus or wrong device; and what writes by accident."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from enum import StrEnum

from msgspec import Struct

from romwright.boards.model import NOBODY
from romwright.findings import Code, Finding, Severity
from romwright.fit import tables
from romwright.fit.drive import in_words
from romwright.fit.onboard.accesses import Access, Accesses, group_lines
from romwright.fit.onboard.mounted import Mounted
from romwright.fit.onboard.nets import Nets
from romwright.images.words import listed

CPU = "CPU"
CONTENTION = Code(
    "bus-contention", Severity.FAULT, "no two devices drive one data line in any bus cycle",
    "Every byte read there is a mix of both, and the outputs strain against each other.",
    do="Set the links so that the decoder's select reaches the pin on which the chip selects, or wire it there. "
    "Leave the other chips on that bus alone: they are good.",
    example="U7 drives the data bus together with DRAM, U8 and U9",
)  # fmt: skip
WRITE_CONTENTION = Code(
    "write-contention", Severity.CAUTION, "nothing that is only read drives the data bus while the CPU writes there",
    "A ROM whose select heeds no read strobe fights with the CPU when a program writes to it. Boards were built so and "
    "worked, since programs do not write to ROM (common practice, no source).",
    do="See that no program writes to those addresses, or bring the read strobe to an enable of the chip.",
    example="U7 drives the data bus together with CPU",
)  # fmt: skip
NOT_MAPPED = Code(
    "not-mapped", Severity.CAUTION, "the board's map says where the chip is to answer",
    "Without it a chip on the wrong select looks as good as one on the right one.",
    do="Write into the board's file where the socket is to answer, under [[map]], and ask again.",
    example="the map of the board has no addresses for U7",
)  # fmt: skip
ACKNOWLEDGE = Code(
    "answers-acknowledge", Severity.CAUTION, "no memory drives the data bus in an interrupt acknowledge",
    "The CPU may take its byte for the vector, and a device that gives one fights with it; where interrupts need no "
    "vector from the bus, it does no harm.",
    do="Keep the chip's select off in the acknowledge, or see that no device on the board gives a vector and that "
    "none is needed.",
    example="U7 drives the data bus in an interrupt acknowledge",
)  # fmt: skip
OPEN_BUS = Code(
    "open-bus", Severity.FAULT, "the device that should answer a read drives the data bus", "The CPU reads noise.",
    do="Set the links so that the decoder's select reaches the pin on which the chip selects, or wire it there.",
    example="U7 does not answer",
)  # fmt: skip
WRONG_DEVICE = Code(
    "wrong-device", Severity.FAULT, "no other device answers in the place of the one that should",
    "The CPU reads the bytes of another device.",
    do="Set the links so that each select reaches its own chip, and look at which chip sits in which socket.",
    example="U8 answers where U7 should",
)  # fmt: skip


class Outcome(StrEnum):
    """What becomes of the data bus."""

    FINE = "fine"
    CONTENTION = "contention"
    OPEN = "open bus"
    WRONG = "wrong device"


CODES = {Outcome.CONTENTION: CONTENTION, Outcome.OPEN: OPEN_BUS, Outcome.WRONG: WRONG_DEVICE}


class Driver(Struct, frozen=True):
    """A device on the data bus: where it surely drives, where it may, on which lines, and where it is written."""

    name: str
    sure: int
    may: int
    lines: frozenset[str]


class Case(Struct, frozen=True):
    """The states of one access in which the same devices drive some data lines: `drives`, against `expected`."""

    access: Access
    lines: frozenset[str]
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
        return self.access.lowest(self.witness)

    def as_json(self) -> dict:
        """The case under the documented JSON keys."""
        return {
            "name": self.access.cycle.name,
            "space": self.access.cycle.space,
            "range": self.access.range,
            "lines": sorted(self.lines, key=lambda line: int(line[1:])),
            "access": self.access.cycle.access,
            "expected": self.access.expected or (CPU if self.access.cpu_drives else None),
            "drives": list(self.drives),
            "outcome": str(self.outcome),
            "sure": self.sure,
            "address": f"{self.address:0{self.access.space.digits}X}",
            "levels": self.witness,
        }


def list_drivers(nets: Nets, mounted: Mounted | None) -> list[Driver]:
    """List the board's devices, and the chip with those in the other sockets if there is one."""
    found = []
    for device in nets.wiring.board.devices:
        lines = {node: nets.level(node) for row in device.drives for node in row}
        sure = tables.matching(nets.whole, device.drives, lines)
        may = tables.matching(nets.whole, device.drives, tables.loosened(nets.whole, lines))
        found.append(Driver(device.name, sure, may, nets.wiring.data_lines[device.name]))
    for name, chip in mounted.everyone.items() if mounted else ():
        found.append(Driver(name, *chip.driving, frozenset(chip.data.values())))
    return found


def find_cases(accesses: Accesses, drivers: Sequence[Driver], known: Iterable[str]) -> Iterator[Case]:
    """Yield every access, cut up by who drives; `known` names the devices whose silence can be judged."""
    known = {*known, NOBODY}
    for lane in group_lines(accesses.cpu.data_lines, {driver.name: driver.lines for driver in drivers}):
        here = [driver for driver in drivers if driver.lines & lane]
        for access in accesses.all:
            if not access.lines & lane or not access.mask:
                continue
            for mask, drives, sure in split(access.mask, here):
                outcome = judge(access, drives, sure, access.expected in known)
                everyone = ((CPU,) if access.cpu_drives else ()) + tuple(d.name for d in drives)
                yield Case(access, access.lines & lane, mask, everyone, outcome, sure, accesses.names)


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
    if len(drives) + access.cpu_drives > 1:
        return Outcome.CONTENTION
    if not judged:
        return Outcome.FINE
    if access.expected == NOBODY:
        return Outcome.WRONG if drives else Outcome.FINE
    if not drives:
        return Outcome.OPEN
    return Outcome.WRONG if drives[0].name != access.expected else Outcome.FINE if sure else Outcome.OPEN


def bus_findings(cases: Iterable[Case], mounted: Mounted) -> Iterator[Finding]:
    """Yield one finding for each outcome that is not fine and each device it is about, with a witness."""
    groups: dict[tuple[Code, str | tuple[str, ...], str | None], list[Case]] = {}
    chips = mounted.everyone
    for case in cases:
        if case.outcome is not Outcome.FINE:
            expected = case.access.expected if case.outcome is not Outcome.CONTENTION else None
            for about in subjects(case, chips):
                groups.setdefault((code_of(case), about, expected), []).append(case)
    order = {name: number for number, name in enumerate(chips)}
    for (code, about, expected), of in sorted(groups.items(), key=lambda group: order.get(group[0][1], 0)):
        title = title_of(of, about, expected)
        chip = next((chips[name] for name in (about, expected) if name in chips), None)
        do = remedy(chip, mounted) if chip else "nothing that this chip does: check the board's file"
        if chip and all(CPU in case.drives for case in of):
            do = f"bring the read strobe to an enable of the chip{place_of(chip, mounted)}"
            if all(case.access.cycle.drives for case in of):
                do += "; if a buffer keeps the CPU's lines from it then, write buffered = true in the board's file"
        if code is WRITE_CONTENTION:
            do = "see that no program writes there, or bring the read strobe to an enable"
        first = of[0]
        seen = f"in {spans(of)}; for instance at {first.access.at(first.witness)} with {in_words(first.witness)}"
        if about in chips:
            when = chips[about].drives.words
            seen = f"{about} drives {when if when == 'always' else f'at {when}'}: {seen}"
        yield Finding(code, title, seen, do)


def bus_codes(cases: Iterable[Case], chips: Iterable[str]) -> Iterator[Code]:
    """Yield the codes of what `bus_findings` and `acknowledge_findings` find."""
    for case in cases:
        if case.outcome is not Outcome.FINE:
            yield code_of(case)
        if case.access.cycle.space == "acknowledge" and any(name in case.drives for name in chips):
            yield ACKNOWLEDGE


def acknowledge_findings(cases: Iterable[Case], mounted: Mounted) -> Iterator[Finding]:
    """Yield a caution for each chip that drives the data bus in an interrupt acknowledge."""
    for name in mounted.everyone:
        of = [case for case in cases if case.access.cycle.space == "acknowledge" and name in case.drives]
        if of:
            who = f"{name} {'drives' if all(case.sure for case in of) else 'may drive'} the data bus"
            seen = f"for instance at {of[0].access.at(of[0].witness)} with {in_words(of[0].witness)}"
            do = "keep its select off then, or see that no device on the board gives a vector"
            yield Finding(ACKNOWLEDGE, f"{who} in an interrupt acknowledge", seen, do)


def code_of(case: Case) -> Code:
    """Return what is wrong with a case that is not fine."""
    access, driving = case.access, [name for name in case.drives if name != CPU]
    alone = case.outcome is Outcome.CONTENTION and access.cycle.access == "write" and len(driving) == 1
    only_read = access.device in (None, *driving) and not (access.device and access.may_write)
    return WRITE_CONTENTION if alone and only_read else CODES[case.outcome]


def subjects(case: Case, chips: Iterable[str]) -> list[str | tuple[str, ...]]:
    """List the chips that a case is about: those that drive unasked, else the one that should; else all that drive."""
    driving = [name for name in chips if name in case.drives]
    unasked = [name for name in driving if name != case.access.expected]
    return unasked or driving or [case.drives]


def title_of(of: Sequence[Case], subject: str | tuple[str, ...], expected: str | None) -> str:
    """Say in one line what becomes of the bus in cases of one outcome."""
    sure, outcome = all(case.sure for case in of), of[0].outcome
    others = list(dict.fromkeys(name for case in of for name in case.drives if name != subject))
    others.sort(key=lambda name: name == CPU)
    if outcome is Outcome.CONTENTION:
        who = f"{subject} drives" if any(subject in case.drives for case in of) else f"{others.pop(0)} drives"
        who = who if sure else who.replace("drives", "may drive")
        return f"{who} the data bus together with {listed(others)}"
    if outcome is Outcome.OPEN:
        return f"{expected} {'does not' if sure or not of[0].drives else 'may not'} answer"
    where = "nothing should" if expected == NOBODY else f"{expected} should"
    who = listed(list(dict.fromkeys(name for case in of for name in case.drives)))
    return f"{who} {'answers' if sure else 'may answer'} where {where}"


def spans(cases: Iterable[Case]) -> str:
    """Write accesses by their cycles: `opcode fetch and memory read of 0000-3FFF, 8000-9FFF`."""
    cycles: dict[str, list[str]] = {}
    for case in cases:
        cycles.setdefault(case.access.range, []).append(case.access.cycle.name)
    ranges: dict[str, list[str]] = {}
    for span, names in cycles.items():
        ranges.setdefault(listed(list(dict.fromkeys(names))), []).append(span)
    return "; ".join(f"{names} of {listed(where)}" for names, where in ranges.items())


def remedy(mounted: Mounted, subject: Mounted) -> str:
    """Say what takes a chip off the bus, or onto it."""
    chip, where = mounted.chip, place_of(mounted, subject)
    if not chip.select:
        return f"set the links so that the decoder's select gates the outputs of the chip{where}"
    pin = f"chip pin {chip.by_function[chip.select].number} ({chip.select}){where}"
    return f"set the links so that the decoder's select reaches {pin}, or wire it there"


def place_of(mounted: Mounted, subject: Mounted) -> str:
    """Name the socket of a chip, unless it is the one that is asked about."""
    return "" if mounted is subject else f" in {mounted.socket.name}"


def check_map(mounted: Mounted) -> Iterator[Finding]:
    """Say so if the map has nothing for the socket: then no read can be judged."""
    name = mounted.socket.name
    if not any(access.device == name for access in mounted.accesses.all):
        title = f"the map of the board has no addresses for {name}"
        do = f"say in the board's file where {name} is to answer: [[map]]"
        yield Finding(NOT_MAPPED, title, "whether it answers, and where it may, is not judged", do)
