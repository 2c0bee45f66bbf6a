"""`romwright parts`: the library of pinmaps."""

from __future__ import annotations

import re

import click

from romwright.cli.options import AS_JSON, OVERWRITE
from romwright.cli.page import aligned, caution_lines, report
from romwright.cli.render import inert, print_json
from romwright.cli.standins import stand_ins
from romwright.errors import OptionError

KILO = {"": 1, "K": 1 << 10, "M": 1 << 20}


@click.group("parts", short_help="Look up chips: pins, levels, voltages, sources.")
def command() -> None:
    """Look up chips: what the pages of the parts library say, with their sources.

    \b
    Example: romwright parts show M27C256B-12F1
    """


command.add_command(stand_ins)


def parse_size(text: str) -> tuple[int | None, tuple[int, int] | None]:
    """Read bytes (8192, 8K, 1M) or words x bits (8Kx8, 256x4); return one of the two. Raises OptionError."""
    match = re.fullmatch(r"(\d{1,9})([KM]?)(?:\s*[x×]\s*(\d{1,2}))?", text.strip(), re.IGNORECASE)
    if not match:
        expected = "bytes, such as 8192 or 8K, or words x bits, such as 8Kx8 or 256x4"
        raise OptionError(f"{text!r} is no size", where="--size", expected=expected)
    count = int(match[1]) * KILO[match[2].upper()]
    return (None, (count, int(match[3]))) if match[3] else (count, None)


@command.command("list", short_help="List the parts, all or those that fit a description.")
@click.option("--family", metavar="NAME", help='Such as EPROM or "mask ROM".')
@click.option("--size", metavar="SIZE", help="Bytes (8192, 8K; all bits, eight to a byte) or words x bits (8Kx8).")
@click.option("--package", metavar="DIP-N", help="Such as DIP-28.")
@click.option("--pins", type=int, metavar="N", help="How many pins the package has.")
@click.option(
    "--volts", type=float, metavar="V", help="A voltage that a pin needs, as supply or to program or erase it."
)
@AS_JSON
def list_(family, size, package, pins, volts, as_json) -> None:
    """List the parts, all or those that every option fits.

    VPP is the programming voltage of the page: read the chip's own sheet before you use it. ns are the access times
    that exist. The number under unchecked counts the page's entries that come from memory.

    \b
    Example: romwright parts list --family EPROM --size 8K --pins 28
    """
    from romwright.parts.library import read_all
    from romwright.parts.selection import Wanted, require_known, size_bytes

    parts = read_all()
    counts = sorted({part.pin_count for part in parts})
    if pins is not None and pins not in counts:
        expected = ", ".join(map(str, counts))
        raise OptionError(f"no part of the library has {pins} pins", where="--pins", expected=f"one of: {expected}")
    if volts is not None and not abs(volts) <= 30:
        raise OptionError(f"{volts:g} V is no voltage of a memory", where="--volts", expected="-30 to 30")
    wanted = Wanted(
        None if family is None else require_known("family", family, {part.family for part in parts}),
        *((None, None) if size is None else parse_size(size)),
        None if package is None else require_known("package", package, {part.package for part in parts}),
        pins,
        volts,
    )
    found = [part for part in parts if wanted(part)]
    if as_json:
        print_json(
            [
                {
                    "name": part.name, "family": part.family, "words": part.words, "bits": part.bits,
                    "size": size_bytes(part), "package": part.package, "pins": part.pin_count,
                    "supplies": part.supplies, "vpp_v": part.programming and part.programming.vpp_v,
                    "access_ns": list(part.times.access_ns) if part.times else [],
                    "aliases": part.aliases, "unchecked": part.unchecked,
                }
                for part in found
            ]
        )  # fmt: skip
        return
    if not found:
        click.echo("no part of the library is all of that")
        return
    headers = ("part", "family", "size", "pins", "VPP", "ns", "unchecked")
    click.echo("\n".join(aligned([headers, *map(list_row, found)], right=(2, 3, 4))))
    click.echo(f"\n{len(found)} of {len(parts)} parts")


def list_row(part) -> tuple[str, ...]:
    """Return the row of a part in the list: at most 80 columns of them all."""
    vpp = part.programming.vpp_v if part.programming else None
    times = part.times.access_ns if part.times else ()
    span = f"{min(times):g}-{max(times):g}" if len(times) > 1 else "".join(f"{time:g}" for time in times)
    words = f"{part.words >> 10}K" if part.words >= 1024 else str(part.words)
    size, count = f"{words}x{part.bits}", str(len(part.unchecked) or "-")
    return part.name, part.family, size, str(part.pin_count), f"{vpp:g} V" if vpp else "-", span or "-", count


