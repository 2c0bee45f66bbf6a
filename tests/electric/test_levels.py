"""Levels, loads and supply: the sheets' own numbers, unknown that stays unknown, and laws."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec import structs

from romwright.boards.library import require_board
from romwright.electric.loading import add_up, find_of_load, find_of_outputs
from romwright.electric.margins import HOLDS, SHORT, UNKNOWN, fan_out, pair
from romwright.electric.socketed import examine_on_board, examine_pair, pulled_up, rail_of
from romwright.electric.supply import compare_supply, difference, find_of_all
from romwright.electric.terminals import Drive, Terminal, require_terminal
from romwright.parts.library import read_all, require_part

VCC = (4.75, 5.25)
volts = st.floats(0.1, 5).map(lambda value: round(value, 2))
currents_ua = st.floats(1, 2000).map(lambda value: round(value, 1))
spans = st.tuples(volts, volts).map(lambda pair: (min(pair), max(pair)))


@pytest.mark.parametrize(
    ("driver", "receiver", "high_v", "low_v"),
    [  # printed levels, subtracted by hand
        ("27128A", "LS", 0.4, 0.35),  # Intel 27128A p. 5-31; TI SDLS100, SDLS014
        ("TTL", "TTL", 0.4, 0.4),  # TI SDLS029C: the classic 400 mV
        ("28C256", "Z80", 0.4, 0.35),  # Atmel 0006M; Zilog p. 39
        ("27C256", "HCT", 1.6, 0.4),  # ST M27C256B: 3.6 V at 1 mA, 0.4 V; TI SCLS064E
        ("8085", "NMOS", 0.4, 0.35),  # Intel 231718-001 p. 1-22
    ],
)
def test_margins_of_printed_levels(driver, receiver, high_v, low_v):
    found = pair(require_terminal(driver), require_terminal(receiver))
    assert found.high.margin_v == (high_v, high_v) and found.low.margin_v == (low_v, low_v) and not found.findings


@pytest.mark.parametrize("driver", ["27128A", "28C256", "LS", "NMOS", "Z80", "6502"])
@pytest.mark.parametrize(
    ("receiver", "vcc", "asked"),
    [  # TI SCLS181H: 3.15 V at 4.5 V; WDC Table 6-2: 0.7 VDD; Intel 98-153B p. 5-15: 3.3 V
        ("HC", (4.5, 4.5), (3.15, 3.15)), ("W65C02S", (5, 5), (3.5, 3.5)), ("8080", (5, 5), (3.3, 3.3)),
    ],
)  # fmt: skip
def test_a_ttl_high_is_not_enough_for_cmos_inputs(driver, receiver, vcc, asked):
    found = pair(require_terminal(driver, vcc), require_terminal(receiver, vcc))
    assert found.high.asked_v == asked and found.high.verdict == SHORT and found.low.verdict == HOLDS
    (finding,) = found.findings
    assert finding.code.name == "level-not-guaranteed" and str(finding.severity) == "caution"
    assert f"noise margin {found.high.margin_v[0]:g} V" in finding.evidence


def test_hct_is_the_cure():
    for driver in ("27128A", "28C256", "LS"):
        assert pair(require_terminal(driver), require_terminal("HCT")).high.verdict == HOLDS
    assert pair(require_terminal("HCT", VCC), require_terminal("HC", VCC)).high.verdict == HOLDS


def test_a_range_of_supply_is_a_range_of_margins():
    found = pair(require_terminal("27128A", VCC), require_terminal("HC", VCC)).high
    assert found.asked_v == (3.325, 3.675) and found.margin_v == (-1.275, -0.925)


def test_fan_out_of_printed_currents():
    """Intel 27128A: 2.1 mA; TI: a TTL input 1.6 mA, an LS input at most 0.4 mA. TTL into TTL: ten."""
    eprom, ttl, ls = map(require_terminal, ("27128A", "TTL", "LS"))
    assert pair(eprom, ttl).fan_out_low == (1, 1)
    assert pair(eprom, ls).fan_out_low[0] == 5
    assert pair(ttl, ttl).fan_out == (10, 10)


def test_too_many_inputs_are_told_with_the_rating():
    eprom, ttl = map(require_terminal, ("27128A", "TTL"))
    assert not [*find_of_load(eprom, add_up({ttl: 1}, "L"), "L", "x")]
    (finding,) = find_of_load(eprom, add_up({ttl: 2}, "L"), "L", "x")
    assert finding.title == "27128A is loaded with 3.2 mA at L, and rated for 2.1 mA"


def test_what_nobody_has_read_is_unknown_and_never_0():
    known, unread = require_terminal("TTL"), require_terminal("Z80")
    load = add_up({known: 1, unread: 1}, "L")
    assert load.least_ma == 1.6 and load.most_ma is None and load.unknown == ("Z80",)
    assert pair(known, unread).fan_out is None
    nothing = pair(Terminal("a", VCC), Terminal("b", VCC))
    assert nothing.high.margin_v is None and nothing.low.verdict == UNKNOWN and nothing.fan_out_low is None
    assert {each.code.name for each in nothing.findings} == {"level-unknown"}


def test_a_driver_without_a_current_has_no_fan_out():
    assert fan_out(require_terminal("CMOS").low, (1, 1)) is None  # TI SCEA043 figure names no currents


@given(spans, spans, spans)
def test_a_wider_threshold_never_raises_the_least_margin(given_v, asked, wider):
    driver = Terminal("a", VCC, high=(Drive(given_v, 1),), low=(Drive(given_v, 1),))
    both = (min(asked[0], wider[0]), max(asked[1], wider[1]))
    one, other = (pair(driver, Terminal("b", VCC, each, each)) for each in (asked, both))
    assert other.high.margin_v[0] <= one.high.margin_v[0] <= one.high.margin_v[1] <= other.high.margin_v[1]
    assert other.low.margin_v[0] <= one.low.margin_v[0] <= one.low.margin_v[1] <= other.low.margin_v[1]


@given(st.integers(1, 40), st.integers(0, 40), currents_ua, currents_ua)
def test_a_load_grows_with_its_inputs_and_a_fan_out_is_the_most_that_holds(count, more, first, second):
    each = (min(first, second), max(first, second))
    one = Terminal("b", VCC, iil_ua=each)
    assert add_up({one: count}, "L").most_ma <= add_up({one: count + more}, "L").most_ma
    fewest, most = fan_out((Drive((0.4, 0.4), 2.1),), each)
    assert fewest <= most and fewest * each[1] <= 2100 + 1e-6 and (fewest + 1) * each[1] > 2100 - 1e-6


@given(st.one_of(st.none(), currents_ua), st.one_of(st.none(), currents_ua))
def test_a_difference_holds_whatever_the_unknown_one_is(old, new):
    least, most = difference(old, new)
    assert (least is None) == (old is None) and (most is None) == (new is None)
    for taken in (0, 7, 300):  # what an unread current might be
        true = (taken if new is None else new) - (taken if old is None else old)
        assert (-math.inf if least is None else least) <= true <= (math.inf if most is None else most)


def test_the_supply_of_old_and_new():
    """Intel 27128A: 100 mA active, 40 mA standby; Atmel AT28C256: 50 mA, 3 mA, 0.2 mA at CMOS levels."""
    found = compare_supply(require_part("27128A"), require_part("28C256"))
    assert (found.old.active_ma, found.old.standby_ma) == (100, 40)
    assert (found.new.active_ma, found.new.standby_ma, found.new.standby_cmos_ma) == (50, 3, 0.2)
    assert found.change_ma == (-50, -50) and found.total_ma == (None, None)


def test_a_supply_that_may_be_asked_for_too_much():
    board = require_board("tern-tl-1")
    limits = board.limits["+5V"]
    tight = type(limits)(limits.probe, limits.range_v, limits.current_ma, 820)
    found = compare_supply(require_part("rom-23128-style-a"), require_part("28C256"), "+5V", tight)
    assert found.total_ma[1] == 850 - (found.old.active_ma or 0)
    unread = compare_supply(require_part("rom-2364-28"), require_part("28C256"), "+5V", tight)
    assert unread.total_ma == (None, 850) and [each.code.name for each in unread.findings] == ["supply-short"]
    assert not compare_supply(require_part("rom-2364-28"), require_part("28C256"), "+5V", limits).findings


def test_open_collector_and_three_state():
    prom, chip = require_part("prom-82s23"), require_part("prom-82s123")
    assert (prom.output, chip.output) == ("open-collector", "three-state")
    lines = tuple(f"D{n}" for n in range(8))
    (bare,) = find_of_outputs(chip, prom, frozenset(["D0"]), lines)
    assert bare.code.name == "no-pull-up" and "D1-D7 have no pull-up" in bare.title
    assert not [*find_of_outputs(chip, prom, frozenset(lines), lines)]
    (untold,) = find_of_outputs(prom, prom, frozenset(), lines)  # the old one cannot have worked without
    assert untold.code.name == "pull-up-not-stated" and str(untold.severity) == "caution"
    assert not [*find_of_outputs(prom, prom, frozenset(lines), lines)]
    (tied,) = find_of_outputs(prom, chip, frozenset(lines), lines)
    assert tied.code.name == "wired-together" and "pull-ups on D0-D7" in tied.evidence
    assert not [*find_of_outputs(prom, chip, None, lines)]


def test_a_boards_pull_ups_and_rails_are_seen():
    board = require_board("dunlin-dl-2")
    assert pulled_up(board, "+5V") == {"P18", "P20", "Q18", "Q20"}
    assert pulled_up(board, "+12V") == pulled_up(board, "") == frozenset()  # 12 V is no pull-up of a data line
    assert rail_of(board, require_part("2732")) == "+5V"


def test_a_driver_without_a_current_is_not_said_to_feed_its_load():
    cmos, ttl = map(require_terminal, ("CMOS", "TTL"))  # TI SCEA043 figure: levels, no currents
    (finding,) = find_of_load(cmos, add_up({ttl: 100}, "L"), "L", "x")
    assert finding.code.name == "load-unknown" and "160 mA" in finding.title


def test_a_board_that_does_not_say_what_drives_its_lines_is_marked():
    board = structs.replace(require_board("tern-tl-1"), bus=None)
    found = examine_on_board(board, board.sockets[0], require_part("27128A"), require_part("28C256"))
    assert found.loads is None and found.drives == ()
    assert any("does not say what drives" in each for each in found.unchecked)


# VIL max, VIH min, [VOL max, mA], [VOH min, mA], IIL, IIH in uA: by hand from the table of the sheets named in
# tests/parts/test_families.py; None is what no sheet says.
SHEETS = {
    "TTL": (0.8, 2.0, [(0.4, 16)], [(2.4, 0.4)], (1600, 1600), (40, 40)),
    "LS": (0.8, 2.0, [(0.4, 4), (0.5, 8)], [(2.7, 0.4)], (200, 400), (20, 20)),
    "HC": (1.5, 3.5, [(0.33, 4)], [(3.84, 4)], (1, 1), (1, 1)),  # thresholds at 5 V: 0.3 and 0.7 of it
    "HCT": (0.8, 2.0, [(0.33, 4)], [(4.4, 0.02), (3.84, 4)], (1, 1), (1, 1)),
    "NMOS": (0.8, 2.0, [(0.45, 2.1)], [(2.4, 0.4)], (10, 10), (10, 10)),
    "Z80": (0.8, 2.0, [(0.4, 2.0)], [(2.4, 0.25)], None, None),
    "6502": (0.8, 2.0, [(0.4, 1.6)], [(2.4, 0.1)], None, None),
    "8085": (0.8, 2.0, [(0.45, 2.0)], [(2.4, 0.4)], None, None),
    "8088": (0.8, 2.0, [(0.45, 2.0)], [(2.4, 0.4)], None, None),
    "8080": (0.8, 3.3, [(0.45, 1.9)], [(3.7, 0.15)], None, None),
    "W65C02S": (1.5, 3.5, [(0.4, 1.6)], [(4.6, 0.7)], None, None),
    "CMOS": (1.5, 3.5, [(0.5, None)], [(4.44, None)], None, None),
}


@pytest.mark.parametrize("receiver", SHEETS)
@pytest.mark.parametrize("driver", SHEETS)
def test_every_pair_of_families_by_the_sheets(driver, receiver):
    _, _, low, high, _, _ = SHEETS[driver]
    vil, vih, _, _, iil, iih = SHEETS[receiver]
    found = pair(require_terminal(driver), require_terminal(receiver))
    given_h, given_l = [volts for volts, _ in high], [volts for volts, _ in low]
    assert found.high.margin_v == pytest.approx((min(given_h) - vih, max(given_h) - vih))
    assert found.low.margin_v == pytest.approx((vil - max(given_l), vil - min(given_l)))
    assert (found.high.verdict == SHORT) == (min(given_h) < vih)
    fans = (low, iil, found.fan_out_low, vil - max(given_l)), (high, iih, found.fan_out_high, max(given_h) - vih)
    for drives, asked, fan, best in fans:
        most = max((ma for _, ma in drives if ma), default=None)
        if most is None or asked is None:
            assert fan is None
        elif best < 0:
            assert fan == (0, 0)  # no input at all gets its level for sure
        else:
            assert fan == tuple(round(most * 1e5) // (100 * ua) for ua in reversed(asked))


def test_several_chips_at_once_may_ask_for_more_than_each_alone():
    board = require_board("tern-tl-1")
    limits = structs.replace(board.limits["+5V"], current_ma=(350, 800), most_ma=870)
    one = compare_supply(require_part("2716"), require_part("2732A"), "+5V", limits)  # 100 and 125 mA: ST, NTE sheets
    assert one.total_ma == (825, 825) and not one.findings and not [*find_of_all([one, one])]
    (finding,) = find_of_all([one, one, one])
    assert finding.title == "+5V may have to give 875 mA, and gives 870 mA" and "2732A, 2732A" in finding.evidence
    unread = compare_supply(require_part("2716"), require_part("2732"), "+5V", limits)
    assert unread.change_ma[1] is None and not [*find_of_all([one, one, one, unread])]


@pytest.mark.parametrize("part", [part for part in read_all() if part.bits == 8 and part.supplies.get("VCC") == 5],
                         ids=lambda part: part.name)  # fmt: skip
def test_every_part_is_examined_and_names_what_it_rests_on(part):
    board = require_board("tern-tl-1")
    found = examine_on_board(board, board.sockets[0], require_part("27128A"), part)
    assert found.vcc_v == VCC and found.sources
    read = part.levels is not None and not part.unchecked_about("levels")
    assert not read or any(text.startswith(f"{part.name}, levels: ") for text in found.sources)
    assert part.levels is not None or not any(text.startswith(f"{part.name}, levels: ") for text in found.sources)
    for margin in (m for each in (*found.driven, *found.drives) for m in (each.high, each.low)):
        assert (margin.margin_v is None) == (margin.verdict == UNKNOWN)
    assert found.supply.as_json()["new"]["active_ma"] == (part.currents and part.currents.active_ma)
    assert examine_pair(require_part("27128A"), part).driven == ()
