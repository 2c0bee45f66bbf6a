"""romwright prepare: from files to exactly the bytes that a chip needs."""

from __future__ import annotations

import os
import re
from dataclasses import asdict
from pathlib import Path

import click

from romwright.cli.options import AS_JSON, OVERWRITE, READ_AS, parse_address, parse_byte, parse_range
from romwright.errors import InputError, OptionError, OutputError

FIX = re.compile(r"(?P<kind>[^=@]+)=(?P<value>[^@]+)@(?P<at>[^:]+)(?::(?P<over>.+))?")
UNBURNABLE = {"mask ROM": "a mask ROM: its contents were made with it"}
STORE = re.compile(r"(?P<kind>[^=@]+)@(?P<at>[^:]+)(?::(?P<over>.+))?")


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
@OVERWRITE
@AS_JSON
def command(
    inputs: tuple[str, ...], part_name: str | None, plan: str | None, output: str, write_as: str, overwrite: bool,
    as_json: bool, **options,
) -> None:  # fmt: skip
    """Make the exact bytes to burn into PART.

    The steps have one order: cut, join, swap, invert, place, fill, store and fix checksums, repeat, split. Addresses,
    bytes and sums are hex. An image that fits the chip at its own addresses stays there; else the aligned block that
    holds it (C000-FFFF, say) starts at chip address 0; IN@ADDRESS and --base say it outright.

    KIND is sum8, sum16, sum32 (bytes), xor8, words-big, words-little (16-bit words), or a CRC by name, such as crc-32
    or xmodem. PLACE is an address or FIRST-LAST; RANGE is the whole image unless given.

    With --plan the steps make what the socket must show; then the plan says which cell of its chip holds which byte.
    If it has banks, each input is FILE@BANK.

    \b
    Example: romwright prepare diagnostic.hex --for 28C256 --repeat \\
               --fix sum8=00@3FFF -o burn-me.bin
    """
    from romwright.cli.planned import deal, prepare_planned, read_plan
    from romwright.images import formats, preparation
    from romwright.parts.library import require_marked

    if (plan is None) == (part_name is None):
        raise OptionError(
            "give --for PART or --plan PLAN, one of them", expected="the chip to burn, or a plan that names it"
        )
    if plan and options["split"]:
        raise OptionError(
            "--split and --plan go against each other", expected="a plan, which says itself which bytes go where"
        )
    made, markings = read_plan(plan) if plan else None, []
    if made:
        part = made.chip
    else:
        part, reading = require_marked(part_name)
        markings = reading.findings
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
    report(part, prepared, names, write_as, [*markings, *findings, *prepared.findings], as_json)


def recipe_from(part, options: dict, room):
    """Turn the options into a recipe for the size of `room`. Raises OptionError for a part that cannot be burned."""
    from romwright.images.preparation import Recipe

    if part.family in UNBURNABLE:
        raise OptionError(
            f"{part.name} is {UNBURNABLE[part.family]}",
            where="--for",
            expected="a chip that a programmer can burn",
            help=f"`romwright wire {part.name} CHIP` shows how a programmable chip goes into its socket",
        )
    if options["fill"] is None and part.erased is None:
        raise OptionError(
            f"the page of {part.name} does not say what an erased chip reads", help="say it: --fill FF or --fill 00"
        )
    sums = [parse_sum(text, STORE, "--store") for text in options["store"]]
    sums += [parse_sum(text, FIX, "--fix") for text in options["fix"]]
    if options["order"] and not options["store"]:
        raise OptionError("--order says how a checksum is stored, but there is no --store")
    given = {name: value for name, value in options.items() if value is not None}
    return Recipe(
        chip_bytes=room.words * room.word_bytes,
        chip_name=room.name,
        chip_bits=room.bits,
        fill=parse_byte(given.get("fill", part.erased), "--fill"),
        cut=parse_range(given["cut"], "--cut") if "cut" in given else None,
        join=options["join"],
        swap=int(given.get("swap", 0)),
        invert=options["invert"],
        base=parse_address(given["base"], "--base") if "base" in given else None,
        repeat=options["repeat"],
        split=int(given.get("split", 1)),
        sums=sums,
        order=given.get("order", "little"),
    )


