"""`romwright wire`: how a chip goes into a socket that was laid out for another."""

from __future__ import annotations

import re

import click

from romwright.cli.onboard import wire_board
from romwright.cli.options import AS_JSON, GRADE, MARKING, OVERWRITE, read_also, read_polarity
from romwright.cli.planfiles import Made, require_one_wiring, write_plans
from romwright.cli.sets import wire_chips, wire_joined
from romwright.errors import OptionError


def parse_banks(context: click.Context, parameter: click.Parameter, text: str | None) -> tuple[str, ...]:
    """Read `game,diagnostic`: two names or more, each once. Raises OptionError."""
    names = tuple(name.strip() for name in text.split(",")) if text is not None else ()
    good = len(set(names)) == len(names) >= 2 and all(re.fullmatch(r"[\w.-]+", name) for name in names)
    if text is not None and not good:
        raise OptionError(
            f"--banks {text}: these are not two different names or more",
            expected="letters, digits, dots, dashes: game,test",
        )
    return names


@click.command("wire", short_help="How a chip goes into a socket laid out for another.")
@click.argument("socket", metavar="FROM")
@click.argument("chip", metavar="TO")
@click.option(
    "--polarity", callback=read_polarity, metavar="PIN=L,…", help="Polarities of FROM that the factory chose."
)
@click.option("--chip-polarity", callback=read_polarity, metavar="PIN=L,…", help="The same for TO.")
@click.option(
    "--prefer", multiple=True, type=click.Choice(["links", "wires", "no-gates", "diodes", "crossed-lines"]),
    help="What the plan favours; crossed-lines saves wires where the bytes can be crossed instead.",
)  # fmt: skip
@click.option(
    "--banks",
    callback=parse_banks,
    metavar="NAME,NAME,…",
    help="Several contents, chosen by switches on spare address pins.",
)
@click.option("--chips", type=click.IntRange(1, 16), default=1, metavar="N", help="N chips in place of one.")
@click.option("--second", metavar="PART", help="A second ROM whose place the same chip takes.")
@click.option("--second-polarity", callback=read_polarity, metavar="PIN=L,…", help="The same for the second ROM.")
@click.option("--board", metavar="BOARD", help="FROM is a socket of this board.")
@click.option("--now", metavar="LINK=POSITION,…", help="With --board: the present setting of its links.")
@click.option(
    "--also", multiple=True, callback=read_also, metavar="SOCKET=PART[,PIN=L…]",
    help="With --board: what sits in another socket, or none.",
)  # fmt: skip
@GRADE
@click.option("--image", "images", multiple=True, metavar="FILE[@BANK]", help="What the socket must show.")
@click.option("--burn", metavar="FILE", help="Write the bytes to burn for it.")
@click.option("--svg", metavar="FILE", help="Write the wiring as a drawing, from above and from the solder side.")
@click.option("--csv", metavar="FILE", help="Write the wiring as a table.")
@click.option("--netlist", metavar="FILE", help="Write it as a netlist in KiCad's form, to lay out a board.")
@click.option("--plan", metavar="FILE", help="Write it as a plan file, for prepare and prove.")
@MARKING
@OVERWRITE
@AS_JSON
def command(socket: str, chip: str, as_json: bool, **options) -> int:
    """Wire the chip TO into a socket laid out for the part or style FROM: names, or paths of pages (.toml) of your own.

    Prints what is wrong if it is simply plugged in, the wiring with the least work that makes the chip drive the data
    bus exactly when FROM did, the drive conditions compared over every combination of levels, and the proof: a
    simulated read of every address. Exit status 1 if simply plugging the chip in is a fault or must not be tried.

    \b
    Example: romwright wire rom-23128-style-b 28C256 --polarity 20=L,22=L,27=L
    """
    from romwright.cli.action import after_plan, after_polarities, before_burning, print_next
    from romwright.cli.electric import print_electric
    from romwright.cli.render import print_cautions, print_files, print_findings, print_json
    from romwright.electric.socketed import examine_pair
    from romwright.findings import blocks
    from romwright.fit.verdict import examine_fit
    from romwright.parts.cautions import fitting_cautions
    from romwright.parts.library import require_marked, to_burn

    targets = {kind: options[kind] for kind in ("svg", "csv", "netlist", "plan", "burn")}
    pages = (socket, chip, options["board"], options["second"], *(part for _, part, _ in options["also"]))
    outputs = {"targets": targets, "images": options["images"], "pages": pages, "overwrite": options["overwrite"]}
    require_one_way(options)
    part, reading = require_marked(chip)
    if options["burn"] or options["marking"]:
        reading = to_burn(part, reading, options["marking"])
    if options["board"]:
        return wire_board(options["board"], socket, part, reading, options, outputs, as_json)
    original, its_reading = require_marked(socket)
    if options["second"]:
        return wire_joined(original, require_marked(options["second"])[0], part, reading, options, outputs, as_json)
    if options["chips"] > 1:
        return wire_chips(original, part, reading, options, outputs, as_json)
    polarities = options["polarity"], options["chip_polarity"]
    verdict = examine_fit(original, part, *polarities, options["prefer"], options["banks"])
    require_one_wiring(verdict, targets)
    first = verdict.fits[0]
    files = write_plans([Made(first.plan, first.proof, (original, part), (socket, chip))], **outputs)
    markings = [finding for each in (its_reading, reading) for finding in each.findings]
    open_pins = verdict.open_pins
    action = before_burning(reading) or (
        after_polarities(open_pins) if open_pins else after_plan(first.plan, first.proof)
    )
    if as_json:
        answer = verdict.as_json()
        answer["findings"] += [finding.as_json() for finding in markings]
        answer["electric"] = examine_pair(original, part).as_json()
        print_json(answer | {"cautions": fitting_cautions(), "next": action} | ({"files": files} if files else {}))
    else:
        if markings:
            print_findings(dict.fromkeys(markings))
            click.echo()
        print_verdict(verdict)
        print_electric(examine_pair(original, part))
        click.echo()
        print_cautions(fitting_cautions())
        print_files(files)
        print_next(action)
    return int(blocks((*verdict.findings, *markings)))


