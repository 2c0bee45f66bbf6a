"""Levels made from variables by few gates: every one that a plan may need, each in its cheapest ways.

A term has a truth table over its variables (fit/tables.py). Terms are the same for any socket with as many control
lines, so they are worked out once for each count.
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Iterable, Iterator
from functools import cache, cached_property

from msgspec import Struct

from romwright.fit import tables
from romwright.fit.plans.work import Kind
from romwright.parts.model import Level

# kind -> the level of all inputs at which the output gives a level, and that level
LAWS: dict[Kind, tuple[Level, Level]] = {
    "inverter": ("H", "L"),
    "nand": ("H", "L"),
    "and": ("H", "H"),
    "or": ("L", "L"),
    "diodes": ("H", "H"),
}
PICKS, HIGH_ENABLES, LOW_ENABLES = 3, 1, 2  # inputs of a '138: A B C, G1, /G2A and /G2B


class Term(Struct, frozen=True, eq=False, dict=True):  # each is made once, so that identity is enough
    """A variable, or a gate over terms that `gives` a level where every input is at its own level of `levels`."""

    table: int
    variable: int | None = None
    kind: Kind | None = None
    inputs: tuple[Term, ...] = ()
    levels: tuple[Level, ...] = ()
    gives: Level = "H"

    @cached_property
    def gates(self) -> frozenset[Term]:
        """The gates that it takes, its own among them."""
        return frozenset([self]).union(*(term.gates for term in self.inputs)) if self.kind else frozenset()

    @cached_property
    def variables(self) -> frozenset[int]:
        """The variables that it is made from."""
        return (
            frozenset([self.variable]) if self.kind is None else frozenset().union(*(t.variables for t in self.inputs))
        )

    @cached_property
    def kinds(self) -> tuple[tuple[Kind, int], ...]:
        """How many gates of each kind it takes."""
        return tuple(sorted(Counter(term.kind for term in self.gates).items()))

    @cached_property
    def size(self) -> tuple[int, int]:
        """How many gates it takes, and how many inputs these have."""
        return len(self.gates), sum(len(term.inputs) for term in self.gates)


@cache
def terms(count: int) -> tuple[Term, ...]:
    """List the terms over `count` variables: for each table and set of gates the smallest.

    They have two gates at most, or three NANDs. Two gates are of one package, or one of them is an inverter: any
    product of levels comes out of one '138 already, so that a second package of another kind never pays.
    """
    names = [str(number) for number in range(count)]
    whole = tables.everywhere(names)
    variables = [Term(tables.line(names, name), number) for number, name in enumerate(names)]
    known: dict[tuple, Term] = {(term.table, term.kinds): term for term in variables}
    keep(known, [*simple_gates(whole, variables, variables), *decoders(whole, variables)])
    keep(known, simple_gates(whole, [term for term in known.values() if term.kind], variables))
    nands = [[t for t in known.values() if t.kinds == (("nand", number),)] for number in (1, 2)]
    keep(known, (gate("nand", whole, (one,)) for one in nands[1]))
    keep(known, (gate("nand", whole, pair) for pair in itertools.product(nands[1], variables)))
    keep(known, (gate("nand", whole, pair) for pair in itertools.combinations(nands[0], 2)))
    return tuple(sorted(known.values(), key=lambda term: term.size))


def keep(known: dict[tuple, Term], found: Iterable[Term]) -> None:
    """Add terms, the smaller one of two with the same table and gates; a level that never moves needs no gate."""
    for term in found:
        key = (term.table, term.kinds)
        if key not in known or term.size < known[key].size:
            known[key] = term


def simple_gates(whole: int, first: Iterable[Term], variables: list[Term]) -> Iterator[Term]:
    """Yield every gate with an input of the first and, but for inverters, a variable; of gates in a row that pay."""
    for one in first:
        yield gate("inverter", whole, (one,))
        if one.kind in (None, "nand"):
            yield gate("nand", whole, (one,))  # both inputs joined: an inverter out of a package that is there anyway
        kinds = [kind for kind in ("nand", "and", "or", "diodes") if one.kind in (None, "inverter", kind)]
        for other in variables:
            if other.table not in (one.table, whole ^ one.table):
                yield from (gate(kind, whole, (one, other)) for kind in kinds)


def gate(kind: Kind, whole: int, inputs: tuple[Term, ...]) -> Term:
    """Return a gate whose inputs all count at the same level."""
    level, gives = LAWS[kind]
    return decoded(kind, whole, inputs, (level,) * len(inputs), gives)


def decoded(kind: Kind, whole: int, inputs: tuple[Term, ...], levels: tuple[Level, ...], gives: Level) -> Term:
    """Return a gate with a level for each input."""
    held = whole
    for term, level in zip(inputs, levels):
        held &= term.table if level == "H" else ~term.table
    return Term(held if gives == "H" else whole & ~held, None, kind, inputs, levels, gives)


def decoders(whole: int, variables: list[Term]) -> Iterator[Term]:
    """Yield every output of a '138 over two variables or more: L where each is at its level."""
    for count in range(2, PICKS + HIGH_ENABLES + LOW_ENABLES + 1):
        for some in itertools.combinations(variables, count):
            for levels in itertools.product(("L", "H"), repeat=count):
                over = max(0, levels.count("H") - HIGH_ENABLES) + max(0, levels.count("L") - LOW_ENABLES)
                if over <= PICKS:
                    yield decoded("3-to-8", whole, some, tuple(levels), "L")