def parse_sum(text: str, form: re.Pattern, option: str):
    """Read a checksum wish. Raises OptionError."""
    from romwright.images.fixup import kind_named
    from romwright.images.sums import Sum

    match = form.fullmatch(text)
    if not match:
        example = "sum8=00@3FFF:0000-3FFF" if form is FIX else "sum16@3FFE:0000-3FFD"
        raise OptionError(f"{text!r} cannot be read", where=option, expected=f"for instance {example}")
    kind = kind_named(match["kind"])
    place, value = match["at"], None
    at = parse_range(place, option) if "-" in place else (parse_address(place, option), None)
    if form is FIX:
        value = parse_address(match["value"], option)
        if value >> kind.width:
            raise OptionError(
                f"{match['value']} has more than {kind.width} bits",
                where=option,
                expected=f"at most {kind.text((1 << kind.width) - 1)}",
            )
    elif at[1]:
        raise OptionError(
            f"{place} is a range", where=option, expected=f"one address; a {kind.name} takes {kind.size_bytes} bytes"
        )
    return Sum(kind, at, value, parse_range(match["over"], option) if match["over"] else None)


def read_input(text: str, read_as: str | None):
    """Read FILE or FILE@ADDRESS; returns what was loaded and the address. A file of that whole name goes first."""
    from romwright.images import formats

    match = re.fullmatch(r"(.+)@((?:0x|\$)?[0-9A-Fa-f]+h?)", text)
    if match and not os.path.exists(text):
        return formats.read(match[1], read_as), parse_address(match[2], text)
    return formats.read(text, read_as), None


def accepted(loaded: list, codes: tuple[str, ...]) -> list:
    """Return the findings about the inputs. Raises InputError at a fault that was not accepted."""
    from romwright.findings import blocks

    findings = [(one.file, finding) for one in loaded for finding in one.findings]
    for file, finding in findings:
        if blocks([finding]) and finding.code.name not in codes:
            raise InputError(
                finding.title,
                where=", ".join(filter(None, [file, finding.evidence])),
                help=f"{finding.remedy}; or give --accept {finding.code.name} if it is meant so",
            )
    if unknown := set(codes) - {finding.code.name for _, finding in findings}:
        raise OptionError(
            f"no input has the finding {', '.join(sorted(unknown))}", where="--accept", help="leave the option out"
        )
    return [finding for _, finding in findings]


def output_names(output: str, split: int) -> list[str]:
    """Return the name of each chip's file: OUT, or OUT-0, OUT-1, ... before the suffix."""
    path = Path(output)
    if output == "-" or not path.name:
        raise OutputError(
            f"{output!r} is no name of a file", where="--output", expected="a file, since it is read back"
        )
    return (
        [output] if split == 1 else [str(path.with_name(f"{path.stem}-{lane}{path.suffix}")) for lane in range(split)]
    )


def pages_of(*names: str | None) -> list[str]:
    """Return those names that are files which were read: plans, and pages of one's own."""
    return [name for name in names if name and os.path.isfile(name)]


def require_not_inputs(names: list[str], inputs: list[str]) -> None:
    """Raise OptionError if an output is one of the inputs: inputs are never changed."""
    taken = {os.path.realpath(name) for name in inputs}
    for name in names:
        if os.path.realpath(name) in taken:
            raise OptionError(
                "the output is one of the inputs", where=name, help="inputs are never changed: choose another name"
            )


def report(part, prepared, names: list[str], write_as: str, findings: list, as_json: bool) -> None:
    """Print what was done and the checksums to expect on the programmer's display."""
    from romwright.cli import render
    from romwright.images.checksums import measure
    from romwright.parts.cautions import programming_cautions

    measured = [measure(chip) for chip in prepared.chips]
    if as_json:
        outputs = [
            {"file": name, "format": write_as, "size": len(chip), **asdict(sums)}
            for name, chip, sums in zip(names, prepared.chips, measured, strict=True)
        ]
        render.print_json(
            {
                "part": part.name,
                "steps": prepared.steps,
                "outputs": outputs,
                "findings": [f.as_json() for f in findings],
                "cautions": programming_cautions(part),
            }
        )
        return
    for number, step in enumerate(prepared.steps, 1):
        click.echo(render.inert(f"{number}. {step}"))
    click.echo(f"\nFor the {part.name}, written and read back. The programmer should show:")
    rows = [
        (name, f"{len(chip):,}", sums.sum16, sums.sum8, sums.crc32)
        for name, chip, sums in zip(names, prepared.chips, measured, strict=True)
    ]
    render.print_table(("file", "bytes", "16-bit sum", "8-bit sum", "CRC-32"), rows, right=(1,))
    for name, sums in zip(names, measured, strict=True):
        click.echo(f"SHA-256 {sums.sha256}  {render.inert(name)}")
    if findings:
        click.echo()
        render.print_findings(findings)
    click.echo()
    render.print_cautions(programming_cautions(part))
