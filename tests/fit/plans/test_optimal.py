"""No plan of up to three changes is cheaper: brute force over plans, with the proof as the only judge.

A change is a chip pin that leaves its seat (to VCC, GND, any socket position, or open) or a gate. All plans are priced
here from pinmaps/work.toml; nothing of feeds.py, search.py and logic.py is used. What is gone through:

- Of a pin that is no enable (address, data, supply, read level, write strobe), every option that is cheaper than the
  plan's. The proof judges each of these pins for itself, so the cheapest plan has the cheapest option of each; pins
  that must change anyway are left as the plan has them and not counted.
- Of the enables, every combination of options and of gates with up to three changes that is cheaper than the plan's.
  An option is left out only if the proof finds a read silent with every other enable tied to its level: with one row of
  levels no other pin can mend that.
- Gates: none; one of each kind on every choice of the socket's controls (of a '138, every input and output, each
  control on one input at most); two side by side, or one behind the other. Each feeds one pin or more.

Four things that the proof would let pass are not asked for, as the checks of fit/pins.py and fit/writes.py forbid them:
VPP or /PGM on a line that moves (VPP draws current, and is asked for at rest too), a control line on an address pin
that the original does not have or on a write strobe, and a status output on a rail. Sockets that the board writes are
left out.
"""

import tomllib
from itertools import combinations, product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from romwright.datafiles import data_folder
from romwright.fit.plans.glue import PlacedGate, Tap
from romwright.fit.plans.proof import read_every_address
from romwright.fit.plans.rows import How
from romwright.fit.plans.wiring import plan_wiring
from romwright.parts.library import part_names, require_part
from romwright.parts.model import Role

WORK = tomllib.loads((data_folder("pinmaps") / "work.toml").read_text("utf-8"))
POINTS = WORK["points"]
GATES = {gate["kind"]: gate for gate in WORK["gates"]}
MOST_CHANGES = 3


class Bench:
    """A plan for a pair, and other rows and gates in its place; `cheaper` yields those that are accepted for less."""

    def __init__(self, plan, rows=None, gates=None):
        self.original, self.chip = plan.original, plan.chip
        self.rows, self.gates = list(rows or plan.rows), tuple(plan.gates if gates is None else gates)
        self.image_at = plan.image_at
        self.controls = [pin for pin in self.chip.pins if pin.function in self.chip.enables]
        self.lines = [pin.number for pin in self.original.pins if pin.function in self.original.signals]
        self.row = {row.chip: row for row in self.rows if row.chip}

    def prove(self, moves, gates=(), image_at=None):
        rows = [replace(row, **moves[row.chip]) if row.chip in moves else row for row in self.rows]
        at = self.image_at if image_at is None else image_at
        return read_every_address(self.original, self.chip, rows, at, gates)

    def accepts(self, moves, gates, image_at=None):
        proof = self.prove(moves, gates, image_at)
        return proof.equal and proof.drive_equal

    def options(self, number):
        """Every way to treat a chip pin without a gate."""
        seat = self.row[number].socket
        if seat:
            yield {"how": How.STRAIGHT, "wire_to": None, "gate": ""}
        for how in (How.VCC, How.GND, How.OPEN):
            yield {"how": how, "wire_to": None, "gate": ""}
        for place in range(1, self.original.pin_count + 1):
            if place != seat:
                yield {"how": How.WIRE, "wire_to": place, "gate": ""}

    def price(self, number, option):
        """The points of a pin treated so."""
        if option["how"] is How.OPEN:
            return POINTS["open"] if self.row[number].socket else 0
        moved = {How.STRAIGHT: 0, How.VCC: POINTS["tie"], How.GND: POINTS["tie"]}
        return moved.get(option["how"], POINTS["wire"])

    def as_planned(self, number):
        return {"how": self.row[number].how, "wire_to": self.row[number].wire_to, "gate": self.row[number].gate}

    def total(self):
        """The points of the whole plan."""
        return gate_price(self.gates) + sum(
            self.price(pin.number, self.as_planned(pin.number)) for pin in self.chip.pins if pin.role is not Role.NC
        )

    def cheaper(self):
        """Yield what costs less and is accepted."""
        yield from self.cheaper_pins()
        yield from self.cheaper_enables()

    def cheaper_pins(self):
        """Yield cheaper ways for one pin that is no enable; an address pin the original lacks may move the image."""
        for pin in self.chip.pins:
            planned = self.price(pin.number, self.as_planned(pin.number))
            for option in self.options(pin.number) if pin not in self.controls else ():
                if pin.role in (Role.NC, Role.OUTPUT) or self.is_on_moving_line(pin, option):
                    continue
                places = (
                    {self.image_at, self.image_at ^ 1 << pin.index} if pin.role is Role.ADDRESS else {self.image_at}
                )
                if self.price(pin.number, option) < planned:
                    found = (at for at in places if self.accepts({pin.number: option}, self.gates, at))
                    yield from ((pin.name, option, at) for at in found)

    def is_on_moving_line(self, pin, option):
        """Whether a pin that must stay at one level is on a control line of the socket."""
        held = pin.function in self.chip.strobes or (
            pin.function in self.chip.read_levels and pin.function not in self.chip.read_either
        )
        extra = pin.role is Role.ADDRESS and pin.index >= self.original.address_bits
        places = {How.STRAIGHT: self.row[pin.number].socket, How.WIRE: option["wire_to"]}
        return (held or extra) and places.get(option["how"]) in self.lines

    def cheaper_enables(self):
        """Yield cheaper combinations for the enables, with and without gates."""
        planned = gate_price(self.gates)
        planned += sum(self.price(pin.number, self.as_planned(pin.number)) for pin in self.controls)
        plain = [[o for o in self.options(pin.number) if self.may_read(pin.number, o)] for pin in self.controls]
        for gates in self.gate_sets():
            left = planned - gate_price(gates)
            if left <= len(free_outputs(gates)) * POINTS["wire"] or len(gates) >= MOST_CHANGES:
                continue  # a gate needs a pin that is wired to it
            fed = [{"how": How.GATE, "wire_to": None, "gate": gate.name} for gate in free_outputs(gates)]
            choices = [
                [*options, *(option for option in fed if self.may_read(pin.number, option, gates))]
                for pin, options in zip(self.controls, plain)
            ]
            for picked in product(*choices):
                changes = len(gates) + sum(option["how"] is not How.STRAIGHT for option in picked)
                cost = sum(self.price(pin.number, option) for pin, option in zip(self.controls, picked))
                used = {option["gate"] for option in picked} - {""}
                if cost < left and changes <= MOST_CHANGES and used == {gate.name for gate in free_outputs(gates)}:
                    moves = {pin.number: option for pin, option in zip(self.controls, picked)}
                    if self.accepts(moves, gates):
                        yield gates, moves

    def may_read(self, number, option, gates=()):
        """Whether no read is silent with a pin treated so and every other enable tied to its level."""
        (row,) = self.chip.drives
        ties = {
            pin.number: {"how": How.VCC if row[pin.function] == "H" else How.GND, "wire_to": None, "gate": ""}
            for pin in self.controls
        }
        silent = self.prove(ties | {number: option}, gates).first_difference
        return silent is None or silent.get("expected") != "driven"

    def gate_sets(self):
        """Yield no gate, every single gate, every two gates; those that can cost no less are left to the caller."""
        singles = [placed(f"X1.{n}", kind, taps, output) for n, (kind, taps, output) in enumerate(sources(self.lines))]
        yield ()
        yield from ((gate,) for gate in singles)
        for one, other in combinations(singles, 2):
            yield one, replace(other, name="X2")
        for one in singles:
            for kind in ("nand", "and", "or", "diodes"):
                for tap in (*map(line, self.lines), Tap(None, gate=one.name)):
                    yield one, placed("X2", kind, (Tap(None, gate=one.name), tap), None)
            yield one, placed("X2", "inverter", (Tap(None, gate=one.name),), None)


