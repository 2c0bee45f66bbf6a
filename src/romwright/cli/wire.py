"""`romwright wire`: how a chip goes into a socket that was laid out for another."""

from __future__ import annotations

import re

import click

from romwright.cli.options import AS_JSON, OVERWRITE
from romwright.errors import OptionError


def parse_polarity(context: click.Context, parameter: click.Parameter, text: str | None) -> dict[int, str]:
    """Read `20=L,22=H,27=NC` into levels by pin number."""
    stated: dict[int, str] = {}
    for entry in (text or "").split(",") if text else ():
        match = re.fullmatch(r"\s*(\d+)\s*=\s*(H|L|NC)\s*", entry, re.IGNORECASE)
        if not match:
            raise OptionError(
                f"{parameter.opts[0]} {text}: {entry.strip() or 'an empty entry'} is no polarity",
                expected="PIN=L (active low), PIN=H (active high) or PIN=NC, with commas between, such as 20=L,27=H",
            )
        pin, level = int(match[1]), match[2].upper()
        if stated.setdefault(pin, level) != level:
            raise OptionError(f"{parameter.opts[0]} {text}: pin {pin} is given as {stated[pin]} and as {level}")
    return stated


@click.command("wire", short_help="How a chip goes into a socket laid out for another.")
@click.argument("socket", metavar="FROM")
@click.argument("chip", metavar="TO")
@click.option(
    "--polarity", callback=parse_polarity, metavar="PIN=L,…", help="Polarities of FROM that the factory chose."
)
@click.option("--chip-polarity", callback=parse_polarity, metavar="PIN=L,…", help="The same for TO.")
@click.option("--svg", metavar="FILE", help="Write the wiring as a drawing, from above and from the solder side.")
@click.option("--csv", metavar="FILE", help="Write the wiring as a table.")
@click.option("--netlist", metavar="FILE", help="Write it as a netlist in KiCad's form, to lay out a board.")
@click.option("--plan", metavar="FILE", help="Write it as a plan file, to be read back.")
@OVERWRITE
@AS_JSON
def command(socket, chip, polarity, chip_polarity, svg, csv, netlist, plan, overwrite, as_json) -> int:
    """Wire the chip TO into a socket laid out for the part or style FROM: names, or paths of pages (.toml) of your own.

    Prints what is wrong if it is simply plugged in, the wiring table, the drive conditions compared over every
    combination of levels, and the proof: a simulated read of every address. Exit status 1 if simply plugging the chip
    in is a fault or must not be tried.

    \b
    Example: romwright wire rom-23128-style-b 28C256 --polarity 20=L,22=L,27=L
    """
    from romwright.cli.planfiles import write_plan
    from romwright.cli.render import print_cautions, print_findings, print_json
    from romwright.findings import blocks
    from romwright.fit.verdict import examine_fit
    from romwright.parts.cautions import fitting_cautions
    from romwright.parts.library import require_marked

    (original, its_reading), (part, reading) = require_marked(socket), require_marked(chip)
    verdict = examine_fit(original, part, polarity, chip_polarity)
    targets = {"svg": svg, "csv": csv, "netlist": netlist, "plan": plan}
    files = write_plan(verdict, (socket, chip), targets, overwrite)
    markings = [finding for each in (its_reading, reading) for finding in each.findings]
    if as_json:
        answer = verdict.as_json()
        answer["findings"] += [finding.as_json() for finding in markings]
        print_json(answer | {"cautions": fitting_cautions()} | ({"files": files} if files else {}))
    else:
        if markings:
            print_findings(dict.fromkeys(markings))
            click.echo()
        print_verdict(verdict)
        click.echo()
        print_cautions(fitting_cautions())
        for file in files:
            click.echo(f"written: {file['file']} ({file['format']}, {file['size']:,} bytes)")
    return int(blocks(verdict.findings))


def print_verdict(verdict) -> None:
    """Print the answer for people: findings first."""
    first = verdict.fits[0]
    print_parts(verdict)
    print_findings_plugged_in(verdict)
    print_wiring(verdict)
    print_drive(first, verdict.plugs_in)
    if len(verdict.fits) > 1:
        print_polarities(verdict)
    print_proof(first)
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


def print_wiring(verdict) -> None:
    """Print where the contents go, and the wiring table."""
    from romwright.cli.render import print_table

    plan = verdict.fits[0].plan
    heading("Wiring")
    if plan.chip.words > plan.original.words:
        burn = "Burn the contents" if plan.chip.programming or plan.chip.erased else "The contents must lie"
        where = f"{plan.burn_at:04X} of the chip"
        if plan.chip.bits > 8:
            where = f"word {plan.image_at:04X} of the chip, byte {plan.burn_at:04X} of its file"
        click.echo(f"  {burn} at {where} (or repeat them over it).")
    print_table(
        ("socket", "signal", "chip", "function", "how", "detail"),
        [(r.socket or "-", r.signal, r.chip or "-", r.function, r.how, r.detail) for r in plan.rows],
        right=(0, 2),
    )


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


def print_proof(fit) -> None:
    """Print what the simulated read gave."""
    proof = fit.proof
    heading("Proof")
    if proof.equal:
        where = f"{'word ' if fit.plan.chip.bits > 8 else ''}{fit.plan.image_at:04X} of the chip"
        click.echo(
            f"  Read through the wiring table, each of {proof.addresses:,} addresses gives the original's word in\n"
            f"  every state in which the original answers, with its contents at {where}."
        )
    else:
        found = ", ".join(f"{key} {value}" for key, value in proof.first_difference.items() if key != "levels")
        click.echo(f"  NOT EQUAL: the first difference of {proof.addresses:,} addresses is: {found}")
        if levels := proof.first_difference.get("levels"):
            click.echo(f"  at {', '.join(f'{name} {level}' for name, level in levels.items())}")
    if proof.drive_equal:
        click.echo(f"  Who drives the bus is the same in all {proof.states} states of the control lines.")
    else:
        click.echo(
            f"  Who drives the bus is NOT the same in {proof.states_differ} of {proof.states} states of the control "
            "lines: see above."
        )
    if proof.states_written:
        click.echo(
            f"  The chip can be WRITTEN in {proof.states_written} of {proof.states} states, where the original is not."
        )


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
