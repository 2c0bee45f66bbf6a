"""What is wrong with selects, enables and write strobes if a chip is simply plugged in, and after wiring."""

from __future__ import annotations

from collections.abc import Iterator

from romwright.findings import Code, Finding, Severity
from romwright.fit.drive import compare, condition
from romwright.fit.seating import Seating, in_words, levels_of, rows_in_words
from romwright.fit.socket import Kind
from romwright.fit.wiring import MEMORY_WRITE

BENCH = (
    "At the bench reads of RAM come back wrong: each byte is the AND of the RAM's and this chip's, "
    "since with NMOS and TTL outputs a low wins (common practice, no source)"
)

UNSELECTED = Code(
    "drives-unselected", Severity.FAULT, "the chip is off the data bus whenever the decoder does not select it",
    "Nothing is broken, yet every read of another memory on that bus comes back wrong, and good parts get replaced.",
)  # fmt: skip
SILENT = Code(
    "never-answers", Severity.FAULT, "the chip drives the bus in every state in which the original did",
    "The processor reads a floating bus.",
)  # fmt: skip
POLARITY = Code(
    "polarity", Severity.FAULT, "each enable of the chip is active at the level at which the original's was",
    "The chip drives exactly when it should not, and is off when it should drive.",
)  # fmt: skip
ENABLE_LOST = Code(
    "enable-lost", Severity.CAUTION, "every enable of the original reaches an enable of the chip",
    "The chip then drives in states in which the original was off; it works where the board never makes them.",
)  # fmt: skip
WRITE = Code(
    "write-strobe", Severity.STOP, "no state of the socket's lines can write the chip",
    "A select or an address line on /WE overwrites the contents while the computer runs.",
)  # fmt: skip
WRITE_HELD = Code(
    "write-pin-held", Severity.CAUTION, "/WE is tied to VCC, not left to a line that the board holds only in read",
    "The original asks for that level only while it is read; at other times the board may move it.",
)  # fmt: skip
GATE = Code(
    "gate-needed", Severity.FAULT, "some wiring without a gate gives the chip the original's drive condition",
    "An enable of the other polarity needs an inverter.",
)  # fmt: skip
STILL_LOST = Code(
    "wired-enable-lost", Severity.CAUTION, "the wiring table gives the chip exactly the original's drive condition",
    "A chip with fewer enables drives in states in which the original was off.",
)  # fmt: skip


def check_unselected(s: Seating) -> Iterator[Finding]:
    """Find a chip that drives although the decoder's select is off."""
    select, wanted = s.select, levels_of(s.original)
    if select is None or select.label not in s.drive.names:
        return
    on = wanted[s.original.by_function[select.function]]
    off = [levels for levels in s.drive.extra if levels[select.label] != on]
    here = next((pin for pin, level in s.enables.items() if s.seats[pin.number] == select), None)
    if not off or (here and here.function != MEMORY_WRITE):
        return
    family = s.chip.family
    there = next((pin for pin in s.chip.pins if s.seats[pin.number] == select), None)
    what = f"{s.chip.name} has {there.name}" if there else f"{s.chip.name} has no pin"
    home = s.chip.by_function[s.chip.select] if s.chip.select else None
    kind = f"an {family}" if s.chip.pin_count == 28 and family[0] == "E" else f"the {s.chip.name}"
    usual = f"; {kind} takes its select on pin {home.number} (common practice, no source)" if home else ""
    gates = (
        "which does not gate its outputs"
        if s.drive.ignores(select.label)
        else "which lets it drive only while unselected"
    )
    without = [{n: level for n, level in row.items() if n != select.label} for row in s.drive.original.rows]
    if s.drive.ignores(select.label):
        during = "during every memory read, " if list(s.drive.fitted.rows) == without else ""
        title = f"the {family} drives the data bus {during}whether selected or not"
    else:
        title = f"the {family} drives the data bus during memory reads while it is not selected"
    first, second = rows_in_words(s.drive.original.rows), rows_in_words(s.drive.fitted.rows)
    evidence = (
        f"the decoder's select arrives at socket pin {select.position} ({select.words}), "
        f"where the {what}, {gates}{usual}. "
        f"The original drives at {first}; the {s.chip.name} at {second}. {BENCH}"
    )
    remedy = "bring the select to an enable of the chip: follow the wiring table"
    if home and s.seats[home.number].function in s.original.signals:
        remedy = (
            f"bring the select to chip pin {home.number}: set the board's links for a ROM that selects on pin "
            f"{s.seats[home.number].position}, or bend the pin up and wire it to socket pin {select.position}"
        )
        if there:
            remedy += f"; chip pin {there.number} ({there.name}) must leave the socket: see the wiring table"
    yield Finding(UNSELECTED, title, evidence, remedy)