def line(position):
    return Tap(None, position=position)


def sources(lines):
    """Yield every gate on the lines of a socket: its kind, what feeds its inputs, its output pin."""
    for position in lines:
        yield "inverter", (line(position),), None
        yield "nand", (line(position), line(position)), None
    for pair in combinations(lines, 2):
        yield from ((kind, tuple(map(line, pair)), None) for kind in ("nand", "and", "or", "diodes"))
    seen = set()
    for count in range(1, len(lines) + 1):
        for some in combinations(lines, count):
            for ends in combinations(range(6), count):
                for levels in product("LH", repeat=6 - count):
                    yield from decoders(some, ends, levels, seen)


def decoders(some, ends, levels, seen):
    """Yield a '138 with lines at some of A B C G1 /G2A /G2B and levels at the rest: once for each function."""
    rest = iter(levels)
    taps = [line(some[ends.index(end)]) if end in ends else Tap(None, level=next(rest)) for end in range(6)]
    for number, output in enumerate(GATES["3-to-8"]["outputs"]):
        asked = [*("H" if number >> i & 1 else "L" for i in range(3)), "H", "L", "L"]  # where this output falls
        function = tuple((tap.position, level) for tap, level in zip(taps, asked) if tap.position)
        falls = all(tap.level in (None, level) for tap, level in zip(taps, asked))
        if falls and tuple(sorted(function)) not in seen:
            seen.add(tuple(sorted(function)))
            yield "3-to-8", tuple(taps), output


def placed(name, kind, taps, output):
    return PlacedGate(name, name, kind, kind, taps, output, None)


def free_outputs(gates):
    """The gates that feed no other gate."""
    inner = {tap.gate for gate in gates for tap in gate.taps}
    return [gate for gate in gates if gate.name not in inner]


