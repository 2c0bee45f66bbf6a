"""What must hold for a job's file. Each rule yields one line per fault: key, what, the rule's name."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator
from dataclasses import fields
from pathlib import PurePosixPath, PureWindowsPath

from romwright.images.checksums import Checksums
from romwright.jobs.model import Job

KINDS = tuple(field.name for field in fields(Checksums))


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
            yield f"date: {job.date!r}, expected year-month-day in quotes, such as \"1984-11-25\" [date]"


def check_outputs(job: Job) -> Iterator[str]:
    """Outputs stay below the folder of the job's file."""
    folder, name = job.outputs.folder, job.outputs.name
    parts = {*PurePosixPath(folder).parts, *PureWindowsPath(folder).parts}
    if not folder.strip() or PurePosixPath(folder).is_absolute() or PureWindowsPath(folder).anchor or ".." in parts:
        yield f"outputs.folder: {folder!r}, expected a folder below that of the job's file [output-folder]"
    if not re.fullmatch(r"\w[\w.+ -]*", name):
        yield f"outputs.name: {name!r}, expected letters, digits, dots, dashes; file names begin so [output-name]"
    if not job.outputs.kinds:
        yield "outputs.kinds: none; say what is wanted [output-kinds]"


def check_dumps(job: Job) -> Iterator[str]:
    """A dump names its files."""
    for number, dump in enumerate(job.dumps, 1):
        if not dump.files:
            yield f"dumps[{number}].files: empty [dump-files]"


def check_contents(job: Job) -> Iterator[str]:
    """Contents name their files, and need a chip."""
    if job.contents and not job.contents.files:
        yield "contents.files: empty [contents-files]"
    if job.contents and not job.fit:
        yield "contents: what is to be burnt, but no chip; add fit [contents-fit]"


def check_expected(job: Job) -> Iterator[str]:
    """Checksums are recorded for inputs, by kinds that are known."""
    for name, sums in job.expected.items():
        if name not in job.inputs:
            yield f"expected.{name}: the job reads no file of that name [expected-input]"
        for kind in sums.keys() - set(KINDS):
            yield f"expected.{name}.{kind}: unknown; expected {', '.join(KINDS)} [expected-kind]"


RULES = (check_title, check_date, check_outputs, check_dumps, check_contents, check_expected)
