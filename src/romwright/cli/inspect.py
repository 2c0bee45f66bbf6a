"""romwright inspect: what is in an image."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Iterator

import click

from romwright.cli.action import after_read, print_next
from romwright.cli.options import AS_JSON, OVERWRITE, READ_AS
from romwright.cli.render import PIPE_COLUMNS, inert, labelled, print_findings, print_json, print_result
from romwright.errors import InputError, OptionError
from romwright.findings import blocks
from romwright.images.image import hex_range
from romwright.images.notation import parse_byte
from romwright.images.words import in_bytes

LABEL = 13  # columns of the left-hand labels: a SHA-256 beside them ends in column 80
STRINGS_SHOWN = 6
LABELS = {"after last image": "rest"}  # for what would not fit into the column
FORMATS = {"raw": "raw binary", "intel-hex": "Intel HEX", "s-record": "Motorola S-record"}


@click.command("inspect", short_help="Show what an image is and what its bytes tell.")
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@click.option("--crc", "crcs", multiple=True, metavar="NAME", help="One more CRC by name, such as xmodem; repeatable.")
@click.option("--fill", metavar="HH", help="Fill the gaps of a hex file with this byte before anything is computed.")
@READ_AS
@click.option(
    "--lists",
    metavar="FILE",
    type=click.Path(),
    help="A file of reference lists: see whether two of its ROMs answered at once.",
)
@click.option("--picture", metavar="OUT", help="Draw a byte map of the one FILE: OUT.png or OUT.svg.")
@OVERWRITE
@AS_JSON
def command(files, crcs, fill, read_as, lists, picture, overwrite, as_json) -> int:
    """Show what an image is and what its bytes tell.

    Size, addresses and checksums first, to compare with a programmer's display; then blank runs, repeats, address
    lines and data bits that never matter, entropy and text; header structures; the CPU that the code is for, with the
    evidence; and what looks like a bad read: dead or joined lines, a chip that does not answer or drops out; with
    --lists, which two known ROMs answered at once. Checksums are over the bytes that the file defines, in address
    order; with --fill, over all.

    \b
    Example: romwright inspect dump-U7.bin --crc xmodem --picture dump.svg
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # for numpy: threads cost more than small products gain
    from romwright.images import formats
    from romwright.recognition.inspection import inspect_image

    checks = known_checks(lists) if lists else []
    if picture and len(files) > 1:
        raise OptionError(f"{len(files)} files and one picture", where="--picture", expected="one FILE for one picture")
    byte = parse_byte(fill, "--fill") if fill else None
    results = (inspect_image(formats.read(file, read_as), byte, crcs, checks) for file in files)
    if as_json:
        results = list(results)  # of all files or of none; as text, what is known comes before an error
    faulty = False
    for index, result in enumerate(results):
        if picture:
            draw(result, picture, overwrite)
        if not as_json:
            click.echo("\n" * bool(index) + "\n".join(report(result)))
            print_findings(result.findings, result.file)
        faulty |= blocks(result.findings)
    if as_json:
        print_json([result.as_json() | {"next": after_read(result.findings)} for result in results])
        return int(faulty)
    if picture:
        click.echo()
        print_result(f"picture written to {picture}")
    if len(files) == 1:
        print_next(after_read(result.findings))
    return int(faulty)


def known_checks(lists: str) -> list:
    """Return the checks that need images of the reference lists. Raises InputError if there are none."""
    from romwright.recognition.overlap import check_known
    from romwright.recognition.reference import Store

    store = Store(lists)
    if not store.has_sketches:
        raise InputError(
            "no list in this file has an image whose bytes were added", where=lists,
            expected="two ROMs at least, as files: names and checksums do not tell what both together read",
            help="romwright lists add NAME FILE... --lists FILE; what an older romwright added has to be added again",
        )  # fmt: skip
    return [check_known(store)]


def draw(result, path: str, overwrite: bool) -> None:
    """Write the byte map of an inspected image."""
    from pathlib import Path

    from romwright.images import formats
    from romwright.images.picture import build_picture

    if Path(path).resolve() == Path(result.file).resolve():
        raise OptionError("the picture would replace the image", where="--picture", expected="another file")
    formats.write_bytes(path, build_picture(result.image, inert(Path(result.file).name), Path(path).suffix), overwrite)


def report(result) -> Iterator[str]:
    """Yield the lines of the report on one file."""
    image, sums = result.image, result.checksums
    yield click.style(inert(result.file), bold=True)
    size = image.size_bytes
    binary = f", {size >> 10}K" if size % 1024 == 0 else ""
    yield from row("size", f"{in_bytes(size)} ({size:X}h{binary})")
    yield from row("16-bit sum", f"{sums.sum16}   complements {sums.sum16_ones} (ones) {sums.sum16_twos} (twos)")
    yield from row("8-bit sum", f"{sums.sum8}     complements {sums.sum8_ones} (ones) {sums.sum8_twos} (twos)")
    yield from row("CRC-32", sums.crc32)
    for one in result.crcs:
        yield from row(f"{one.name}", f"{one.value}   ({one.width} bits)")
    for label, digest in (("MD5", sums.md5), ("SHA-1", sums.sha1), ("SHA-256", sums.sha256)):
        yield from row(label, digest)
    yield from row("format", FORMATS[result.format])
    entry = "" if image.entry is None else f", entry {image.entry:04X}"
    yield from row("addresses", hex_range(image.start, image.stop) + entry)
    if image.gaps:
        first = ", ".join(hex_range(*gap) for gap in image.gaps[:4])
        yield from row("gaps", first + (f" and {len(image.gaps) - 4:,} more" if len(image.gaps) > 4 else ""))
        yield from row("", "the checksums are over the defined bytes only, in address order; --fill HH fills the gaps")
    if result.filled_bytes:
        words = f"{in_bytes(result.filled_bytes)} of gaps, with {result.fill:02X}, counted in the checksums"
        yield from row("filled", words)
    for trait in (trait for trait in result.traits if not result.saying(trait)):
        yield from row(trait.kind, trait.detail)
        yield from strings(trait.facts.get("strings", ()))
    for structure in result.structures:
        yield from row(
            LABELS.get(structure.kind, structure.kind), f"at offset {structure.offset:04X}: {structure.detail}"
        )
        for problem in structure.problems:
            yield from row("", f"wrong: {problem}")
    from romwright.recognition.cpus import NEEDED

    for judgement in result.cpus:
        yield from row("CPU", f"{judgement.cpu} (evidence score {judgement.score:.0f}, {NEEDED:.0f} needed)")
        for evidence in judgement.evidence:
            yield from row("", f"- {evidence}")


def strings(found) -> Iterator[str]:
    """Yield the longest strings of a text trait, in address order."""
    shown = sorted(sorted(found, key=lambda one: -len(one["text"]))[:STRINGS_SHOWN], key=lambda one: one["address"])
    for one in shown:
        text = one["text"]
        room = columns() - 40
        text = text if len(text) <= room else text[:room] + f"... ({len(text):,} long)"
        yield from row("", f"{one['address']:04X} {text}")


def row(label: str, text: str) -> list[str]:
    """Lay out one line of the report."""
    return labelled(label, text, LABEL, columns())


def columns() -> int:
    """Return how long a line may be."""
    return max(shutil.get_terminal_size().columns, 80) if sys.stdout.isatty() else PIPE_COLUMNS
