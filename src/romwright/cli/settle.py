"""romwright settle: repeated reads of one chip, combined bit by bit."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator

import click

from romwright.cli.options import AS_JSON, OVERWRITE, READ_AS
from romwright.errors import OptionError
from romwright.images.notation import parse_byte

BLOCKING = ("bits-undecided", "read-once")  # findings with which nothing is written unasked


def parse_risk(context: click.Context, parameter: click.Parameter, text: str) -> float:
    """Read a chance: 0.01 or 1%. Raises OptionError."""
    try:
        return float(text.removesuffix("%")) / (100 if text.endswith("%") else 1)
    except ValueError:
        raise OptionError(f"{text!r} is no chance", where="--risk", expected="for instance 0.01, or 1%") from None


@click.command("settle", short_help="Combine repeated reads of one chip, and say whether they are enough.")
@click.argument("files", nargs=-1, required=True, metavar="READ READ...")
@click.option(
    "--risk",
    default="1%",
    show_default=True,
    metavar="CHANCE",
    callback=parse_risk,
    help="The chance of a wrong bit in the settled image that you allow.",
)
@click.option("-o", "--output", metavar="OUT", help="Write the settled image to this file.")
@click.option(
    "--write-as",
    type=click.Choice(["raw", "intel-hex", "s-record"]),
    default="raw",
    show_default=True,
    help="Format of the output.",
)
@click.option("--fill", metavar="HH", help="What fills bytes that no read has, in the output.")
@click.option(
    "--accept",
    multiple=True,
    metavar="CODE",
    help="Write although there is this finding: bits-undecided, read-once, or a fault of a hex file.",
)
@OVERWRITE
@READ_AS
@AS_JSON
def command(files, risk, output, write_as, fill, accept, overwrite, read_as, as_json) -> int:
    """Combine repeated reads of one chip: the majority of each bit, and every bit that was not read alike.

    Reads that differ throughout (another ROM, a line that was bad in that read, blank, another size) are set aside with
    the reason. A tie is never settled. The chance of a wrong bit is worked out for the worst cells there can be: each
    wrong in up to half of all reads, by chance. Seven reads that are alike in every bit keep it under the default of
    1%; --risk 5% asks for five, --risk 0.1% for ten. A bit that always reads wrong no number of reads can show. Take
    the chip out and seat it anew between reads.

    Exit status 0 if the reads settle the chip, 1 if not.

    \b
    Example: romwright settle reads/U7-1.bin reads/U7-2.bin reads/U7-3.bin --risk 1%
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as for compare, which explains the reads that are set aside
    from romwright.cli.action import after_settle, print_next
    from romwright.cli.render import print_json, progress
    from romwright.faults.repeats.settling import settle
    from romwright.findings import blocks
    from romwright.jobs.files import output_names, require_not_inputs

    if output:
        output_names(output, 1)
        require_not_inputs([output], list(files))
    elif given := [name for name in ("fill", "accept", "overwrite") if click.get_current_context().params[name]]:
        raise OptionError(f"--{given[0]} is about the output, but there is no -o", help="give -o OUT, or leave it out")
    filling = parse_byte(fill, "--fill") if fill else None
    ours, same = once_each(files)
    odd: list = []
    found = settle(read_each(progress(ours, "reading"), read_as, odd), risk, same, progress)
    findings = [finding for _, finding in odd]
    require_known(accept, [*findings, *found.findings])
    doubts = [each for each in (*findings, *found.findings) if refuses(each, findings)]
    refused = [each for each in doubts if each.code.name not in accept]
    written = write(found, output, write_as, filling, overwrite) if output and found.votes and not refused else None
    action = after_settle(found)
    if as_json:
        answer = found.as_json()
        print_json(
            answer
            | {
                "findings": [each.as_json() for each in findings] + answer["findings"],
                "written": written,
                "not_written_for": sorted({each.code.name for each in refused}) if output and not written else [],
                "next": action,
            }
        )
    else:
        from romwright.cli.settlement import report, say_written

        report(found, odd)
        if output:
            say_written(found, output, written, refused)
        print_next(action)
    return int(not found.settled or found.undecided > 0 or blocks([*findings, *found.findings]))


def once_each(files: tuple[str, ...]) -> tuple[list[str], list[tuple[str, str]]]:
    """Return the files without those given twice, by whatever path, and these with what they are the same as."""
    ours: dict[object, str] = {}
    same = []
    for file in files:
        try:
            status = os.stat(file)
            key = (status.st_dev, status.st_ino) if status.st_ino else os.path.realpath(file)
        except (OSError, ValueError):
            key = file  # reading it says what is wrong
        if key in ours:
            same.append((file, ours[key]))
        else:
            ours[key] = file
    return list(ours.values()), same


def read_each(files: Iterable[str], read_as: str | None, odd: list) -> Iterator:
    """Read one file after the other; what is odd about one goes to `odd` with its name."""
    from romwright.images import formats

    for file in files:
        loaded = formats.read(file, read_as)
        odd += [(file, finding) for finding in loaded.findings]
        yield loaded


def refuses(finding, of_files: list) -> bool:
    """Tell whether nothing is written unasked because of a finding."""
    from romwright.findings import blocks

    return finding.code.name in BLOCKING or (finding in of_files and blocks([finding]))


def require_known(accept: tuple[str, ...], findings: list) -> None:
    """Raise OptionError for a code that names nothing here."""
    known = {each.code.name for each in findings}
    if unknown := [code for code in accept if code not in known and code not in BLOCKING]:
        raise OptionError(
            f"there is no finding {unknown[0]} here", where="--accept", expected=f"one of: {', '.join(BLOCKING)}",
            help="leave the option out",
        )  # fmt: skip


def write(found, output: str, write_as: str, fill: int | None, overwrite: bool) -> dict[str, object]:
    """Write the settled image, as prepare writes; returns what was written.

    Raises GapError if raw binary should have bytes that no read has, and there is no fill.
    """
    from romwright.images import formats
    from romwright.images.checksums import measure
    from romwright.images.image import Image

    image = found.votes.image
    if fill is not None:
        image = Image.from_bytes(image.flat(fill), image.start)
    formats.write_bytes(output, formats.format_named(write_as).build(image), overwrite)
    sums = measure(image.defined())
    return {
        "file": output, "format": write_as, "size": image.size_bytes, "crc32": sums.crc32, "sha256": sums.sha256,
    }  # fmt: skip
