"""The wiring in letters: every pin once, with what the plan does with it, and the other side is the other side."""

import re

from hypothesis import HealthCheck, given, settings
from plans import plan_of, plans

from romwright.fit.plans.rows import How
from romwright.sheets.pinlines import LEGEND, draw_pin_lines

ROW = re.compile(r"(.*?) -[|:]([* ])? *(\d+)  (\S+) +(\S+) +(\d+)([* ])[|:]- (.*)")


def pins_of(lines):
    """{pin: what stands beside it}, of the left column and of the right one."""
    rows = [ROW.fullmatch(line) for line in lines if " -|" in line or " -:" in line]
    assert all(rows)
    return {int(r[3]): r[1].strip() for r in rows}, {int(r[6]): r[8].strip() for r in rows}


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(plans())
def test_each_pin_stands_once_on_its_side(plan):
    half = plan.chip.pin_count // 2
    above, below = draw_pin_lines(plan, False), draw_pin_lines(plan, True)
    assert max(map(len, (*above, *below))) <= 80
    (left, right), (turned_left, turned_right) = pins_of(above), pins_of(below)
    assert [*left] == [*range(1, half + 1)] and [*right] == [*range(2 * half, half, -1)]
    assert (turned_left, turned_right) == (right, left)
    beside = left | right
    for row in (row for row in plan.rows if row.chip):
        assert beside[row.chip].startswith("socket") == (row.how is How.STRAIGHT), row
        if row.how in (How.VCC, How.GND):
            assert beside[row.chip] == f"UP: {'VCC' if row.how is How.VCC else 'GND'}"


def test_the_sides_are_told_in_words_and_by_the_edge():
    plan = plan_of("rom-2364-24", "27C64", ((20, "L"),))
    above, below = draw_pin_lines(plan, False), draw_pin_lines(plan, True)
    assert "FROM ABOVE" in above[0] and "SOLDER SIDE" in below[0] and above[-1] == below[-1] == LEGEND
    assert not any("-:" in line for line in above) and not any("-|" in line for line in below)
    assert "|* 1 " in above[2] and " 1*:" in below[2]
