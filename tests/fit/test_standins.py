"""Stand-ins, held against what data sheets and boards say about who replaces whom (sources with each row)."""

import pytest
from msgspec.structs import replace

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
    order = [(s.way is Way.NOT, not s.exact, s.way.rank) for s in ranked]
    assert order == sorted(order)
    assert {s.part.name for s in ranked} == {p.name for p in PARTS}
    for stand_in in ranked[:12]:
        if stand_in.way is not Way.NOT:
            fit = examine_fit(part, stand_in.part).fits[0]
            plan = fit.spare if fit.spare.heeds else fit.plan  # no gate where wires alone heed the select
            assert fit.proof.equal and stand_in.exact == plan.wired.equal
            assert stand_in.image_at == plan.image_at and (stand_in.way is Way.GATE) == bool(plan.gates)


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


def test_exact_ones_come_before_those_that_lose_an_enable():
    """A select that is active high takes a gate, unless the part has such an enable: that part may lose another."""
    socket, stated = require_part("rom-23128-style-a"), {20: "H", 22: "L", 27: "L"}
    able = [s for s in rank_stand_ins(socket, PARTS, stated) if s.way is not Way.NOT]
    exact = [s for s in able if s.exact]
    assert able[: len(exact)] == exact and 0 < len(exact) < len(able)
    assert any(s.way is Way.GATE for s in exact) and any(s.way is Way.WIRES for s in able[len(exact) :])
    assert all("lost" in " ".join(s.cautions) for s in able[len(exact) :])
    assert not any("lost" in caution for s in exact for caution in s.cautions)


def test_only_what_the_finished_wiring_loses_is_said():
    """The 2716 gets the select that it misses when plugged in (pin 21); pin 18 stays lost."""
    (found,) = rank_stand_ins(require_part("rom-9316b-inhibit"), [require_part("2716")])
    assert found.cautions == ("lost without a gate: socket pin 18 (CS2, active H)",) and found.way is Way.WIRES


def test_the_way_through_a_gate_is_told_in_words():
    """rom-2364-24 ordered active high; a NAND gives style A's two enables (20 H, 27 L) to one pin of a 27128."""
    (inverter,) = rank_stand_ins(require_part("rom-2364-24"), [require_part("2764")], {20: "H"})
    assert "pin 20 (/CE) to socket 20 through an inverter" in inverter.reason
    (nand,) = rank_stand_ins(require_part("rom-23128-style-a"), [require_part("27128")], {20: "H", 22: "L", 27: "L"})
    assert "pin 20 (/CE) to a gate" in nand.reason and nand.exact


@pytest.mark.parametrize("original, part, stops", [
    ("2708", "2716", ("+12 V on A10", "-5 V on VPP")),  # synth-diy list, 22 March 2006: pins 19 and 21
    ("rom-23128-style-a", "28C256", ("pin 27 of the chip is /WE",)),  # Atmel AT28C256: /WE on pin 27
    ("27256", "27C256", ()),
])  # fmt: skip
def test_what_plugging_in_would_destroy_is_carried_along(original, part, stops):
    (found,) = rank_stand_ins(require_part(original), [require_part(part)])
    assert found.stops == stops and found.as_json()["stops"] == list(stops)


def test_a_drop_in_never_needs_a_stop():
    for original in PARTS[::8]:  # all of them pass too, in a minute
        ranked = rank_stand_ins(original, PARTS) if original.drives else []
        assert not [s for s in ranked if s.way is Way.DROP_IN and s.stops]


def test_access_times_are_compared():
    """A bipolar PROM of 50 ns and a 2716 of 350 ns at best, as their pages say."""
    (found,) = rank_stand_ins(require_part("prom-82s123"), [require_part("2716")])
    assert "slower than the original: 350-450 ns against 50 ns" in found.cautions


def test_unknown_access_times_are_said_where_the_chip_lacks_them():
    bare = replace(require_part("27C256"), name="bare", times=None)
    assert rank_stand_ins(require_part("27256"), [bare])[0].cautions == ("the access times cannot be compared",)
    assert rank_stand_ins(bare, [require_part("27256")])[0].cautions == ()  # else it would be said of every part
