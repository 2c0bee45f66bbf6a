"""Which parts can stand in for a ROM: the same fit as `wire` gives, ranked by the work that it takes."""

from __future__ import annotations

from collections.abc import Iterable
from enum import StrEnum

from msgspec import Struct

from romwright.findings import Finding, Severity
from romwright.fit import kinds, selects
from romwright.fit.drive import list_states
from romwright.fit.plans.proof import Proof
from romwright.fit.plans.rows import How, Row
from romwright.fit.plans.wiring import Plan
from romwright.fit.verdict import Fit, Polarity, fit_once
from romwright.parts.model import Part, Role

IMPOSSIBLE = {kinds.SIZE, kinds.WIDTH, kinds.VOLATILE, kinds.NOT_WRITTEN, kinds.SLOW_WRITE}
PLACED = ("pins", "supplies", "drives", "options", "read_levels", "read_either", "writes")
LASTING = {kinds.OUTPUT_KIND, kinds.LATCHED, kinds.SLOWER}


class Way(StrEnum):
    """How much it takes, least first."""

    DROP_IN = "drop-in"
    LINKS = "with links only"  # lines of the socket change places, as a board with links for both does it
    PINS = "with bent pins"
    WIRES = "with wires"
    GATE = "with a gate"
    NOT = "not at all"

    @property
    def rank(self) -> int:
        """0 for the least work."""
        return list(Way).index(self)


class StandIn(Struct, frozen=True):
    """A part in the place of another: the way, how many pins change, why, and what to look out for.

    `exact` is true if the finished wiring drives the bus in just the states in which the original does. `stops` say
    what destroys or overwrites the chip if it is plugged in without the work; `image_at` is the chip address, in words,
    at which the contents belong, `burn_at` the same in bytes of the file that is burnt.
    """

    part: Part
    way: Way
    changes: int
    reason: str
    cautions: tuple[str, ...] = ()
    stops: tuple[str, ...] = ()
    exact: bool = False
    image_at: int = 0
    burn_at: int = 0

    def as_json(self) -> dict:
        """The stand-in under the documented JSON keys."""
        return {
            "part": self.part.name,
            "way": str(self.way),
            "changes": self.changes,
            "reason": self.reason,
            "cautions": list(self.cautions),
            "stops": list(self.stops),
            "exact": self.exact,
            "image_at": self.image_at,
            "burn_at": self.burn_at,
            "unchecked": unchecked_pins(self.part),
        }


def rank_stand_ins(original: Part, parts: Iterable[Part], polarity: Polarity | None = None) -> list[StandIn]:
    """Rank parts as stand-ins for `original`: exact ones first, then least work, fewest changes, nearest size.

    One that is not exact loses an enable: it may stay on the bus while another chip is read, however little work it
    is. Those that cannot replace it come last.

    Polarities that are not stated are taken as the first choice of the page. Raises OptionError for a polarity that
    `original` cannot have.
    """
    stated = next(iter(original.polarities(polarity or {})))
    found = [judge(original, part, stated) for part in parts]
    return sorted(
        found, key=lambda s: (s.way is Way.NOT, not s.exact, s.way.rank, s.changes, s.part.words, s.part.name)
    )


def judge(original: Part, part: Part, stated: Polarity) -> StandIn:
    """Say what it takes to put a part into the socket."""
    if not part.drives:
        return StandIn(part, Way.NOT, 0, "its page does not say when it drives the bus")
    fit = fit_once(original, part, stated, next(iter(part.polarities({}))))
    plan = fit.spare if fit.spare.heeds else fit.plan
    rows = [row for row in plan.rows if is_changed(row, part)]
    way, reason = choose_way(fit, plan, part, rows)
    if way is Way.NOT:
        return StandIn(part, way, len(rows), reason)
    known = {kinds.TIME_UNKNOWN} if kinds.access_ns(original) else set()  # else it would be said of every part
    cautions = [finding.title for finding in fit.findings if finding.code in LASTING | known] + lost(fit, plan)
    stops = tuple(finding.title for finding in fit.findings if finding.severity is Severity.STOP)
    return StandIn(part, way, len(rows), reason, tuple(cautions), stops, plan.wired.equal, plan.image_at, plan.burn_at)


def unchecked_pins(part: Part) -> list[str]:
    """List what a page marks as read nowhere about pins and levels: a fit is no better than these."""
    return part.unchecked_about(*PLACED)


def lost(fit: Fit, plan: Plan) -> list[str]:
    """Say which enables the finished wiring loses."""
    if plan.wired.equal:
        return []
    found = {
        code: [f.title for f in fit.findings if f.code is code] for code in (selects.STILL_LOST, selects.ENABLE_LOST)
    }
    return next(filter(None, found.values()), [f"it alone drives at {list_states(plan.wired.extra)}"])


def choose_way(fit: Fit, plan: Plan, part: Part, rows: list[Row]) -> tuple[Way, str]:
    """Return the way, and the reason in words."""
    if reason := why_not(fit.findings, fit.plan, fit.proof):
        return Way.NOT, reason
    if not rows:
        return Way.DROP_IN, "every pin meets what it needs"
    carrier = [finding.evidence for finding in fit.findings if finding.code is kinds.PITCH]
    work = "; ".join(carrier or map(in_words, rows))
    if plan.gates:
        return Way.GATE, work
    wires = [row for row in rows if row.how is How.WIRE]
    if len(wires) == len(rows) and {row.socket for row in wires} == {row.wire_to for row in wires}:
        return Way.LINKS, work
    return (Way.WIRES if wires or any(row.socket is None for row in rows) else Way.PINS), work


def why_not(findings: Iterable[Finding], plan: Plan, proof: Proof) -> str:
    """Say why a part cannot stand in, whatever is wired; nothing if it can."""
    if impossible := [finding.title for finding in findings if finding.code in IMPOSSIBLE]:
        return "; ".join(impossible)
    if lacking := unfed(plan):
        return f"the socket has no supply for {', '.join(row.function for row in lacking)}"
    if proof.states_written:
        return f"in {proof.states_written} of {proof.states} states it is written where the original is not"
    return "" if proof.equal else "the finished wiring does not read as the original does"


def unfed(plan: Plan) -> list[Row]:
    """Return the rows of supply pins that a plan leaves open, since the socket has no such supply."""
    return [row for row in plan.rows if row.how is How.OPEN and row.chip and role(row, plan.chip) is Role.SUPPLY]


def is_changed(row: Row, part: Part) -> bool:
    """Tell whether a row asks for work: anything but a straight pin, no pin, or a pin that is not connected inside."""
    return row.chip is not None and row.how is not How.STRAIGHT and role(row, part) is not Role.NC


def role(row: Row, part: Part) -> Role:
    """Return what the chip pin of a row is for."""
    return part.pins[row.chip - 1].role


def in_words(row: Row) -> str:
    """Write the work of one row: `pin 27 to VCC`."""
    gate = f"to socket {row.wire_to} through an inverter" if row.inverted else "to a gate"
    where = {How.VCC: "to VCC", How.GND: "to GND", How.OPEN: "left open", How.GATE: gate}
    return f"pin {row.chip} ({row.function}) {where.get(row.how, f'to socket {row.wire_to}')}"
