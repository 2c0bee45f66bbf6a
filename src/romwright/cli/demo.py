"""romwright demo: the whole job on the invented Tern TL-1, with the same commands that a user types."""

from __future__ import annotations

import contextlib
import io
import shlex
from pathlib import Path

import click

from romwright.cli.options import AS_JSON
from romwright.errors import OutputError

STORY = """\
The Tern TL-1 is an invented tide-gauge logger of 1984. Yours is dead: its lamps do not move. Socket U7 holds a 16K mask
ROM at C000-FFFF. You have read that ROM out (dump-U7.bin), you have the image of a good logger ROM (reference/), and a
bench diagnostic as an Intel HEX file (diagnostic.hex). In the drawer there is no 16K EPROM, but a 28C256 and a 27C512.
"""
# Five more reads of the rotten ROM: which of its rotten bits, in order, still read right, and in which reads.
MORE_READS = 5
WEAK = {0: (2,), 7: (1, 4), 13: (3,)}
# What is done, as a user would type it inside the folder, and why.
STEPS = (
    ("01-inspect", "Look at the dump.", "inspect dump-U7.bin --picture dump-U7.svg"),
    (
        "02-lists",
        "Make a reference list of known good images.",
        "lists add tern reference/tern-logger.bin reference/tern-diagnostic.bin --lists tern.lists",
    ),
    ("03-identify", "Which ROM is it, and is the read good?", "identify dump-U7.bin --lists tern.lists"),
    (
        "04-stand-ins",
        "What in the drawer can take its place?",
        "parts stand-ins rom-23128-style-a --polarity 20=L,22=L,27=L --have drawer.txt",
    ),
    (
        "05-wire-as-linked",
        "LK1 and LK2 are set for a ROM with its select on pin 27. What if the 28C256 is simply plugged in?",
        "wire rom-23128-style-b 28C256 --polarity 20=L,22=L,27=L",
    ),
    (
        "06-links",
        "The whole board: which setting of LK1 and LK2 is right for which chip?",
        "links tern-tl-1 U7 rom-23128-style-a rom-23128-style-b 27C512 28C256 --polarity 20=L,22=L,27=L",
    ),
    (
        "07-links-as-set",
        "The costly mistake: the 27C512 goes in and the links stay as they are. What would the bench show?",
        "links tern-tl-1 U7 27C512 --now LK1=2-3,LK2=1-2 --image diagnostic.hex",
    ),
    (
        "08-plan",
        "The 28C256 then: what is the least work, links and wires together, that makes it right on this board?",
        "wire U7 28C256 --board tern-tl-1 --now LK1=2-3,LK2=1-2 --plan U7.plan --svg U7.svg",
    ),
    (
        "09-prepare",
        "Make the bytes of the bench diagnostic for the chip as the plan wires it.",
        "prepare diagnostic.hex --plan U7.plan --repeat -o diagnostic-28C256.bin",
    ),
    (
        "10-prove",
        "Read every address through the plan, byte by byte.",
        "prove U7.plan diagnostic.hex --burnt diagnostic-28C256.bin",
    ),
    (
        "11-job",
        "All of it from one file, with the sheet to take to the bench and a manifest (the dump is rotten: status 1).",
        "run tern.toml",
    ),
)
JOB = {  # the same job as one file
    "title": "Tern TL-1: the bench diagnostic in U7", "why": "The lamps do not move; the logger's ROM is suspect.",
    "date": "1984-11-25", "dumps": ("dump-U7.bin",), "reference": "reference/tern-logger.bin",
    "contents": ("diagnostic.hex",), "board": "tern-tl-1", "socket": "U7", "now": "LK1=2-3,LK2=1-2", "chip": "28C256",
    "name": "U7",
}  # fmt: skip


@click.command("demo", short_help="Lay the invented Tern TL-1 job into a folder and run it.")
@click.argument("folder", metavar="DIR")
@AS_JSON
def command(folder: str, as_json: bool) -> None:
    """Lay the job of the invented Tern TL-1 into the new folder DIR and run it.

    Every output stays in the folder; each command is shown, so that you can type it again there.

    \b
    Example: romwright demo tern
    """
    from romwright.cli import render

    lay_out(Path(folder))
    if not as_json:
        click.echo(STORY)
    steps = []
    with contextlib.chdir(folder):
        for name, why, words in STEPS:
            arguments = shlex.split(words) + (["--json"] if as_json else [])
            status, text = run(arguments)
            output = name + (".json" if as_json else ".txt")
            Path(output).write_text(text, "utf-8", newline="\n")
            steps.append({"command": f"romwright {words}", "status": status, "output": output})
            if not as_json:
                click.echo(
                    f"{'-' * 79}\n{why}\n\n$ romwright {words}\n\n{text}(exit status {status}; kept in {output})\n"
                )
    if as_json:
        render.print_json({"folder": folder, "steps": steps})
    else:
        render.print_result(f"Everything is in {folder}: inputs, list, the image to burn, these answers as text.")


def lay_out(folder: Path) -> None:
    """Write the inputs into a new or empty folder. Raises OutputError if it holds anything."""
    from romwright.datafiles import data_folder
    from romwright.images.formats import intel, write_files
    from romwright.images.image import Image
    from romwright.jobs.draft import Answers, build_job

    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        found = "the folder is not empty" if folder.is_dir() else "this is a file, not a folder"
        raise OutputError(found, where=str(folder), help="choose a new folder for the demo")
    try:
        for name in ("reference", "reads"):
            (folder / name).mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"the folder cannot be made: {error.strerror}", where=str(folder)) from None
    tern = data_folder("tern")
    logger, rotten, diagnostic = (
        (tern / name).read_bytes() for name in ("logger.bin", "logger-rotten.bin", "diagnostic.bin")
    )
    files = {
        **{f"reads/U7-{number}.bin": read_again(rotten, logger, number) for number in range(1, MORE_READS + 1)},
        "drawer.txt": b"28C256  1\n27C512  1\n",
        "dump-U7.bin": rotten,
        "reference/tern-logger.bin": logger,
        "reference/tern-diagnostic.bin": diagnostic,
        "diagnostic.hex": intel.build(Image.from_bytes(diagnostic, 0xC000)),
    }
    try:
        write_files({str(folder / name): data for name, data in files.items()})
        write_files({str(folder / "tern.toml"): build_job(Answers(**JOB), folder).encode("utf-8")})
    except OutputError:
        with contextlib.suppress(OSError):  # a folder that was there before, or holds something, stays
            (folder / "reference").rmdir()
            (folder / "reads").rmdir()
            folder.rmdir()
        raise


def read_again(rotten: bytes, good: bytes, number: int) -> bytes:
    """Return one more read of the rotten ROM, in which some of its rotten bytes read as they should."""
    places = [at for at, (seen, due) in enumerate(zip(rotten, good)) if seen != due]
    read = bytearray(rotten)
    for which, right in WEAK.items():
        if number in right:
            read[places[which]] = good[places[which]]
    return bytes(read)


def run(arguments: list[str]) -> tuple[int, str]:
    """Run one command in this process; returns its exit status and what it printed."""
    from romwright.cli.main import root

    text = io.StringIO()
    with contextlib.redirect_stdout(text):
        try:
            status = root.main(args=arguments, prog_name="romwright", standalone_mode=False)
        except SystemExit as leaving:
            status = leaving.code
    return int(status or 0), text.getvalue()
