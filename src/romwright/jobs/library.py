"""A job's file read, and written anew."""

from __future__ import annotations

from pathlib import Path

from romwright.datafiles import read_data_file
from romwright.jobs.model import Job
from romwright.jobs.rules import RULES


def read_job(path: Path) -> Job:
    """Read a job's file; raises DataFileError with all its faults, OSError if there is none."""
    return read_data_file(path, Job, RULES)