def check_polarities(s: Seating) -> Iterator[Finding]:
    """Find enables that meet an enable of the opposite polarity."""
    wanted = {s.socket.nets[pin.number].label: level for pin, level in levels_of(s.original).items()}
    for pin, level in s.enables.items():
        seat = s.seats[pin.number]
        if pin.function != MEMORY_WRITE and wanted.get(seat.label, level) != level:
            asked = f"the original drives at {wanted[seat.label]}, the chip at {level}"
            title = f"{pin.name} (chip pin {pin.number}) has the wrong polarity"
            yield Finding(
                POLARITY, title, f"{s.place(pin)}; {asked}", "an inverter, or another enable: see the wiring table"
            )


def check_silence(s: Seating) -> Iterator[Finding]:
    """Find states in which only the original drives, for another reason than polarity."""
    if not s.drive.missed or any(True for _ in check_polarities(s)):
        return
    state = s.drive.missed[0]
    guilty = [
        pin
        for pin, level in s.enables.items()
        if state.get(s.seats[pin.number].label, s.seats[pin.number].level) != level
    ]
    title = "the chip does not answer in every read that the original answers"
    yield Finding(
        SILENT, title, f"{'; '.join(map(s.place, guilty))}. Silent at {in_words(state)}", "follow the wiring table"
    )


def check_enables(s: Seating) -> Iterator[Finding]:
    """Find enables of the original, other than the select, that the chip does not heed."""
    for pin, level in levels_of(s.original).items():
        net = s.socket.nets[pin.number]
        if net == s.select or not s.drive.ignores(net.label):
            continue
        extra = [levels for levels in s.drive.extra if levels[net.label] != level]
        if not extra:
            continue
        there = next((p for p in s.chip.pins if s.seats[p.number] == net), None)
        function = pin.function.rstrip("?")
        title = f"the enable on socket pin {pin.number} ({function}) is lost"
        meets = s.place(there) if there else f"no chip pin meets socket pin {pin.number}"
        evidence = (
            f"{meets}, which does not gate the outputs. Only the chip drives at {'; '.join(map(in_words, extra))}"
        )
        remedy = "the wiring table puts it right" if s.plan.wired.equal else how_exact(s, level)
        yield Finding(ENABLE_LOST, title, evidence, remedy)


def check_writes(s: Seating) -> Iterator[Finding]:
    """Find states of the socket's lines that write the chip."""
    strobe = s.chip.by_function.get(MEMORY_WRITE)
    if strobe is None:
        return
    seat = s.seats[strobe.number]
    own = condition(s.original.writes, s.socket.nets, s.original)
    reach = compare(own, s.writes).extra
    tie = f"bend chip pin {strobe.number} up and tie it to VCC; never leave it in the socket"
    if reach:
        what = "the board can write the chip"
        if seat == s.select:
            what = "a select strobe there writes the chip"
        elif seat.kind is Kind.OPEN:
            what = "an open /WE may take either level, and the chip is written"
        evidence = f"{s.place(strobe)}: {what} when {rows_in_words(s.writes.rows)}"
        yield Finding(WRITE, f"pin {strobe.number} of the chip is {strobe.name}", evidence, tie)
    elif seat.kind is Kind.HELD:
        yield Finding(WRITE_HELD, f"pin {strobe.number} of the chip is {strobe.name}", s.place(strobe), tie)


def check_wiring(s: Seating) -> Iterator[Finding]:
    """Say what even the wiring table leaves different."""
    wired = s.plan.wired
    if wired.equal:
        return
    lost = [
        (pin, level)
        for pin, level in levels_of(s.original).items()
        if wired.ignores(s.socket.nets[pin.number].label) and pin.function != MEMORY_WRITE
    ]
    where = " and ".join(f"pin {pin.number} ({pin.function.rstrip('?')}, active {level})" for pin, level in lost)
    states = "; ".join(map(in_words, [*wired.missed, *wired.extra][:4]))
    spare = len(levels_of(s.original)) - sum(pin.function != MEMORY_WRITE for pin in s.enables)
    if wired.missed or (s.select and wired.ignores(s.select.label)) or len(lost) > max(spare, 0):
        title = "wiring alone cannot make this exact: a gate is needed"
        evidence = (
            f"no enable of the chip can take socket {where}; differs at {states}" if lost else f"differs at {states}"
        )
        yield Finding(GATE, title, evidence, "invert or gate the line into an enable of the chip")
        return
    if all(s.drive.ignores(s.socket.nets[pin.number].label) for pin, _ in lost):
        return  # lost before the wiring as after it: check_enables has said so
    evidence = f"the {s.chip.name} has fewer enables than the original; it alone drives at {states}"
    yield Finding(STILL_LOST, f"after wiring, the enable on socket {where} is lost", evidence, how_exact(s, lost[0][1]))


def how_exact(s: Seating, level: str) -> str:
    """Say when a lost enable, active at `level`, does not matter, and what would bring it back."""
    taken = {have for pin, have in s.enables.items() if pin.function != MEMORY_WRITE}
    gate = "a gate that joins it" if level in taken else "an inverter and a gate (gate needed) that join it"
    return (
        "right where the board's select is already off whenever that enable is; "
        f"exact with {gate} into an enable of the chip"
    )


CHECKS = (check_unselected, check_polarities, check_silence, check_enables, check_writes, check_wiring)
