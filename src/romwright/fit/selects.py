"""What is wrong with selects and enables if a chip is simply plugged in, and what the wiring table leaves wrong."""

from __future__ import annotations

from collections.abc import Iterator

from romwright.findings import Code, Finding, Severity
from romwright.fit.drive import in_words, list_states
from romwright.fit.plans.glue import PlacedGate
from romwright.fit.plans.work import gate_parts
from romwright.fit.seating import Seating, enables_of
from romwright.fit.socket import Net
from romwright.parts.model import Level, Pin

BENCH = (
    "At the bench reads of RAM come back wrong: each byte is the AND of the RAM's and this chip's, "
    "since with NMOS and TTL outputs a low wins (common practice, no source)"
)

UNSELECTED = Code(
    "drives-unselected", Severity.FAULT, "the chip is off the data bus whenever the decoder does not select it",
    "Nothing is broken, yet every read of another memory on that bus comes back wrong, and good parts get replaced.",
    do="Bring the decoder's select to the pin on which the chip selects: set the board's links for a ROM that "
    "selects there, or bend that pin up and wire it. Do it before you replace any RAM.",
    example="the EPROM drives the bus during every memory read, whether selected or not",
)  # fmt: skip
SILENT = Code(
    "never-answers", Severity.FAULT, "the chip drives the bus in every state in which the original did",
    "The processor reads a floating bus.",
    do="Follow the wiring table: it brings every enable of the chip to a line that is active when the chip should "
    "answer.",
    example="the chip does not answer in every read that the original answers",
)  # fmt: skip
POLARITY = Code(
    "polarity", Severity.FAULT, "each enable of the chip is active at the level at which the original's was",
    "The chip drives exactly when it should not, and is off when it should drive.",
    do="Put an inverter or a gate before that enable, or take another enable of the chip: the wiring table says which.",
    example="/CE (chip pin 20) has the wrong polarity",
)  # fmt: skip
ENABLE_LOST = Code(
    "enable-lost", Severity.CAUTION, "every enable of the original reaches an enable of the chip",
    "The chip then drives in states in which the original was off; it works where the board never makes them.",
    do="Find out whether the select on the board is already off whenever that enable is: then it works as it is. "
    "Else add the gate of the wiring table.",
    example="the enable on socket pin 27 (OE1) is lost",
)  # fmt: skip
GATE = Code(
    "gate-needed", Severity.FAULT, "wires and ties alone let the chip heed the original's selects and enables",
    "An enable of the other polarity needs an inverter: left out, the chip is never off the bus, or always.",
    do="Add the gates of the list, wired as it says, each with its supply pins connected and 100 nF beside it "
    "(common practice, no source).",
    example="wiring alone is not enough: an inverter is needed",
)  # fmt: skip
STILL_LOST = Code(
    "wired-enable-lost", Severity.CAUTION, "the wiring table gives the chip exactly the original's drive condition",
    "A chip with fewer enables drives in states in which the original was off.",
    do="Find out whether the select on the board is already off in the states that are named: then it works as it "
    "is. Else add the gate that is named.",
    example="lost without a gate: socket pin 27 (OE1, active L)",
)  # fmt: skip


def check_unselected(s: Seating) -> Iterator[Finding]:
    """Find a chip that drives although the decoder's select is off."""
    select = s.select
    if select is None or select.label not in s.drive.names:
        return
    off = [levels for levels in s.drive.extra if levels[select.label] not in s.wanted[select.label]]
    there = s.on(select)
    if not off or (there and there.function in s.chip.enables):
        return
    family, name = s.chip.family, s.chip.name
    if s.drive.ignores(select.label):
        without = [{n: level for n, level in row.items() if n != select.label} for row in s.drive.original.rows]
        during = "during every memory read, " if list(s.drive.fitted.rows) == without else ""
        title = f"the {family} drives the bus {during}whether selected or not"
        gates = "which does not gate its outputs"
        drives = f"The {name} drives at {s.drive.fitted.words}, whatever the level of socket pin {select.position}"
    else:
        title = f"the {family} drives the bus during memory reads while it is not selected"
        gates = "which lets it drive only while unselected"
        drives = f"The {name} drives at {s.drive.fitted.words}, the original at {s.drive.original.words}"
    where = f"where the {name} has {there.name}, {gates}" if there else f"where no pin of the {name} sits"
    evidence = (
        f"the decoder's select arrives at socket pin {select.position} ({select.words}), {where}{usual_select(s)}. "
        f"{drives}. {BENCH}"
    )
    yield Finding(UNSELECTED, title, evidence, remedy_unselected(s, select))


