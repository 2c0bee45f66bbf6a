"""What a socket's pins drive and are driven by: every input of a line added up, and what pulls an open-collector line.

That a sum is never known better than its parts holds for every load here: one input of unknown current leaves the sum
at least so much, and open above.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from msgspec import Struct

from romwright.electric.terminals import Terminal, rated_ma, spoken
from romwright.findings import Code, Finding, Severity
from romwright.images.words import run_of
from romwright.parts.model import Part

OVERLOADED = Code(
    "overloaded",
    Severity.CAUTION,
    "the inputs on a line ask for no more current than its output is rated for",
    "An output that must sink more than it is rated for no longer reaches its low level, and wrong bits are read.",
    do="Put a buffer between, such as one of a 74HCT244, or take a chip with a stronger output.",
    example="27128A is loaded with 3.2 mA at L, and rated for 2.1 mA",
)
LOAD_UNKNOWN = Code(
    "load-unknown",
    Severity.NOTE,
    "what the inputs on a line ask for, and what its output can feed, is known",
    "Whether the output can feed its inputs was not worked out.",
    do="Read the currents in the sheets of the chips named, or count on what worked with the old chip.",
    example="the load of 28C256 at L is known in part only: at least 0.43 mA",
)
NO_PULL_UP = Code(
    "no-pull-up",
    Severity.FAULT,
    "every data line of an open-collector output has a pull-up resistor",
    "An open-collector output only pulls low: without a resistor its lines never reach the high level.",
    do="Put a resistor from each data line to +5 V; the sheet of the chip says which values it may have.",
    example="prom-82s23 only pulls low, and D0-D7 have no pull-up",
)
PULL_UP_UNTOLD = Code(
    "pull-up-not-stated",
    Severity.CAUTION,
    "a board's file names the pull-ups of its open-collector ROM",
    "The old ROM cannot have worked without them: either the file leaves them out, or they are missing on the board.",
    do="Find the resistors in the schematic or on the board, and write them into the board's file under resistors.",
    example="prom-82s23 only pulls low, as the old chip did, and the file has no pull-up on D0-D7",
)
PULLED = Code(
    "wired-together",
    Severity.CAUTION,
    "no three-state output takes the place of an open-collector one",
    "Where open-collector outputs are wired together as an AND, a three-state output drives against them.",
    do="Look in the schematic for a second output on these lines that is on at the same time. With one output on "
    "at a time the resistors do no harm.",
    example="28C256 drives lines that an open-collector prom-82s23 was laid out for",
)


class Load(Struct, frozen=True):
    """What the inputs on one line ask of its output: the least and the most in milliamperes, None above if unknown.

    `unknown` names the inputs whose current nobody has read.
    """

    least_ma: float
    most_ma: float | None
    unknown: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        """The load in words."""
        if self.most_ma is None:
            return f"at least {self.least_ma:g} mA"
        return spoken((self.least_ma, self.most_ma), "mA")

    def as_json(self) -> dict[str, object]:
        """The load under the documented keys."""
        return {"least_ma": self.least_ma, "most_ma": self.most_ma, "unknown": list(self.unknown)}


def add_up(inputs: Mapping[Terminal, int], level: str) -> Load:
    """Add up what inputs ask of an output at a level, H or L.

    >>> from romwright.electric.terminals import require_terminal
    >>> add_up({require_terminal("TTL"): 2}, "L").words, add_up({require_terminal("Z80"): 1}, "L").words
    ('3.2 mA', 'at least 0 mA')
    """
    spans = {each: each.iil_ua if level == "L" else each.iih_ua for each in inputs}
    known = [(count, spans[each]) for each, count in inputs.items() if spans[each] is not None]
    least, most = (round(sum(count * span[end] for count, span in known) / 1000, 4) for end in (0, 1))
    unknown = tuple(each.name for each in inputs if spans[each] is None)
    return Load(least, None if unknown else most, unknown)


def find_of_load(driver: Terminal, load: Load, level: str, line: str) -> Iterator[Finding]:
    """Yield what a load means for a driver: too much, or not known."""
    drives = driver.low if level == "L" else driver.high
    rated = rated_ma(drives)
    heavy = load.least_ma if load.most_ma is None else load.most_ma
    if rated is not None and heavy > rated:
        title = f"{driver.name} is loaded with {load.words} at {level}, and rated for {rated:g} mA"
        yield Finding(OVERLOADED, title, line, "put a buffer between")
    elif load.unknown:
        title = f"the load of {driver.name} at {level} is known in part only: {load.words}"
        why = f"{line}: the input current of {', '.join(load.unknown)} was not read"
        rating = f"; {driver.name} is rated for {rated:g} mA" if rated is not None else ""
        yield Finding(LOAD_UNKNOWN, title, why + rating)
    elif rated is None and drives and load.most_ma:
        title = f"what {driver.name} can feed at {level} is unknown: it is loaded with {load.words}"
        yield Finding(LOAD_UNKNOWN, title, f"{line}: no current stands beside the level of {driver.name}")


def find_of_outputs(
    original: Part, chip: Part, pulled: frozenset[str] | None, lines: tuple[str, ...]
) -> Iterator[Finding]:
    """Yield what an exchange of open-collector and three-state outputs asks of the board.

    `pulled` are the data lines with a pull-up, None if no board's file says; `lines` are those of the socket.
    """
    if pulled is None:
        return  # what the two parts are is a finding of the fit already
    bare = [each for each in lines if each not in pulled] if chip.output == "open-collector" else []
    seen = "the board's file has no resistor from there to the chip's supply"
    if bare and original.output == "open-collector":
        told = f"{chip.name} only pulls low, as the old chip did"
        title = f"{told}, and the file has no pull-up on {run_of(bare)}"
        yield Finding(PULL_UP_UNTOLD, title, seen, "find the resistors, or measure 5 V on each line with the chip out")
    elif bare:
        title = f"{chip.name} only pulls low, and {run_of(bare)} {'has' if len(bare) == 1 else 'have'} no pull-up"
        yield Finding(NO_PULL_UP, title, seen, f"put a pull-up resistor on {run_of(bare)}")
    if original.output == "open-collector" and chip.output == "three-state":
        title = f"{chip.name} drives lines that an open-collector {original.name} was laid out for"
        has = [each for each in lines if each in pulled]
        seen = f"pull-ups on {run_of(has)}" if has else "the board's file has no pull-up on them"
        yield Finding(PULLED, title, seen, "see whether another output is joined to them and on at the same time")
