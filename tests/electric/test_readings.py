"""Readings of rails: each verdict on both sides of its limit, what is unknown stays unknown, laws."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from romwright.boards.library import require_board
from romwright.electric.readings import HIGH, IN, LOW, REVERSED, UNKNOWN, judge_readings, judge_volts, say_trust

TERN, DUNLIN = require_board("tern-tl-1"), require_board("dunlin-dl-2")
GOOD = {"+5V": 5.02, "+12V": 12.1, "-5V": -5.05}
volts = st.floats(-50, 50).map(lambda value: round(value, 3))


@pytest.mark.parametrize(
    ("measured", "verdict"),
    [(4.749, LOW), (4.75, IN), (5.0, IN), (5.25, IN), (5.251, HIGH), (0.0, LOW), (-0.4, LOW), (-5.0, REVERSED)],
)
def test_a_positive_rail(measured, verdict):
    found = judge_readings(TERN, {"+5V": measured}, {})
    assert found.rails[0].verdict == verdict
    assert found.trust[0].trust == ("yes" if verdict == IN else "no")


@pytest.mark.parametrize(("measured", "verdict"), [(-4.7, LOW), (-4.75, IN), (-5.25, IN), (-5.3, HIGH), (5, REVERSED)])
def test_a_negative_rail_is_low_when_it_is_near_to_zero(measured, verdict):
    assert judge_readings(DUNLIN, {**GOOD, "-5V": measured}, {}).rails[2].verdict == verdict


def test_a_rail_that_was_not_measured_leaves_every_verdict_unknown():
    found = judge_readings(DUNLIN, {"+5V": 5.0, "+12V": 12.0}, {})
    assert [each.trust for each in found.trust] == ["unknown", "unknown", "yes", "yes"]
    assert [each.code.name for each in found.findings] == ["rail-not-measured"]


def test_one_rail_out_weighs_more_than_one_unknown():
    assert judge_readings(DUNLIN, {"+5V": 4.0}, {}).trust[0].trust == "no"


@pytest.mark.parametrize(("ma", "code"), [(349, "current-low"), (350, None), (800, None), (801, "current-high")])
def test_current(ma, code):
    found = judge_readings(TERN, {"+5V": 5.0}, {"+5V": ma})
    assert [each.code.name for each in found.findings] == ([code] if code else [])
    assert found.trust[0].trust == ("no" if code == "current-high" else "yes")


def test_a_current_that_nobody_stated_is_not_judged():
    found = judge_readings(DUNLIN, GOOD, {"-5V": 3})
    assert found.rails[2].current_verdict == UNKNOWN and found.rails[2].measured_ma == 3 and not found.findings


@given(volts)
def test_without_a_range_no_reading_is_known_to_be_right(reading):
    assert judge_volts(reading, 5, None) != IN
    assert judge_volts(5.1, 5, None) == UNKNOWN


@given(volts, volts)
def test_the_verdict_on_a_rail_is_mirrored_with_its_sign(reading, other):
    span = (4.75, 5.25)
    assert judge_volts(reading, 5, span) == judge_volts(-reading, -5, (-5.25, -4.75))
    order = [REVERSED, LOW, IN, HIGH]
    low, high = sorted((reading, other))
    assert order.index(judge_volts(low, 5, span)) <= order.index(judge_volts(high, 5, span))


@given(st.dictionaries(st.sampled_from(list(GOOD)), volts))
def test_verdicts_are_trusted_exactly_when_every_rail_is_in(readings):
    found = judge_readings(DUNLIN, readings, {})
    verdicts = {each.verdict for each in found.rails}
    out = verdicts & {LOW, HIGH, REVERSED}
    assert found.trust[0].trust == ("no" if out else "yes" if verdicts == {IN} else "unknown")
    assert bool(out) == any(each.severity in ("stop", "fault") for each in found.findings)


def test_a_board_without_rails_gives_no_trust():
    assert [*say_trust(())][0].trust == "unknown"
