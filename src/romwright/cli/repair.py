"""romwright repair: what could make a damaged dump good again, and how sure that is. Nothing is changed unasked."""

from __future__ import annotations

import os

import click

from romwright.cli.options import AS_JSON, OVERWRITE, READ_AS
from romwright.errors import OptionError, OutputError
from romwright.images.notation import parse_byte

SHOWN = 16  # changed bytes that are listed on paper; --json has all
DECAYS = ("rose", "fell", "either")
ONLY_CHECKSUMS = (
    "sums", "crc32", "sha1", "sha256", "order", "decay", "bits", "listed", "within", "weak", "only_weak", "reads",
    "candidate",
)  # fmt: skip


@click.command("repair", short_help="List what could make a damaged dump good again.")
@click.argument("dump", metavar="DUMP")
@click.argument("more", nargs=-1, metavar="")
@click.option("--reference", metavar="FILE", help="A good image of the same ROM: what to change in DUMP, byte by byte.")
@click.option(
    "--sum",
    "sums",
    multiple=True,
    metavar="SUM",
    help="A checksum that the good image keeps: KIND@ADDRESS[:RANGE] or KIND=VALUE[:RANGE].",
)
@click.option("--crc32", metavar="HEX", help="The published CRC-32 of the whole good image.")
@click.option("--sha1", metavar="HEX", help="Its published SHA-1.")
@click.option("--sha256", metavar="HEX", help="Its published SHA-256.")
@click.option(
    "--order",
    type=click.Choice(["little", "big"]),
    help="Which end of a stored checksum comes first (default: little).",
)
@click.option("--decay", type=click.Choice(DECAYS), help="Which way bits went: see above. Never assumed.")
@click.option("--bits", type=click.IntRange(1, 16), help="Try corrections of up to so many bits (default: 2).")
@click.option("--list", "listed", type=click.IntRange(1, 10000), help="List the best so many (default: 20).")
@click.option("--within", metavar="FIRST-LAST", help="Turn bits at these addresses only.")
@click.option(
    "--read",
    "reads",
    multiple=True,
    metavar="FILE",
    help="Another read of the same chip: turn only bits in which the reads disagree. Repeat it for each.",
)
@click.option(
    "--weak",
    metavar="FILE",
    help='Cells known to be weak, ranked first: JSON with a list such as [{"address": 4660, "bit": 3}].',
)
@click.option("--only-weak", is_flag=True, help="Turn only the cells of --weak.")
@click.option("--fill", metavar="HH", help="What the gaps of a hex file count as. They are not changed.")
@READ_AS
@click.option("-o", "--output", metavar="OUT", help="Write a corrected copy, in the format of DUMP.")
@click.option("--candidate", type=click.IntRange(1), metavar="N", help="The number of the candidate to write.")
@OVERWRITE
@AS_JSON
def command(dump, more, reference, read_as, fill, output, overwrite, as_json, **options) -> int:
    """List what could make a damaged DUMP good again. Nothing is chosen or written unasked.

    With --reference the changes are the reference's bytes; where DUMP may be another version this is not called a
    repair. Without, ALL corrections of up to --bits bits are tried after which every checksum holds, and counted.
    Checksums are written as for `prepare`, at the addresses of the file: KIND is sum8, sum16, sum32 (bytes), xor8,
    words-big, words-little (16-bit words) or a CRC by name; RANGE is the whole image unless given; a stored checksum
    leaves out its own place. If none is stated, the byte sums that a ROM header promises are used.

    --decay rose: bits that should be 0 read 1, as in an EPROM or OTP chip that loses charge (erased cells read 1);
    fell: bits that should be 1 read 0, no charge loss of an EPROM, rather a line or contact; either: not known.

    Exit status 0 if nothing is wrong, 1 if something is, whatever was found or written.

    \b
    Example: romwright repair dump-U7.bin --crc32 8FE1D3A5 --decay rose
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from romwright.cli import candidates
    from romwright.images import formats

    if more:
        raise OptionError(
            f"{more[0]!r} is one file too many", expected="the damaged DUMP alone",
            help="a good image goes with --reference, another read of the same chip with --read",
        )  # fmt: skip
    given = [name for name in ONLY_CHECKSUMS if options[name]]
    if reference is not None and given:
        raise OptionError(
            f"--reference and {option_name(given[0])} go against each other",
            expected="a good image, or checksums that the good image keeps",
        )
    if overwrite and not output:
        raise OptionError("--overwrite replaces an output, but no -o names one")
    filled = None if fill is None else parse_byte(fill, "--fill")
    loaded = formats.read(dump, read_as)
    if reference is None:
        return candidates.run(loaded, read_as, filled, output, overwrite, as_json, options)
    return restore(loaded, formats.read(reference, read_as), filled, output, overwrite, as_json)


def option_name(key: str) -> str:
    """Return an option as it is typed."""
    return "--" + {"sums": "sum", "listed": "list", "reads": "read"}.get(key, key.replace("_", "-"))


def restore(loaded, reference, fill: int | None, output: str | None, overwrite: bool, as_json: bool) -> int:
    """Say what makes the dump its reference; write it if asked."""
    from romwright.cli import render
    from romwright.cli.action import after_restoration, print_next
    from romwright.faults.comparison import compare
    from romwright.faults.repairs.restoration import Restoration
    from romwright.findings import blocks

    comparison = compare(reference.image, loaded.image)
    answer = comparison.as_json()  # proves what is said of the lines, too
    restoration = Restoration(comparison, loaded.image.start, reference.image.start)
    of_files = [*loaded.findings, *reference.findings]
    if output and comparison.identical:
        raise nothing_to_write(output)
    if output and restoration.refusal:
        raise OptionError(
            f"{restoration.refusal.title} ({restoration.refusal.evidence}), so nothing is written", where=output,
            help="keep the dump; if you want the reference in the chip, burn the reference itself",
        )  # fmt: skip
    written = None
    if output:
        image = reference.image
        if fill is not None:
            image = type(image).from_bytes(image.flat(fill), image.start)
        written = write(image, loaded, output, overwrite, [loaded.file, reference.file])
    findings = [*of_files, *comparison.findings, *restoration.findings]
    changes = [] if restoration.refusal else list(restoration.changes())
    action = after_restoration(restoration, written)
    if as_json:
        keys = ("address_lines", "data_lines", "start", "beyond", "explained", "confidence")
        render.print_json({
            "file": loaded.file, "reference": reference.file, "identical": comparison.identical,
            "repair": not comparison.identical and restoration.refusal is None, "straight": restoration.straight,
            **{key: answer[key] for key in keys if key in answer},
            "rose": comparison.residue.rose, "fell": comparison.residue.fell, "unread": restoration.unread,
            "changes": [
                {"address": each.address, "reads": f"{each.reads:02X}", "becomes": f"{each.becomes:02X}",
                 "reference_address": each.reference} for each in changes
            ],
            "written": written, "findings": [finding.as_json() for finding in findings], "next": action,
        })  # fmt: skip
    else:
        click.echo(click.style(f"{render.inert(loaded.file)}, to be {render.inert(reference.file)}", bold=True))
        if comparison.identical:
            render.print_result("identical: nothing to repair")
        render.print_findings(findings)
        if not comparison.identical and not restoration.refusal:
            print_changes(changes, restoration.straight)
        print_written(written)
        print_next(action)
    return int(not comparison.identical or blocks(of_files))


def print_changes(changes: list, straight: bool) -> None:
    """Print the bytes to change, and what comes before that."""
    from romwright.images.words import in_bytes

    if not straight:
        click.echo("\nFirst put the lines right and read again: the bytes of this read stand in other places.")
    if not changes:
        click.echo("\nNo byte that was read needs to be changed" + " beside that" * (not straight) + ".")
        return
    click.echo(f"\n{in_bytes(len(changes))} to change" + ", at their places in this read" * (not straight))
    for each in changes[:SHOWN]:
        moved = "" if straight or each.reference is None else f" (reference {each.reference:04X})"
        click.echo(f"  {each.address:04X}: {byte_change(each.reads, each.becomes)}{moved}")
    if len(changes) > SHOWN:
        click.echo(f"  and {len(changes) - SHOWN:,} more (see --json)")


def byte_change(reads: int, becomes: int) -> str:
    """Say how one byte changes: what it reads, what it becomes, on which data lines."""
    lines = ", ".join(f"D{bit}" for bit in range(8) if (reads ^ becomes) >> bit & 1)
    return f"{reads:02X} to {becomes:02X} ({lines})"


def nothing_to_write(output: str) -> OptionError:
    """Say that there is no correction to write."""
    return OptionError("nothing is wrong, so there is nothing to write", where=output, help="leave out -o")


def write(image, loaded, output: str, overwrite: bool, inputs: list[str], holds=lambda image: True) -> dict:
    """Write an image in the dump's format, read it back, and check it. Raises OptionError or OutputError."""
    import zlib

    from romwright.images import formats
    from romwright.images.checksums import measure
    from romwright.jobs.files import output_names, require_not_inputs

    names = output_names(output, 1)
    require_not_inputs(names, inputs)
    formats.write_files({output: formats.format_named(loaded.format).build(image)}, overwrite)
    again = formats.read(output, loaded.format).image
    if again.segments != image.segments or not holds(again):
        raise OutputError(
            "what was written does not read back as the corrected image", where=output, help="do not use it"
        )
    data = again.defined()
    return {
        "file": output, "format": loaded.format, "size": len(data), "crc32": f"{zlib.crc32(data):08X}",
        "sha256": measure(data).sha256,
    }  # fmt: skip


def print_written(written: dict | None) -> None:
    """Print which file was written."""
    from romwright.cli.render import print_result

    if written:
        click.echo()
        print_result(f"written, read back and checked: {written['file']} ({written['format']}, "
                     f"{written['size']:,} bytes, CRC-32 {written['crc32']})")  # fmt: skip
