"""`romwright sheet`: the bench sheet of a job, on the screen or as a file."""

from __future__ import annotations

from pathlib import Path

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

    Nothing else of the job is written. Exit status 1 if a dump or the fit is not right: the sheet says so at its top.

    \b
    Example: romwright sheet tern.toml -o tern.pdf
    """
    import hashlib

    from romwright.cli.render import inert, print_json
    from romwright.images.formats import write_bytes
    from romwright.jobs.files import require_not_inputs
    from romwright.jobs.library import read_job
    from romwright.jobs.pipeline import Output, Run

    kind = KINDS.get(Path(output).suffix.lower()) if output else "text"
    if kind is None:
        raise OptionError(f"{output} is no name of a sheet", expected="one that ends in .txt, .html or .pdf")
    if paper and kind != "pdf":
        raise OptionError("--paper is about a PDF", expected="-o OUT.pdf with it")
    path = Path(job)
    run = Run(read_job(path), path, overwrite)
    run.find_out()
    data = run.build(Output(output or "", kind), paper)
    if output:
        require_not_inputs([output], [job, *map(run.inputs.path, run.job.inputs)])
        write_bytes(output, data, overwrite)
    if as_json:
        digest = hashlib.sha256(data).hexdigest()
        print_json({
            "job": job, "ok": run.ok, "sections": [section.heading for section in run.sheet.sections],
            "file": output, "size": len(data), "sha256": digest, "text": None if output else data.decode(),
        })  # fmt: skip
    elif output:
        click.echo(inert(f"written: {output} ({len(data):,} bytes)"))
    else:
        click.echo(data.decode(), nl=False)
    return int(not run.ok)
