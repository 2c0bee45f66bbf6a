"""romwright settle: repeated reads of one chip, combined bit by bit."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator

import click

from romwright.cli.options import AS_JSON, OVERWRITE, READ_AS, parse_byte
from romwright.errors import OptionError

READS_SHOWN = 24  # reads, kinds of counts and unstable bits that are listed on paper; --json has all
COUNTS_SHOWN = 8
BITS_SHOWN = 16
BLOCKING = ("bits-undecided", "bits-about-even", "read-once")  # findings with which nothing is written unasked


def parse_risk(context: click.Context, parameter: click.Parameter, text: str) -> float:
    """Read a chance: 0.01 or 1%. Raises OptionError."""
    try:
        return float(text.removesuffix("%")) / (100 if text.endswith("%") else 1)
    except ValueError:
        raise OptionError(f"{text!r} is no chance", where="--risk", expected="for instance 0.01, or 1%") from None


@click.command("settle", short_help="Combine repeated reads of one chip, and say whether they are enough.")
@click.argument("files", nargs=-1, required=True, metavar="READ READ...")
@click.option(
    "--risk", default="1%", show_default=True, metavar="CHANCE", callback=parse_risk,
    help="The chance of a wrong bit in the settled image that you allow.",
)
@click.option("-o", "--output", metavar="OUT", help="Write the settled image to this file.")
@click.option(
    "--write-as", type=click.Choice(["raw", "intel-hex", "s-record"]), default="raw", show_default=True,
    help="Format of the output.",
)
@click.option("--fill", metavar="HH", help="What fills bytes that no read has, in the output.")
@click.option(
    "--accept", multiple=True, metavar="CODE",
    help="Write although there is this finding: bits-undecided, bits-about-even, read-once; or read a file with it.",
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
    Example: romwright settle read1.bin read2.bin read3.bin --risk 1%
    """
    from romwright.cli.prepare import output_names, require_not_inputs
    from romwright.cli.render import print_json, progress
    from romwright.faults.settling import settle
    from romwright.findings import blocks

    if output:
        output_names(output, 1)
        require_not_inputs([output], list(files))
    elif given := [f"--{name}" for name, value in (("fill", fill), ("accept", accept), ("overwrite", overwrite)) if value]:
        raise OptionError(f"{given[0]} says how to write, but there is no -o", expected=f"-o OUT, or no {given[0]}")
    filling = parse_byte(fill, "--fill") if fill else None
    ours, same = once_each(files)
    odd: list = []
    found = settle(read_each(progress(ours, "reading"), read_as, odd), risk, same, progress)
    findings = [finding for _, finding in odd]
    require_known(accept, [*findings, *found.findings])
    refused = [each for each in (*findings, *found.findings) if refuses(each, findings) and each.code.name not in accept]
    written = output if output and found.votes and not refused else None
    if written:
        write(found, written, write_as, filling, overwrite)
    if as_json:
        answer = found.as_json()
        print_json(
            answer
            | {
                "findings": [each.as_json() for each in findings] + answer["findings"],
                "written": {"file": written, "format": write_as} if written else None,
                "not_written_for": sorted({each.code.name for each in refused}) if output and not written else [],
            }
        )
    else:
        report(found, odd)
        if output:
            say_written(found, output, written, write_as, refused)
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


def write(found, output: str, write_as: str, fill: int | None, overwrite: bool) -> None:
    """Write the settled image, as prepare writes. Raises GapError for raw bytes that no read has, without a fill."""
    from romwright.images import formats
    from romwright.images.image import Image

    image = found.votes.image
    if fill is not None:
        image = Image.from_bytes(image.flat(fill), image.start)
    formats.write_bytes(output, formats.format_named(write_as).build(image), overwrite)


def report(found, odd: list) -> None:
    """Print what became of each read, the findings, the unstable bits and how sure all that is."""
    from romwright.cli.render import inert, print_findings
    from romwright.images.image import hex_range
    from romwright.images.words import in_bytes

    if found.votes:
        counted, given = len(found.agreement.counted), len(found.given.reads) + len(found.given.same)
        size, where = in_bytes(int(found.votes.known.sum())), hex_range(found.votes.start, found.votes.stop)
        click.echo(click.style(f"{counted} of {given} reads counted: {size}, {where}", bold=True))
        if found.given.moved_to:
            click.echo(f"files without addresses are taken to start at {found.given.moved_to:04X}, as the hex files do")
    else:
        click.echo(click.style("nothing is settled", bold=True))
    print_reads(found)
    for file, finding in odd:
        click.echo(inert(f"{file}:"))
        print_findings([finding])
    print_findings(found.findings)
    if found.votes:
        print_bits(found)
        print_chances(found)


