"""Which parts can stand in for a ROM: the same fit as `wire` gives, ranked by the work that it takes."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from romwright.fit import kinds
from romwright.fit.rows import How, Row
from romwright.fit.verdict import Fit, Polarity, fit_once
from romwright.parts.model import Part, Role

IMPOSSIBLE = {kinds.SIZE, kinds.WIDTH, kinds.VOLATILE, kinds.NOT_WRITTEN, kinds.SLOW_WRITE}


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


@dataclass(frozen=True, slots=True)
class StandIn:
    """A part in the place of another: the way, how many pins change, why, and what to look out for."""

    part: Part
    way: Way
    changes: int
    reason: str
    cautions: tuple[str, ...]
    exact: bool

    def as_json(self) -> dict:
        """The stand-in under the documented JSON keys."""
        return {
            "part": self.part.name,
            "way": str(self.way),
            "changes": self.changes,
            "reason": self.reason,
            "cautions": list(self.cautions),
            "exact": self.exact,
        }


def rank_stand_ins(original: Part, parts: Iterable[Part], polarity: Polarity | None = None) -> list[StandIn]:
    """Rank parts as stand-ins for `original`: least work first, then exact ones, fewest changes, nearest size.

    Polarities that are not stated are taken as the first choice of the page. Raises OptionError for a polarity that
    `original` cannot have.
    """
    stated = next(iter(original.polarities(polarity or {})))
    found = [judge(fit_once(original, part, stated, next(iter(part.polarities({})))), part) for part in parts]
    return sorted(found, key=lambda s: (s.way.rank, not s.exact, s.changes, s.part.words, s.part.name))


def judge(fit: Fit, part: Part) -> StandIn:
    """Say what it takes to put a part into the socket."""
    rows = [row for row in fit.plan.rows if is_changed(row, part)]
    way, reason = choose_way(fit, part, rows)
    cautions = tuple(f.title for f in fit.findings if f.severity == "caution")
    exact = fit.plan.wired.equal and fit.proof.equal
    return StandIn(part, way, len(rows), reason, cautions if way is not Way.NOT else (), exact and way is not Way.NOT)


def choose_way(fit: Fit, part: Part, rows: list[Row]) -> tuple[Way, str]:
    """Return the way, and the reason in words."""
    if impossible := [finding.title for finding in fit.findings if finding.code in IMPOSSIBLE]:
        return Way.NOT, "; ".join(impossible)
    unfed = [row.function for row in rows if row.how is How.OPEN and role(row, part) is Role.SUPPLY]
    if unfed:
        return Way.NOT, f"the socket has no supply for {', '.join(unfed)}"
    if not fit.proof.equal:
        return Way.NOT, "the finished wiring does not read as the original does"
    if not rows:
        return Way.DROP_IN, "every pin meets what it needs"
    work = "; ".join(filter(None, map(in_words, rows)))
    if any(row.inverted for row in rows):
        return Way.GATE, work
    wires = [row for row in rows if row.how is How.WIRE]
    if len(wires) == len(rows) and {row.socket for row in wires} == {row.wire_to for row in wires}:
        return Way.LINKS, work
    return (Way.WIRES if wires or any(row.socket is None for row in rows) else Way.PINS), work


def is_changed(row: Row, part: Part) -> bool:
    """Tell whether a row asks for work: anything but a straight pin, no pin, or a pin that is not connected inside."""
    return row.chip is not None and row.how is not How.STRAIGHT and role(row, part) is not Role.NC


def role(row: Row, part: Part) -> Role:
    """Return what the chip pin of a row is for."""
    return part.pins[row.chip - 1].role


def in_words(row: Row) -> str:
    """Write the work of one row: `pin 27 to VCC`."""
    where = {How.VCC: "to VCC", How.GND: "to GND", How.OPEN: "left open"}.get(row.how, f"to socket {row.wire_to}")
    return f"pin {row.chip} ({row.function}) {where}" + (" through an inverter" if row.inverted else "")
