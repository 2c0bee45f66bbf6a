"""`romwright identify`: which known ROM is this file?"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Sequence
from functools import partial

import click

from romwright.cli.action import after_identify, print_next
from romwright.cli.options import AS_JSON
from romwright.cli.quiet import aloud, is_quiet
from romwright.cli.render import inert, print_result, progress
from romwright.cli.shares import map_shares
from romwright.errors import InputError
from romwright.images.grammar import HEAD_BYTES, recognise
from romwright.recognition.identification import TRIED_THOROUGHLY, Identifier
from romwright.recognition.reference import Store, default_file
from romwright.recognition.verdicts import Contents, Identification, Match

FEW_FILES = 32  # up to so many, everything is tried unasked
BATCH_FILES = 128
BATCH_BYTES = 16 << 20
SHOWN_MATCHES = 4
GAP_FILL = 0xFF
LISTS = click.option(
    "--lists",
    "store",
    metavar="FILE",
    type=click.Path(),
    help="The file that holds the lists, instead of your own default one.",
)


@click.command("identify", short_help="Say which known ROM a file is, or a folder of files.")
@click.argument("paths", nargs=-1, required=True, metavar="FILE|FOLDER...", type=click.Path())
@click.option(
    "--wide", is_flag=True, help=f"Try everything that is done for up to {FEW_FILES} files, however many there are."
)
@AS_JSON
@LISTS
def command(paths: tuple[str, ...], wide: bool, as_json: bool, store: str | None) -> int:
    """Say which known ROM each FILE is, as it is or after a change that a technician may have made.

    The changes: repeated to fill a larger chip, filled up, shifted, one half of it or one of its halves, bytes swapped,
    inverted. If the known ROM was added as an image, also damaged, read through lines that are crossed, stuck, joined
    or inverted, or together with another known ROM.

    Exit status: 0 if every file is known and whole, 1 if not, or if something is wrong with a hex file itself.

    \b
    Example: romwright identify dump-U7.bin --lists tern.lists
    """
    files = list(_files(paths))
    store = store or default_file()
    thorough = wide or len(files) <= FEW_FILES
    identify = partial(_identify, store=store, with_crc32=as_json)
    rows = identify(files, thorough=thorough)
    missed = [index for index, row in enumerate(rows) if not row.known and not row.error]
    if not thorough and len(missed) <= FEW_FILES:
        for index, row in zip(missed, identify([files[index] for index in missed], thorough=True)):
            rows[index] = row
    for row in rows:
        if row.error and row.file in paths:  # named by the user, not met in a folder: that error is the answer
            _read(row.file)
    if as_json:
        click.echo(_json(rows))
    else:
        _print(rows)
        if not all(row.known or row.error for row in rows):
            with Store(store) as lists:
                for name, images in lists.without_sketch().items():
                    click.echo(_old(name, images))
        if len(paths) == len(rows) == 1 and not os.path.isdir(paths[0]):
            print_next(_next(rows[0]))
    return 0 if all(row.known and not row.faulty for row in rows) else 1


def _identify(files: Sequence[tuple[str, int]], store: str, thorough: bool, with_crc32: bool) -> list[Identification]:
    """Identify files, in several processes if there are many."""

    def work(batches: Iterable[list[str]]) -> list[tuple]:
        with Store(store) as lists:
            identifier = Identifier(lists, thorough, with_crc32)
            return [row.as_plain() for batch in batches for row in identifier.identify(batch, _read)]

    batches = _batches(files)
    shares = map_shares(work, batches, watch=lambda batches: progress(batches, "identifying"))
    where = [iter(share) for share in shares]
    return [
        Identification.from_plain(next(where[number % len(shares)]))
        for number, batch in enumerate(batches)
        for _ in batch
    ]


def _files(paths: Iterable[str]) -> Iterator[tuple[str, int]]:
    """Yield the files meant and their sizes; folders are walked in sorted order, past what is no regular file."""
    for path in paths:
        if not os.path.isdir(path):
            if not os.path.exists(path):
                raise InputError("there is no such file", where=path, help="check the spelling and the folder")
            if not os.path.isfile(path):
                raise InputError(
                    "this is no regular file", where=path, expected="a file with an image, or a folder of them"
                )
            yield path, os.path.getsize(path)
            continue
        found = False
        for file in _walk(path):
            found = True
            yield file
        if not found:
            raise InputError("there is no file in this folder", where=path)


def _walk(folder: str) -> Iterator[tuple[str, int]]:
    try:
        with os.scandir(folder) as entries:
            ordered = sorted(entries, key=lambda entry: entry.name)
    except OSError as error:
        raise InputError(f"the folder cannot be read: {error.strerror}", where=folder) from None
    for entry in ordered:
        if entry.is_dir(follow_symlinks=False):
            yield from _walk(entry.path)
        elif entry.is_file():
            yield entry.path, entry.stat().st_size


def _batches(files: Sequence[tuple[str, int]]) -> list[list[str]]:
    """Cut the files into batches of limited number and size."""
    batches: list[list[str]] = []
    room = 0
    for file, size in files:
        if not batches or len(batches[-1]) == BATCH_FILES or size > room:
            batches.append([])
            room = BATCH_BYTES
        batches[-1].append(file)
        room -= size
    return batches


def _read(file: str) -> Contents:
    """Read the bytes of an image.

    Raw binary up to the size of a batch is read here: to load the readers of hex files takes longer than to read a
    folder.
    """
    try:
        with open(file, "rb", buffering=0) as stream:
            size = os.fstat(stream.fileno()).st_size
            data = os.read(stream.fileno(), size) if size <= BATCH_BYTES else b""
        if data and len(data) == size and not recognise(data[:HEAD_BYTES]):
            return Contents(data)
    except OSError:
        pass  # said better below
    from romwright.findings import blocks
    from romwright.images.formats import read

    loaded = read(file)
    notes = ["gaps filled with FF"] if loaded.image.gaps else []
    faults = [finding.title for finding in loaded.findings if blocks([finding])]
    stored = b""
    if loaded.format != "raw":
        with open(file, "rb") as stream:
            stored = stream.read()
    return Contents(loaded.image.flat(GAP_FILL), "; ".join(notes + faults), bool(faults), stored)


def _json(rows: Iterable[Identification]) -> str:
    import json

    answers = (row.as_json() | {"next": "" if row.error else _next(row)} for row in rows)
    return "[\n" + ",\n".join(map(json.dumps, answers)) + "\n]"


def _next(row: Identification) -> str:
    """Say what to do with a file that is known so."""
    return after_identify([match.how for match in row.matches])


def _print(rows: Sequence[Identification]) -> None:
    shown = [row for row in rows if not is_quiet() or row.faulty or not row.known]
    with aloud():
        click.echo("".join(f"{line}\n" for row in shown for line in _lines(row)), nl=False)
    click.echo()
    print_result(_summary(rows))
    missed = [row for row in rows if not row.matches and not row.error]
    if missed:
        click.echo(f"tried for the unknown: {', '.join(dict.fromkeys(way for row in missed for way in row.tried))}")
        if any(TRIED_THOROUGHLY[0] not in row.tried for row in missed):
            click.echo("more is tried with --wide")


def _lines(row: Identification) -> Iterator[str]:
    """Say in one line what a file is, with one more for each further known ROM that it shows."""
    file = inert(row.file)
    if row.error:
        yield f"{file}: not read: {inert(row.error)}"
        return
    note = f" ({row.note})" if row.note else ""
    if not row.matches:
        yield f"{file}: unknown{note}"
        return
    for match in row.matches[:SHOWN_MATCHES]:
        yield f"{file}: {_verdict(match)}{note}"
    if len(row.matches) > SHOWN_MATCHES:
        yield f"{file}: and {len(row.matches) - SHOWN_MATCHES:,} more"


def _verdict(match: Match) -> str:
    known = f"{inert(match.name)} (list {inert(match.list)})"
    detail = inert(match.detail)
    if match.lossless:
        return f"{match.how}: {known}{', ' + detail if detail else ''}"
    if match.pages_equal:
        known += f", {match.pages_equal} of {match.pages_total} pages equal"
    return f"{match.how}{', or another version' * match.how.endswith('damaged')}: {known}; {detail}"


def _old(name: str, images: int) -> str:
    """Say what images that an older romwright has added lack."""
    noun = f"{images:,} image{'s' * (images != 1)} of the list {inert(name)}"
    return f"{noun} cannot be known through faulty lines: add the files again with lists add {inert(name)} FILE..."


def _summary(rows: Sequence[Identification]) -> str:
    exact = sum(any(match.how == "exact" for match in row.matches) for row in rows)
    changed = sum(row.known for row in rows) - exact
    damaged = sum(bool(row.matches) and not row.known for row in rows)
    unread = sum(bool(row.error) for row in rows)
    counts = {
        "exact": exact, "after a change": changed, "damaged": damaged,
        "unknown": len(rows) - exact - changed - damaged - unread, "not read": unread,
    }  # fmt: skip
    said = ", ".join(f"{count:,} {word}" for word, count in counts.items() if count)
    faulty = sum(row.faulty for row in rows)
    said += f"; {faulty:,} with a fault in the file" if faulty else ""
    return f"{len(rows):,} file{'' if len(rows) == 1 else 's'}: {said}"
