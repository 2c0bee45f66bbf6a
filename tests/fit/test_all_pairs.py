"""Every part of the library in the socket of every other: it plans and proves, or a reason is given in words.

The outcomes are kept in all_pairs.csv, where `python tests/fit/test_all_pairs.py` writes them again: read the difference
before it is committed. All polarities of the socket's part are gone through, and of the chip's the first and the last.
"""

import csv
import io
from collections import defaultdict
from functools import cache
from itertools import chain
from pathlib import Path

import pytest

from romwright.fit import kinds
from romwright.fit.proof import read_every_address
from romwright.fit.seating import Seating
from romwright.fit.standins import is_changed, why_not
from romwright.fit.wiring import Plan, plan_wiring
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


def judge(original, chip):
    """Return the outcome, the points, the gates and the pins changed; the last three are empty for what cannot be."""
    if titles := [finding.title for finding in kinds.check_size(Seating(Plan(original, chip, ())))]:
        return "; ".join(titles), "", "", ""
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
    found = defaultdict(list)
    for choices in part.polarities({}):
        original = part.ordered_as(choices)
        for name, chip in chips().items():
            outcome = judge(original, chip)
            polarity = "any" if not outcome[1] and len(part.polarities({})) > 1 else stated(choices)
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


if __name__ == "__main__":
    TABLE.write_text(text_of(PARTS), "utf-8")
