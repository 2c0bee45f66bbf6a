"""What a contention looks like at the bench: which data bits of the other memory ever read wrong, and how often."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from enum import StrEnum

from romwright.boards.model import Device
from romwright.errors import OptionError
from romwright.fit import tables
from romwright.fit.bus import Case, Outcome
from romwright.fit.mounted import Mounted
from romwright.parts.model import Part, Role


class Law(StrEnum):
    """Which level is read where two outputs are at opposite levels."""

    LOW = "low wins"
    HIGH = "high wins"
    UNKNOWN = "unknown"


SAID_OF = {
    Law.LOW: "a model: with NMOS and TTL outputs a low usually wins (common practice, no source)",
    Law.HIGH: "a model, chosen by you: a high wins",
    Law.UNKNOWN: "no model: where the two differ, either level may be read",
}


@dataclass(slots=True)
class Symptom:
    """A device whose reads come back wrong: for each data line at how many addresses it can, of how many.

    `by` is the chip that spoils them; `known` is false where nobody has said what that chip holds. `chips` has the
    device's own chips by their data lines.
    """

    device: Device
    law: Law
    by: str
    known: bool = True
    chips: dict[str, str] = field(default_factory=dict)
    addresses: int = 0
    spans: list[str] = field(default_factory=list)
    wrong: dict[str, int] = field(default_factory=dict)

    @property
    def lines(self) -> list[str]:
        """The data lines that ever read wrong, lowest first."""
        return [line for line, count in self.wrong.items() if count]

    @property
    def words(self) -> str:
        """What a technician sees."""
        where, what = " and ".join(self.spans), f"{self.device.name} ({self.device.title})"
        if not self.lines:
            return f"reads of {where} come back right all the same"
        doubt, sure = "", self.known and self.law is not Law.UNKNOWN
        if not self.known:
            doubt = f" (nobody has said what {self.by} holds)"
        if self.device.kind != "RAM":
            wrong = "are wrong" if sure else "may be wrong"
            return f"reads of {what} at {where} {wrong} in {run_of(self.lines)}{doubt}"
        bad, of = [self.chips[line] for line in self.lines if line in self.chips], len(self.chips)
        run = f"{bad[0]}-{bad[-1]}" if len(bad) == of > 2 else ", ".join(bad) or f"{run_of(self.lines)} of {what}"
        every = f"all {NUMBERS.get(of, of)} chips " if len(bad) == of > 1 else ""
        them, report = "them" if len(bad) > 1 else "it", "would report" if sure else "may report"
        return f"a RAM test of {where} {report} {every}{run} bad; nothing is wrong with {them}{doubt}"

    def as_json(self) -> dict:
        """The symptom under the documented JSON keys."""
        return {
            "device": self.device.name,
            "by": self.by,
            "known": self.known,
            "ranges": self.spans,
            "law": str(self.law),
            "said_of_law": SAID_OF[self.law],
            "addresses": self.addresses,
            "lines": self.lines,
            "wrong": self.wrong,
            "words": self.words,
        }


def run_of(lines: Sequence[str]) -> str:
    """List data lines, as a run where they are one: `D0-D7`."""
    numbers = [int(line[1:]) for line in lines]
    if len(lines) > 2 and numbers == list(range(numbers[0], numbers[-1] + 1)):
        return f"{lines[0]}-{lines[-1]}"
    return ", ".join(lines)


def predict(case: Case, law: Law, symptoms: Sequence[Symptom]) -> dict | None:
    """Return what is read in a contention, under the documented JSON keys; None where nothing is read."""
    if case.outcome is not Outcome.CONTENTION or case.access.cycle.access != "read":
        return None
    read = {Law.LOW: " AND ", Law.HIGH: " OR "}.get(law)
    answer = {"law": str(law), "said_of_law": SAID_OF[law], "read": read.join(case.drives) if read else None}
    of = [each for each in symptoms if each.device.name == case.access.expected and each.by in case.drives]
    return answer | ({"lines": of[0].lines, "wrong": of[0].wrong, "words": of[0].words} if of else {})


NUMBERS = {2: "two", 4: "four", 8: "eight"}


def contents_of(data: bytes, chip: Part) -> bytes:
    """Return what every cell of a chip of up to eight bits holds: the data, repeated over the chip.

    Raises OptionError if it does not go into the chip a whole number of times, or if the chip's words are wider.
    """
    if chip.bits > 8:
        raise OptionError(
            f"a {chip.name} holds words of {chip.bits} bits",
            where="--image", expected="a chip of eight bits: which byte of a word is on which lines is not known here",
            help="leave --image out: who drives the bus does not depend on it",
        )  # fmt: skip
    words = chip.words
    if not data or words % len(data):
        raise OptionError(
            f"{len(data):,} bytes do not fill a {chip.name} a whole number of times",
            where="--image", expected=f"the {words:,} bytes of the chip, or a half, a quarter, ... that is repeated",
        )  # fmt: skip
    return data * (words // len(data))


def find_symptoms(mounted: Mounted, cases: Sequence[Case], contents: bytes, law: Law) -> list[Symptom]:
    """Return for each device that a chip fights with in reads what its reads look like.

    `contents` are those of the chip that is asked about; of one in another socket they are not known.
    """
    found: dict[tuple[str, str], Symptom] = {}
    devices = victims(mounted)
    spoils = [spoilt_bits(byte, law) for byte in range(256)]
    seen: dict[tuple[str, str], dict[int, int]] = {}
    for case in cases:
        name = case.access.expected
        by = next((each for each in mounted.everyone if each in case.drives and each != name), None)
        if case.outcome is not Outcome.CONTENTION or not by or name not in devices or name not in case.drives:
            continue
        chip, known = mounted.everyone[by], by == mounted.socket.name
        if (name, by) not in found:
            lines = sorted(mounted.nets.wiring.data_lines[name], key=mounted.cpu.data_lines.index)
            chips = dict(zip(lines, devices[name].chips.split()))
            own = dict.fromkeys((line for line in lines if line in chip.data.values()), 0)
            found[name, by] = Symptom(devices[name], law, by, known, chips, wrong=own)
        symptom, spoilt = found[name, by], seen.setdefault((name, by), {})
        if case.access.range not in symptom.spans:
            symptom.spans.append(case.access.range)
        shared = sum(1 << int(function[1:]) for function, line in chip.data.items() if line in case.lines)
        for address, cell in cells_of(chip, case):
            spoilt[address] = spoilt.get(address, 0) | shared & (spoils[contents[cell]] if known else 0xFF)
    for pair, symptom in found.items():
        symptom.addresses = len(seen[pair])
        count = Counter(seen[pair].values())
        bits = {line: int(function[1:]) for function, line in mounted.everyone[symptom.by].data.items()}
        for line in symptom.wrong:
            symptom.wrong[line] = sum(n for spoilt, n in count.items() if spoilt >> bits[line] & 1)
    return list(found.values())


def victims(mounted: Mounted) -> dict[str, Device]:
    """Return what may be read wrong: the board's devices, and each socket with a chip as if it were one."""
    found = {device.name: device for device in mounted.board.devices}
    for name, each in mounted.everyone.items():
        kind = "RAM" if each.chip.family == "SRAM" else "ROM"
        found[name] = Device(name, each.socket.title or each.chip.name, kind, ())
    return found