def print_reads(found) -> None:
    """Print what became of each read, those that are not counted first where there are too many."""
    from romwright.cli.render import print_table

    reads = found.of_reads()
    shown = reads if len(reads) <= READS_SHOWN else sorted(reads, key=lambda each: (each["counted"], -(each["bits_apart"] or 0)))
    rows = [
        (
            each["file"], f"{each['size']:,}" if "size" in each else "",
            f"counted; {each['bits_apart']:,} bits apart from the majority" if each["counted"]
            else f"set aside ({each['reason']})" if each["reason"] != "no majority" else "no majority",
        )
        for each in shown[:READS_SHOWN]
    ]  # fmt: skip
    print_table(("read", "bytes", ""), rows, right=(1,))
    if len(reads) > READS_SHOWN:
        click.echo(f"and {len(reads) - READS_SHOWN:,} more reads (see --json)")
    click.echo()


def print_bits(found) -> None:
    """Print the first unstable bits: how often 0, how often 1, and what that makes of them."""
    from romwright.cli.render import print_table
    from romwright.faults.unsettled import chance

    if not found.unstable:
        return
    click.echo("\nUnstable bits")
    rows = [
        (
            f"{each['address']:04X}", each["bit"], each["zeros"], each["ones"],
            "-" if each["value"] is None else each["value"], chance(each["chance_wrong"]), each["state"],
        )
        for each in found.entries(BITS_SHOWN)
    ]  # fmt: skip
    print_table(("address", "bit", "read 0", "read 1", "majority", "wrong at most", ""), rows, right=(2, 3, 4, 5))
    if found.unstable > BITS_SHOWN:
        click.echo(f"and {found.unstable - BITS_SHOWN:,} more (see --json)")


def print_chances(found) -> None:
    """Print the chance of a wrong bit: the formula, and its numbers."""
    from romwright.cli.render import print_table
    from romwright.faults.chances import missed_at, unseen
    from romwright.faults.unsettled import chance

    n, u = found.fewest, found.unstable
    click.echo("\nHow sure")
    counts = found.of_counts()
    if counts:
        rows = [
            (
                f"{each['less_often']} of {each['reads']}", f"{each['bits']:,}", chance(each["chance_wrong"]),
                chance(each["wrong_at_rate"]), chance(each["missed_at_rate"]),
            )
            for each in counts[:COUNTS_SHOWN]
        ]  # fmt: skip
        print_table(("against", "bits", "wrong at most", "wrong at that rate", "looks stable"), rows, right=(1, 2, 3, 4))
        if len(counts) > COUNTS_SHOWN:
            click.echo(f"and {len(counts) - COUNTS_SHOWN} other counts (see --json)")
        click.echo(
            "  wrong at most: the chance of so few reads against a bit that is in truth even or worse, P(X <= k) for\n"
            "  binomial X of n reads and 1/2. Wrong at that rate: no majority is right, if k of n is the cell's own rate.\n"
            "  Looks stable: a cell of that rate is read alike in all n reads, (k/n)^n + (1-k/n)^n."
        )
        click.echo(f"  some {unseen(found.counts):,.1f} more unstable bits of these rates were read alike (estimate)")
    click.echo(f"  unstable bits: wrong with at most {chance(found.risk_unstable)} together")
    click.echo(f"  bits read alike: wrong with at most (u + 1) / 2^n = {u + 1:,} / 2^{n} = {chance(found.risk_alike)}, u = {u:,}")
    click.echo(f"  an even cell looks stable in {n} reads with 2^(1-n) = {chance(missed_at(n, 1, 2))}")
    word = "settled" if found.settled else "not settled"
    click.echo(f"{word}: a wrong bit with at most {chance(found.risk_reached)}; {chance(found.risk)} is allowed")


def say_written(found, output: str, written: str | None, write_as: str, refused: list) -> None:
    """Print what was written, and which of its bits are undecided; or why nothing was."""
    from romwright.cli.render import inert
    from romwright.images.words import in_bytes

    if not written:
        codes = sorted({each.code.name for each in refused})
        why = " and ".join(codes) if found.votes else "nothing is settled"
        accept = f"; if that is meant: {' '.join(f'--accept {code}' for code in codes)}" if found.votes else ""
        click.echo(inert(f"not written: {output} ({why}){accept}"))
        return
    click.echo(inert(f"written and read back: {output} ({write_as}, {in_bytes(int(found.votes.known.sum()))})"))
    open_bits = [each for each in found.entries() if each["state"] != "settled"]
    if open_bits:
        click.echo(f"undecided in it, {len(open_bits):,} bits (a tie is written as the first read has it):")
        for each in open_bits[:BITS_SHOWN]:
            click.echo(f"  {each['address']:04X} {each['bit']} written as {each['written']}")
        if len(open_bits) > BITS_SHOWN:
            click.echo(f"  and {len(open_bits) - BITS_SHOWN:,} more (see --json)")
