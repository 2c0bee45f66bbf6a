"""The pictures of `romwright compare`: a map of the wrong bits, and the lines between ROM and reader."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

import click

from romwright.cli.options import OVERWRITE
from romwright.cli.render import inert, print_files
from romwright.errors import OptionError

PICTURES = (
    click.option("--picture", metavar="OUT", help="Draw a map of the wrong bits, for any printer: OUT.svg or OUT.png."),
    click.option("--svg", metavar="OUT.svg", help="Draw the lines between ROM and reader, for any printer."),
    OVERWRITE,
)


def picture_options(command):
    """Add the options for pictures to a command."""
    for option in reversed(PICTURES):
        command = option(command)
    return command


def require_pictures(picture: str | None, svg: str | None, inputs: tuple[str, str]) -> None:
    """Raise OptionError for a name that cannot be written to, before the work begins."""
    from romwright.jobs.files import require_not_inputs

    for option, path, endings in (("--picture", picture, (".svg", ".png")), ("--svg", svg, (".svg",))):
        if path is not None and Path(path).suffix.lower() not in endings:
            raise OptionError(
                f"{inert(path)!r} is no name of a picture" if path else "the name of the picture is empty",
                where=option, expected=f"a name that ends in {' or '.join(endings)}",
            )  # fmt: skip
    wanted = [path for path in (picture, svg) if path]
    if len(wanted) > len({os.path.realpath(path) for path in wanted}):
        raise OptionError("two pictures would go to one file", where="--picture and --svg", expected="a name for each")
    require_not_inputs(wanted, list(inputs))


def write_pictures(
    comparison, picture: str | None, svg: str | None, overwrite: bool, names: tuple[str, str]
) -> list[dict]:
    """Write the pictures that are wanted, all or none; returns what was written. Raises OutputError."""
    from romwright.images.formats import write_files

    title = "{1} against {0}".format(*(inert(Path(name).name) for name in names))
    files = {}
    if picture:
        from romwright.sheets.bitdrawing import build_bits_picture

        files[picture] = build_bits_picture(comparison, title, Path(picture).suffix)
    if svg:
        from romwright.sheets.faultdrawing import build_lines_svg

        files[svg] = build_lines_svg(comparison, title)
    write_files(files, overwrite)
    return [
        {
            "file": path, "format": Path(path).suffix.lower()[1:], "size": len(data),
            "sha256": hashlib.sha256(data).hexdigest(),
        }
        for path, data in files.items()
    ]  # fmt: skip


def print_lines(comparison) -> None:
    """Print the lines at fault as a drawing, where they are few."""
    if not comparison.explained or comparison.blank:
        return
    from romwright.sheets.faultlines import groups_of
    from romwright.sheets.faulttext import draw_lines

    drawn = draw_lines(groups_of(comparison.best.lines, comparison.reader_lines))
    if drawn:
        click.echo("\n" + "\n".join(drawn))


def print_written(files: list[dict]) -> None:
    """Print which pictures were written."""
    if files:
        click.echo()
        print_files(files)
