"""The search for what feeds a chip's enables: over terms, so that it is done once for all parts that are alike."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from romwright.fit import logic, tables
from romwright.fit.logic import Term
from romwright.fit.work import Kind, Points, gate_parts
from romwright.parts.model import Level


@dataclass(frozen=True, slots=True)
class Enable:
    """An enable of the chip: the level that enables, the variable at its seat, if any, and what holding it costs."""

    level: Level
    variable: int | None
    held: int


@dataclass(frozen=True, slots=True)
class Task:
    """What to find: feeds that make the chip drive where it `must` and kill every state of `never`.

    Tables are over `count` variables. `select` is the variable that carries the board's select and `home` the enable
    that usually takes it.
    """

    count: int
    must: int
    never: int
    enables: tuple[Enable, ...]
    select: int | None
    home: int | None
    points: Points


@dataclass(frozen=True, slots=True, eq=False)
class Feed:
    """One way to feed an enable: a term over the variables (None: a constant), and what moving the pin costs.

    `kills`: the states in which the chip must not drive and, fed so, does not; `cost`: with its gates, by itself.
    """

    term: Term | None
    gates: frozenset[Term]
    kills: int
    moving: int
    cost: int


def gate_points(gates: Sequence[tuple[Kind, int]], points: Points) -> int:
    """Return what gates cost, each a kind and how many lines go into it: packages, wires, ties of the other inputs."""
    total = 0
    for kind, count in Counter(kind for kind, _ in gates).items():
        part = gate_parts()[kind]
        total += -(-count // len(part.inputs)) * points.package if part.outputs else count * points.diodes
    for kind, lines in gates:
        total += lines * points.wire + max(0, len(gate_parts()[kind].inputs[0]) - lines) * points.tie
    return total


@cache
def term_points(gates: frozenset[Term], points: Points) -> int:
    """Return what the gates of terms cost."""
    return gate_points([(gate.kind, len(gate.inputs)) for gate in gates], points)


@cache
def find_feeds(task: Task) -> tuple[Term | None, ...] | None:
    """Return a term for each enable, None for a constant level, with the least work; None if there are no such.

    Of equal work, fewer gates, then fewer pins moved, then the select on the pin that usually takes it.
    """
    choices = [list_feeds(task, enable) for enable in task.enables]
    if not choices:
        return None if task.never else ()
    rest, able = [0], [0]  # of the enables from each on: what they cost at least, and what they can kill at all
    for feeds in reversed(choices):
        rest.insert(0, rest[0] + min(feed.moving for feed in feeds))
        able.insert(0, able[0])
        for feed in feeds:
            able[0] |= feed.kills
    best: tuple | None = None

    def go(alive: int, moving: int, gates: frozenset[Term], picked: tuple[Feed, ...]) -> None:
        nonlocal best
        depth = len(picked)
        if depth == len(choices):
            cost = (moving + term_points(gates, task.points), len(gates), *tie_break(task, picked))
            if best is None or cost < best[0]:
                best = (cost, picked)
            return
        for feed in choices[depth]:
            if best and moving + feed.cost + rest[depth + 1] > best[0][0]:
                break  # the feeds behind it cost no less
            if alive & ~feed.kills & ~able[depth + 1]:
                continue
            more = gates | feed.gates
            least = moving + feed.moving + rest[depth + 1] + term_points(more, task.points)
            if len(more) <= task.points.most_gates and not (best and least > best[0][0]):
                go(alive & ~feed.kills, moving + feed.moving, more, (*picked, feed))

    go(task.never, 0, frozenset(), ())
    return best and tuple(feed.term for feed in best[1])


def list_feeds(task: Task, enable: Enable) -> list[Feed]:
    """List the ways to feed an enable, the cheapest first; none that a plainer one beats."""
    whole = tables.everywhere([str(number) for number in range(task.count)])
    nothing = Feed(None, frozenset(), 0, enable.held, enable.held)
    found: dict[tuple, Feed] = {(0, ()): nothing}
    for term in logic.terms(task.count):
        table = term.table if enable.level == "H" else whole & ~term.table
        if task.must & ~table or len(term.gates) > task.points.most_gates:
            continue
        kills = task.never & ~table
        stays = term.variable is not None and term.variable == enable.variable
        moving = 0 if stays else task.points.wire
        feed = Feed(term, term.gates, kills, moving, moving + term_points(term.gates, task.points))
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
