"""The pictures of `romwright compare`: a map of the wrong bits, and the lines between ROM and reader."""

from __future__ import annotations

from pathlib import Path

import click

from romwright.cli.options import OVERWRITE
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
    from romwright.cli.prepare import require_not_inputs

    for option, path, endings in (("--picture", picture, (".svg", ".png")), ("--svg", svg, (".svg",))):
        if path is not None and Path(path).suffix.lower() not in endings:
            raise OptionError(
                f"{path!r} is no name of a picture", where=option, expected=f"a name that ends in {' or '.join(endings)}"
            )
    require_not_inputs([path for path in (picture, svg) if path], list(inputs))


def write_pictures(comparison, picture: str | None, svg: str | None, overwrite: bool, title: str) -> list[dict]:
    """Write the pictures that are wanted, all or none; returns what was written. Raises OutputError."""
    from romwright.images.formats import write_files
    from romwright.images.words import in_bytes  # noqa: F401

    files, kinds = {}, []
    if picture:
        from romwright.sheets.bitdrawing import build_bits_picture

        kinds.append((picture, "map of the wrong bits"))
        files[picture] = build_bits_picture(comparison, title, Path(picture).suffix)
    if svg:
        from romwright.sheets.faultdrawing import build_lines_svg

        kinds.append((svg, "drawing of the lines"))
        if svg in files:
            raise OptionError("two pictures would go to one file", where=svg, expected="a file of its own for each")
        files[svg] = build_lines_svg(comparison, title)
    write_files(files, overwrite)
    return [{"file": path, "format": kind, "size": len(files[path])} for path, kind in kinds]


def draw_lines(comparison) -> None:
    """Print the lines at fault as a drawing, where they are few."""
    if not comparison.explained or comparison.blank:
        return
    from romwright.sheets.faultlines import groups_of
    from romwright.sheets.faulttext import draw_lines

    lines = draw_lines(groups_of(comparison.best.lines, comparison.reader_lines))
    if lines:
        click.echo("\n" + "\n".join(lines))
