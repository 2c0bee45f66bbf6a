"""`romwright timing`: is a chip fast enough for a CPU at its clock?"""

from __future__ import annotations

import re

import click

from romwright.cli.options import AS_JSON, GRADE
from romwright.errors import OptionError


def read_clock(context: click.Context, parameter: click.Parameter, text: str) -> float:
    """Read a clock in MHz; a number without its unit is refused, since 4 would be 4 Hz. Raises OptionError."""
    from romwright.boards.clockrules import LEAST_MHZ, MOST_MHZ
    from romwright.boards.linerates import parse_clock

    if is_number(text.strip()):
        raise OptionError(f"{text!r} has no unit", where="CLOCK", expected=f"kHz or MHz behind it: {text.strip()}MHz")
    mhz = float(parse_clock(text, "CLOCK") / 10**6)
    if not LEAST_MHZ <= mhz <= MOST_MHZ:
        raise OptionError(f"{text}: no CPU runs at that", where="CLOCK", expected=f"{LEAST_MHZ} to {MOST_MHZ} MHz")
    return mhz


def is_number(text: str) -> bool:
    """Tell whether a text is a plain number: `41`, `22.5`."""
    return re.fullmatch(r"[0-9]{1,12}(\.[0-9]{0,12})?", text) is not None


def read_stretch(context: click.Context, parameter: click.Parameter, ns: float) -> float:
    """Read how long the clock is held. Raises OptionError."""
    from romwright.boards.clockrules import MOST_NS

    if not 0 <= ns <= MOST_NS:
        raise OptionError(f"--stretch {ns:g}: the clock held for so long", expected=f"0 to {MOST_NS} nanoseconds")
    return ns


def parse_waits(context: click.Context, parameter: click.Parameter, entries) -> dict[str, int]:
    """Read `1`, or `CYCLE=1`: waits in every cycle or in one. Raises OptionError."""
    from romwright.boards.clockrules import MOST_CLOCKS

    found: dict[str, int] = {}
    for entry in entries:
        cycle, _, count = entry.rpartition("=")
        if not re.fullmatch("[0-9]{1,3}", count.strip()) or int(count) > MOST_CLOCKS or cycle.strip() in found:
            raise OptionError(
                f"--wait {entry}: no number of waits, or given twice",
                expected="waits in every read, --wait 1, or in one kind, --wait 'opcode fetch=1'; "
                f"{MOST_CLOCKS} at most",
            )
        found[cycle.strip()] = int(count)
    return found


def parse_delays(context: click.Context, parameter: click.Parameter, entries) -> dict:
    """Read `select=41` or `select=74LS138`: a delay before or behind the chip; they add up. Raises OptionError."""
    from romwright.boards.clockrules import MOST_NS
    from romwright.boards.gluedelays import find_glue
    from romwright.timing.delays import glue_delay
    from romwright.timing.quantity import ZERO, known
    from romwright.timing.quick import PLACES

    found: dict = {}
    for entry in entries:
        place, _, value = (word.strip() for word in entry.partition("="))
        number = is_number(value)
        if place not in PLACES or (float(value) > MOST_NS if number else find_glue(value) is None):
            raise OptionError(
                f"--delay {entry}: no place and time",
                expected=f"one of {', '.join(PLACES)}, then nanoseconds or a chip whose delay is known: select=41, "
                f"select=74LS138; {MOST_NS} ns at most",
                help="pinmaps/delays.toml lists the chips",
            )
        delay = known(f"the delay stated for {place}", float(value), "as stated") if number else glue_delay(value)
        found[place] = found.get(place, ZERO) + delay
    return found


