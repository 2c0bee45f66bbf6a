"""`romwright links`: every setting of a board's links for the chips that may go into a socket."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import click

from romwright.cli.action import after_links, print_next
from romwright.cli.columns import Column, list_columns, moved
from romwright.cli.options import ALSO, AS_JSON, GRADE, read_polarity
from romwright.cli.quiet import aloud
from romwright.cli.wire import heading
from romwright.errors import OptionError
from romwright.jobs.sockets import fit_others, parse_setting, require_thing

MARKS = {"works": "ok", "fault": "fault", "stop": "STOP"}
SHOWN = 32  # settings, and cycles, that are listed on paper; --json has all
TOLD = 12  # findings of one setting; of these in the table of settings:
NAMED = 4


@click.command("links", short_help="How a board's links must be set for a chip; who drives the bus.")
@click.argument("board", metavar="BOARD")
@click.argument("socket", metavar="SOCKET")
@click.argument("parts", metavar="PART...", nargs=-1, required=True)
@click.option("--now", metavar="LINK=POSITION,…", help="The present setting: explain it, and the smallest change.")
@click.option("--polarity", callback=read_polarity, metavar="PIN=L,…", help="Polarities that the factory chose.")
@ALSO
@click.option("--seated", type=click.Choice(["offset", "turned"]), help="What if the chip sits so?")
@click.option("--image", metavar="FILE", help="What the chip holds: predict which bits of other memories read wrong.")
@click.option(
    "--law", type=click.Choice(["low", "high", "unknown"]), default="low", show_default=True,
    help="Which level is read where two outputs fight.",
)  # fmt: skip
@GRADE
@AS_JSON
def command(board, socket, parts, now, polarity, also, seated, image, law, grade, as_json) -> int:
    """Judge every setting of the links of BOARD for PART in SOCKET; with several parts, print a table of all.

    BOARD is a shipped board or a board file (.toml) of your own. For each bus cycle the answer says who drives the data
    bus: fine, contention, open bus or wrong device. What sits in the board's other sockets is on the bus too: what the
    board's file says of them, or --also. Exit status 1 if no setting works, or with --now if that one does not.

    \b
    Example: romwright links tern-tl-1 U7 27C512 --now LK1=2-3,LK2=1-2
    """
    from romwright.boards.library import require_board, require_cpu
    from romwright.fit.onboard.symptoms import Law

    page = require_board(board)
    cpu = require_cpu(page.cpu)
    place = require_thing("socket", socket, {each.name: each for each in page.sockets}, page.name)
    columns = list_columns(page, cpu, place, parts, polarity, seated, fit_others(page, place, also))
    present = parse_setting(page, now) if now else None
    for column in columns:
        column.state_grade(grade)
    contents = read_contents(image, columns) if image else None
    if len(columns) > 1 and not present and not as_json and (image or law != "low"):
        raise OptionError(
            f"{'--image' if image else '--law'} with several chips or polarities",
            expected="one PART, its polarities stated, or the present setting: --now",
        )
    law = {"low": Law.LOW, "high": Law.HIGH, "unknown": Law.UNKNOWN}[law]
    if as_json:
        from romwright.cli.render import print_json

        answers = [
            column.as_json(present, contents, law) | {"next": after_links(column, present)} for column in columns
        ]
        print_json(answers[0] if len(answers) == 1 else answers)
    elif len(columns) == 1 or present:
        for number, column in enumerate(columns):
            if number:
                click.echo()
            print_column(column, present, contents, law)
        print_next(after_links(columns[0], present) if len(columns) == 1 else "")
    else:
        print_matrix(board, place, columns)
    shown = as_json or len(columns) == 1 or present
    return int(not all(column.works(present) and not (shown and column.is_late(present)) for column in columns))


def read_contents(path: str, columns: Sequence[Column]) -> bytes:
    """Read an image without gaps that fills every chip a whole number of times. Raises OptionError, InputError."""
    from romwright.fit.onboard.symptoms import contents_of
    from romwright.images.formats import read

    contents = read(path).image.flat()
    for column in columns:
        contents_of(contents, column.study.chip)
    return contents


def print_matrix(board: str, place, columns) -> None:
    """Print settings against parts, one mark each; `board` is what the user calls it."""
    from romwright.cli.render import print_table, print_unchecked

    click.echo(f"{place.name} of {columns[0].study.board.title}")
    print_others(columns[0])
    click.echo()
    idle = set(columns[0].links).intersection(*(column.ranked.idle for column in columns))
    choices = [choice[:1] if name in idle else choice for name, choice in columns[0].study.board.settings()]
    verdicts = {at: [column.verdict(at) for column in columns] for at in itertools.product(*choices)}
    best = sorted(verdicts, key=lambda at: (-verdicts[at].count("works"), columns[0].ranked.place(at)))
    shown = [place for place, name in enumerate(columns[0].links) if name not in idle]
    rows = [[*(at[n] for n in shown), *(MARKS[verdict] for verdict in verdicts[at])] for at in best[:SHOWN]]
    with aloud():
        print_table([*(columns[0].links[n] for n in shown), *(column.label for column in columns)], rows)
    print_rest(len(best), [name for name in columns[0].links if name in idle])
    click.echo("\nok: works   fault: does not work   STOP: do not power up")
    print_unchecked({name: entries for column in columns for name, entries in column.unchecked.items()})
    click.echo()
    click.echo(f"next: romwright links {board} {place.name} {columns[0].study.chip.name} tells why")


def print_rest(settings: int, idle: Sequence[str]) -> None:
    """Say how many settings are not listed, and which links make no difference."""
    from romwright.cli.render import inert

    if settings > SHOWN:
        click.echo(f"... and {settings - SHOWN:,} more settings; --json has them all")
    if idle:
        click.echo(f"{', '.join(map(inert, idle))}: every position comes to the same")


def print_others(column: Column) -> None:
    """Print what sits in the board's other sockets."""
    for socket in column.study.board.sockets:
        if socket.name in column.others:
            click.echo(f"{socket.name} holds {column.others[socket.name].label}")
        elif socket.name != column.study.socket.name:
            click.echo(f"{socket.name} is taken to be empty; --also {socket.name}=PART says what sits there")


