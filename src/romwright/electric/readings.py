"""Readings of the rails of a board, judged by the limits of its file: what is in, what is out, and what may be trusted.

That no verdict on a memory counts while a rail is out, and that a rail a tenth off its voltage is out wherever a file
states no range, is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from msgspec import Struct

from romwright.boards.model import Board
from romwright.boards.power import RailLimits
from romwright.findings import Code, Finding, Severity

RAIL_HIGH = Code(
    "rail-high",
    Severity.STOP,
    "no rail lies above its range",
    "A supply that is too high destroys the chips that it feeds, all of them at once and within seconds.",
    do="Do not power up. Take out every chip that you want to keep, find out what regulates this rail and mend "
    "that, with a load in place of the board. Then measure once more.",
    example="+5V reads 6.1 V, above 4.75 to 5.25 V",
)
RAIL_REVERSED = Code(
    "rail-sign",
    Severity.STOP,
    "every rail has the sign that it should have",
    "A supply the wrong way round drives current backwards through every chip and every capacitor on it.",
    do="Do not power up. Exchange the leads of the meter and measure once more; if the sign stays, look for a "
    "plug the wrong way round or a rectifier that was exchanged.",
    example="+5V reads -5 V: the wrong way round",
)
RAIL_LOW = Code(
    "rail-low",
    Severity.FAULT,
    "no rail lies below its range",
    "While a rail is low, good memories read wrong and bad ones may read right: no verdict on RAM or ROM counts.",
    do="Mend the supply first: measure at the supply, then at the board, then at the chip, and look where the volts "
    "are lost. Only then test or replace a memory.",
    example="+5V reads 4.4 V, below 4.75 to 5.25 V",
)
NOT_MEASURED = Code(
    "rail-not-measured",
    Severity.CAUTION,
    "every rail of a board is measured before anything on it is judged",
    "One rail that is out makes every other verdict worthless, and it does not show from outside.",
    do="Measure it where the board's file says, then give this reading together with the others.",
    example="-5V was not measured",
)
NO_RANGE = Code(
    "rail-without-range",
    Severity.CAUTION,
    "the board's file states the range of every rail",
    "Without a range nobody can say whether a reading is right; a guess would be printed as if it were known.",
    do="Look the range up in the maker's manual or in the sheets of the chips on this rail, and write it into the "
    "board's file as range_v, with its source.",
    example="+12V reads 11.4 V: the file states no range",
)
CURRENT_HIGH = Code(
    "current-high",
    Severity.STOP,
    "a board draws no more current than its file states",
    "More current than usual goes somewhere: a chip the wrong way round, a shorted capacitor, two outputs that fight.",
    do="Do not power up. Feel nothing with your fingers: measure the rail against ground for a short, power off, and "
    "take out the chips in sockets one after the other.",
    example="+5V carries 1900 mA, above 400 to 900 mA",
)
CURRENT_LOW = Code(
    "current-low",
    Severity.CAUTION,
    "a board draws the current that its file states at least",
    "Less current than usual: a chip is missing, dead or without its supply.",
    do="Look for empty sockets and broken supply traces, and for chips that stay quite cold.",
    example="+5V carries 150 mA, below 400 to 900 mA",
)
SLACK = 0.1  # of its voltage: where no range is stated, a rail further off is out (common practice, no source)
IN, LOW, HIGH, REVERSED, UNKNOWN = "in", "low", "high", "reversed", "unknown"
YES, NO = "yes", "no"
SWITCH_OFF = "switch off, and leave it off until the cause is found"
PRACTICE = "common practice, no source"


class RailReading(Struct, frozen=True):
    """One rail: what its file says, what was measured, and the verdict; None is what nobody stated or measured."""

    rail: str
    nominal_v: float
    limits: RailLimits | None
    measured_v: float | None
    measured_ma: float | None
    verdict: str
    current_verdict: str

    def as_json(self) -> dict[str, object]:
        """The reading under the documented keys."""
        limits = self.limits
        return {
            "rail": self.rail, "nominal_v": self.nominal_v, "range_v": limits and limits.range_v,
            "probe": limits.probe if limits else None, "measured_v": self.measured_v, "verdict": self.verdict,
            "current_ma": limits and limits.current_ma, "most_ma": limits and limits.most_ma,
            "measured_ma": self.measured_ma, "current_verdict": self.current_verdict,
        }  # fmt: skip


class Trust(Struct, frozen=True):
    """What may be trusted, what may not, and what nobody knows."""

    what: str
    trust: str
    why: str


class BenchCheck(Struct, frozen=True):
    """All readings of a board, what they mean, and what they rest on."""

    board: Board
    rails: tuple[RailReading, ...]
    findings: tuple[Finding, ...]
    trust: tuple[Trust, ...]

    @property
    def sources(self) -> list[str]:
        """What the verdicts rest on."""
        return [f"limits: {self.board.source}", f"what may be trusted, and the tenth without a range: {PRACTICE}"]

    @property
    def unchecked(self) -> list[str]:
        """What the board's file marks as not seen, of rails and limits."""
        return [entry for entry in self.board.unchecked if entry.split(":")[0].split(".")[0] in ("limits", "rails")]

    def as_json(self) -> dict[str, object]:
        """The answer under the documented keys."""
        return {
            "board": self.board.name, "rails": [each.as_json() for each in self.rails],
            "trust": [{"what": each.what, "trust": each.trust, "why": each.why} for each in self.trust],
            "findings": [each.as_json() for each in self.findings], "sources": self.sources,
            "unchecked": self.unchecked,
        }  # fmt: skip