def spoilt_bits(byte: int, law: Law) -> int:
    """Return the bits of another device that a chip's byte can change: those where its level wins."""
    return {Law.LOW: byte ^ 0xFF, Law.HIGH: byte, Law.UNKNOWN: 0xFF}[law]


def cells_of(mounted: Mounted, case: Case) -> Iterator[tuple[int, int]]:
    """Yield every address of a case, and the chip's cell that shows there."""
    names, (first, last) = mounted.nets.names, case.access.span
    address_pins = [pin for pin in mounted.chip.pins if pin.role is Role.ADDRESS]
    moving, levels = [], {}
    for pin in address_pins:
        own = [line for line in mounted.nets.lines(mounted.node(pin)) if line in mounted.cpu.address_lines]
        if own:
            moving.append((int(own[0][1:]), pin.index))
        else:
            levels[pin.index] = mounted.level(pin)[0]
    fixed = [int(name[1:]) for name in names if name in mounted.cpu.address_lines]
    cells: dict[tuple[str, ...], set[int]] = {}
    for state in tables.true_rows(names, case.mask):
        row = tables.row(names, state)
        upper = sum(1 << index for index, high in levels.items() if high & row)
        cells.setdefault(tuple(state[f"A{line}"] for line in fixed), set()).add(upper)
    step = 1 << int(mounted.cpu.address_lines[0][1:])
    straight = all(line == index for line, index in moving)
    mask = sum(1 << line for line, _ in moving)
    for address in range(first, last + 1, step):
        for shown in case.access.space.on_lines(address):
            key = tuple("H" if shown >> line & 1 else "L" for line in fixed)
            if key in cells:
                low = shown & mask if straight else sum((shown >> line & 1) << index for line, index in moving)
                yield from ((address, low | upper) for upper in cells[key])