@click.command("timing", short_help="Whether a chip is fast enough for a CPU at its clock.")
@click.argument("cpu", metavar="CPU")
@click.argument("clock", metavar="CLOCK", callback=read_clock)
@click.argument("part", metavar="PART")
@click.option("--cpu-grade", metavar="GRADE", help="The speed grade of the CPU: Z80A, 68B09.")
@GRADE
@click.option(
    "--wait", "waits", multiple=True, callback=parse_waits, metavar="N|CYCLE=N",
    help="Waits in every read, or in one kind of cycle; repeat it.",
)  # fmt: skip
@click.option(
    "--stretch", type=float, default=0, callback=read_stretch, metavar="NS", help="How long the clock is held."
)
@click.option(
    "--delay", "delays", multiple=True, callback=parse_delays, metavar="PLACE=NS|CHIP",
    help="What lies before the address, the select or the strobe, or behind the data; repeat it.",
)  # fmt: skip
@click.option("--gated", multiple=True, metavar="LINE", help="A CPU line that is part of the select: /MREQ; repeat it.")
@AS_JSON
def command(cpu, clock, part, cpu_grade, grade, waits, stretch, delays, gated, as_json) -> int:
    """Tell whether PART is fast enough for CPU at CLOCK: what is left on each path, and which path has the least.

    CPU is a CPU or a speed grade of one. CLOCK is that of which the data sheet counts periods: of a 6809 the E clock,
    of an 8085 half of the crystal's. Unless --grade or the marking says which, PART is of the slowest grade on its
    page. What nobody has read stays unknown; a delay that is not stated is a plain wire. Exit status 1 if it is too
    slow; if only the slowest grade of the page is, and nobody stated the grade, that is a caution.

    \b
    Example: romwright timing Z80A 4MHz 27128A --grade 250 --delay select=74LS138 --gated /MREQ
    """
    from romwright.cli.render import print_findings, print_json
    from romwright.findings import blocks
    from romwright.parts.library import require_marked
    from romwright.timing.chip import require_grade_ns
    from romwright.timing.library import require_grade, require_timing
    from romwright.timing.quick import Circumstances, judge_quickly

    page, named = require_timing(cpu)
    of_cpu = named if cpu_grade is None else require_grade(page, cpu_grade)
    if named and of_cpu is not named:
        both = f"{named.name} is one grade, --cpu-grade {of_cpu.name} another"
        raise OptionError(both, expected=f"one of them alone, or {page.name} with a --cpu-grade")
    if unknown := [cycle for cycle in waits if cycle and cycle not in page.cycles]:
        raise OptionError(f"--wait: the {page.name} has no {unknown[0]!r}", expected=f"one of {', '.join(page.cycles)}")
    chip, reading = require_marked(part)
    lines = [name for window in page.windows for name in window.names]
    if strange := [name for name in gated if name not in lines]:
        raise OptionError(
            f"--gated {strange[0]}: when that line of the {page.name} is good was not read",
            expected=f"one of {', '.join(dict.fromkeys(lines))}",
        )
    fitted = require_grade_ns(chip, grade, reading.speed_ns)
    around = Circumstances(delays, waits, stretch, gated)
    answer = judge_quickly(page, clock, chip, fitted, around, of_cpu)
    findings = [*reading.findings, *answer.findings]
    if as_json:
        told = answer.as_json()
        told["findings"] = [finding.as_json() for finding in findings]
        print_json(told)
    else:
        click.echo(f"{answer.chip} at the {answer.cpu}\n")
        print_answer(answer)
        if findings:
            click.echo()
            print_findings(findings)
        print_sources(answer)
    return int(blocks(findings))


def print_timing(answer, board) -> None:
    """Print whether a chip on a board is in time; `answer` is None where nobody has read when its CPU takes data in."""
    from romwright.cli.render import indented, print_findings, show
    from romwright.cli.wire import heading

    heading("In time?")
    if answer is None:
        click.echo(f"  It cannot be said: no page has the read timing of the {board.cpu}.")
        return
    print_answer(answer)
    if answer.findings:
        click.echo()
        print_findings(answer.findings)
    click.echo()
    show(*map(indented, answer.basis))


def print_answer(answer) -> None:
    """Print what is judged, the margins, and what binds."""
    from romwright.cli.render import print_result

    click.echo("\n".join(f"  {line}" for line in answer.circumstances))
    click.echo()
    print_paths(answer.paths)
    click.echo()
    print_result(answer.words, bold=True, fg="red" if answer.verdict == "too slow" else None)
    if answer.slowest_words:
        print_result(answer.slowest_words)


def print_paths(paths) -> None:
    """Print the margins as a table, nanoseconds throughout."""
    from romwright.cli.render import print_table

    rows = [
        (path.cycle, path.start, path.pins + " (if)" * bool(path.only_if),
         *(each.words for each in path.parts))
        for path in paths
    ]  # fmt: skip
    print_table(("cycle", "from", "to", "window", "delay", "chip", "margin"), rows, right=(3, 4, 5, 6))
    for condition in dict.fromkeys(path.only_if for path in paths if path.only_if):
        click.echo(f"(if): only if {condition}")


def print_sources(answer) -> None:
    """Print where every number stands, what is unchecked, and what the windows take for granted."""
    from romwright.cli.render import indented, show
    from romwright.cli.wire import heading
    from romwright.timing.quantity import words_for

    inputs = dict.fromkeys(each for path in answer.paths for each in path.margin.inputs if each.is_known)
    by_source: dict[str, list[str]] = {}
    for each in inputs:
        number = f"{each.name}: {words_for(each.low_ns, each.high_ns)}"
        by_source.setdefault(" / ".join(each.sources), []).append(number)
    heading("Numbers and sources")
    for source, numbers in by_source.items():
        show(indented(source), *(indented(f"  {number}") for number in numbers))
    bases = dict.fromkeys(path.basis for path in answer.paths if path.basis)
    show(*(indented(f"window: {basis}") for basis in bases))
    if answer.unchecked:
        heading("UNCHECKED: do not rely on these without a data sheet", fg="yellow")
        show(*(indented(name) for name in answer.unchecked))
    if answer.granted:
        heading("Taken for granted")
        show(*map(indented, answer.granted))
