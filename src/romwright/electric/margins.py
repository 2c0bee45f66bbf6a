"""A driver against a receiver: the noise margin at H and at L in volts, and how many inputs an output can feed."""

from __future__ import annotations

import math
from collections.abc import Iterator

from msgspec import Struct

from romwright.electric.terminals import Drive, Span, Terminal, rated_ma, rounded, spoken
from romwright.findings import Code, Finding, Severity

HOLDS, SHORT, UNKNOWN = "holds", "short", "unknown"
LEVEL_SHORT = Code(
    "level-not-guaranteed",
    Severity.CAUTION,
    "an output guarantees the level that an input asks for",
    "The sheets promise less than the input asks for: it works on the bench when cold, and not always.",
    do="Take a part whose inputs have TTL levels, 74HCT in place of 74HC, or put a pull-up on the line "
    "if it is the high level that is short. Then measure the level with a scope.",
    example="27128A guarantees 2.4 V at H, HC asks for 3.5 V",
)
LEVEL_UNKNOWN = Code(
    "level-unknown",
    Severity.NOTE,
    "the levels of both sides of a line are known",
    "Nobody has compared them: it may be right.",
    do="Read the levels in the sheets of both chips, and write them into the page of the part.",
    example="whether 6540 gives 74LS its levels at H is unknown",
)


class Margin(Struct, frozen=True):
    """The noise margin of one level: what the driver guarantees, what the receiver asks for, their difference in volts.

    A span is the least and the most; None is unknown.
    """

    level: str
    given_v: Span | None
    asked_v: Span | None
    margin_v: Span | None

    @property
    def verdict(self) -> str:
        """Whether the level is guaranteed in every case, in no case for sure, or nobody knows."""
        if self.margin_v is None:
            return UNKNOWN
        return HOLDS if self.margin_v[0] >= 0 else SHORT

    def as_json(self) -> dict[str, object]:
        """The margin under the documented keys."""
        return {
            "level": self.level, "given_v": self.given_v, "asked_v": self.asked_v, "margin_v": self.margin_v,
            "verdict": self.verdict,
        }  # fmt: skip


class Pairing(Struct, frozen=True):
    """A driver and a receiver: both margins, how many such inputs the driver can feed, and what it all rests on."""

    driver: Terminal
    receiver: Terminal
    high: Margin
    low: Margin
    fan_out_high: Span | None
    fan_out_low: Span | None
    findings: tuple[Finding, ...]

    @property
    def fan_out(self) -> Span | None:
        """How many inputs at both levels; None if either is unknown."""
        if self.fan_out_high is None or self.fan_out_low is None:
            return None
        return min(self.fan_out_high[0], self.fan_out_low[0]), min(self.fan_out_high[1], self.fan_out_low[1])

    def as_json(self) -> dict[str, object]:
        """The answer under the documented keys."""
        return {
            "driver": self.driver.name, "receiver": self.receiver.name, "vcc_v": self.driver.vcc_v,
            "high": self.high.as_json(), "low": self.low.as_json(), "fan_out_high": self.fan_out_high,
            "fan_out_low": self.fan_out_low, "fan_out": self.fan_out,
            "findings": [each.as_json() for each in self.findings],
            "sources": list(dict.fromkeys((*self.driver.sources, *self.receiver.sources))),
            "unchecked": list(dict.fromkeys((*self.driver.doubts, *self.receiver.doubts))),
        }  # fmt: skip


def pair(
    driver: Terminal, receiver: Terminal, load_ma: Span | None = None, load_high_ma: Span | None = None
) -> Pairing:
    """Set a driver against a receiver; the loads are the currents that the line asks of it at L and at H, if known.

    >>> from romwright.electric.terminals import require_terminal
    >>> found = pair(require_terminal("27128A"), require_terminal("LS"))
    >>> found.high.margin_v, found.low.margin_v, found.fan_out_low
    ((0.4, 0.4), (0.35, 0.35), (5, 10))
    """
    high, low = margin_high(driver, receiver, load_high_ma), margin_low(driver, receiver, load_ma)
    findings = (*find_of_margin(driver, receiver, high), *find_of_margin(driver, receiver, low))
    counts = fan_out(driver.high, receiver.iih_ua), fan_out(driver.low, receiver.iil_ua)
    return Pairing(driver, receiver, high, low, held(high, counts[0]), held(low, counts[1]), findings)


