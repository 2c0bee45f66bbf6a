"""romwright label: labels for chips, with a code that a bar-code reader reads back."""

from __future__ import annotations

import hashlib
from pathlib import Path

import click

from romwright.cli.options import AS_JSON, OVERWRITE, READ_AS
from romwright.errors import OptionError

PLACE = "Print at 100 %, not fitted to the page. The half disc goes to the notch."
KINDS = {"qr": "QR", "code128": "Code 128"}


@click.command("label", short_help="Print labels for chips, with a QR code or bars.")
@click.argument("inputs", nargs=-1, required=True, metavar="IMAGE[@ADDRESS]...")
@click.option("--for", "part_name", metavar="PART", required=True, help="The chip that each image was burned into.")
@click.option("-o", "--output", metavar="OUT", required=True, help="OUT.pdf, or OUT.svg (one file for each sheet).")
@click.option("--name", "names", multiple=True, help="What the chip holds, for each image (default: the file's name).")
@click.option("--date", default="", help="The date to print, in your words; no clock is asked.")
@click.option(
    "--code", type=click.Choice(["qr", "code128", "none"]), default="qr", show_default=True,
    help="How the first digits of the SHA-256 are printed besides plain text.",
)  # fmt: skip
@click.option("--size", metavar="WxH", help="The label in mm, along the rows of pins and across (default: by package).")
@click.option("--stock", metavar="WxH", help="A sheet of label stock, in mm. Without it: plain paper with crop marks.")
@click.option("--grid", metavar="COLUMNSxROWS", help="How many labels the sheet has.")
@click.option("--label", metavar="WxH", help="One label of the sheet, in mm.")
@click.option("--margin", metavar="LEFT,TOP", help="Where the first label starts, in mm (default: all in the middle).")
@click.option("--gap", metavar="ACROSS,DOWN", help="Between two labels, in mm (default: none).")
@click.option("--first", type=click.IntRange(1), default=1, show_default=True, help="Start at this label of the sheet.")
@click.option("--copies", type=click.IntRange(1), default=1, show_default=True, help="How many labels for each image.")
@click.option("--paper", type=click.Choice(["A4", "Letter"]), default="A4", show_default=True, help="The plain paper.")
@click.option("--fill", metavar="HH", help="What fills the rest of the chip (default: the part's erased state).")
@click.option("--repeat", is_flag=True, help="The image was repeated until the chip was full.")
@READ_AS
@click.option("--accept", multiple=True, metavar="CODE", help="Go on although an image has this finding.")
@OVERWRITE
@AS_JSON
def command(
    inputs: tuple[str, ...], part_name: str, output: str, names: tuple[str, ...], date: str, code: str, first: int,
    copies: int, paper: str, fill: str | None, repeat: bool, read_as: str | None, accept: tuple[str, ...],
    overwrite: bool, as_json: bool, **wishes,
) -> None:  # fmt: skip
    """Print a label for each chip: name, PART, 16-bit sum, date, and the first digits of the SHA-256 as text and code.

    IMAGE is what the chip holds. A file that is smaller than the chip is placed and filled as by `prepare`, so that
    sum and SHA-256 are those of the whole chip, as a programmer shows them.

    The label covers a window and lies within the body, its half disc at the notch. Stock is described by numbers in
    mm; labels count along the rows, so --first skips those of a sheet that are used up.

    \b
    Example: romwright label diagnostic.hex --for 28C256 --name "Tern diagnostic" \\
               --date 2026-11-25 --stock 210x297 --grid 5x13 --label 38.1x21.2 \\
               --margin 4.7,10.7 --gap 2.5,0 --first 8 -o labels.pdf
    """
    from romwright.images.formats import write_files
    from romwright.jobs import labels as made
    from romwright.jobs.files import pages_of, require_not_inputs
    from romwright.jobs.recipes import accepted, read_input
    from romwright.parts.library import require_marked

    part, reading = require_marked(part_name)
    loaded = [read_input(text, read_as) for text in inputs]
    if len(names) not in (0, len(inputs)):
        raise OptionError(
            f"{len(names)} names for {len(inputs)} images", where="--name", expected="one for each image, or none"
        )
    findings = [*reading.findings, *accepted([one for one, _ in loaded], accept)]
    burned = [contents_of(part, one, at, fill, repeat) for one, at in loaded]
    findings += [finding for prepared in burned for finding in prepared.findings]
    named = names or [Path(one.file).stem for one, _ in loaded]
    size = made.size_from(wishes, part)
    stock = made.stock_from(wishes, paper, size)
    contents = [(name, prepared.chips[0]) for name, prepared in zip(named, burned, strict=True)]
    labels = made.labels_of(part, contents, size=size, date=date, code=code, copies=copies)
    notes = made.notes_on(part)
    files = made.label_files(output, labels, stock, first, notes)
    require_not_inputs(list(files), [*(one.file for one, _ in loaded), *pages_of(part_name)])
    write_files(files, overwrite)
    answer = told(part, labels[::copies], stock, [one.file for one, _ in loaded], burned, findings)
    answer |= {
        "copies": copies, "first": first, "sheets": -(-(first - 1 + len(labels)) // stock.count),
        "files": [
            {"file": name, "format": Path(name).suffix[1:].lower(), "size": len(data),
             "sha256": hashlib.sha256(data).hexdigest()}
            for name, data in files.items()
        ],
        "notes": notes,
    }  # fmt: skip
    report(answer, findings, as_json, by_package=not wishes["size"])


def contents_of(part, loaded, at: int | None, fill: str | None, repeat: bool):
    """Return what the chip holds once the image is burned."""
    from romwright.images.preparation import Source, prepare
    from romwright.jobs.recipes import recipe_from

    plain = {**dict.fromkeys(("cut", "swap", "base", "order", "split")), "store": (), "fix": ()}
    recipe = recipe_from(part, {**plain, "join": False, "invert": False, "fill": fill, "repeat": repeat}, part)
    return prepare([Source(loaded.file, loaded.image, at)], recipe)


def told(part, labels, stock, files: list[str], burned: list, findings: list) -> dict:
    """Return what is told of the labels, one of each image; adds what their drawing shows to the findings."""
    from romwright.parts.bodies import judge_size
    from romwright.sheets.labels import draw_label, judge_label, on_stock

    rows = []
    for file, label, prepared in zip(files, labels, burned, strict=True):
        fitting, _ = on_stock(label, stock)
        drawn = draw_label(fitting)
        fresh = [*judge_label(fitting, drawn), *judge_size(part, fitting.width, fitting.height)]
        findings += [each for each in fresh if each not in findings]
        rows.append({
            "file": file, "name": label.name, "sum16": label.sum16, "sha256": label.sha256, "digits": drawn.digits,
            "code": drawn.symbol and {"kind": drawn.symbol.kind, "module_mm": round(drawn.symbol.module, 4)},
            "steps": prepared.steps,
        })  # fmt: skip
    return {"part": part.name, "width_mm": fitting.width, "height_mm": fitting.height, "labels": rows}


def coded(rows: list[dict]) -> str:
    """Say which code the labels have, and how wide its modules are."""
    if not rows[0]["code"]:
        return "no code"
    modules = sorted({f"{row['code']['module_mm']:.3f}" for row in rows})
    told = " to ".join(dict.fromkeys((modules[0], modules[-1])))
    return f"{KINDS[rows[0]['code']['kind']]} of {len(rows[0]['digits'])} digits, modules {told} mm"


def report(answer: dict, findings: list, as_json: bool, by_package: bool) -> None:
    """Print what stands on the labels, and what to heed."""
    from romwright.cli import render
    from romwright.images.words import counted
    from romwright.parts.bodies import UNCHECKED

    answer["findings"] = [each.as_json() for each in findings]
    answer["unchecked"] = [UNCHECKED] * by_package
    if as_json:
        render.print_json(answer)
        return
    rows = [(row["name"], row["sum16"], row["digits"], row["file"]) for row in answer["labels"]]
    render.print_table(("label", "16-bit sum", "SHA-256 begins", "from"), rows)
    for row in answer["labels"]:
        if len(row["steps"]) > 2:  # it was not the whole chip: say what was done to it
            click.echo(render.inert(f"{row['file']}: {'; '.join(row['steps'])}"))
    size = f"{answer['width_mm']:g} x {answer['height_mm']:g} mm"
    count, sheets = counted(len(rows) * answer["copies"], "label"), counted(answer["sheets"], "sheet")
    click.echo(f"\n{count} for the {answer['part']}, {size}, {coded(answer['labels'])}; {sheets}")
    render.print_files(answer["files"])
    if findings:
        click.echo()
        render.print_findings(findings)
    render.print_unchecked({answer["part"]: answer["unchecked"]})
    click.echo()
    render.print_cautions([PLACE, *answer["notes"]])
