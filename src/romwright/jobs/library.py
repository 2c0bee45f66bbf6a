"""A job's file: read from where it is, or from a text that is about to become one."""

from __future__ import annotations

import tomllib
from pathlib import Path

from romwright.datafiles import check_data, read_data_file
from romwright.errors import DataFileError
from romwright.jobs.model import Job
from romwright.jobs.rules import RULES


def read_job(path: Path) -> Job:
    """Read a job's file; raises DataFileError with all its faults, OSError if there is none."""
    return read_data_file(path, Job, RULES)


def require_sound(text: str, name: str) -> Job:
    """Return the job of a text; raises DataFileError, named after the file that it is to be, with all its faults."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise DataFileError(name, [f"not TOML: {error}"]) from None
    return check_data(data, name, Job, RULES)
