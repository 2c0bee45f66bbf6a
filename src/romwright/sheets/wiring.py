"""The wiring of a plan on paper: seen from above, seen from the solder side, and a list of the wires.

Made for a printer without colours, in pages of A4. What a wire is, its number tells, and its dashes; never a colour.
"""

from __future__ import annotations

from collections.abc import Iterator

from romwright.fit.plans.proof import Proof
from romwright.fit.plans.wiring import Plan
from romwright.sheets.adapter import draw_view
from romwright.sheets.drawing import SHOWN
from romwright.sheets.paper import LINE, Paper
from romwright.sheets.wirelist import HEADER, list_straight, list_ties, list_wires

SOME_ROWS = 150  # of the list stay together; the rest may go to the next page
LEGEND = (
    "hook with a ring: this pin is bent up and stays clear of the socket. Thin leg: the pin goes straight in.",
    "filled contact: a straight pin plugs in. Open contact: nothing plugs in. Equal numbers: one wire.",
    "gap: the wire passes under, not joined. Dot: joined.",
)
VIEWS = (
    "seen from above, pins away from you",
    "seen from the solder side, pins towards you: left and right have changed places",
)


def build_wiring_svg(plan: Plan, warning: str = "") -> bytes:
    """Draw a plan on pages of A4; a warning is printed large above it. The same plan gives the same bytes.

    The list stands between the views if that takes no more pages than after them, or if it need not be broken there.
    """
    between, after = (lay_out(plan, warning, list_after) for list_after in (0, 1))
    whole = between.pages <= after.pages and not between.broken
    return (between if whole or between.pages < after.pages else after).enclose(title_of(plan))


def title_of(plan: Plan) -> str:
    """Name a plan."""
    return f"{plan.chip.name} in a socket laid out for {plan.original.name}"


def warning_about(proof: Proof) -> str:
    """Say on the drawing what the proof did not find right."""
    if not proof.equal:
        return "DO NOT BUILD THIS AS IT STANDS: read through these wires, the chip does not give the original's bytes"
    if not proof.drive_equal:
        return "CAUTION: the wired chip does not drive the bus in exactly the same states as the original"
    return ""


def lay_out(plan: Plan, warning: str, list_after: int) -> Paper:
    """Lay out the pages, the list after the first (0) or the second view."""
    views = [draw_view(plan, mirrored) for mirrored in (False, True)]
    paper, unread = Paper(views[0][0].width), list(unchecked(plan))
    paper.write_all(title_of(plan), 24, bold=True)
    for line in filter(None, [warning, "UNCHECKED pages: see the end of the list" if unread else ""]):
        paper.write_all(line, 17, bold=True)
    for line in remarks(plan):
        paper.write_all(line, 14)
    for number, (heading, (canvas, height)) in enumerate(zip(VIEWS, views)):
        paper.keep(height + 30)
        paper.write(heading, 17, bold=True)
        paper.lines += canvas.elements(paper.room(height))
        if number == list_after:
            write_list(paper, plan, unread)
    return paper


def write_list(paper: Paper, plan: Plan, unread: list[str]) -> None:
    """Write the list of wires and ties, what the signs mean, and what nobody has read."""
    paper.keep(SOME_ROWS)
    page = paper.pages
    for cells in (HEADER, *list_wires(plan), *list_ties(plan)):
        paper.write_cells(cells, bold=cells is HEADER)
    notes = [*list_straight(plan), *LEGEND]
    paper.keep(LINE * (len(notes) + 2 * len(unread)))
    for line in notes:
        paper.write_all(line, 13)
    for line in unread:
        paper.write_all(line, 14, bold=True)
    paper.broken = paper.pages > page


def remarks(plan: Plan) -> Iterator[str]:
    """Yield how the chip sits, when both drive the bus, and where the contents are burnt."""
    if seating := plan.socket.seating(plan.chip):
        yield seating
    yield f"the original drives the data bus at: {plan.wired.original.words}"
    yield f"the chip, wired: {plan.wired.fitted.words}"
    if plan.chip.words > plan.original.words:
        yield f"the contents begin at {plan.burn_at:04X} of the chip's file"
    yield from plan.bank_lines


def unchecked(plan: Plan) -> Iterator[str]:
    """Yield what the pages of the two parts mark as read nowhere of what the picture shows."""
    for part in {part.name: part for part in (plan.original, plan.chip)}.values():
        if unread := part.unchecked_about(*SHOWN):
            yield f"UNCHECKED in the page of {part.name}: {'; '.join(unread)}"
