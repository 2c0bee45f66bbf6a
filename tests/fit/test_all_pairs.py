"""Every part of the library in the socket of every other: it plans and proves, or a reason is given in words.

The outcomes are kept in all_pairs.csv, where `python tests/fit/test_all_pairs.py` writes them again: read the
difference before it is committed. All polarities of the socket's part are gone through, and of the chip's the first and
the last.
"""

import csv
import io
from collections import defaultdict
from functools import cache
from itertools import chain, product
from pathlib import Path

import pytest

from romwright.fit import kinds
from romwright.fit.plans.proof import read_every_address
from romwright.fit.plans.rows import How
from romwright.fit.plans.wiring import Plan, plan_wiring
from romwright.fit.seating import Seating
from romwright.fit.standins import is_changed, why_not
from romwright.parts.library import part_names, require_part

TABLE = Path(__file__).with_name("all_pairs.csv")
COLUMNS = ("socket", "polarity", "outcome", "points", "gates", "pins", "chips")
PARTS = {name: part for name in part_names() if (part := require_part(name)).drives}  # rom-6540 has no drive row


def stated(choices):
    """Polarities in a cell: `20=L 22=H`; `-` for a part that has none to choose."""
    return " ".join(f"{pin}={choice}" for pin, choice in choices.items()) or "-"


@cache
def chips():
    """Each part as it may be ordered, by its name and polarity: the first and the last choice of the page."""
    found = {}
    for name, part in PARTS.items():
        every = part.polarities({})
        for choices in (every[0], every[-1]):
            found[f"{name} {stated(choices)}".removesuffix(" -").replace(" ", ":")] = part.ordered_as(choices)
    return found


def another_size(original, chip):
    """Say that a chip has too few words or other data lines, whatever the polarities; nothing if it has not."""
    return "; ".join(finding.title for finding in kinds.check_size(Seating(Plan(original, chip, ()))))


def judge(original, chip):
    """Return the outcome, the points, the gates and the pins changed; the last three are empty for what cannot be."""
    plan = plan_wiring(original, chip)
    proof = read_every_address(original, chip, plan.rows, plan.image_at, plan.gates)
    reason = why_not(kinds.check_memory(Seating(plan)), plan, proof)
    assert proof.drive_equal == plan.wired.equal
    assert reason or (proof.equal and plan.heeds), proof.first_difference
    if reason:
        return reason, "", "", ""
    exact = "exact" if not plan.gates else "exact with a gate" if len(plan.gates) == 1 else "exact with gates"
    pins = sum(is_changed(row, chip) for row in plan.rows)
    work = sum(points for _, _, points in plan.work)
    return exact if proof.drive_equal else "not exact", str(work), str(len(plan.gates)), str(pins)


def rows_of(socket):
    """Yield the rows of the table for a socket: chips with one outcome together, worded for the socket's polarity."""
    part = PARTS[socket]
    every, found = part.polarities({}), defaultdict(list)
    size = {name: another_size(part.ordered_as(every[0]), chip) for name, chip in chips().items()}
    for choices in every:
        original = part.ordered_as(choices)
        for name, chip in chips().items():
            outcome = (size[name], "", "", "") if size[name] else judge(original, chip)
            polarity = "any" if not outcome[1] and len(every) > 1 else stated(choices)
            if name not in found[polarity, outcome]:
                found[polarity, outcome].append(name)
    for (polarity, outcome), names in found.items():
        yield (socket, polarity, *outcome, " ".join(names))


@cache
def expected():
    """The table, by socket."""
    rows = defaultdict(list)
    for row in csv.reader(TABLE.read_text("utf-8").splitlines()[1:]):
        rows[row[0]].append(tuple(row))
    return rows


def text_of(sockets):
    """The table for some sockets, as it stands in the file."""
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(chain([COLUMNS], chain.from_iterable(map(rows_of, sockets))))
    return out.getvalue()


