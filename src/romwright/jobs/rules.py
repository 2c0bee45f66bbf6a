"""What must hold for a job's file. Each rule yields one line per fault: key, what, the rule's name."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator
from pathlib import PurePosixPath, PureWindowsPath

from msgspec.structs import fields

from romwright.images.checksums import Checksums
from romwright.jobs.model import Fit, Job, listed

KINDS = tuple(field.name for field in fields(Checksums))
NAME = re.compile(r"\w[\w.+ -]{0,59}")  # what may stand in the name of a file anywhere
MOST_CHIPS = 16  # as `wire --chips`


def check_title(job: Job) -> Iterator[str]:
    """A job has a title: it heads every sheet."""
    if not job.title.strip():
        yield "title: empty; say what the job is [title]"


def check_date(job: Job) -> Iterator[str]:
    """A date is one of the calendar; it is the user's, since the clock would make each run another."""
    if job.date:
        try:
            datetime.date.fromisoformat(job.date)
        except ValueError:
            yield f'date: {job.date!r}, expected year-month-day in quotes, such as "1984-11-25" [date]'


def check_outputs(job: Job) -> Iterator[str]:
    """Outputs stay below the folder of the job's file."""
    folder, name = job.outputs.folder, job.outputs.name
    parts = {*PurePosixPath(folder).parts, *PureWindowsPath(folder).parts}
    if not folder.strip() or PurePosixPath(folder).is_absolute() or PureWindowsPath(folder).anchor or ".." in parts:
        yield f"outputs.folder: {folder!r}, expected a folder below that of the job's file [output-folder]"
    if name and not NAME.fullmatch(name):
        yield f"outputs.name: {name!r}, expected up to 60 letters, digits, dots, dashes: files begin so [output-name]"
    if not job.outputs.kinds:
        yield "outputs.kinds: none; say what is wanted [output-kinds]"


def check_dumps(job: Job) -> Iterator[str]:
    """A dump names its files."""
    for number, dump in enumerate(job.dumps, 1):
        if not dump.files:
            yield f"dumps[{number}].files: empty [dump-files]"


def check_contents(job: Job) -> Iterator[str]:
    """Contents name their files, and go into fits that there are; what is split goes into as many."""
    labels = [fit.label for fit in job.fits]
    for where, contents in numbered("contents", job.contents):
        if not contents.files:
            yield f"{where}.files: empty [contents-files]"
        if not job.fits:
            yield f"{where}: what is to be burnt, but no chip; add fit [contents-fit]"
            continue
        for name in contents.into:
            if name not in labels or contents.into.count(name) > 1:
                known = ", ".join(filter(None, labels))
                yield f"{where}.into: {name!r}, expected each once, of: {known} [contents-into]"
        into = contents.into or labels
        if contents.split and len(into) not in (1, contents.split):
            yield f"{where}.split: {contents.split}, but {len(into)} fits; expected as many, or 1 [contents-split]"
        if contents.split and len(into) == 1 and any(fit.board for fit in job.fits if fit.label in into):
            yield f"{where}.split: {contents.split}, but one socket; add a fit for each chip [contents-split]"
        if contents.split and any(fit.label in into and fit.all_banks for fit in job.fits):
            yield f"{where}.split: a chip with banks takes whole bytes; leave out split or banks [contents-split]"
        for fit in job.fits:
            if fit.label in into and fit.all_banks and (bare := [f for f in contents.files if not in_bank(f, fit)]):
                banks = " or ".join(f"@{bank}" for bank in fit.all_banks)
                yield f"{where}.files: {bare[0]!r} names no bank of the chip; expected FILE{banks} [contents-bank]"
    for label in labels:
        given = [where for where, each in numbered("contents", job.contents) if label in each.into or not each.into]
        if len(given) > 1:
            yield f"{given[1]}: {label or 'the chip'} has contents already; say into which each goes [contents-twice]"


def check_fits(job: Job) -> Iterator[str]:
    """A fit has one socket, of a board or laid out for a part; several fits have names."""
    labels = [fit.label.casefold() for fit in job.fits]
    for where, fit in numbered("fit", job.fit):
        if bool(fit.board) != bool(fit.socket) or bool(fit.board) == bool(fit.original):
            yield f"{where}: no socket, or two; expected board and socket, or from: the part it is for [fit-socket]"
        if fit.board and (found := [key for key in ("chips", "second", "polarity") if has(fit, key)]):
            yield f"{where}.{found[0]}: on a board one chip goes into a socket; say from in place of it [fit-board]"
        if not fit.board and (found := [key for key in ("now", "also", "grade_ns") if has(fit, key)]):
            yield f"{where}.{found[0]}: this is about a board, but there is none [fit-board]"
        if fit.second and (found := [key for key in ("chips", "banks") if has(fit, key)]):
            yield f"{where}.{found[0]}: not together with second; its banks are first and second [fit-second]"
        if not 1 <= fit.chips <= MOST_CHIPS:
            yield f"{where}.chips: {fit.chips}, expected 1 to {MOST_CHIPS} [fit-chips]"
        if fit.banks and not good_banks(fit.banks):
            yield f"{where}.banks: expected two names or more, each once, of letters, digits, dots, dashes [fit-banks]"
        if len(labels) > 1 and (labels.count(fit.label.casefold()) > 1 or not NAME.fullmatch(fit.label)):
            yield f"{where}.name: {fit.label!r}, expected another for each fit; names of files have it [fit-name]"
    for board in sorted({fit.board for fit in job.fits if fit.board}):
        sockets = [fit.socket.casefold() for fit in job.fits if fit.board == board]
        if len(set(sockets)) < len(sockets):
            yield f"fit.socket: two chips for one socket of {board}; expected another for each [fit-socket]"
        if len({fit.now for fit in job.fits if fit.board == board and fit.now}) > 1:
            yield f"fit.now: {board} is set in two ways at once; expected the present setting [fit-now]"


def in_bank(text: str, fit: Fit) -> bool:
    """Tell whether FILE@BANK names a bank of the chip."""
    return text.rpartition("@")[2] in fit.all_banks


def has(fit: Fit, key: str) -> bool:
    """Tell whether a key is not at its default."""
    return getattr(fit, key) != getattr(Fit(chip=""), key)


def good_banks(names: tuple[str, ...]) -> bool:
    """Tell whether these are names of banks, as `wire --banks` takes them."""
    return len(set(names)) == len(names) >= 2 and all(re.fullmatch(r"[\w.-]+", name) for name in names)


def numbered(key: str, value: object) -> list[tuple[str, object]]:
    """Return the tables under a key with where they stand; several are counted from 1."""
    several = isinstance(value, tuple)
    return [(f"{key}[{number}]" if several else key, each) for number, each in enumerate(listed(value), 1)]


def check_label(job: Job) -> Iterator[str]:
    """There is a label at least, and it has a place on its sheet."""
    for key in ("copies", "first"):
        if (number := getattr(job.label, key)) < 1:
            yield f"label.{key}: {number}, expected 1 or more [label-number]"


def check_expected(job: Job) -> Iterator[str]:
    """Checksums are recorded for inputs, by kinds that are known."""
    for name, sums in job.expected.items():
        if name not in job.inputs:
            yield f"expected.{name}: the job reads no file of that name [expected-input]"
        for kind in sums.keys() - set(KINDS):
            yield f"expected.{name}.{kind}: unknown; expected {', '.join(KINDS)} [expected-kind]"


RULES = (
    check_title, check_date, check_outputs, check_dumps, check_contents, check_fits, check_label, check_expected,
)  # fmt: skip
