"""romwright prepare: from files to exactly the bytes that a chip needs."""

from __future__ import annotations

import click
from msgspec.structs import asdict

from romwright.cli.options import AS_JSON, MARKING, OVERWRITE, READ_AS
from romwright.errors import OptionError


@click.command("prepare", short_help="Make the exact bytes to burn into a part.")
@click.argument("inputs", nargs=-1, required=True, metavar="IN[@ADDRESS]...")
@click.option("--for", "part_name", metavar="PART", help="The chip to burn, for instance 27C256.")
@click.option("--plan", metavar="PLAN", help="A plan from `wire --plan` instead: its chip, its lines, its banks.")
@click.option(
    "-o",
    "--output",
    required=True,
    metavar="OUT",
    help="The file to write. With --split, one file a chip: OUT-0, OUT-1, ...",
)
@click.option(
    "--write-as",
    type=click.Choice(["raw", "intel-hex", "s-record"]),
    default="raw",
    show_default=True,
    help="Format of the output.",
)
@READ_AS
@click.option("--cut", metavar="FIRST-LAST", help="Take only these addresses of each input.")
@click.option("--join", is_flag=True, help="Interleave the inputs byte by byte: the first gives byte 0.")
@click.option("--swap", type=click.Choice(["2", "4"]), help="Reverse the bytes of every group of 2 or 4.")
@click.option("--invert", is_flag=True, help="Turn every bit.")
@click.option("--base", metavar="ADDRESS", help="The input address that becomes chip address 0.")
@click.option("--fill", metavar="HH", help="What fills the rest and the gaps (default: the part's erased state).")
@click.option("--repeat", is_flag=True, help="Repeat a small image until the chip is full.")
@click.option("--store", multiple=True, metavar="KIND@ADDRESS[:RANGE]", help="Store the checksum of a range.")
@click.option(
    "--fix", multiple=True, metavar="KIND=VALUE@PLACE[:RANGE]", help="Make the checksum of a range come to a value."
)
@click.option(
    "--order",
    type=click.Choice(["little", "big"]),
    help="Which end of a stored checksum comes first (default: little).",
)
@click.option("--split", type=click.Choice(["2", "4"]), help="Deal the bytes out to 2 (even, odd) or 4 chips.")
@click.option(
    "--accept",
    multiple=True,
    metavar="CODE",
    help="Go on although an input has this finding, for instance missing-end.",
)
@MARKING
@OVERWRITE
@AS_JSON
def command(
    inputs: tuple[str, ...], part_name: str | None, plan: str | None, output: str, write_as: str, overwrite: bool,
    as_json: bool, marking: str, **options,
) -> int:  # fmt: skip
    """Make the exact bytes to burn into PART.

    The steps have one order: cut, join, swap, invert, place, fill, store and fix checksums, repeat, split. Addresses,
    bytes and sums are hex. An image that fits the chip at its own addresses stays there; else the aligned block that
    holds it (C000-FFFF, say) starts at chip address 0; IN@ADDRESS and --base say it outright.

    KIND is sum8, sum16, sum32 (bytes), xor8, words-big, words-little (16-bit words), or a CRC by name, such as crc-32
    or xmodem. PLACE is an address or FIRST-LAST; RANGE is the whole image unless given.

    With --plan the steps make what the socket must show; then the plan says which cell of its chip holds which byte.
    If it has banks, each input is FILE@BANK.

    Where the chip's programming voltage would destroy a chip whose number differs by a letter, that is a stop until
    --marking says what is printed on it; exit status 1 then.

    \b
    Example: romwright prepare diagnostic.hex --for 28C256 --repeat \\
               --fix sum8=00@3FFF -o burn-me.bin
    """
    from romwright.findings import blocks
    from romwright.images import formats, preparation
    from romwright.jobs.files import output_names, pages_of, require_not_inputs
    from romwright.jobs.planned import deal, prepare_planned, read_plan
    from romwright.jobs.recipes import accepted, read_input, recipe_from
    from romwright.parts.library import Reading, require_marked, to_burn

    if (plan is None) == (part_name is None):
        raise OptionError(
            "give --for PART or --plan PLAN, one of them", expected="the chip to burn, or a plan that names it"
        )
    if plan and options["split"]:
        raise OptionError(
            "--split and --plan go against each other", expected="a plan, which says itself which bytes go where"
        )
    made = read_plan(plan) if plan else None
    if made:
        part, reading = made.chip, Reading(made.chip.name, made.chip.name)
    else:
        part, reading = require_marked(part_name)
    markings = to_burn(part, reading, marking).findings
    recipe = recipe_from(part, options, made.original if made else part)
    dealt = {bank: [read_input(text, options["read_as"]) for text in some] for bank, some in deal(made, inputs).items()}
    loaded = [each for some in dealt.values() for each in some]
    findings = accepted([one for one, _ in loaded], options["accept"])
    sources = {bank: [preparation.Source(one.file, one.image, at) for one, at in some] for bank, some in dealt.items()}
    prepared = prepare_planned(made, sources, recipe) if made else preparation.prepare(sources[""], recipe)
    names = output_names(output, recipe.split)
    require_not_inputs(names, [*(one.file for one, _ in loaded), *pages_of(plan, part_name)])
    writer = formats.format_named(write_as)
    files = {
        name: writer.build(formats.Image.from_bytes(chip)) for name, chip in zip(names, prepared.chips, strict=True)
    }
    formats.write_files(files, overwrite)
    said = [*markings, *findings, *prepared.findings]
    report(part, prepared, names, write_as, said, as_json, plan, blocks(markings))
    return int(blocks(markings))