@pytest.mark.parametrize("socket", PARTS)
def test_every_chip_in_the_socket(socket):
    assert list(rows_of(socket)) == expected()[socket]


def test_the_table_has_every_pair():
    """For each socket and polarity every chip stands once, or once for any polarity."""
    for socket, part in PARTS.items():
        by_polarity = defaultdict(set)
        for row in expected()[socket]:
            assert not by_polarity[row[1]] & set(row[-1].split())
            by_polarity[row[1]] |= set(row[-1].split())
        for choices in part.polarities({}):
            assert by_polarity[stated(choices)] | by_polarity["any"] == set(chips()), (socket, choices)
    assert set(expected()) == set(PARTS)


# The pairs met most often at the bench, read by eye against the pins in the parts' pages (each names its data sheet or
# says what is unread) and the stand-ins that the pages of the mask ROMs tell of. What is done with each chip pin that
# does not stay straight; what each gate gives; the chip address of the contents.
REVIEWED = [
    # a 28-pin EPROM over a 24-pin socket: A11 and A12 change places, the select meets /OE, pins 1, 2, 27, 28 overhang
    ("rom-2364-24", "20=L", "2764", "20=GND 23=18 1=VCC 2=21 27=VCC 28=VCC", "", 0),
    ("rom-2364-24", "20=L", "27C64", "20=GND 23=18 1=VCC 2=21 27=VCC 28=VCC", "", 0),
    ("rom-2364-24", "20=L", "27128", "20=GND 23=18 1=VCC 2=21 27=VCC 28=VCC", "", 0x2000),  # A13 on VCC, pin 24
    ("rom-2364-24", "20=L", "28C64", "20=GND 23=18 1=open 2=21 27=VCC 28=VCC", "", 0),  # /WE at rest, RDY open
    ("rom-2364-24", "20=H", "2764", "20=X1.2 22=GND 23=18 1=VCC 2=21 27=VCC 28=VCC", "X1.2 L: 20=H", 0),
    ("rom-68364", "-", "2764", "20=GND 23=18 1=VCC 2=21 27=VCC 28=VCC", "", 0),
    # 24 pins: A11 on 18 as on a 2532, or on 21 as on a 2732
    ("rom-2332-a11-pin18", "20=L 21=L", "2732", "18=21 21=18", "", 0),
    ("rom-2332-a11-pin18", "20=L 21=H", "2532", "20=X1.6 21=VCC", "X1.6 L: 20=L 21=H", 0),
    ("rom-2332-a11-pin21", "18=L 20=L", "2732", "", "", 0),
    ("2532", "-", "2732", "18=GND 21=18", "", 0),
    ("rom-2316e", "18=L 20=L 21=L", "2716", "20=X1.3 21=VCC", "X1.3 L: 20=L 21=L", 0),
    ("rom-2316e", "18=L 20=L 21=H", "2716", "20=X1.6 21=VCC", "X1.6 L: 20=L 21=H", 0),
    ("rom-9316b-inhibit", "-", "2716", "18=X1.6 21=VCC", "X1.6 L: 18=H 21=L", 0),
    # 28 pins: the third enable on 27 is /PGM, A14 or /WE of the chip; VPP to VCC where the ROM has nothing
    ("rom-23128-style-a", "20=L 22=L 27=L", "27128", "1=VCC 22=X1.3 27=VCC", "X1.3 L: 22=L 27=L", 0),
    ("rom-23128-style-a", "20=L 22=L 27=L", "27C256", "1=VCC 22=X1.3", "X1.3 L: 22=L 27=L", 0),
    ("rom-23128-style-a", "20=L 22=L 27=L", "28C256", "1=GND 22=X1.3 27=VCC", "X1.3 L: 22=L 27=L", 0),
    ("rom-23128-style-b", "20=L 22=L 27=L", "27128", "1=VCC 20=X1.3 27=VCC", "X1.3 L: 20=L 27=L", 0),
    ("rom-23128-style-b", "20=L 22=L 27=L", "27C256", "1=VCC 20=X1.3", "X1.3 L: 20=L 27=L", 0),
    ("rom-23128-style-b", "20=L 22=L 27=L", "28C256", "1=GND 20=X1.3 27=VCC", "X1.3 L: 20=L 27=L", 0),
    ("rom-23128-style-c", "27=NC", "27128", "1=VCC 27=VCC", "", 0),
    ("rom-23256-a14-pin27", "20=L 22=L", "27256", "1=VCC", "", 0),
    ("rom-23256-a14-pin27", "20=L 22=L", "27C512", "1=GND", "", 0),
    ("rom-23256-a14-pin27", "20=L 22=L", "28C256", "1=27 27=VCC", "", 0),
    ("rom-23256-a14-pin1", "20=L 22=L 27=NC", "27256", "1=VCC 27=1", "", 0),
    ("rom-23256-a14-pin1", "20=L 22=L 27=NC", "28C256", "27=VCC", "", 0),
    ("27256", "-", "28C256", "1=27 27=VCC", "", 0),
    ("2764", "-", "28C64", "1=open 27=VCC", "", 0),
    # the next size: the extra address pin is where VPP or /PGM was held high, so the upper part shows
    ("2716", "-", "2732", "", "", 0x800),
    ("2732", "-", "2764", "1=VCC 2=GND 27=VCC 28=VCC", "", 0),
    ("2764", "-", "27C512", "26=GND", "", 0xC000),  # A15 and A14 at VPP and /PGM, both high
    ("27128", "-", "27C256", "", "", 0x4000),
    ("27256", "-", "27C512", "", "", 0x8000),
    # a bipolar PROM with four enables, two of them active high: one output of a '138
    ("prom-82s181", "-", "2716", "18=X1.14 21=VCC", "X1.14 L: 18=H 19=H 21=L", 0x400),
]  # fmt: skip


