"""The search for what feeds a chip's pins: over terms, so that it is done once for all parts that are alike."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from functools import cache

from msgspec import Struct

from romwright.fit.plans import logic
from romwright.fit.plans.logic import Term
from romwright.fit.plans.work import Kind, Points, gate_parts
from romwright.parts.model import Level


class Need(Struct, frozen=True):
    """A pin to feed: the states in which it must be at H, and at L; it keeps the chip off unless at `enables`, if any.

    `variable`: the one at its seat, None if there is none; `held`: what holding it at the level that serves costs.
    """

    high: int
    low: int
    enables: Level | None
    variable: int | None
    held: int

    def kills(self, table: int, never: int) -> int:
        """Return the states of `never` in which the pin, at H where the table holds, keeps the chip off."""
        return {None: 0, "H": never & ~table, "L": never & table}[self.enables]


class Task(Struct, frozen=True):
    """What to find: feeds that give every pin what it needs and together kill every state of `never`.

    Tables are over `count` variables, of which those of `far` lie beyond the socket. `select` is the variable that
    carries the board's select and `home` the number of the pin that usually takes it.
    """

    count: int
    never: int
    needs: tuple[Need, ...]
    far: frozenset[int]
    select: int | None
    home: int | None
    points: Points


class Feed(Struct, frozen=True, eq=False):
    """One way to feed a pin: a term over the variables (None: a constant), and what moving the pin costs.

    `kills`: the states in which the chip must not drive and, fed so, does not; `cost`: with its gates, by itself.
    """

    term: Term | None
    gates: frozenset[Term]
    kills: int
    moving: int
    cost: int


def gate_points(inputs: Iterable[tuple[Kind, int, int]], points: Points) -> int:
    """Return what gates cost, their packages and the wires to them: of each its kind, and its near and far inputs."""
    total, count = 0, Counter()
    for kind, near, far in inputs:
        count[kind] += 1
        spare = max(0, len(gate_parts()[kind].inputs[0]) - near - far)
        total += near * points.wire + far * points.point + spare * points.tie
    for kind, number in count.items():
        part = gate_parts()[kind]
        total += -(-number // len(part.inputs)) * points.package if part.outputs else number * points.diodes
    return total


@cache
def term_points(gates: frozenset[Term], far: frozenset[int], points: Points) -> int:
    """Return what the gates of terms cost."""
    count = {term: sum(each.variable in far for each in term.inputs) for term in gates}
    return gate_points(((term.kind, len(term.inputs) - count[term], count[term]) for term in gates), points)


@cache
def find_feeds(task: Task) -> tuple[Term | None, ...] | None:
    """Return a term for each pin, None for a constant level, with the least work; None if there are no such.

    Of equal work, fewer gates, then fewer pins moved, then the select on the pin that usually takes it.
    """
    choices = [list_feeds(task, need) for need in task.needs]
    if not all(choices):
        return None
    rest, able = [0], [0]  # of the pins from each on: what they cost at least, and what they can kill at all
    for feeds in reversed(choices):
        rest.insert(0, rest[0] + min(feed.moving for feed in feeds))
        able.insert(0, able[0])
        for feed in feeds:
            able[0] |= feed.kills
    best: tuple | None = None

    def go(alive: int, moving: int, gates: frozenset[Term], picked: tuple[Feed, ...]) -> None:
        nonlocal best
        depth = len(picked)
        if alive & ~able[depth]:
            return
        if depth == len(choices):
            cost = (moving + term_points(gates, task.far, task.points), len(gates), *tie_break(task, picked))
            if best is None or cost < best[0]:
                best = (cost, picked)
            return
        for feed in choices[depth]:
            if best and moving + feed.cost + rest[depth + 1] > best[0][0]:
                break  # the feeds behind it cost no less
            more = gates | feed.gates
            least = moving + feed.moving + rest[depth + 1] + term_points(more, task.far, task.points)
            if len(more) <= task.points.most_gates and not (best and least > best[0][0]):
                go(alive & ~feed.kills, moving + feed.moving, more, (*picked, feed))

    go(task.never, 0, frozenset(), ())
    return best and tuple(feed.term for feed in best[1])


def list_feeds(task: Task, need: Need) -> list[Feed]:
    """List the ways to feed a pin, the cheapest first; none that a plainer one beats."""
    found: dict[tuple, Feed] = {}
    if not (need.high and need.low):
        found[0, ()] = Feed(None, frozenset(), 0, need.held, need.held)
    for term in logic.terms(task.count):
        if need.high & ~term.table or need.low & term.table or len(term.gates) > task.points.most_gates:
            continue
        kills = need.kills(term.table, task.never)
        wire = task.points.point if term.variable in task.far else task.points.wire
        moving = 0 if term.variable is not None and term.variable == need.variable else wire
        feed = Feed(term, term.gates, kills, moving, moving + term_points(term.gates, task.far, task.points))
        plain = found.get((kills, ()))
        if feed.gates and not plain:
            found.setdefault((kills, term.kinds), feed)
        elif not feed.gates and (not plain or moving < plain.moving):
            found[kills, ()] = feed
    plain = [feed for feed in found.values() if not feed.gates]
    needed = (feed for feed in found.values() if not feed.gates or not any(beats(one, feed) for one in plain))
    return sorted(needed, key=lambda feed: feed.cost)


def beats(one: Feed, other: Feed) -> bool:
    """Tell whether a feed without gates kills all that the other kills and moves the pin for no more."""
    return not other.kills & ~one.kills and one.moving <= other.moving


def tie_break(task: Task, picked: tuple[Feed, ...]) -> tuple[int, bool]:
    """Return how many pins move, and whether the pin that usually takes the select gets nothing of it."""
    home = picked[task.home].term if task.home is not None else None
    away = task.home is not None and task.select is not None and not (home and task.select in home.variables)
    return sum(feed.moving > 0 for feed in picked), away
