"""`romwright lists`: the reference lists of known-good ROMs."""

from __future__ import annotations

import codecs
import os
import re
from collections.abc import Iterable, Iterator
from typing import TextIO

import click

from romwright.cli.identify import GAP_FILL, LISTS
from romwright.cli.options import AS_JSON
from romwright.cli.render import inert, print_json, print_table, progress
from romwright.errors import InputError
from romwright.images.grammar import CONTROL, HEAD_BYTES, recognise
from romwright.images.words import counted
from romwright.recognition import manifests
from romwright.recognition.digests import KINDS, Row
from romwright.recognition.reference import Store, default_file

HIGH = bytes(range(128, 256))
BAG_MANIFEST = re.compile(r"manifest-([a-z0-9]+)\.txt")


@click.group("lists", short_help="Keep reference lists of known-good ROMs.")
def command() -> None:
    """Keep reference lists: names, sizes and checksums of known-good ROMs.

    \b
    Example: romwright lists add tern reference/tern-logger.bin && romwright lists show
    """


@command.command(short_help="Add checksum lists, CSV, bags or images to a list.")
@click.argument("name")
@click.argument("files", nargs=-1, required=True, metavar="FILE...", type=click.Path())
@click.option("--images", is_flag=True, help="Take every FILE as an image, even if it is text.")
@AS_JSON
@LISTS
def add(name: str, files: tuple[str, ...], images: bool, as_json: bool, store: str | None) -> None:
    """Add to the list NAME: checksum lists, BagIt manifests, CSV, or images.

    What a FILE is shows in its content: lines of sha256sum, sha1sum, md5sum or cksum (also with --tag); CSV with a
    header row (name, size, crc32, md5, sha1, sha256, ...); a bag or its manifest-ALGORITHM.txt; anything else is an
    image. Of a folder that is no bag, every file is an image or a list. If anything is wrong with one FILE, nothing is
    added.

    \b
    Example: romwright lists add tern reference/tern-logger.bin
    """
    if not name.strip():
        raise InputError("the list has no name", expected="a name of at least one visible character")
    name, said = manifests.readable(name), []
    with Store(store or default_file(), create=True) as lists, lists.changing():
        before = lists.without_sketch().get(name, 0)
        for file in progress(list(_walk(files)), "adding"):
            said.append({"file": file, "was": _add(lists, name, file, images)})
        size = next(rows for known, rows, _ in lists.lists() if known == name)
        mended = before - lists.without_sketch().get(name, 0)
    if as_json:
        print_json({"list": name, "rows": size, "lists": lists.file, "added": said})
        return
    click.echo("\n".join(f"{inert(one['file'])}: {one['was']}" for one in said))
    click.echo(f"{inert(name)}: {counted(size, 'row')} now, in {inert(lists.file)}")
    if mended:
        click.echo(f"{counted(mended, 'image')} of an older list can now be known through faulty lines too")


@command.command()
@click.argument("name", required=False)
@AS_JSON
@LISTS
def show(name: str | None, as_json: bool, store: str | None) -> None:
    """Show all lists, or the ROMs of the list NAME.

    \b
    Example: romwright lists show tern --lists tern.lists
    """
    with Store(store or default_file()) as lists:
        if name is None:
            rows = [{"name": name, "rows": rows, "images": images} for name, rows, images in lists.lists()]
        else:
            rows = [_row_json(known.row) for known in lists.rows(name)]
    if as_json:
        print_json(rows)
    elif name is None:
        headers = ("list", "ROMs", "of them added as images")
        print_table(headers, ([row["name"], f"{row['rows']:,}", f"{row['images']:,}"] for row in rows), right=(1, 2))
    else:
        for row in rows:  # a list may have a million rows: no table, one line each
            kind = next(kind for kind in KINDS if kind in row)
            size = "-" if row["size"] is None else f"{row['size']:,}"
            click.echo(f"{size:>11}  {kind} {row[kind]}  {inert(row['name'])}")


@command.command()
@click.argument("name")
@AS_JSON
@LISTS
def remove(name: str, as_json: bool, store: str | None) -> None:
    """Remove the list NAME.

    \b
    Example: romwright lists remove tern --lists tern.lists
    """
    with Store(store or default_file()) as lists:
        gone = lists.remove(name)
    if as_json:
        print_json({"list": name, "removed": gone})
    else:
        click.echo(f"{inert(name)}: removed, {counted(gone, 'row')}")


def _row_json(row: Row) -> dict[str, object]:
    crcs = {"crc32": lambda digest: digest.hex().upper(), "cksum": int.from_bytes}
    digests = {kind: crcs.get(kind, bytes.hex)(digest) for kind, digest in row.digests.items()}
    return {"name": row.name, "size": row.size, **digests}