def judge_readings(board: Board, volts: Mapping[str, float], milliamperes: Mapping[str, float]) -> BenchCheck:
    """Judge readings of the rails of a board: volts and milliamperes by the names of its rails.

    >>> from romwright.boards.library import require_board
    >>> judge_readings(require_board("tern-tl-1"), {"+5V": 4.4}, {}).trust[0].trust
    'no'
    """
    rails = tuple(
        judge_rail(name, nominal, board.limits.get(name), volts.get(name), milliamperes.get(name))
        for name, nominal in board.rails.items()
        if nominal
    )
    findings = tuple(finding for each in rails for finding in find_of_rail(each))
    return BenchCheck(board, rails, findings, tuple(say_trust(rails)))


def judge_rail(
    name: str, nominal: float, limits: RailLimits | None, volts: float | None, milliamperes: float | None
) -> RailReading:
    """Judge one rail; what is not stated or not measured stays unknown."""
    verdict = UNKNOWN if volts is None else judge_volts(volts, nominal, limits.range_v if limits else None)
    window, most = (limits.current_ma, limits.most_ma) if limits else (None, None)
    top = window[1] if window else most
    current = UNKNOWN
    if milliamperes is not None and top is not None:
        current = HIGH if milliamperes > top else UNKNOWN if not window else LOW if milliamperes < window[0] else IN
    return RailReading(name, nominal, limits, volts, milliamperes, verdict, current)


def judge_volts(volts: float, nominal: float, span: tuple[float, float] | None) -> str:
    """Say how a reading lies to its range; without one only what is a tenth off or turned round is known.

    >>> judge_volts(-4.7, -5, (-5.25, -4.75)), judge_volts(4.9, 5, None), judge_volts(4.4, 5, None)
    ('low', 'unknown', 'low')
    """
    sign = 1 if nominal > 0 else -1
    size, usual = volts * sign, nominal * sign
    low, high = sorted(each * sign for each in span) if span else (usual * (1 - SLACK), usual * (1 + SLACK))
    if size < -usual * SLACK:
        return REVERSED
    if size < low or size > high:
        return LOW if size < low else HIGH
    return IN if span else UNKNOWN


def find_of_rail(rail: RailReading) -> Iterator[Finding]:
    """Yield what a rail's reading means."""
    span = rail.limits.range_v if rail.limits else None
    probe = f"at {rail.limits.probe}" if rail.limits else "the board's file does not say where"
    words = f"{span[0]:g} to {span[1]:g} V" if span else f"{rail.nominal_v:g} V by a tenth"
    if rail.measured_v is None:
        yield Finding(NOT_MEASURED, f"{rail.rail} was not measured", f"it should be {rail.nominal_v:+g} V", probe)
    elif rail.verdict == REVERSED:
        title = f"{rail.rail} reads {rail.measured_v:g} V: the wrong way round"
        yield Finding(RAIL_REVERSED, title, probe, "switch off; exchange the leads of the meter and measure once more")
    elif rail.verdict == HIGH:
        yield Finding(RAIL_HIGH, f"{rail.rail} reads {rail.measured_v:g} V, above {words}", probe, SWITCH_OFF)
    elif rail.verdict == LOW:
        yield Finding(
            RAIL_LOW, f"{rail.rail} reads {rail.measured_v:g} V, below {words}", probe, "mend the supply first"
        )
    elif rail.verdict == UNKNOWN:
        yield Finding(NO_RANGE, f"{rail.rail} reads {rail.measured_v:g} V: the file states no range", probe)
    yield from find_of_current(rail)


def find_of_current(rail: RailReading) -> Iterator[Finding]:
    """Yield what a reading of the supply current means."""
    if rail.current_verdict not in (LOW, HIGH):
        return
    window, most = rail.limits.current_ma, rail.limits.most_ma
    words = f"{window[0]:g} to {window[1]:g} mA" if window else f"the {most:g} mA that the supply gives"
    said = "all chips of the board in their sockets" if window else "what the board usually draws is not stated"
    code, place = (CURRENT_HIGH, "above") if rail.current_verdict == HIGH else (CURRENT_LOW, "below")
    yield Finding(
        code,
        f"{rail.rail} carries {rail.measured_ma:g} mA, {place} {words}",
        said,
        SWITCH_OFF if code is CURRENT_HIGH else "",
    )


def say_trust(rails: tuple[RailReading, ...]) -> Iterator[Trust]:
    """Say what may be trusted: verdicts on memories and levels only while every rail is known to be in."""
    out = [each.rail for each in rails if each.verdict in (LOW, HIGH, REVERSED)]
    unknown = [each.rail for each in rails if each.verdict == UNKNOWN]
    trust, why = (YES, "every rail is within its range") if rails else (UNKNOWN, "the board's file names no rail")
    if out:
        trust, why = NO, f"{', '.join(out)} is out" if len(out) == 1 else f"{', '.join(out)} are out"
    elif heavy := [each.rail for each in rails if each.current_verdict == HIGH]:
        trust, why = NO, f"{', '.join(heavy)}: something draws more current than it should"
    elif unknown:
        trust, why = UNKNOWN, f"not known to be within the range: {', '.join(unknown)}"
    yield Trust("verdicts on RAM and ROM: memory tests, checksums that the board makes", trust, why)
    yield Trust("levels on signal lines", trust, why)
    yield Trust("a chip read in a programmer", YES, "that has a supply of its own")
    yield Trust("continuity, measured with the power off", YES, "no supply is needed for it")