def usual_select(s: Seating) -> str:
    """Say on which pin the chip takes its select, and who says so."""
    if not s.chip.select:
        return ""
    said = "; ".join(s.chip.sources_of("select")) or ("its only enable" if len(s.chip.enables) == 1 else "no source")
    return f"; the {s.chip.name} takes its select on pin {s.chip.by_function[s.chip.select].number} ({said})"


def remedy_unselected(s: Seating, select: Net) -> str:
    """Say how the select gets to an enable of the chip."""
    home = s.chip.by_function[s.chip.select] if s.chip.select else None
    seat, there = s.seats[home.number] if home else None, s.on(select)
    if seat is None or seat.function not in s.original.signals:
        return "bring the select to an enable of the chip: follow the wiring table"
    leave = f"; chip pin {there.number} ({there.name}) must leave the socket: see the wiring table" if there else ""
    gate = next((gate for gate in s.plan.gates if select.position in (tap.position for tap in gate.taps)), None)
    through = f" through {'an inverter' if gate.kind == 'inverter' else 'a gate'} ({gate.package})" if gate else ""
    return (
        f"bring the select to chip pin {home.number}: set the board's links for a ROM that selects on pin "
        f"{seat.position}, or bend the pin up and wire it to socket pin {select.position}{through}{leave}"
    )


def check_polarities(s: Seating) -> Iterator[Finding]:
    """Find enables that meet an enable of the opposite polarity."""
    for pin, seat, levels in turned(s):
        asked = f"the original drives at {either(s.wanted[seat.label])}, the chip at {either(levels)}"
        title = f"{pin.name} (chip pin {pin.number}) has the wrong polarity"
        do = "a gate or another enable: see the wiring table"
        yield Finding(POLARITY, title, f"{s.place(pin)}; {asked}", do)


def turned(s: Seating) -> list[tuple[Pin, Net, frozenset[Level]]]:
    """List the enables of the chip that meet an enable of the original with no level in common."""
    return [(pin, seat, levels) for pin, seat, levels in s.enables if not levels & s.wanted.get(seat.label, levels)]


def check_silence(s: Seating) -> Iterator[Finding]:
    """Find states in which only the original drives, for another reason than polarity."""
    if not s.drive.missed or turned(s):
        return
    state = s.drive.missed[0]
    guilty = [pin for pin, seat, levels in s.enables if state.get(seat.label, seat.level) not in levels]
    title = "the chip does not answer in every read that the original answers"
    labels = [s.seats[pin.number].label for pin in guilty]
    off = {label: level for label, level in state.items() if label in labels or not guilty}
    silent = f"silent at {in_words(off)}" if off else "silent always"
    yield Finding(SILENT, title, "; ".join(filter(None, [s.places(guilty), silent])), "follow the wiring table")


def check_enables(s: Seating) -> Iterator[Finding]:
    """Find enables of the original, other than the select, that the chip does not heed."""
    for pin, levels in enables_of(s.original):
        net = s.socket.nets[pin.number]
        extra = [state for state in s.drive.extra if net.label in state and state[net.label] not in levels]
        if net == s.select or not extra or not s.drive.ignores(net.label):
            continue
        there = s.on(net)
        title = f"the enable on socket pin {pin.number} ({net.function}) is lost"
        meets = f"{s.place(there)}, which does not gate the outputs" if there else "no chip pin meets it"
        evidence = f"{meets}. Only the chip drives at {list_states(extra)}"
        least = s.spare if s.spare.heeds else s.plan
        if least.wired.ignores(net.label):
            yield Finding(ENABLE_LOST, title, evidence + exact_with(s), how_exact(s, levels))
        else:
            yield Finding(ENABLE_LOST, title, evidence, "the wiring table puts it right")


