"""Stand-ins, held against what data sheets and boards say about who replaces whom (sources with each row)."""

import pytest

from romwright.fit.standins import Way, rank_stand_ins
from romwright.fit.verdict import examine_fit
from romwright.parts.library import read_all, require_part

PARTS = read_all()

# original, its polarities, part, way, changes. Source: the "stand-ins" facts of the mask ROM table, which cite the
# documents named in the pages of the originals.
KNOWN = [
    ("rom-23512", {20: "L", 22: "L"}, "27512", Way.DROP_IN, 0),  # NESdev Wiki, Mask ROM pinout: same pins
    ("rom-23512", {20: "L", 22: "L"}, "W27C512", Way.DROP_IN, 0),
    ("rom-23256-a14-pin27", {20: "L", 22: "L"}, "27C256", Way.PINS, 1),  # the same page: pin 1 is VPP, at +5 V
    ("rom-23256-a14-pin1", {20: "L", 22: "L", 27: "NC"}, "28C256", Way.PINS, 1),  # A14 on pin 1 as there, 27 is /WE
    ("rom-23128-style-a", {20: "L", 22: "L", 27: "L"}, "27128A", Way.PINS, 2),  # SGS-Thomson M27128A, Table 3
    ("rom-2364-24", {20: "L"}, "2764", Way.WIRES, 6),  # pins 18, 20, 21 and 24 of the socket move; VPP and /PGM to +5 V
    ("rom-2364-24", {20: "H"}, "2764", Way.GATE, 7),  # the select needs an inverter, for both enables
    ("rom-2332-a11-pin18", {20: "L", 21: "H"}, "2532", Way.PINS, 1),  # sebhc list, 2004: fits a 2332 socket; 21 is VPP
    ("27256", {}, "27C256", Way.DROP_IN, 0),
    ("27256", {}, "28C256", Way.WIRES, 2),  # Atmel AT28C256: A14 on pin 1, /WE on 27
    ("2708", {}, "2716", Way.PINS, 2),  # synth-diy list, 22 March 2006: pins 19 (+12 V) and 21 (-5 V) must leave
    ("27128", {}, "2764", Way.NOT, None),
    ("27256", {}, "62256", Way.NOT, None),
]


@pytest.mark.parametrize(("original", "polarity", "part", "way", "changes"), KNOWN)
def test_known_stand_ins(original, polarity, part, way, changes):
    (found,) = rank_stand_ins(require_part(original), [require_part(part)], polarity)
    assert found.way is way, found
    assert changes is None or found.changes == changes, found


@pytest.mark.parametrize("original", ["rom-23128-style-b", "rom-2364-24", "27256", "2716", "27C400", "prom-82s123"])
def test_the_ranking_has_no_opinion_of_its_own(original):
    """Every stand-in is what the fit says: same changes, same proof."""
    part = require_part(original)
    ranked = rank_stand_ins(part, PARTS)
    assert [s.way.rank for s in ranked] == sorted(s.way.rank for s in ranked)
    assert {s.part.name for s in ranked} == {p.name for p in PARTS}
    for stand_in in ranked[:12]:
        if stand_in.way is not Way.NOT:
            fit = examine_fit(part, stand_in.part).fits[0]
            assert fit.proof.equal and stand_in.exact == fit.plan.wired.equal
            assert stand_in.image_at == fit.plan.image_at


def test_every_part_stands_in_for_itself():
    for part in PARTS:
        if part.drives:
            polarity = part.polarities({})[0]
            (found,) = rank_stand_ins(part.ordered_as(polarity), [part.ordered_as(polarity)])
            assert (found.way, found.changes, found.exact) == (Way.DROP_IN, 0, True), part.name


def test_where_the_contents_go_is_said():
    (found,) = rank_stand_ins(require_part("27256"), [require_part("27512")])
    assert (found.way, found.image_at) == (Way.DROP_IN, 0x8000)


def test_a_lost_enable_is_not_exact_and_says_so():
    (found,) = rank_stand_ins(require_part("rom-23128-style-a"), [require_part("27128")])
    assert not found.exact
    assert any("27" in caution for caution in found.cautions)