@pytest.mark.parametrize("socket, polarity, chip, changes, gates, image_at", REVIEWED)
def test_reviewed_pairs(socket, polarity, chip, changes, gates, image_at):
    choices = {int(pin): level for pin, level in (pair.split("=") for pair in polarity.split() if pair != "-")}
    plan = plan_wiring(PARTS[socket].ordered_as(choices), PARTS[chip])
    done = [f"{row.chip}={where(row)}" for row in plan.rows if is_changed(row, plan.chip)]
    fed = [row for row in plan.rows if row.how is How.GATE]
    given = [f"{row.gate} {levels(plan.nets[row.chip], plan)}" for row in fed]
    assert (" ".join(done), "; ".join(given), plan.image_at) == (changes, gates, image_at)
    proof = read_every_address(plan.original, plan.chip, plan.rows, plan.image_at, plan.gates)
    assert proof.equal and proof.drive_equal


def where(row):
    """Where a chip pin goes: a position, a rail, a gate, nowhere."""
    ends = {How.VCC: "VCC", How.GND: "GND", How.OPEN: "open", How.WIRE: row.wire_to, How.GATE: row.gate}
    return ends[row.how]


def levels(net, plan):
    """When the output of a gate is low, by socket positions, tried out on every combination of their levels."""
    lines = [pin.number for pin in plan.original.pins if pin.function in plan.original.signals]
    low = [case for case in product("LH", repeat=len(lines)) if output(net, dict(zip(lines, case))) == "L"]
    fixed = [(line, {case[i] for case in low}) for i, line in enumerate(lines)]
    return "L: " + " ".join(f"{line}={''.join(level)}" for line, level in fixed if len(level) == 1)


def output(net, at):
    """The level of a net where the socket's lines are at the levels given."""
    if net.gate is None:
        return net.level or at[net.position]
    met = all(output(each, at) == level for each, level in zip(net.gate.inputs, net.gate.levels))
    return net.gate.gives if met else {"H": "L", "L": "H"}[net.gate.gives]


if __name__ == "__main__":
    TABLE.write_text(text_of(PARTS), "utf-8")