def report(
    part, prepared, names: list[str], write_as: str, findings: list, as_json: bool, plan: str | None = None,
    unread: bool = False,
) -> None:  # fmt: skip
    """Print what was done and the checksums to expect on the programmer's display."""
    from romwright.cli import render
    from romwright.cli.action import after_prepare, print_next
    from romwright.images.checksums import measure
    from romwright.parts.cautions import programming_cautions

    action = after_prepare(part, names, [measure(chip).sum16 for chip in prepared.chips], plan, unread)
    if as_json:
        render.print_json(answer(part, prepared, names, write_as, findings) | {"next": action})
        return
    print_outputs(part, prepared, names)
    if findings:
        click.echo()
        render.print_findings(findings)
    click.echo()
    render.print_cautions(programming_cautions(part))
    print_next(action)


def answer(part, prepared, names: list[str], write_as: str, findings: list) -> dict:
    """Return what was done and written under the documented JSON keys."""
    from romwright.images.checksums import measure
    from romwright.parts.cautions import programming_cautions

    outputs = [
        {"file": name, "format": write_as, "size": len(chip), **asdict(measure(chip))}
        for name, chip in zip(names, prepared.chips, strict=True)
    ]
    return {
        "part": part.name, "steps": prepared.steps, "outputs": outputs,
        "findings": [finding.as_json() for finding in findings], "cautions": programming_cautions(part),
    }  # fmt: skip


def print_outputs(part, prepared, names: list[str]) -> None:
    """Print the steps, and what a programmer should show of each file."""
    from romwright.cli import render
    from romwright.images.checksums import measure

    for number, step in enumerate(prepared.steps, 1):
        click.echo(render.inert(f"{number}. {step}"))
    click.echo(f"\nFor the {part.name}, written and read back. The programmer should show:")
    measured = [measure(chip) for chip in prepared.chips]
    rows = [
        (name, f"{len(chip):,}", sums.sum16, sums.sum8, sums.crc32)
        for name, chip, sums in zip(names, prepared.chips, measured, strict=True)
    ]
    render.print_table(("file", "bytes", "16-bit sum", "8-bit sum", "CRC-32"), rows, right=(1,))
    for name, sums in zip(names, measured, strict=True):
        render.print_result(f"SHA-256 {sums.sha256}  {name}")
