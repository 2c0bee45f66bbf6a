"""`romwright job`: the file of a job."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import click

from romwright.cli.options import AS_JSON, OVERWRITE
from romwright.errors import InputError, OptionError, RomwrightError

MOST_KNOWN = 40  # names that are shown after a wrong answer; more on request
HINT = "An empty answer takes what stands in [ ], or leaves the question out; ? shows what is known; Ctrl-C ends it."


@click.group("job", short_help="Begin the file of a job.")
def command() -> None:
    """Begin the file of a job, which `romwright run` does from end to end.

    \b
    Example: romwright job new my.toml --title "Tern: diagnostic" --board tern-tl-1 --socket U7 --chip 28C256
    """


@command.command("new")
@click.argument("file", metavar="FILE.toml")
@click.option("--title", metavar="WORDS", help="What the job is; without it, a terminal is asked for all of this.")
@click.option("--why", default="", metavar="WORDS", help="What is wrong, in one sentence.")
@click.option("--date", default="", metavar="YYYY-MM-DD", help="Printed on the sheet; the clock is never asked.")
@click.option("--dump", "dumps", multiple=True, metavar="FILE", help="A read of the old chip; several: repeat it.")
@click.option("--reference", default="", metavar="FILE", help="What the dump should be.")
@click.option("--lists", default="", metavar="FILE", help="Reference lists to name the dump.")
@click.option("--contents", multiple=True, metavar="FILE[@ADDRESS]", help="What the socket must show.")
@click.option("--split", type=click.Choice(["2", "4"]), help="Deal the bytes out to 2 (even, odd) or 4 chips.")
@click.option("--board", default="", metavar="BOARD", help="The board, shipped or a file of your own.")
@click.option("--socket", default="", metavar="SOCKET", help="Its socket.")
@click.option("--now", default="", metavar="LINK=POSITION,…", help="Its links as they are set.")
@click.option("--also", multiple=True, metavar="SOCKET=PART[,PIN=L…]", help="What sits in another socket of it.")
@click.option("--from", "original", default="", metavar="PART", help="In place of a board: what the socket is for.")
@click.option("--polarity", default="", metavar="PIN=L,…", help="Polarities that the factory chose, of that part.")
@click.option("--second", default="", metavar="PART", help="A second ROM whose place the same chip takes.")
@click.option("--second-polarity", default="", metavar="PIN=L,…", help="The same for the second ROM.")
@click.option("--chip", default="", metavar="PART", help="The chip in your hand.")
@click.option("--chip-polarity", default="", metavar="PIN=L,…", help="The same for the chip.")
@click.option("--chips", type=click.IntRange(1, 16), metavar="N", help="N chips in place of one.")
@click.option("--banks", default="", metavar="NAME,NAME,…", help="Several contents, chosen by switches.")
@OVERWRITE
@AS_JSON
def new(file: str, title: str | None, banks: str, overwrite: bool, as_json: bool, **said) -> None:
    """Write a commented FILE.toml from what you say, with the checksums of its inputs as they are now.

    Files are named from the folder of FILE.toml. What you leave out stands in the file as a remark that shows its form.
    At a terminal, without --title, it asks the few questions that matter.

    \b
    Example: romwright job new my.toml --title "Tern: diagnostic" --board tern-tl-1 --socket U7 --chip 28C256
    """
    from romwright.cli.render import inert, print_json, print_result
    from romwright.images.formats import write_bytes
    from romwright.jobs.draft import Answers, build_job
    from romwright.jobs.library import name_from, require_sound
    from romwright.jobs.questions import Talk

    path = Path(file)
    if path.suffix != ".toml":
        raise OptionError(f"{file} is no name of a job's file", expected="a name that ends in .toml")
    if path.exists() and not overwrite:
        raise OptionError("this file exists already", where=file, help="choose another name, or give --overwrite")
    names = tuple(name.strip() for name in banks.split(",")) if banks else ()
    said |= {"title": title, "banks": names, "file": path.stem, "split": int(said["split"] or 0)}
    if title is None and sys.stdin.isatty():
        ask(Talk(path.parent, said))
    said["title"] = path.stem if said["title"] is None else said["title"]
    said["chips"] = said["chips"] or 0
    answers = Answers(name=name_from(said["socket"] or path.stem), **{k: v for k, v in said.items() if k != "file"})
    require_inputs(answers, path.parent)
    text = build_job(answers, path.parent)
    job = require_sound(text, file)
    write_bytes(file, text.encode("utf-8"), overwrite)
    lacking = find_lack(job, path)
    then = f"romwright run {file}"
    if as_json:
        answer = {"file": file, "title": job.title, "inputs": list(job.inputs), "expected": job.expected}
        print_json(answer | {"lacking": lacking, "next": "" if lacking else then})
    elif lacking:
        print_result(f"written: {file}")
        click.echo(inert(f"before it can be run: {lacking}"))
    else:
        print_result(f"written: {file}; read it, add what is missing, then: {then}")


def require_inputs(answers, folder: Path) -> None:
    """Raise InputError for a file that is not there, or whose name a TOML file cannot hold."""
    from romwright.jobs.model import file_of

    banks = ("first", "second", *answers.banks)
    named = [*answers.dumps, answers.reference, *(file_of(name, banks) for name in answers.contents), answers.lists]
    for name in filter(None, named):
        if any("\ud800" <= c <= "\udfff" for c in name):
            raise InputError("the name of this file is no UTF-8", where=name, help="rename the file")
        if not os.path.isfile(folder / name):
            help = "write / between folders" if "\\" in name else "name it from the job's file"
            raise InputError("there is no such file", where=str(folder / name), help=help)


def find_lack(job, path: Path) -> str:
    """Return what keeps a job from being run, "" if nothing does: all steps are taken that write nothing."""
    from romwright.jobs.pipeline import Run

    try:
        Run(job, path).find_out()
    except RomwrightError as error:
        rows = (f"{label}: {text}" for label, text in (("expected", error.expected), ("help", error.help)) if text)
        return "; ".join([error.found, *rows])
    return ""


def ask(talk) -> None:
    """Ask, at a terminal, what is not said yet; raises click.Abort if it is ended."""
    from romwright.jobs.questions import accept, open_questions

    click.echo(HINT, err=True)
    put: set[str] = set()
    while question := next((each for each in open_questions(talk) if each.key not in put), None):
        put.add(question.key)
        default = question.default(talk)
        while True:
            words = f"{question.words}{f' [{default}]' if default else ''}"
            answer = click.prompt(words, default="", show_default=False, err=True)
            if answer.strip() == "?":
                show_known(question.known(talk))
                continue
            try:
                accept(talk, question, answer)
                break
            except (RomwrightError, OSError) as error:
                show_wrong(error, question.known(talk))


def show_wrong(error: Exception, known: list[str]) -> None:
    """Say what is wrong with an answer, and what is known if that is little."""
    from romwright.cli.render import inert

    found, where, help = (getattr(error, name, "") for name in ("found", "where", "help"))
    if isinstance(error, OSError):
        found, where = error.strerror or "it cannot be read", error.filename or ""
    click.echo(inert("; ".join(filter(None, [str(found), str(where), str(help)]))), err=True)
    if len(known) <= MOST_KNOWN:
        show_known(known)
    elif expected := getattr(error, "expected", ""):
        click.echo(inert(f"{expected}; ? shows them"), err=True)


def show_known(names: list[str]) -> None:
    """Show what is known."""
    import textwrap

    from romwright.cli.render import inert

    words = inert(", ".join(names)) or "nothing is known here: answer in your own words"
    click.echo(textwrap.fill(words, 78, initial_indent="  ", subsequent_indent="  ", break_on_hyphens=False), err=True)