def margin_high(driver: Terminal, receiver: Terminal, load_ma: Span | None) -> Margin:
    """Return what is left at H; an output that only pulls low gives what its pull-up gives: unknown here."""
    given, asked = guaranteed(driver.high, load_ma), receiver.vih_min_v
    margin = rounded((given[0] - asked[1], given[1] - asked[0])) if given and asked else None
    return Margin("H", given, asked, margin)


def margin_low(driver: Terminal, receiver: Terminal, load_ma: Span | None) -> Margin:
    """Return what is left at L."""
    given, asked = guaranteed(driver.low, load_ma), receiver.vil_max_v
    margin = rounded((asked[0] - given[1], asked[1] - given[0])) if given and asked else None
    return Margin("L", given, asked, margin)


def guaranteed(drives: tuple[Drive, ...], load_ma: Span | None) -> Span | None:
    """Return the level that an output guarantees under a load; of a load that is not known, over all that it has.

    None if it guarantees nothing: under more current than its sheet names, or if no level was read.
    """
    enough = [each for each in drives if load_ma is None or each.ma is None or each.ma >= load_ma[1]]
    if not enough:
        return None
    taken = enough[:1] if load_ma is not None else enough
    return min(each.volts[0] for each in taken), max(each.volts[1] for each in taken)


def fan_out(drives: tuple[Drive, ...], each_ua: Span | None) -> Span | None:
    """Return how many inputs of so many microamperes an output feeds: the fewest and the most.

    The largest current that the output is rated for counts. None if either is unknown.

    >>> fan_out((Drive((0.4, 0.4), 16),), (1600, 1600))
    (10, 10)
    """
    rated = rated_ma(drives)
    if rated is None or each_ua is None:
        return None
    fewest, most = (math.floor(rated * 1000 / each + 1e-9) for each in (each_ua[1], each_ua[0]))
    return fewest, most


def held(margin: Margin, count: Span | None) -> Span | None:
    """Return how many inputs get a level that is guaranteed: none where it is short, whatever the current allows."""
    if count is None or margin.verdict != SHORT:
        return count
    return 0, count[1] if margin.margin_v[1] >= 0 else 0


def find_of_margin(driver: Terminal, receiver: Terminal, margin: Margin) -> Iterator[Finding]:
    """Yield what a margin means: short, with its witness, or unknown."""
    if margin.verdict == SHORT:
        given, asked = (spoken(each, "V") for each in (margin.given_v, margin.asked_v))
        word = "asks for" if margin.level == "H" else "allows"
        title = f"{driver.name} guarantees {given} at {margin.level}, {receiver.name} {word} {asked}"
        witness = f"noise margin {spoken(margin.margin_v, 'V')}"
        do = "74HCT in place of 74HC, or a pull-up" if margin.level == "H" else "a stronger driver"
        yield Finding(LEVEL_SHORT, title, witness, do)
    elif margin.verdict == UNKNOWN and not is_told_elsewhere(driver, receiver, margin):
        missing = [name for name, span in ((driver.name, margin.given_v), (receiver.name, margin.asked_v)) if not span]
        title = f"whether {driver.name} gives {receiver.name} its levels at {margin.level} is unknown"
        yield Finding(LEVEL_UNKNOWN, title, f"nobody has read that level of {' and '.join(dict.fromkeys(missing))}")


def is_told_elsewhere(driver: Terminal, receiver: Terminal, margin: Margin) -> bool:
    """Tell whether another finding says why a margin is unknown: a pull-up gives the level, or overload."""
    drives = driver.high if margin.level == "H" else driver.low
    asked = receiver.vih_min_v if margin.level == "H" else receiver.vil_max_v
    return asked is not None and (bool(drives) or (driver.pulls_low_only and margin.level == "H"))