@command.command(short_help="Show a part's page, with its package drawn.")
@click.argument("part", metavar="PART")
@click.option("--svg", metavar="OUT.svg", help="Write the package drawing, made for printers without colours.")
@OVERWRITE
@AS_JSON
def show(part: str, svg: str | None, overwrite: bool, as_json: bool) -> None:
    """Show everything that is known of PART: a name, what is printed on the chip, or a page (.toml) of your own.

    The package is seen from above. In the function table a dash means that the row does not name the pin, and ? a
    level that the factory chose.

    \b
    Example: romwright parts show 27C256 --svg 27C256.svg
    """
    from romwright.parts.library import require_marked

    page, reading = require_marked(part)
    if svg:
        from romwright.images.formats import write_bytes
        from romwright.sheets.drawing import build_svg

        if not svg.lower().endswith(".svg"):
            raise OptionError(f"{svg} is no SVG", where="--svg", expected="a name that ends in .svg")
        write_bytes(svg, build_svg(page), overwrite)
    if as_json:
        from romwright.parts.page import page_json

        marking, findings = reading.as_json(), [finding.as_json() for finding in reading.findings]
        print_json({**page_json(page), "marking": marking, "findings": findings})
        return
    click.echo("\n".join(report(page, reading)))
    if svg:
        click.echo(f"\ndrawing written to {inert(svg)}")


DIFFERENCES = {
    "same": "",
    "no pin": "beyond the smaller package",
    "supply": "SUPPLY of one, not of the other",
    "function": "other function in read",
    "control": "both controls, other name",
    "polarity": "polarity",
    "programming": "alike in read, not in programming",
}


@command.command(short_help="Compare two parts, position by position.")
@click.argument("first", metavar="A")
@click.argument("second", metavar="B")
@click.option("--all", "everything", is_flag=True, help="The positions that are alike too.")
@AS_JSON
def differ(first: str, second: str, everything: bool, as_json: bool) -> None:
    """Compare the parts A and B position by position; of unequal packages, the smaller sits at the bottom.

    Only positions that differ are listed. Whether B works in a socket laid out for A is another question: romwright
    wire A B.

    \b
    Example: romwright parts differ 27C256 28C256
    """
    from romwright.parts.difference import list_positions
    from romwright.parts.library import require_marked
    from romwright.sheets.drawing import size_of

    (one, reading), (other, its_reading) = require_marked(first), require_marked(second)
    places = list_positions(one, other)
    shown = [place for place in places if everything or not place.same]
    if as_json:
        print_json(
            {
                "a": one.name, "b": other.name, "row_pitch_mm": [one.row_pitch_mm, other.row_pitch_mm],
                "positions": [
                    {"position": place.number, "a": pin_json(place.first), "b": pin_json(place.second),
                     "difference": None if place.same else place.kind}
                    for place in shown
                ],
                "differ": sum(not place.same for place in places), "of": len(places),
                "findings": [f.as_json() for each in (reading, its_reading) for f in each.findings],
            }
        )  # fmt: skip
        return
    for part, read in ((one, reading), (other, its_reading)):
        click.echo("\n".join([f"{inert(part.name)}  {size_of(part)}", *caution_lines(read)]))
    if one.row_pitch_mm != other.row_pitch_mm:
        click.echo(
            f"the rows are {one.row_pitch_mm:g} and {other.row_pitch_mm:g} mm apart: B does not go into a socket for A"
        )
    click.echo()
    if shown:
        heads = ("position", "pin", inert(one.name), "pin", inert(other.name), "difference")
        rows = [
            (str(place.number), *cells(place.first), *cells(place.second), DIFFERENCES[place.kind]) for place in shown
        ]
        click.echo("\n".join(aligned([heads, *rows], right=(0, 1, 3))) + "\n")
    click.echo(f"{sum(not place.same for place in places)} of {len(places)} positions differ")


def cells(pin) -> tuple[str, str]:
    """Return number and name of a pin."""
    return (str(pin.number), pin.name) if pin else ("-", "-")


def pin_json(pin) -> dict[str, object] | None:
    """Return a pin under the documented JSON keys."""
    return pin and {"pin": pin.number, "name": pin.name, "role": str(pin.role)}
