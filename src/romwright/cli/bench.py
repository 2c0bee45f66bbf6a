"""`romwright bench`: what was measured at the bench, and what may be trusted then."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping

import click

from romwright.cli.options import AS_JSON, OVERWRITE
from romwright.errors import OptionError


@click.group("bench", short_help="Judge what was measured: supplies first.")
def command() -> None:
    """Judge what was measured at the bench. Supplies come first: while one is out, no verdict on a memory counts.

    \b
    Example: romwright bench check tern-tl-1 --measured 5V=5.02
    """


@command.command(short_help="Judge the supplies of a board, and say what may be trusted.")
@click.argument("board", metavar="BOARD")
@click.option(
    "--measured", multiple=True, metavar="RAIL=VOLTS,…", help="What the meter read, such as 5V=5.02,-5V=-4.9."
)
@click.option("--current", multiple=True, metavar="RAIL=MA,…", help="Supply current in milliamperes, such as 5V=640.")
@AS_JSON
def check(board: str, measured: tuple[str, ...], current: tuple[str, ...], as_json: bool) -> int:
    """Judge the supplies of BOARD by the limits of its file, and say what may be trusted and what not.

    Without readings it prints what to measure, and where. Volts are against the board's 0 V; a rail is named as in
    the board's file, or by its volts: 5V, +5, -5 V. What the file does not state, or was not measured, stays unknown.
    Exit status 1 if a rail or its current is out.

    \b
    Example: romwright bench check tern-tl-1 --measured 5V=5.02 --current 5V=640
    """
    from romwright.boards.library import require_board
    from romwright.cli.render import print_cautions, print_findings, print_json
    from romwright.electric.readings import judge_readings
    from romwright.findings import blocks
    from romwright.parts.cautions import measuring_cautions

    page = require_board(board)
    rails = {name: volts for name, volts in page.rails.items() if volts}
    volts = parse_readings(measured, "--measured", rails, "V")
    found = judge_readings(page, volts, parse_readings(current, "--current", rails, "mA"))
    if as_json:
        print_json(found.as_json() | {"cautions": measuring_cautions()})
        return int(blocks(found.findings))
    click.echo(f"{page.title} ({page.name})\n")
    print_cautions(measuring_cautions())
    click.echo()
    print_rails(found)
    click.echo()
    print_findings(found.findings)
    print_trust(found)
    return int(blocks(found.findings))


UNITS = {"V": {"V": 1, "MV": 0.001}, "mA": {"MA": 1, "A": 1000}}  # what may stand behind a reading, and its size


def parse_readings(entries: Iterable[str], option: str, rails: Mapping[str, float], unit: str) -> dict[str, float]:
    """Read `5V=5.02,-5V=-4.9`: numbers by the names of rails. Raises OptionError, UnknownNameError.

    >>> parse_readings(["5v=5.02,-5=-4.9 V"], "--measured", {"+5V": 5, "-5V": -5}, "V")
    {'+5V': 5.02, '-5V': -4.9}
    """
    found, example = {}, "5V=640 (in mA)" if unit == "mA" else "5V=5.02"
    for entry in (each for text in entries for each in plain(text).split(",")):
        name, equals, text = (each.strip() for each in entry.partition("="))
        number = re.fullmatch(r"([+-]?(?:\d{1,6}(?:\.\d{0,6})?|\.\d{1,6}))\s*([a-zA-Z]*)", text)
        size = UNITS[unit].get(number[2].upper() or unit.upper()) if number else None
        if not equals or not name or size is None:
            raise OptionError(
                f"{option} {entry!r} is no reading", expected=f"RAIL={unit}, a decimal point in it: {example}",
                help="a comma parts readings; write 5.02, not 5,02",
            )  # fmt: skip
        rail = require_rail(name, rails)
        if rail in found:
            raise OptionError(f"{option}: {rail} is given twice", expected="one reading for each rail")
        found[rail] = round(float(number[1]) * size, 9)
        if unit == "mA" and found[rail] < 0:
            raise OptionError(f"{option}: {rail} carries {found[rail]:g} mA", expected="0 or more, without a sign")
    return found


def plain(text: str) -> str:
    """Return a text with the digits and the minus sign that Python reads.

    >>> plain("−5V=−４.9")
    '-5V=-4.9'
    """
    return unicodedata.normalize("NFKC", text).replace("−", "-").replace("–", "-")


def require_rail(name: str, rails: Mapping[str, float]) -> str:
    """Return the rail of a name, in any case of letters, or of so many volts: `5`, `+5`, `5 V`, `5.0V`.

    Raises UnknownNameError if there is none, or if several rails have these volts.

    >>> require_rail("5 v", {"+5V": 5, "-5V": -5}), require_rail("-5", {"+5V": 5, "-5V": -5})
    ('+5V', '-5V')
    """
    from romwright.boards.library import require_name

    known = {alias: each for each in rails for alias in (each.removeprefix("+").casefold(), each.casefold())}
    number = re.fullmatch(r"([+-]?\d{1,3}(?:\.\d{1,3})?) ?v?(?:dc)?", name.casefold())
    same = [each for each, volts in rails.items() if number and volts == float(number[1])]
    if name.casefold() in known or len(same) == 1:
        return known.get(name.casefold()) or same[0]
    return require_name("rail", name, list(rails))


def print_rails(found) -> None:
    """Print a row for each rail."""
    from romwright.cli.render import print_table

    rows = []
    for rail in found.rails:
        limits = rail.limits
        rows.append((
            rail.rail, span(limits and limits.range_v, "V"), number(rail.measured_v, "V"), rail.verdict,
            span(limits and limits.current_ma, "mA"), number(rail.measured_ma, "mA"), rail.current_verdict,
            limits.probe if limits else "not stated",
        ))  # fmt: skip
    print_table(("rail", "range", "measured", "it is", "current", "measured", "it is", "measured where"), rows)


def span(values: tuple[float, float] | None, unit: str) -> str:
    """Write a range, or that none is stated."""
    return f"{values[0]:g} to {values[1]:g} {unit}" if values else "not stated"


def number(value: float | None, unit: str) -> str:
    """Write a reading, or a dash."""
    return "-" if value is None else f"{value:g} {unit}"


def print_trust(found) -> None:
    """Print what may be trusted; with --quiet too, for it is the answer."""
    from romwright.cli.render import print_result

    click.echo()
    print_result("May it be trusted?", bold=True)
    for each in found.trust:
        print_result(f"  {each.trust:<8} {each.what}: {each.why}")
    click.echo("\nSources")
    for line in (*found.sources, *(f"UNCHECKED: {entry}" for entry in found.unchecked)):
        click.echo(f"  {line}")


@command.command(short_help="The sheet for switching a board on.")
@click.argument("board", metavar="BOARD")
@click.option("-o", "--output", metavar="OUT.txt|.html|.pdf", help="Write it there instead of printing the text.")
@click.option("--paper", type=click.Choice(["A4", "Letter"]), help="For a PDF; A4 without it.")
@click.option("--date", default="", metavar="DATE", help="Printed at its head.")
@OVERWRITE
@AS_JSON
def sheet(board: str, output: str | None, paper: str | None, date: str, overwrite: bool, as_json: bool) -> int:
    """Make the power-up sheet of BOARD: rails, where to probe and what to read, currents, and what may be trusted when.

    It goes from the power off and empty sockets to all chips in, with room for each reading. What the board's file does
    not state is left open.

    \b
    Example: romwright bench sheet tern-tl-1 -o power-up.pdf
    """
    from romwright.boards.library import require_board
    from romwright.cli.sheet import KINDS, hand_out, require_ending
    from romwright.jobs.outputs import build_sheet
    from romwright.jobs.powerup import build_power_up

    kind = KINDS[require_ending(output, paper)]
    made = build_power_up(require_board(board), date)
    data = build_sheet(kind, made, paper or "A4")
    hand_out({"board": board}, made if as_json else None, data, output, overwrite)
    return 0


@command.command(short_help="Set an output against an input: noise margin and fan-out.")
@click.argument("driver", metavar="DRIVER")
@click.argument("receiver", metavar="RECEIVER")
@click.option(
    "--inputs", type=click.IntRange(1, 1000), default=1, show_default=True, help="How many such inputs it feeds."
)
@click.option("--vcc", metavar="V or V-V", default="5", show_default=True, help="The supply, such as 4.75-5.25.")
@AS_JSON
def levels(driver: str, receiver: str, inputs: int, vcc: str, as_json: bool) -> int:
    """Set the output of DRIVER against the input of RECEIVER: parts by name or marking, or families such as LS or HCT.

    The noise margin is what is left in volts at H and at L when both sides are at the worst that their sheets allow;
    a range where sheets differ, unknown where nobody has read a number. Exit status 0: a short level is a caution.

    \b
    Example: romwright bench levels 27128A HC --vcc 4.75-5.25
    """
    from romwright.cli.electric import count, print_margins
    from romwright.cli.render import print_findings, print_json
    from romwright.electric.loading import add_up, find_of_load
    from romwright.electric.margins import pair
    from romwright.electric.socketed import known
    from romwright.electric.terminals import require_terminal

    supply = parse_vcc(vcc)
    one, other = require_terminal(driver, supply), require_terminal(receiver, supply)
    loads = {level: add_up({other: inputs}, level) for level in "HL"}
    found = pair(one, other, known(loads["L"]), known(loads["H"]))
    what = f"{inputs} inputs of {other.name}" if inputs > 1 else f"one input of {other.name}"
    findings = [*found.findings, *(f for level, load in loads.items() for f in find_of_load(one, load, level, what))]
    answer = found.as_json()
    if as_json:
        answer |= {"inputs": inputs, "loads": {level: load.as_json() for level, load in loads.items()}}
        print_json(answer | {"findings": [each.as_json() for each in findings]})
        return 0
    print_margins([found])
    click.echo(f"\nfan-out, in such inputs: {count(found.fan_out_low)} at L, {count(found.fan_out_high)} at H")
    click.echo()
    print_findings(findings)
    click.echo("Sources")
    for line in (*answer["sources"], *(f"UNCHECKED: {entry}" for entry in answer["unchecked"])):
        click.echo(f"  {line}")
    return 0


def parse_vcc(text: str) -> tuple[float, float]:
    """Read a supply: `5`, or `4.75-5.25`. Raises OptionError.

    >>> parse_vcc("5"), parse_vcc("4.75-5.25")
    ((5.0, 5.0), (4.75, 5.25))
    """
    match = re.fullmatch(r"(\d{1,2}(?:\.\d{1,3})?)(?:-(\d{1,2}(?:\.\d{1,3})?))? ?V?", text.strip(), re.IGNORECASE)
    low, high = (float(match[1]), float(match[2] or match[1])) if match else (0.0, 0.0)
    if not 0 < low <= high <= 15:
        raise OptionError(f"--vcc {text} is no supply", expected="volts, or the lowest and the highest: 4.75-5.25")
    return low, high
