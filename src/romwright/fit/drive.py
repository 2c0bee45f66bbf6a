"""When a part drives its outputs, over the signals of the board, and where two such conditions differ."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cached_property

from msgspec import Struct

from romwright.fit import tables
from romwright.fit.socket import Net, Socket
from romwright.parts.model import OTHER, Part

Levels = dict[str, str]


class Condition(Struct, frozen=True):
    """Rows of levels of board signals; it holds when one of them matches."""

    rows: tuple[Levels, ...]

    @property
    def names(self) -> set[str]:
        """The signals that the rows mention."""
        return {name for row in self.rows for name in row}

    def table(self, names: list[str]) -> int:
        """Return the condition as a truth table."""
        return tables.any_row(names, self.rows)

    @property
    def words(self) -> str:
        """The condition in words for people."""
        return " or ".join(in_words(row) or "always" for row in self.rows) or "never"


NEVER = Condition(())


class Comparison(Struct, frozen=True, dict=True):
    """Two conditions over the same signals, compared on every combination of their levels but those of `idle`.

    `idle`: the combinations that the board never makes.
    """

    original: Condition
    fitted: Condition
    names: tuple[str, ...]
    idle: Condition = NEVER

    @cached_property
    def tables(self) -> tuple[int, int]:
        """Both conditions as truth tables over `names`, false where the board never gets."""
        made = ~self.idle.table(list(self.names))
        return self.original.table(list(self.names)) & made, self.fitted.table(list(self.names)) & made

    @property
    def equal(self) -> bool:
        """Whether the two never differ."""
        first, second = self.tables
        return first == second

    @property
    def counts(self) -> tuple[int, int]:
        """On how many combinations of levels only the original drives, and on how many only the fitted chip."""
        first, second = self.tables
        return (first & ~second).bit_count(), (second & ~first).bit_count()

    @property
    def missed(self) -> list[Levels]:
        """The levels at which only the original drives."""
        first, second = self.tables
        return list(tables.true_rows(self.names, first & ~second))

    @property
    def extra(self) -> list[Levels]:
        """The levels at which only the fitted chip drives."""
        first, second = self.tables
        return list(tables.true_rows(self.names, second & ~first))

    def ignores(self, name: str) -> bool:
        """Tell whether the fitted chip's outputs do not care about a signal."""
        return name not in self.names or not tables.depends_on(self.names, self.tables[1], name)

    def as_json(self) -> dict:
        """The comparison under the documented JSON keys."""
        differs = [{"levels": levels, "original": "drives", "fitted": "off"} for levels in self.missed]
        differs += [{"levels": levels, "original": "off", "fitted": "drives"} for levels in self.extra]
        return {
            "original": list(self.original.rows),
            "fitted": list(self.fitted.rows),
            "equal": self.equal,
            "signals": list(self.names),
            "differs_at": differs,
        }


def condition(rows: Iterable[Mapping[str, str]], nets: Mapping[int, Net], part: Part) -> Condition:
    """Restate a part's rows in the signals that its pins meet, by their numbers."""
    return restate(rows, {name: nets[part.by_function[name].number] for row in rows for name in row})


def restate(rows: Iterable[Mapping[str, str]], nets: Mapping[str, Net]) -> Condition:
    """Restate rows of levels in the signals of the nets that their names stand for.

    A pin at a constant level either drops out of its row or makes the row impossible; so do two pins of one row
    that want opposite levels of one signal. A pin behind a gate wants what makes that gate give the level.
    """
    restated: list[Levels] = []
    for row in rows:
        asked = [rows_at(nets[name], level) for name, level in row.items()]
        restated += [levels for levels in together(asked) if levels not in restated]
    return Condition(tuple({name: levels[name] for name in sorted(levels, key=_by_pin)} for levels in restated))


def rows_at(net: Net, level: str) -> list[Levels]:
    """List the rows of levels of signals at which a net is at a level: none if it never is, an empty row if always."""
    if net.gate:
        gate = net.gate
        if level == gate.gives:
            return together([rows_at(each, wanted) for each, wanted in zip(gate.inputs, gate.levels)])
        off = [rows_at(each, OTHER[wanted]) for each, wanted in zip(gate.inputs, gate.levels)]
        return [row for rows in off for row in rows]
    if net.level:
        return [{}] if net.level == level else []
    return [{net.label: level}]


def together(choices: Iterable[list[Levels]]) -> list[Levels]:
    """List the rows in which one row of each choice holds, without those that want two levels of one signal."""
    found: list[Levels] = [{}]
    for rows in choices:
        pairs = ((one, other) for one in found for other in rows)
        merged = [one | other for one, other in pairs if all(one.get(n, level) == level for n, level in other.items())]
        found = [row for number, row in enumerate(merged) if row not in merged[:number]]
    return found


def compare_with(socket: Socket, fitted: Condition) -> Comparison:
    """Compare when the part that a socket was made for drives with when a chip in it does."""
    rows, idle = (restate(rows, socket.by_function) for rows in (socket.part.drives, socket.beyond.idle))
    return compare(rows, fitted, idle)


def compare(original: Condition, fitted: Condition, idle: Condition = NEVER) -> Comparison:
    """Compare two conditions over all signals that either mentions, in order of their pins."""
    names = sorted(original.names | fitted.names | idle.names, key=_by_pin)
    return Comparison(original, fitted, tuple(names), idle)


def in_words(levels: Levels) -> str:
    """Write levels by pin: `pin 20 L, pin 22 H`."""
    return ", ".join(f"{_pin(label)} {level}" for label, level in levels.items())


def list_states(states: list[Levels], most: int = 2) -> str:
    """Write combinations of levels, the first few of many."""
    more = [f"{len(states) - most} more"] if len(states) > most else []
    return "; ".join([*map(in_words, states[:most]), *more])


def _pin(label: str) -> str:
    number, _, what = label.partition(" ")
    if not number.isdigit():
        return label
    return f"pin {label}" if what == "(open)" else f"pin {number}"


def _by_pin(label: str) -> tuple[bool, int, str]:
    number = int("".join(c for c in label.split()[0] if c.isdigit()) or 0)
    return not label[0].isdigit(), number, label