def print_column(column: Column, present, contents, law) -> None:
    """Print the settings of one chip, the best first, and everything about the present or the best one."""
    from romwright.cli.page import caution_lines
    from romwright.cli.render import print_table, print_unchecked

    study = column.study
    click.echo(f"{column.label} in {study.socket.name} of {study.board.title}")
    if lines := [line for reading in column.readings for line in caution_lines(reading)]:
        click.echo("\n".join(lines))
    print_others(column)
    if column.assumed and column.polarity:
        click.echo("polarity not stated: each is judged by itself; state it with --polarity")
    if not present:
        click.echo()
        rows = []
        settings = list(column.ranked.distinct())
        live = [name for name in column.links if name not in column.ranked.idle]
        for setting in map(column.setting, settings[:SHOWN]):
            judged = study.judge(setting)
            told = titles(judged)
            more = [f"{len(told) - NAMED} more"] if len(told) > NAMED else []
            why = "; ".join([*told[:NAMED], *more]) or "nothing is wrong"
            rows.append((*(setting[name] for name in live), MARKS[judged.verdict], why))
        print_table([*live, "verdict", "why"], rows)
        print_rest(len(settings), column.ranked.idle)
    print_setting(column, column.shown(present), "now" if present else "best", contents, law)
    if present:
        print_change(column, present)
    print_unchecked(column.unchecked)


def titles(judged) -> list[str]:
    """Return the titles of the findings that make the verdict; of one that works, of all."""
    of = [finding.title for finding in judged.findings if str(finding.severity) == judged.verdict]
    return of or [finding.title for finding in judged.findings]


def print_setting(column: Column, setting, word: str, contents, law) -> None:
    """Print the findings of one setting, what they look like at the bench, and who drives the bus."""
    from romwright.cli.render import indented, print_findings, print_result, print_table, show
    from romwright.cli.timing import print_timing
    from romwright.fit.onboard.symptoms import SAID_OF, list_signs, predict, run_of

    judged = column.study.judge(setting)
    links = " ".join(f"{link}={position}" for link, position in setting.items()) or "the board has no links"
    click.echo()
    colour = None if judged.verdict == "works" else "red"
    print_result(f"{word}: {links}: {MARKS[judged.verdict]}", bold=True, fg=colour)
    print_findings(judged.findings[:TOLD])
    if len(judged.findings) > TOLD:
        click.echo(f"... and {len(judged.findings) - TOLD} more findings; --json has them all")
    print_timing(column.timing(setting), column.study.board)
    symptoms = column.symptoms(setting, contents, law)
    signs = list_signs(judged.cases, law, mixtures=not symptoms)
    if symptoms or signs:
        heading("At the bench")
    show(*(indented(symptom.words) for symptom in symptoms))
    for symptom in symptoms:
        counts = " ".join(f"{line} {count:,}" for line, count in symptom.wrong.items())
        show(indented(f"{symptom.device.name}: wrong at this many of {symptom.addresses:,} addresses: {counts}"))
    show(*map(indented, signs[:TOLD]), *[indented(f"... and {len(signs) - TOLD} more")] * (len(signs) > TOLD))
    if any(predict(case, law, ()) for case in judged.cases):
        show(indented(SAID_OF[law] + ("" if symptoms else "; --image FILE says which bits that spoils")))
    if not judged.cases:
        return
    heading("Who drives the data bus")
    cases = judged.cases
    if len(cases) > SHOWN:
        cases = [case for case in cases if case.outcome != "fine"]
        click.echo(f"{len(judged.cases) - len(cases)} cycles: fine; --json has them all")
    if not cases:
        return
    more, cases = len(cases) - SHOWN, cases[:SHOWN]
    halved = {case.lines for case in judged.cases} != {frozenset(column.study.wiring.cpu.data_lines)}
    print_table(
        ("cycle", "addresses", *["lines"] * halved, "expected", "drives", "outcome"),
        [
            (
                case.access.cycle.name, "I/O " * (case.access.cycle.space == "io") + case.access.range,
                *[run_of(case.as_json()["lines"])] * halved,
                case.as_json()["expected"] or "-", " ".join(case.drives) or "-",
                str(case.outcome) + ("" if case.sure else " (a pin floats)"),
            )
            for case in cases
        ],
    )  # fmt: skip
    if more > 0:
        click.echo(f"... and {more} more; --json has them all")


def print_change(column: Column, present) -> None:
    """Print the smallest change that makes the present setting right."""
    from romwright.cli.render import print_result

    best = column.best(present)
    changes = moved(present, best)
    steps = " and ".join(f"{link} from {present[link]} to {position}" for link, position in changes.items())
    click.echo()
    if column.works(best):
        print_result(
            f"Smallest change that makes it work: move {steps}." if changes else "Nothing needs to be changed."
        )
        return
    print_result("No setting of the links makes this chip work by itself.")
    if changes:
        click.echo(f"Least is wrong after moving {steps}; then there remains:")
        for finding in column.study.judge(best).findings:
            click.echo(f"  {finding.severity}: {finding.title}: {finding.remedy}")
    click.echo("romwright wire has the wiring with bent pins and wires.")