def require_one_way(options: dict) -> None:
    """Raise OptionError for options that go against each other."""
    ways = {"--board": options["board"], "--chips": options["chips"] > 1, "--second": options["second"]}
    given = [name for name, value in ways.items() if value]
    if len(given) > 1 or (options["second"] and options["banks"]):
        both = " and ".join(given) if len(given) > 1 else "--second and --banks"
        raise OptionError(f"{both} cannot be given together", expected="one of them")
    if options["board"] and options["polarity"]:
        raise OptionError(
            "--polarity says how a ROM was ordered, but FROM is a socket", expected="--chip-polarity for TO"
        )
    if not options["board"] and (options["now"] or options["also"] or options["grade"]):
        raise OptionError(
            "--now, --also and --grade are about a board", expected="--board BOARD, and a socket of it as FROM"
        )


def print_verdict(verdict) -> None:
    """Print the answer for people: findings first."""
    from romwright.cli.plans import print_plan
    from romwright.cli.prove import print_proof

    first = verdict.fits[0]
    print_parts(verdict)
    print_findings_plugged_in(verdict)
    print_plan(first.plan)
    print_drive(first, verdict.plugs_in)
    if len(verdict.fits) > 1:
        print_polarities(verdict)
    heading("Proof")
    print_proof(first.plan, first.proof)
    print_traps(verdict)


def print_parts(verdict) -> None:
    """Print the two parts: how they meet, what is not checked, what is assumed."""
    from romwright.cli.render import indented, show

    parts = [f"{p.name} ({p.family}, {p.words:,} x {p.bits}, {p.package})" for p in (verdict.chip, verdict.original)]
    click.echo(f"{parts[0]}\ninto a socket laid out for {parts[1]}")
    if verdict.seating and verdict.plugs_in:
        show(indented(f"taken to sit so: {verdict.seating}"))
    for part in verdict.pages:
        if part.unchecked:
            heading(f"UNCHECKED in the page of {part.name}: do not rely on these without a data sheet", fg="yellow")
            click.echo("\n".join(f"  {entry}" for entry in part.unchecked))
    if verdict.assumed:
        stated = ",".join(f"{pin}={level}" for pin, level in verdict.assumed.items())
        heading(f"Polarity not stated for pin {', '.join(verdict.open_pins)}", fg="yellow")
        click.echo(
            f"  Findings are for every polarity; the tables take {stated}. State it with --polarity or --chip-polarity."
        )


def print_findings_plugged_in(verdict) -> None:
    """Print what is wrong."""
    from romwright.cli.render import print_findings

    heading("If it is simply plugged in")
    if verdict.findings:
        print_findings(verdict.findings)
    else:
        click.echo("  nothing is wrong")


def print_polarities(verdict) -> None:
    """Print the outcome for every polarity left open."""
    from romwright.cli.render import print_table

    heading("Every polarity")
    print_table(
        ("polarity", "plugged in differs at", "wired differs at", "every address reads", "worst finding"),
        [
            (
                " ".join(f"{pin}={choice}" for pin, choice in fit.case.items()),
                differences(fit.drive) if verdict.plugs_in else "-",
                differences(fit.plan.wired),
                "equal" if fit.proof.equal else "not equal",
                fit.findings[0].severity if fit.findings else "none",
            )
            for fit in verdict.fits
        ],
    )


def print_drive(fit, plugs_in: bool) -> None:
    """Print when the original and the chip drive the bus, and each combination of levels at which they differ."""
    from romwright.cli.render import print_table

    heading("When it drives the data bus")
    click.echo(f"  original    {fit.drive.original.words}")
    shown = [("plugged in", fit.drive)] * plugs_in + [("wired", fit.plan.wired)]
    for label, both in shown:
        click.echo(f"  {label:<10}  {both.fitted.words}")
    for label, both in shown:
        found = [(levels, "drives", "off") for levels in both.missed] + [
            (levels, "off", "drives") for levels in both.extra
        ]
        click.echo(f"\n{label}: differs at {differences(both)} combinations of levels")
        if found:
            print_table((*both.names, "original", label), [(*levels.values(), *who) for levels, *who in found])


def print_traps(verdict) -> None:
    """Print what goes wrong with the two parts, as their pages say."""
    from romwright.cli.render import indented, show

    for part in verdict.pages:
        if part.traps:
            heading(f"Traps of {part.name}")
            show(*map(indented, part.traps))


def differences(both) -> str:
    """Say at how many of all combinations of levels two conditions differ."""
    return f"{len(both.missed) + len(both.extra)} of {1 << len(both.names)}"


def heading(text: str, **style) -> None:
    """Print a heading after an empty line."""
    click.echo()
    click.secho(text, bold=True, **style)