def _walk(files: Iterable[str]) -> Iterator[str]:
    """Yield the files meant: a bag as its folder, any other folder file by file in sorted order."""
    for file in files:
        if not os.path.isdir(file) or os.path.isfile(os.path.join(file, "bagit.txt")):
            yield file
            continue
        for folder, folders, names in os.walk(file):
            folders.sort()
            yield from (path for name in sorted(names) if os.path.isfile(path := os.path.join(folder, name)))


def _add(lists: Store, name: str, file: str, images: bool) -> str:
    """Add one file to a list and say what it was."""
    if os.path.isdir(file):
        return f"a bag, {counted(lists.add_rows(name, _bag_rows(file)), 'new row')}"
    text = None if images else _open_text(file)
    if text is None:
        return _add_image(lists, name, file)
    with text:
        if os.path.basename(file).startswith("tagmanifest-"):
            raise InputError(
                "a tag manifest lists the bag's own papers, not what it carries",
                where=file,
                expected="manifest-ALGORITHM.txt, or the folder of the bag",
            )
        if match := BAG_MANIFEST.fullmatch(os.path.basename(file)):
            new = lists.add_rows(name, manifests.parse_bag_manifest(text, file, match[1]))
            return f"a bag's manifest, {counted(new, 'new row')}"
        first = next((line for line in text if line.strip()), "")
        text.seek(0)
        if delimiter := manifests.csv_delimiter(first, file):
            rows, unknown = manifests.parse_csv(text, file, delimiter)
            note = f" (kept out: the columns {', '.join(map(inert, unknown))})" if unknown else ""
            return f"CSV, {counted(lists.add_rows(name, rows), 'new row')}{note}"
        return f"checksum lines, {counted(lists.add_rows(name, manifests.parse_lines(text, file)), 'new row')}"


def _open_text(file: str) -> TextIO | None:
    """Open a text list; None if the content is an image: hex records, or anything that is not text."""
    try:
        with open(file, "rb") as stream:
            head = stream.read(HEAD_BYTES)
        if head[:2] in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE) and _is_text(head[2:].replace(b"\0", b"")):
            raise InputError("text in UTF-16", where=file, expected="UTF-8", help="save it again as UTF-8")
        if not _is_text(head):
            return None
        return None if recognise(head) else open(file, encoding="utf-8-sig", errors="surrogateescape")
    except OSError as error:
        raise _unreadable(file, error) from None


def _unreadable(file: str, error: OSError) -> InputError:
    from romwright.images.formats import unreadable

    return unreadable(file, error)


def _is_text(head: bytes) -> bool:
    """Tell text (no control characters, mostly ASCII, in lines) from an image, which may start with erased bytes."""
    lines = len(head) < HEAD_BYTES or b"\n" in head or b"\r" in head
    return bool(head) and lines and not CONTROL.search(head) and len(head.translate(None, HIGH)) > 0.7 * len(head)


def _bag_rows(folder: str) -> list[Row]:
    """Read all payload manifests of a bag (RFC 8493 section 2.1); a file's digests of several kinds become one row."""
    declaration = os.path.join(folder, "bagit.txt")
    try:
        with open(declaration, encoding="utf-8", errors="replace") as text:
            labels = dict(re.findall(r"(?m)^([\w-]+): *(.*?)\s*$", text.read(HEAD_BYTES)))
        encoding = labels.get("Tag-File-Character-Encoding", "")
        codecs.lookup(encoding)
        paths = sorted(path for path in os.listdir(folder) if BAG_MANIFEST.fullmatch(path))
        if not paths:
            raise InputError(
                "a bag without a manifest", where=folder, expected="manifest-ALGORITHM.txt beside bagit.txt"
            )
        rows: list[Row] = []
        for path in paths:
            with open(os.path.join(folder, path), encoding=encoding, errors="surrogateescape") as text:
                rows += manifests.parse_bag_manifest(text, text.name, BAG_MANIFEST.fullmatch(path)[1])
        return manifests.merge_by_name(rows, folder)
    except LookupError:
        raise InputError(
            f"the character encoding {encoding!r}", where=declaration, expected="Tag-File-Character-Encoding: UTF-8"
        ) from None
    except OSError as error:
        raise _unreadable(str(error.filename), error) from None


def _add_image(lists: Store, name: str, file: str) -> str:
    from romwright.images.formats import read
    from romwright.recognition.identification import measured

    loaded = read(file)
    data = loaded.image.flat(GAP_FILL)
    row, traces = measured(manifests.readable(os.path.basename(file)), data)
    new = lists.add_image(name, row, traces)
    gaps = ", gaps filled with FF" if loaded.image.gaps else ""
    return f"an image ({loaded.format}), {len(data):,} bytes{gaps}, {'new' if new else 'already there'}"
