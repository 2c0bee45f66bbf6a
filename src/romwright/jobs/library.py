"""A job's file: read from where it is, or from a text that is about to become one."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from msgspec.structs import replace

from romwright.datafiles import check_data, read_data_file
from romwright.errors import DataFileError
from romwright.jobs.model import Job
from romwright.jobs.rules import RULES

HELP = "README.md says under The file of a job what every key means"


def read_job(path: Path) -> Job:
    """Read a job's file; raises DataFileError with all its faults, OSError if there is none.

    Outputs that it does not name are named after the file.
    """
    with helping():
        job = read_data_file(path, Job, RULES)
    return job if job.outputs.name else replace(job, outputs=replace(job.outputs, name=name_from(path.stem)))


def name_from(words: str) -> str:
    """Return words as the beginning of a file's name.

    >>> name_from("U7: the diagnostic"), name_from("../")
    ('U7--the-diagnostic', 'job')
    """
    kept = "".join(c if c.isalnum() or c in "-_.+" else "-" for c in words).strip("-.+")[:40]
    return kept or "job"


def require_sound(text: str, name: str) -> Job:
    """Return the job of a text; raises DataFileError, named after the file that it is to be, with all its faults."""
    with helping():
        try:
            data = tomllib.loads(text)
        except tomllib.TOMLDecodeError as error:
            raise DataFileError(name, [f"not TOML: {error}"]) from None
        return check_data(data, name, Job, RULES)


@contextmanager
def helping() -> Iterator[None]:
    """Say, where a job's file is at fault, where its keys are described."""
    try:
        yield
    except DataFileError as error:
        error.help = HELP
        raise
