"""`romwright sheet`: the bench sheet of a job, on the screen or as a file."""

from __future__ import annotations

import os

import click

from romwright.cli.options import AS_JSON, OVERWRITE
from romwright.errors import OptionError

KINDS = {".txt": "text", ".html": "page", ".pdf": "pdf"}


@click.command("sheet", short_help="The bench sheet of a job: text, page or PDF.")
@click.argument("job", metavar="JOB.toml")
@click.option("-o", "--output", metavar="OUT.txt|.html|.pdf", help="Write it there instead of printing the text.")
@click.option("--paper", type=click.Choice(["A4", "Letter"]), help="For a PDF, in place of what the job says.")
@OVERWRITE
@AS_JSON
def command(job: str, output: str | None, paper: str | None, overwrite: bool, as_json: bool) -> int:
    """Make the one sheet that goes to the bench, in the order of the work, from the file of a job.

    Nothing else of the job is written. If `romwright run` has made it, and not a byte of what it came from has changed,
    that one is shown. Exit status 1 if a dump or the fit is not right: the sheet says so at its top.

    \b
    Example: romwright sheet tern.toml -o tern.pdf
    """
    from romwright.jobs.finished import find_sheet

    ending = require_ending(output, paper)
    at_length = as_json or paper or (output and os.path.exists(output))  # what is there may be an input
    found = None if at_length else find_sheet(job, f"-sheet{ending}")
    if found:
        data, ok = found
    else:
        run = find_out(job, output, overwrite)
        data, ok = run.build_sheet(KINDS[ending], paper), run.ok
    hand_out({"job": job, "ok": ok}, run.sheet if as_json else None, data, output, overwrite)
    return int(not ok)


def require_ending(output: str | None, paper: str | None) -> str:
    """Return how the name of a sheet ends. Raises OptionError."""
    ending = os.path.splitext(output)[1].lower() if output else ".txt"
    if ending not in KINDS:
        raise OptionError(f"{output} is no name of a sheet", expected="one that ends in .txt, .html or .pdf")
    if paper and KINDS[ending] != "pdf":
        raise OptionError("--paper is about a PDF", expected="-o OUT.pdf with it")
    return ending


def hand_out(head: dict, sheet, data: bytes, output: str | None, overwrite: bool) -> None:
    """Write a sheet, or print its text; with a `sheet` the documented JSON in place of that, behind its `head`."""
    if output:
        from romwright.images.formats import write_bytes

        write_bytes(output, data, overwrite)
    if sheet:
        import hashlib

        from romwright.cli.render import print_json

        print_json({
            **head, "sections": [section.heading for section in sheet.sections], "file": output, "size": len(data),
            "sha256": hashlib.sha256(data).hexdigest(), "text": None if output else data.decode(),
        })  # fmt: skip
    elif output:
        from romwright.cli.render import inert

        click.echo(inert(f"written: {output} ({len(data):,} bytes)"))
    else:
        click.echo(data.decode(), nl=False)


def find_out(job: str, output: str | None, overwrite: bool):
    """Return the run of a job with all that can be found out, nothing written. Raises OptionError for an input."""
    from pathlib import Path

    from romwright.jobs.files import require_not_inputs
    from romwright.jobs.library import read_job
    from romwright.jobs.pipeline import Run

    run = Run(read_job(Path(job)), Path(job), overwrite)
    run.find_out()
    if output:
        require_not_inputs([output], [job, *map(run.inputs.path, run.job.inputs)])
    return run