def gate_price(gates):
    """The points of gates: packages by the sections they fill, a wire for each line at an input, a tie for the rest."""
    total = 0
    for kind in {gate.kind for gate in gates}:
        count, part = sum(gate.kind == kind for gate in gates), GATES[kind]
        total += -(-count // len(part["inputs"])) * POINTS["package"] if "inputs" in part else count * POINTS["diodes"]
    for gate in gates:
        wires = len({(tap.position, tap.gate) for tap in gate.taps} - {(None, "")})
        total += wires * POINTS["wire"] + (len(gate.taps) - wires) * POINTS["tie"]
    return total


def bench(socket, chip, polarity=None, chip_polarity=None):
    original, new = require_part(socket), require_part(chip)
    one, other = original.polarities(polarity or {})[0], new.polarities(chip_polarity or {})[0]
    plan = plan_wiring(original.ordered_as(one), new.ordered_as(other))
    return plan, Bench(plan)


def check(plan, found):
    assert found.accepts({}, found.gates), "the plan itself"
    assert found.total() == sum(points for _, _, points in plan.work)
    assert next(found.cheaper(), None) is None


NAMED = [
    ("rom-2364-24", "2764", {20: "L"}), ("rom-2364-24", "27C64", {20: "H"}), ("rom-2364-24", "28C256", {20: "L"}),
    ("rom-2332-a11-pin18", "2732", {20: "L", 21: "L"}), ("rom-2332-a11-pin18", "2732", {20: "L", 21: "H"}),
    ("rom-2316e", "2716", {18: "L", 20: "L", 21: "H"}), ("rom-9316b-inhibit", "2716", None), ("2532", "2732", None),
    ("rom-23128-style-a", "27128", {20: "L", 22: "L", 27: "L"}), ("rom-23128-style-b", "28C256", {27: "L"}),
    ("rom-23128-style-b", "27128", {20: "L", 22: "L", 27: "H"}), ("2716", "6116", None), ("2764", "28C64", None),
    ("prom-82s181", "2716", None), ("28C16", "2532", None), ("2708", "2716", None), ("2564", "rom-2364-24", None),
]  # fmt: skip


@pytest.mark.parametrize("socket, chip, polarity", NAMED)
def test_nothing_is_cheaper(socket, chip, polarity):
    check(*bench(socket, chip, polarity))


SMALL = {name: part for name in part_names() if (part := require_part(name)).drives and part.words <= 8192}
ABLE = [
    (socket, chip)
    for socket, original in SMALL.items()
    for chip, new in SMALL.items()
    if new.words >= original.words and new.bits == original.bits and not original.writes
    if new.supplies.items() <= original.supplies.items() and len(new.drives) == 1
]


@settings(max_examples=15, deadline=None)
@given(st.sampled_from(ABLE), st.data())
def test_nothing_is_cheaper_for_any_pair(pair, data):
    socket, chip = (require_part(name) for name in pair)
    choices = [data.draw(st.sampled_from(part.polarities({}))) for part in (socket, chip)]
    check(*bench(*pair, *choices))


def test_what_is_too_dear_is_seen():
    """Plans that prove and cost more: a wire where a tie does, a '138 where an OR does, a pin moved for nothing."""
    plan, _ = bench("rom-2364-24", "28C64", {20: "L"})
    wired = [replace(row, how=How.WIRE, wire_to=20) if row.function == "/CE" else row for row in plan.rows]
    assert any(move["how"] is How.GND for _, moves in Bench(plan, wired).cheaper() for move in [moves[20]])
    plan, _ = bench("rom-23128-style-b", "28C256", {20: "L", 22: "L", 27: "L"})
    levels = [Tap(None, level="L"), Tap(None, level="H"), Tap(None, level="L"), Tap(None, level="L")]
    decoder = replace(plan.gates[0], kind="3-to-8", taps=(line(20), line(27), *levels), output=15)
    dear = Bench(plan, gates=(decoder,))
    assert dear.accepts({}, dear.gates)
    assert any(gate.kind == "or" for gates, _ in dear.cheaper() for gate in gates)
    plan, _ = bench("27256", "27C256")
    moved = [replace(row, how=How.VCC) if row.function == "VPP" else row for row in plan.rows]
    assert [found[0] for found in Bench(plan, moved).cheaper()] == ["VPP"]


def test_the_brute_force_is_given_every_kind():
    kinds = {gate.kind for gates in bench("rom-2316e", "2716")[1].gate_sets() for gate in gates}
    assert kinds == set(GATES) and len(ABLE) > 300


def test_diodes_serve_where_they_are_preferred_and_an_and_is_needed():
    """Two active-low selects into one enable: AND of both, by two diodes and a resistor."""
    from romwright.fit.plans.sets import join_sockets
    from romwright.fit.verdict import prove_plan

    rom = require_part("rom-2364-24").ordered_as({20: "L"})
    original, beyond = join_sockets(rom, rom)
    names = ("first", "second")
    plain, diodes = (
        plan_wiring(original, require_part("27C128"), prefer, names, beyond) for prefer in ((), ("diodes",))
    )
    assert [gate.kind for gate in plain.gates] == ["and"] and [gate.kind for gate in diodes.gates] == ["diodes"]
    assert plain.delay_ns == 30 and diodes.delay_ns is None
    for plan in (plain, diodes):
        proof = prove_plan(plan)
        assert proof.equal and proof.drive_equal
