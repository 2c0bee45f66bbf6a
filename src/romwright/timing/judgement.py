"""The answer: the margin of each path, the one that binds, the slowest grade that works, and the findings."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cached_property

from msgspec import Struct

from romwright.findings import Code, Finding, Severity, worst_first
from romwright.images.words import counted
from romwright.parts.model import Part
from romwright.timing.chip import ACCESS, ENABLE, FLOAT, OUTPUT, grades_of, time_of
from romwright.timing.paths import Path, at_grade, binding
from romwright.timing.quantity import words_for
from romwright.timing.windows import Pace

KEYS = (ACCESS, ENABLE, OUTPUT, FLOAT)
TOO_SLOW = Code(
    "too-slow", Severity.FAULT, "the data are there before the CPU takes them in",
    "The CPU takes in what is on the bus at that moment: at times the right byte, warm or on a bad day another.",
    do="Take a faster grade of the chip, drop a gate of the path that is named, add a wait, or lower the clock.",
    example="27128A at 250 ns is too slow by 45 ns: address to A0-A13, opcode fetch",
)  # fmt: skip
PERHAPS_TOO_SLOW = Code(
    "perhaps-too-slow", Severity.CAUTION, "the data are there in time by every document",
    "One document gives two values for one time: by one of them the data come too late.",
    do="Take a grade that is in time by both values, or look at the data lines with an oscilloscope at the moment at "
    "which the CPU takes them in.",
    example="2716 may be too slow: between 20 ns too late and 55 ns to spare: address to A0-A10, memory read",
)  # fmt: skip
BUS_TURN = Code(
    "bus-turn-round", Severity.CAUTION, "a chip is off the data lines before the next driver comes",
    "For some nanoseconds two outputs fight: supply spikes, and warm outputs. Most boards bear it (common practice, no "
    "source).",
    do="Take a grade with a shorter float time; look for spikes on the supply at the chip.",
    example="27128A lets go of the data lines 10 ns after the next driver comes: /RD off to D0-D7, memory read",
)  # fmt: skip
CLOCK_ABOVE = Code(
    "clock-above-grade", Severity.CAUTION, "the CPU's grade is made for the clock",
    "Above its clock none of the times on the CPU's data sheet hold, and the margins here mean little.",
    do="Read the marking of the CPU and its clock once more; fit a CPU of a faster grade.",
    example="the Z80A is made for 4 MHz at most, and runs at 6 MHz",
)  # fmt: skip
GRADE_NEEDED = Code(
    "grade-needed", Severity.CAUTION, "a chip is in time at every grade on its page",
    "The grade of the chip was not stated, and at the slowest on its page the data come too late.",
    do="Read the grade behind the number on the chip, and take one that is fast enough; --grade says which it is.",
    example="2732A is in time from the grade of 250 ns on; it comes as slow as 450 ns",
)  # fmt: skip
NOT_SAID = Code(
    "timing-unknown", Severity.NOTE, "every time of every path is known",
    "What nobody has read is not zero: such a path may be the one that is too slow.",
    do="A delay, a clock or a grade goes into the board's file (of romwright timing: --delay); a time of the CPU or "
    "the chip is to be looked for in its data sheet, or seen with an oscilloscope.",
    example="whether 2716 is in time cannot be said of 2 paths",
)  # fmt: skip


class Answer(Struct, frozen=True, dict=True):
    """Paths of one chip at one grade of its page, and what they come to; `grade_ns` None: its page has no times.

    `assumed`: nobody stated the grade, and this is the slowest on the page.
    """

    part: Part
    grade_ns: float | None
    pace: Pace | None
    paths: tuple[Path, ...]
    cpu: str = ""
    assumed: bool = False

    @property
    def reads(self) -> list[Path]:
        """The paths on which data must come in time."""
        return [path for path in self.paths if not path.is_release and not path.only_if]

    @property
    def releases(self) -> list[Path]:
        """The paths on which the chip must let go in time."""
        return [path for path in self.paths if path.is_release]

    @property
    def binding(self) -> Path | None:
        """The path with the least margin; of those that cannot be said nobody knows."""
        return binding(self.reads)

    @property
    def latest(self) -> Path | None:
        """The path on which the data are too late by most; None if there is none."""
        return min((path for path in self.reads if path.fails), key=lambda path: path.most_ns, default=None)

    @property
    def unsaid(self) -> list[Path]:
        """The paths that cannot be said."""
        return [path for path in self.paths if not path.margin.is_known and not path.only_if]

    @property
    def verdict(self) -> str:
        """`in time`, `too slow`, `in doubt` (one source against another), or `unknown` (some paths cannot be said)."""
        if any(path.fails for path in self.reads):
            return "too slow"
        if any(path.is_doubtful for path in self.reads):
            return "in doubt"
        return "in time" if self.reads and all(path.margin.is_known for path in self.reads) else "unknown"

    @cached_property
    def slowest(self) -> tuple[float, bool] | None:
        """The slowest grade of the page with which no known path is too late, and whether all paths are known."""
        for grade in sorted(grades_of(self.part), reverse=True):
            paths = at_grade(self.reads, {key: time_of(self.part, key, grade) for key in KEYS})
            said = [path for path in paths if path.margin.is_known]
            if said and all(path.margin.low_ns >= 0 for path in said) and not any(path.fails for path in paths):
                return grade, len(said) == len(paths)
        return None

    @property
    def chip(self) -> str:
        """The chip and its grade in words."""
        return self.part.name if self.grade_ns is None else f"{self.part.name} at {self.grade_ns:g} ns"

    @property
    def lacks(self) -> list[str]:
        """What nobody has read that paths need."""
        return list(dict.fromkeys(name for path in self.unsaid for name in path.margin.lacks))

    @property
    def checked(self) -> list[str]:
        """The documents that the margins rest on; for the chip stands its page, which names its own."""
        inputs = (given for path in self.paths for given in (*path.window.inputs, *path.delay.inputs))
        kept = (given for given in inputs if given.is_known and not given.unchecked)
        found = dict.fromkeys(source for given in kept for source in given.sources if not source.endswith("as stated"))
        return [*found, f"the page of {self.part.name}"]

    @property
    def unchecked(self) -> list[str]:
        """What the margins rest on that nobody has checked."""
        return list(dict.fromkeys(name for path in self.paths for name in path.unchecked))

    @property
    def granted(self) -> list[str]:
        """What the windows take for granted, and what else rules by the CPU's page."""
        taken = (each for path in self.paths for each in path.assumes.split("; ") if each)
        return [each.removesuffix(".") for each in dict.fromkeys((*taken, *self.cautions))]

    @property
    def cautions(self) -> tuple[str, ...]:
        """The cautions of the CPU's page."""
        return self.pace.page.cautions if self.pace else ()

    @property
    def basis(self) -> list[str]:
        """What the margins rest on, in lines: documents, what is unchecked, what is taken for granted."""
        lists = ("sources", self.checked), ("UNCHECKED", self.unchecked), ("taken for granted", self.granted)
        return [f"{what}: {'; '.join(each)}" for what, each in lists if each]

    @property
    def words(self) -> str:
        """The verdict in a sentence, with the path that binds."""
        bound, worst = self.binding, self.latest
        late = "Too slow at the slowest grade on its page" if self.assumed and self.slowest else "TOO SLOW"
        if worst and not worst.margin.is_known:
            short = f"too late by more than {-worst.most_ns:g} ns, whatever the delay is that nobody has read"
            return f"{late}; {short}: {worst.name}."
        if bound is None:
            return "It cannot be said whether it is in time."
        least = f"least margin {bound.margin.words}: {bound.name}"
        return {
            "in time": f"In time; {least}.", "too slow": f"{late}; {least}.", "in doubt": f"In doubt; {least}.",
            "unknown": f"In time as far as is known; {least}.",
        }[self.verdict]  # fmt: skip

    @property
    def slowest_words(self) -> str:
        """The slowest grade that works, in a sentence; nothing if none does."""
        if self.slowest is None:
            return ""
        sure = "" if self.slowest[1] else ", as far as its times are known"
        return f"Slowest grade on its page that works: {self.slowest[0]:g} ns{sure}."

    @property
    def circumstances(self) -> list[str]:
        """What it is judged at, in lines: clock and grades, and which of them nobody stated."""
        at, lines = self.pace, []
        clock = "unknown: the board's file does not say" if at.clock_mhz is None else f"{at.clock_mhz:.7g} MHz"
        lines.append(f"clock: {clock} ({at.page.clock})")
        of_cpu = at.grade.name if at.grade else "unknown: not stated"
        lines.append(f"grade of the CPU: {of_cpu}" + ", not stated: the slowest for that clock" * at.assumed)
        of_chip = "none on its page" if self.grade_ns is None else f"{self.grade_ns:g} ns"
        return [*lines, f"grade of the chip: {of_chip}" + ", not stated: its page's slowest" * self.assumed]

    @cached_property
    def findings(self) -> list[Finding]:
        """What is wrong, worst first."""
        return worst_first(self._find())

    def _find(self) -> Iterator[Finding]:
        late = [path for path in self.reads if path.fails]
        doubtful = [path for path in self.reads if path.is_doubtful]
        if (late or doubtful) and self.assumed and self.slowest:
            known = "" if self.slowest[1] else ", as far as is known,"
            fast = f"{self.part.name} is in time{known} from the grade of {self.slowest[0]:g} ns on"
            title = f"{fast}; it comes as slow as {self.grade_ns:g} ns"
            yield Finding(GRADE_NEEDED, title, sums_of(late or doubtful), GRADE_NEEDED.do)
        elif late:
            worst = self.latest
            low = worst.margin.low_ns
            by = f"more than {-worst.most_ns:g} ns" if low is None else words_for(-worst.most_ns, -low)
            yield Finding(TOO_SLOW, f"{self.chip} is too slow by {by}: {worst.name}", sums_of(late), self.cure)
        elif doubtful:
            worst = binding(doubtful)
            span = f"between {-worst.margin.low_ns:g} ns too late and {worst.margin.high_ns:g} ns to spare"
            yield Finding(
                PERHAPS_TOO_SLOW, f"{self.part.name} may be too slow: {span}: {worst.name}", ranged(worst), self.cure
            )
        for path in (path for path in self.releases if path.margin.is_known and path.margin.low_ns < 0):
            over = words_for(max(0, -path.margin.high_ns), -path.margin.low_ns)
            title = f"{self.part.name} lets go of the data lines {over} after the next driver comes: {path.name}"
            yield Finding(BUS_TURN, title, sums_of([path]), "take a grade with a shorter float time")
        if self.pace and self.pace.is_too_fast:
            page, grade = self.pace.page, self.pace.grade
            most = 1000 / grade.ns[page.period]
            title = f"the {grade.name} is made for {most:.4g} MHz at most, and runs at {self.pace.clock_mhz:g} MHz"
            yield Finding(CLOCK_ABOVE, title, f"{page.clock}: {page.parameters[page.period]}", CLOCK_ABOVE.do)
        if self.unsaid:
            title = f"whether {self.part.name} is in time cannot be said of {counted(len(self.unsaid), 'path')}"
            yield Finding(NOT_SAID, title, f"not known: {'; '.join(self.lacks)}", NOT_SAID.do)

    @property
    def cure(self) -> str:
        """Which grade of the page would do, if any, in words."""
        if self.slowest is None:
            return "no grade on its page is fast enough: another chip, a wait, or a lower clock"
        return f"take a grade of {self.slowest[0]:g} ns or faster" + ("" if self.slowest[1] else ", as far as is known")

    def as_json(self) -> dict:
        """The answer under the documented JSON keys."""
        bound, pace, slowest = self.binding, self.pace, self.slowest
        return {
            "cpu": self.cpu, "cpu_grade": pace.grade.name if pace and pace.grade else None,
            "cpu_grade_assumed": bool(pace and pace.assumed), "clock_mhz": pace.clock_mhz if pace else None,
            "part": self.part.name, "grade_ns": self.grade_ns, "grade_assumed": self.assumed,
            "verdict": self.verdict,
            "binding": None if bound is None else {"path": bound.name, "margin_ns": bound.margin.as_json()},
            "slowest_ns": slowest and slowest[0], "slowest_sure": bool(slowest and slowest[1]),
            "paths": [path.as_json() for path in self.paths],
            "findings": [finding.as_json() for finding in self.findings], "cautions": list(self.cautions),
        }  # fmt: skip


def sums_of(paths: Sequence[Path]) -> str:
    """Write the sums of some paths."""
    return "; ".join(f"{path.name}: {sum_of(path)}" for path in paths)


def sum_of(path: Path) -> str:
    """Write what a margin is made of: `355 ns - 0 ns - 250 ns = 105 ns`."""
    return f"{path.window.words} - {path.delay.words} - {path.need.words} = {path.margin.words}"


def ranged(path: Path) -> str:
    """Say which numbers have two sources that do not agree."""
    two = [each for each in path.margin.inputs if each.is_known and each.low_ns != each.high_ns]
    return "; ".join(
        f"{each.name}: {each.low_ns:g} ns ({each.source}), {each.high_ns:g} ns ({each.high_source})" for each in two
    )
