"""`romwright run`: a whole job from its file."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import click

from romwright.cli.options import AS_JSON, OVERWRITE
from romwright.errors import RomwrightError


@click.command("run", short_help="Do a whole job from its file.")
@click.argument("job", metavar="JOB.toml")
@OVERWRITE
@AS_JSON
def command(job: str, overwrite: bool, as_json: bool) -> int:
    """Do the whole job of JOB.toml: check its inputs, look at its dumps, plan and prove the fit, make the bytes, and
    write every output and a manifest into the job's folder of outputs.

    The same inputs give the same bytes, so an output that is there and equal is left as it is. If a step fails, what
    was written before stays, and running again goes on from there. Exit status 1 if a dump or the fit is not right.

    \b
    Example: romwright run tern.toml
    """
    from romwright.cli.action import after_run, print_next
    from romwright.cli.render import inert, print_json, step_bar
    from romwright.jobs.library import read_job
    from romwright.jobs.pipeline import Run

    path = Path(job)
    run, steps = Run(read_job(path), path, overwrite), []
    for what, work in run.steps():
        if not as_json:
            click.echo(inert(f"{len(steps) + 1}. {what}"))
        with step_bar(what, len(steps), run.count), telling(run, len(steps) + 1, what):
            work()
        steps.append(what)
    action = after_run(run)
    if as_json:
        print_json(answer(job, run, steps) | {"next": action})
    else:
        print_summary(run)
        print_next(action)
    return int(not run.ok)


@contextmanager
def telling(run, number: int, what: str) -> Iterator[None]:
    """Say, if a step fails or is stopped, which it was, and what was written before."""
    from romwright.cli.render import inert

    try:
        yield
    except (RomwrightError, OSError, KeyboardInterrupt) as error:
        written = ", ".join(run.written) or "nothing"
        click.echo(inert(f"stopped at step {number}, {what}; written before: {written}"), err=True)
        first = "" if isinstance(error, KeyboardInterrupt) else "Put right what stands below. "
        click.echo(f"{first}Running it again goes on from there.", err=True)
        raise


def answer(job: str, run, steps: list[str]) -> dict:
    """Return what was done and found under the documented JSON keys."""
    from msgspec.structs import asdict

    from romwright.images.checksums import measure

    burnt = {output.chip: output.name for output in run.outputs() if output.kind == "burn"}
    chips = [
        {
            "name": chip.name, "part": chip.fitted.plan.chip.name, "works": chip.fitted.works,
            "file": burnt.get(number),
            **({"size": len(chip.burning.burnt), **asdict(measure(chip.burning.burnt))} if chip.burning else {}),
        }
        for number, chip in enumerate(run.chips)
    ]  # fmt: skip
    return {
        "job": job, "folder": str(run.target), "steps": steps, "ok": run.ok,
        "outputs": [{"file": name, "kept": name in run.kept} for name in run.written], "chips": chips,
        "findings": [finding.as_json() for finding in run.findings],
    }  # fmt: skip


def print_summary(run) -> None:
    """Print what is wrong, what to burn with its sums, and what was written."""
    from romwright.cli.render import print_findings, print_result, print_table
    from romwright.findings import blocks
    from romwright.images.checksums import measure
    from romwright.images.words import counted

    for dump in run.dumps:
        if wrong := [finding for finding in dump.findings if blocks([finding])]:
            click.echo()
            print_findings(wrong, " and ".join(dump.files))
    of_fits = [f for chip in run.chips for f in (*chip.fitted.findings, *chip.fitted.voltage)]
    if wrong := list(dict.fromkeys(f for f in of_fits if blocks([f]))):
        click.echo()
        print_findings(wrong, "the fit")
    if run.of_labels:
        click.echo()
        print_findings(run.of_labels, "the labels")
    rows = []
    for output in run.outputs():
        if output.kind == "burn":
            chip = run.chips[output.chip]
            sums = measure(chip.burning.burnt)
            part = chip.fitted.plan.chip.name
            rows.append((output.name, part, f"{len(chip.burning.burnt):,}", sums.sum16, sums.crc32, chip.title))
    if rows:
        click.echo()
        print_table(("file", "chip", "bytes", "16-bit sum", "CRC-32", ""), rows, right=(2,))
    click.echo()
    new = len(run.written) - len(run.kept)
    kept = f"; {len(run.kept)} were there already, equal" if run.kept else ""
    print_result(f"written into {run.target}: {counted(new, 'file')}{kept}")
