"""From words to labels: what `label` takes as options, and a job's file as keys; and the labels as files.

Errors name the place where a word was given as the command line writes it (`--stock`).
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path

from romwright.errors import OptionError
from romwright.jobs.files import output_names
from romwright.parts import bodies
from romwright.parts.model import Part
from romwright.sheets.labels import Label, build_labels_pdf, build_labels_svg
from romwright.sheets.stock import LARGEST_MM, SMALLEST_MM, Stock, label_stock, plain_paper

NUMBER = r"\d{1,4}(?:\.\d{1,4})?"
MOST = 2000  # labels at once
LONGEST_DATE = 24
FORMS = {  # of each option: two numbers, what stands between them, and an example
    "size": (NUMBER, "[x×]", "30x12: millimetres along the rows of pins and across"),
    "stock": (NUMBER, "[x×]", "210x297: the sheet's width and height in mm"),
    "grid": (r"\d{1,3}", "[x×]", "5x13: columns and rows"),
    "label": (NUMBER, "[x×]", "38.1x21.2: the width and height of one label in mm"),
    "margin": (NUMBER, ",", "4.7,10.7: mm from the sheet's left and upper edge to the first label"),
    "gap": (NUMBER, ",", "2.5,0: mm between two labels side by side, and one below the other"),
}
Wishes = Mapping[str, str | None]  # option to its word, as far as given


def pair(wishes: Wishes, option: str) -> tuple[float, float] | None:
    """Read the two numbers of an option, None if it is not given. Raises OptionError.

    >>> pair({"size": "30x12.5"}, "size")
    (30.0, 12.5)
    """
    if not (text := wishes.get(option)):
        return None
    number, between, example = FORMS[option]
    found = re.fullmatch(rf"\s*({number})\s*{between}\s*({number})\s*", text, re.ASCII | re.IGNORECASE)
    if not found:
        raise OptionError(f"{text[:60]!r} cannot be read", where=f"--{option}", expected=f"for instance {example}")
    return float(found[1]), float(found[2])


def size_from(wishes: Wishes, part: Part) -> tuple[float, float]:
    """Return width and height of the part's label in mm: as wished, else by its package. Raises OptionError."""
    size = pair(wishes, "size") or bodies.label_size(part)
    if not all(SMALLEST_MM <= side <= LARGEST_MM for side in size):
        raise OptionError(
            f"a label of {size[0]:g} x {size[1]:g} mm", where="--size",
            expected=f"{SMALLEST_MM:g} to {LARGEST_MM:g} mm each way",
        )  # fmt: skip
    return size


def stock_from(wishes: Wishes, paper: str, size: tuple[float, float]) -> Stock:
    """Return the stock that is described, else a sheet of paper, `A4` or `Letter`, to cut. Raises OptionError."""
    given = {option: pair(wishes, option) for option in ("stock", "grid", "label", "margin", "gap")}
    if not any(given.values()):
        return plain_paper(paper, *size)
    if missing := [f"--{option}" for option in ("stock", "grid", "label") if not given[option]]:
        raise OptionError(
            f"label stock without {' and '.join(missing)}", expected="--stock, --grid and --label together",
            help="for instance --stock 210x297 --grid 5x13 --label 38.1x21.2 --margin 4.7,10.7 --gap 2.5,0",
        )  # fmt: skip
    columns, rows = map(int, given["grid"])
    return label_stock(given["stock"], (columns, rows), given["label"], given["margin"], given["gap"] or (0, 0))


def labels_of(
    part: Part, contents: Sequence[tuple[str, bytes]], *, size: tuple[float, float], date: str, code: str, copies: int
) -> list[Label]:
    """Return labels, the copies of each together, from names and what the chips hold. Raises OptionError."""
    from romwright.images.checksums import measure

    if len(contents) * copies > MOST:
        raise OptionError(f"{len(contents) * copies:,} labels at once", where="--copies", expected=f"at most {MOST:,}")
    if len(date) > LONGEST_DATE:
        raise OptionError(
            f"a date of {len(date)} characters", where="--date", expected=f"at most {LONGEST_DATE}, such as 2026-11-25"
        )
    labels = []
    for name, data in contents:
        if not name.strip():
            raise OptionError("the name is empty", where="--name", expected="what the chip holds, in a few words")
        sums = measure(data)
        labels += [Label(name, part.name, sums.sum16, sums.sha256, date, *size, code)] * copies
    return labels


def notes_on(part: Part) -> list[str]:
    """Return what is to be heeded where labels of the part are stuck on."""
    return [bodies.OPAQUE] * bodies.has_window(part)


def label_files(
    output: str, labels: Sequence[Label], stock: Stock, first: int, notes: Sequence[str]
) -> dict[str, bytes]:
    """Return files by name: one PDF, or an SVG for each sheet (OUT-0, OUT-1, ...). Raises OptionError."""
    match Path(output).suffix.lower():
        case ".pdf":
            return {output_names(output, 1)[0]: build_labels_pdf(labels, stock, first, notes)}
        case ".svg":
            sheets = build_labels_svg(labels, stock, first, notes)
            return dict(zip(output_names(output, len(sheets)), sheets, strict=True))
        case other:
            raise OptionError(
                f"no labels can be written as {other or output!r}", where="--output",
                expected="a name that ends in .pdf or .svg",
            )  # fmt: skip
