"""The supply current of the old chip and the new one, and what the board's supply then has to give.

A current that nobody has read is unknown: it lies between 0 and anything, so a sum with it has no upper end, and a
difference no lower one.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from msgspec import Struct

from romwright.boards.power import RailLimits
from romwright.findings import Code, Finding, Severity
from romwright.parts.model import Part

SUPPLY_SHORT = Code(
    "supply-short",
    Severity.CAUTION,
    "the supply of the board gives what it draws with the new chip in",
    "A supply that is asked for too much sags: memories then read wrong, or it runs hot and fails.",
    do="Take a CMOS chip that draws less, or measure the current that the board really draws and compare it with "
    "what its supply gives.",
    example="+5V may have to give 980 mA, and gives 900 mA",
)


class Draw(Struct, frozen=True):
    """The currents of a chip in milliamperes, None where its page has none."""

    name: str
    active_ma: float | None
    standby_ma: float | None
    standby_cmos_ma: float | None
    sources: tuple[str, ...]
    doubts: tuple[str, ...]

    @classmethod
    def of(cls, part: Part) -> Draw:
        """Return the currents of a part's page."""
        found = part.currents
        values = (found.active_ma, found.standby_ma, found.standby_cmos_ma) if found else (None, None, None)
        return cls(
            part.name, *values, tuple(f"{part.name}, currents: {text}" for text in part.sources_of("currents")),
            tuple(f"{part.name}: {entry}" for entry in part.unchecked_about("currents")),
        )  # fmt: skip


class SupplyChange(Struct, frozen=True):
    """What changes for the supply: both chips, and what the rail has to give at most, least and most, None: unknown."""

    old: Draw
    new: Draw
    rail: str
    limits: RailLimits | None
    total_ma: tuple[float | None, float | None]
    findings: tuple[Finding, ...]

    @property
    def change_ma(self) -> tuple[float | None, float | None]:
        """How much more the new chip draws at most, while it is read: least and most; None is unknown."""
        return difference(self.old.active_ma, self.new.active_ma)

    def as_json(self) -> dict[str, object]:
        """The answer under the documented keys."""
        chips = {
            key: {"part": each.name, "active_ma": each.active_ma, "standby_ma": each.standby_ma,
                  "standby_cmos_ma": each.standby_cmos_ma}
            for key, each in (("old", self.old), ("new", self.new))
        }  # fmt: skip
        return chips | {
            "change_ma": self.change_ma, "rail": self.rail or None, "total_ma": self.total_ma,
            "most_ma": self.limits.most_ma if self.limits else None,
            "sources": [*self.old.sources, *self.new.sources], "unchecked": [*self.old.doubts, *self.new.doubts],
        }  # fmt: skip


def difference(old_ma: float | None, new_ma: float | None) -> tuple[float | None, float | None]:
    """Return how much more the new chip draws: of an old one that nobody has read, at most all of the new one's.

    >>> difference(100, 30), difference(None, 30), difference(100, None)
    ((-70, -70), (None, 30), (-100, None))
    """
    least = None if old_ma is None else (new_ma or 0) - old_ma
    most = None if new_ma is None else new_ma - (old_ma or 0)
    return least, most


def compare_supply(original: Part, chip: Part, rail: str = "", limits: RailLimits | None = None) -> SupplyChange:
    """Compare the currents of two chips, and what the rail that feeds them then has to give.

    >>> from romwright.parts.library import require_part
    >>> compare_supply(require_part("27128A"), require_part("28C256")).change_ma
    (-50.0, -50.0)
    """
    old, new = Draw.of(original), Draw.of(chip)
    least, most = difference(old.active_ma, new.active_ma)
    usual = limits.current_ma[1] if limits and limits.current_ma else None
    total = (add(usual, least), add(usual, most))
    return SupplyChange(old, new, rail, limits, total, tuple(find_of_supply(rail, limits, total)))


def add(first: float | None, second: float | None) -> float | None:
    """Return a sum; with what is unknown it is unknown.

    >>> add(1, 2), add(None, 2)
    (3, None)
    """
    return None if first is None or second is None else first + second


def find_of_supply(rail: str, limits: RailLimits | None, total: tuple[float | None, float | None]) -> Iterator[Finding]:
    """Yield a supply that may be asked for more than it gives."""
    most = limits.most_ma if limits else None
    if most is None or total[1] is None or total[1] <= most:
        return
    said = "what the board draws at most by its file, the old chip out, the new one in"
    yield Finding(SUPPLY_SHORT, f"{rail} may have to give {total[1]:g} mA, and gives {most:g} mA", said, "measure it")


def find_of_all(changes: Iterable[SupplyChange]) -> Iterator[Finding]:
    """Yield the rails that several chips, exchanged together, may ask for more than they give.

    Only what no chip does alone is told; with a chip of unknown current nobody knows the sum.
    """
    by_rail: dict[str, list[SupplyChange]] = {}
    for change in changes:
        by_rail.setdefault(change.rail, []).append(change)
    for rail, several in by_rail.items():
        more, limits = [each.change_ma[1] for each in several], several[0].limits
        if len(several) < 2 or None in more or not (limits and limits.current_ma) or limits.most_ma is None:
            continue
        total_ma = limits.current_ma[1] + sum(more)
        if total_ma > limits.most_ma and not any(each.findings for each in several):
            names = ", ".join(each.new.name for each in several)
            title = f"{rail} may have to give {total_ma:g} mA, and gives {limits.most_ma:g} mA"
            said = f"what the board draws at most by its file, the old chips out, {names} in"
            yield Finding(SUPPLY_SHORT, title, said, "measure it")