def check_gates(s: Seating) -> Iterator[Finding]:
    """Name what wires and ties alone cannot do."""
    if (gates := s.plan.gates) and not s.spare.heeds:
        what = "an inverter" if {gate.kind for gate in gates} == {"inverter"} else "a gate"
        title = f"wiring alone is not enough: {what} is needed"
        yield Finding(GATE, title, f"{gated(s)}. {packages(s)}", "add what the list of gates has, wired as it says")
    if s.plan.wired.missed:
        title = "wiring alone cannot make this exact: a gate is needed"
        seen = f"silent at {list_states(s.plan.wired.missed)}"
        yield Finding(GATE, title, seen, "combine the original's enables with gates into an enable of the chip")


def gated(s: Seating) -> str:
    """Say which pins of the chip come out of gates, and when these are at which level."""
    fed = [row for row in s.plan.rows if row.gate]
    return "; ".join(f"chip pin {row.chip} ({row.function}) {row.detail.partition(';')[0]}" for row in fed)


def packages(s: Seating) -> str:
    """Name the packages of the plan's gates, their supply pins, and how much later they make the chip answer."""
    names = {f"{gate.package} is {with_supplies(gate)}": None for gate in s.plan.gates}
    delay = s.plan.delay_ns
    later = "later by an unknown time" if delay is None else f"up to {delay:g} ns later"
    return f"{', '.join(names)}; the chip then answers {later}"


def with_supplies(gate: PlacedGate) -> str:
    """Name the package of a gate and its supply pins: `a 74LS32, VCC on pin 14, GND on pin 7`."""
    part = gate_parts()[gate.kind]
    return f"a {part.part}, VCC on pin {part.vcc}, GND on pin {part.gnd}" if part.vcc else part.part


def check_wired_enables(s: Seating) -> Iterator[Finding]:
    """Say which enables are lost without a gate, unless the chip heeds no more when it is plugged in."""
    wired = s.spare.wired
    lost = [(pin, levels) for pin, levels in enables_of(s.original) if wired.ignores(s.socket.nets[pin.number].label)]
    if wired.equal or not s.spare.heeds or not lost or wired.fitted == s.drive.fitted:
        return
    where = " and ".join(active(s, pin.number) for pin, _ in lost)
    title = f"lost without a gate: socket {where}" if s.plan.gates else f"lost even after wiring: socket {where}"
    evidence = f"the {s.chip.name} has fewer enables than the original. It alone drives at {list_states(wired.extra)}"
    yield Finding(STILL_LOST, title, evidence + exact_with(s), how_exact(s, lost[0][1]))


def active(s: Seating, position: int) -> str:
    """Name a position of the socket with the level at which it enables the original."""
    net = s.socket.nets[position]
    return f"pin {position} ({net.function}, active {either(s.wanted[net.label])})"


def either(levels: frozenset[Level]) -> str:
    """Write levels for people."""
    return " or ".join(sorted(levels))


def how_exact(s: Seating, levels: frozenset[Level]) -> str:
    """Say when a lost enable, active at `levels`, does not matter, and what would bring it back."""
    off = "right where the board's select is already off whenever that enable is"
    if s.plan.gates:
        return f"{off}: leave the gate out then (--prefer no-gates); else wire the gate as the list of gates says"
    same = any(levels & have for have in s.chip.enables.values())
    gate = "a gate that joins it" if same else "an inverter and a gate (gate needed) that join it"
    return f"{off}; exact with {gate} into an enable of the chip"


def exact_with(s: Seating) -> str:
    """Say what makes it exact, as one more sentence of the evidence; nothing if no gate does."""
    return f". Exact with a gate: {packages(s)}" if s.plan.gates else ""


CHECKS = (check_unselected, check_polarities, check_silence, check_enables)
WIRED_CHECKS = (check_gates, check_wired_enables)
