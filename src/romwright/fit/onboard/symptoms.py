"""What a contention looks like at the bench: which data bits of the other memory ever read wrong, and how often."""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum

from msgspec import Struct, field

from romwright.boards.model import Device
from romwright.errors import OptionError
from romwright.fit.onboard.bus import CPU, Case, Outcome
from romwright.fit.onboard.mounted import Mounted
from romwright.images.words import listed, run_of
from romwright.parts.model import Part


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


class Symptom(Struct):
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


def predict(case: Case, law: Law, symptoms: Sequence[Symptom]) -> dict | None:
    """Return what is read in a contention, under the documented JSON keys; None where nothing is read."""
    if case.outcome is not Outcome.CONTENTION or case.access.cycle.access != "read":
        return None
    read = {Law.LOW: " AND ", Law.HIGH: " OR "}.get(law)
    answer = {"law": str(law), "said_of_law": SAID_OF[law], "read": read.join(case.drives) if read else None}
    of = [each for each in symptoms if each.device.name == case.access.expected and each.by in case.drives]
    return answer | ({"lines": of[0].lines, "wrong": of[0].wrong, "words": of[0].words} if of else {})


def list_signs(cases: Sequence[Case], law: Law, mixtures: bool) -> list[str]:
    """Say what is read and stored where a cycle is not fine, whatever chips hold; mixtures of bytes if asked for."""
    found: dict[tuple[str, str], list[str]] = {}
    for case in cases:
        who, may = [name for name in case.drives if name != CPU], "give" if case.sure else "may give"
        predicted, access = predict(case, law, ()), case.access
        if predicted and mixtures:
            gives = f"{predicted['read']}, bit by bit" if predicted["read"] else "a byte that nobody can foretell"
        elif case.outcome is Outcome.CONTENTION:
            if access.cycle.access == "write" and access.may_write:
                sign = "what is written to ", f" may be stored wrong: {listed(who)} drive{'s' * (len(who) == 1)} too"
                found.setdefault(sign, []).append(access.range)
            continue
        else:
            gives = {Outcome.OPEN: "noise", Outcome.WRONG: f"what {listed(who)} holds"}.get(case.outcome)
        if gives:
            found.setdefault(("reads of ", f" {may} {gives}"), []).append(access.range)
    return [f"{head}{listed(list(dict.fromkeys(spans)))}{tail}" for (head, tail), spans in found.items()]


NUMBERS = {2: "two", 4: "four", 8: "eight"}


def contents_of(data: bytes, chip: Part) -> bytes:
    """Return what the cells of a chip hold: the data, repeated over the chip; of 16-bit words the low byte first.

    Raises OptionError if it does not go into the chip a whole number of times.
    """
    size = chip.words * chip.word_bytes
    if not data or size % len(data) or len(data) % chip.word_bytes:
        raise OptionError(
            f"{len(data):,} bytes do not fill a {chip.name} a whole number of times",
            where="--image", expected=f"the {size:,} bytes of the chip, or a half, a quarter, ... that is repeated",
        )  # fmt: skip
    return data * (size // len(data))


def find_symptoms(mounted: Mounted, cases: Sequence[Case], contents: bytes, law: Law) -> list[Symptom]:
    """Return for each device that a chip fights with in reads what its reads look like.

    `contents` are those of the chip that is asked about; of one in another socket they are not known.
    """
    from romwright.fit.onboard.cells import Spoilt  # numpy: only where there are contents
    from romwright.fit.plans.contents import words_of

    found: dict[tuple[str, str], Symptom] = {}
    spoilt: dict[tuple[str, str, str], Spoilt] = {}
    devices, words = victims(mounted), words_of(contents, mounted.chip)
    wins = {Law.LOW: ~words, Law.HIGH: words, Law.UNKNOWN: None}[law]  # the bits of a cell that another device reads
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
        symptom, kind = found[name, by], case.access.cycle.space
        if case.access.range not in symptom.spans:
            symptom.spans.append(case.access.range)
        if (name, by, kind) not in spoilt:
            bounds = mounted.accesses.bounds_of(name, kind)
            spoilt[name, by, kind] = Spoilt(*bounds, wins if known else None)
        shared = sum(1 << int(function[1:]) for function, line in chip.data.items() if line in case.lines)
        spoilt[name, by, kind].add(chip, case, shared)
    for (name, by, _), each in spoilt.items():
        symptom, data = found[name, by], mounted.everyone[by].data
        symptom.addresses += each.addresses
        bits = {line: int(function[1:]) for function, line in data.items()}
        for line in symptom.wrong:
            symptom.wrong[line] += each.count(bits[line])
    return list(found.values())


def victims(mounted: Mounted) -> dict[str, Device]:
    """Return what may be read wrong: the board's devices, and each socket with a chip as if it were one."""
    found = {device.name: device for device in mounted.board.devices}
    for name, each in mounted.everyone.items():
        kind = "RAM" if each.chip.family == "SRAM" else "ROM"
        found[name] = Device(name, each.socket.title or each.chip.name, kind, ())
    return found
