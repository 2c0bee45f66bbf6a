"""`romwright run`: a whole job from its file."""

from __future__ import annotations

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
    from romwright.cli.render import inert, print_json, progress
    from romwright.jobs.library import read_job
    from romwright.jobs.pipeline import Run

    path = Path(job)
    run = Run(read_job(path), path.parent, overwrite, path.read_bytes())
    steps = []
    for what, work in progress(run.steps(), "running"):
        try:
            work()
        except RomwrightError as error:
            done = f"stopped at step {len(steps) + 1}, {what}; written before: {', '.join(run.written) or 'nothing'}"
            error.help = "; ".join(filter(None, [error.help, done]))
            raise
        steps.append(what)
        if not as_json:
            click.echo(inert(f"{len(steps)}. {what}"))
    if as_json:
        print_json({
            "job": job, "folder": str(run.target), "steps": steps, "ok": run.ok,
            "outputs": [{"file": name, "kept": name in run.kept} for name in run.written],
        })  # fmt: skip
    return int(not run.ok)
