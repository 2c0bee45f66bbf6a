"""`romwright job`: the file of a job."""

from __future__ import annotations

import os
from pathlib import Path

import click

from romwright.cli.options import AS_JSON, OVERWRITE
from romwright.errors import InputError, OptionError


@click.group("job", short_help="Begin the file of a job.")
def command() -> None:
    """Begin the file of a job, which `romwright run` does from end to end.

    \b
    Example: romwright job new my.toml --title "Tern: diagnostic" --board tern-tl-1 --socket U7 --chip 28C256
    """


@command.command("new")
@click.argument("file", metavar="FILE.toml")
@click.option("--title", metavar="WORDS", help="What the job is; asked for if you say none.")
@click.option("--why", default="", metavar="WORDS", help="What is wrong, in one sentence.")
@click.option("--date", default="", metavar="YYYY-MM-DD", help="Printed on the sheet; the clock is never asked.")
@click.option("--dump", "dumps", multiple=True, metavar="FILE", help="A read of the old chip; several: repeat it.")
@click.option("--reference", default="", metavar="FILE", help="What the dump should be.")
@click.option("--lists", default="", metavar="FILE", help="Reference lists to name the dump.")
@click.option("--contents", multiple=True, metavar="FILE[@ADDRESS]", help="What the socket must show.")
@click.option("--board", default="", metavar="BOARD", help="The board, shipped or a file of your own.")
@click.option("--socket", default="", metavar="SOCKET", help="Its socket.")
@click.option("--now", default="", metavar="LINK=POSITION,…", help="Its links as they are set.")
@click.option("--from", "original", default="", metavar="PART", help="In place of a board: what the socket is for.")
@click.option("--polarity", default="", metavar="PIN=L,…", help="Polarities that the factory chose, of that part.")
@click.option("--chip", default="", metavar="PART", help="The chip in your hand.")
@click.option("--chip-polarity", default="", metavar="PIN=L,…", help="The same for the chip.")
@OVERWRITE
@AS_JSON
def new(file: str, title: str | None, overwrite: bool, as_json: bool, **said) -> None:
    """Write a commented FILE.toml from what you say, with the checksums of its inputs as they are now.

    Files are named from the folder of FILE.toml. What you leave out stands in the file as a remark that shows its form.

    \b
    Example: romwright job new my.toml --title "Tern: diagnostic" --board tern-tl-1 --socket U7 --chip 28C256
    """
    from romwright.cli.render import inert, print_json
    from romwright.images.formats import write_bytes
    from romwright.jobs.draft import Answers, build_job
    from romwright.jobs.library import require_sound

    path = Path(file)
    if path.suffix != ".toml":
        raise OptionError(f"{file} is no name of a job's file", expected="a name that ends in .toml")
    if title is None:
        title = click.prompt("What is the job, in a few words", err=True)
    answers = Answers(title=title, name=name_from(said["socket"] or path.stem), **said)
    for name in answers.inputs:
        if not os.path.isfile(path.parent / name):
            raise InputError("there is no such file", where=str(path.parent / name), help="name it from the job's file")
    text = build_job(answers, path.parent)
    job = require_sound(text, file)
    write_bytes(file, text.encode("utf-8"), overwrite)
    if as_json:
        print_json({"file": file, "title": job.title, "inputs": list(job.inputs), "expected": job.expected})
    else:
        click.echo(inert(f"written: {file}; read it, add what is missing, then: romwright run {file}"))


def name_from(words: str) -> str:
    """Return words as the beginning of a file's name."""
    kept = "".join(c if c.isalnum() or c in "-_.+" else "-" for c in words).strip("-.")
    return kept or "job"
