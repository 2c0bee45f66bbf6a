"""A plan's wiring as lines of letters: the chip with its pins, and beside each what is done with it.

What the picture of `adapter.py` shows with wires is told here at each pin. Behind the board the edge is dotted, and
left and right have changed places.
"""

from __future__ import annotations

from romwright.fit.plans.rows import How, Row
from romwright.fit.plans.wiring import Plan
from romwright.parts.model import Role
from romwright.sheets.adapter import SIDES
from romwright.sheets.placement import join_ends
from romwright.sheets.text import cut

BESIDE, NAME = 19, 12  # columns beside a pin, and of its name
INSIDE = 2 * (NAME + 5) + 2  # between the edges
NOTCH = "\\__/"
BENT = "UP:"  # of a pin that is bent up
LEGEND = "UP: the pin is bent up, clear of the socket, and goes where it says"


def draw_pin_lines(plan: Plan, mirrored: bool) -> list[str]:
    """Draw the chip of a plan in ASCII, in at most 80 columns: from above or, mirrored, from the solder side."""
    wires = {pin: net.number for net in join_ends(plan) for pin in net.pins}
    rows, edge = {row.chip: row for row in plan.rows if row.chip}, ":" if mirrored else "|"
    indent, fill = " " * (BESIDE + 2), "." if mirrored else "-"
    half, count = plan.chip.pin_count // 2, plan.chip.pin_count
    lines = [f"{indent} {SIDES[mirrored].center(INSIDE).rstrip()}", f"{indent}+{NOTCH.center(INSIDE, fill)}+"]
    for low, high in zip(range(1, half + 1), range(count, half, -1)):
        left, right = (high, low) if mirrored else (low, high)
        lines.append(
            f"{beside(plan, rows[left], wires):>{BESIDE}} -{edge}{pin_on_left(plan, left)}  "
            f"{pin_on_right(plan, right)}{edge}- {beside(plan, rows[right], wires)}"
        )
    lines.append(f"{indent}+{f'  {plan.chip.name}  '.center(INSIDE, fill)}+")
    return [*lines, *([LEGEND] if any(BENT in line for line in lines) else [])]


def pin_on_left(plan: Plan, number: int) -> str:
    """Write a pin inside the left edge: a star at pin 1, its number, its name."""
    return f"{'*' if number == 1 else ' '}{number:>2}  {cut(plan.chip.pins[number - 1].name, NAME):<{NAME}}"


def pin_on_right(plan: Plan, number: int) -> str:
    """Write a pin inside the right edge."""
    return f"{cut(plan.chip.pins[number - 1].name, NAME):>{NAME}}  {number:>2}{'*' if number == 1 else ' '}"


def beside(plan: Plan, row: Row, wires: dict[int, int]) -> str:
    """Say what is done with a pin."""
    if row.how is How.STRAIGHT:
        return cut(f"socket {row.socket} {row.signal}", BESIDE)
    if row.socket is None and plan.chip.pins[row.chip - 1].role is Role.NC:
        return "nothing"
    said = {How.VCC: "VCC", How.GND: "GND", How.OPEN: "open", How.POINT: row.point, How.STRAP: row.strap}
    return cut(f"{BENT} {said.get(row.how) or f'wire {wires[row.chip]}'}", BESIDE)
