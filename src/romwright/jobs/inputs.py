"""The files that a job reads: found, and held against the checksums that the job's file records for them."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from msgspec.structs import asdict

from romwright.errors import InputError
from romwright.images.checksums import Checksums, measure
from romwright.jobs.model import Job

LONGEST = 64 << 20  # bytes; no ROM of the trade comes near


class Inputs:
    """The inputs of a job by the names that its file uses, relative to the file's folder."""

    def __init__(self, job: Job, folder: Path) -> None:
        """Read all; raises InputError for one that is missing or not what the job's file records."""
        self.folder, self.sums = folder, {}
        for name in job.inputs:
            self.sums[name] = measure(read_whole(folder / name, name))
            require_expected(name, self.sums[name], job.expected.get(name, {}))
        self.unrecorded = tuple(name for name in job.inputs if not job.expected.get(name))

    def path(self, name: str) -> str:
        """Return where an input is; of FILE@ADDRESS too."""
        return str(self.folder / name)

    def digests(self) -> Iterator[tuple[str, str]]:
        """Yield the name and SHA-256 of each input."""
        for name, sums in self.sums.items():
            yield name, sums.sha256


def read_whole(path: Path, name: str) -> bytes:
    """Read a regular file of at most LONGEST bytes. Raises InputError."""
    if not path.exists():
        help = "; write / between folders" if "\\" in name else ""
        raise InputError("there is no such file", where=str(path), help=f"the job names it as {name}{help}")
    if not path.is_file():
        raise InputError("this is no regular file", where=str(path), expected="a file with an image or a list")
    if path.stat().st_size > LONGEST:
        raise InputError("too large to be an input", where=str(path), expected=f"at most {LONGEST:,} bytes")
    return path.read_bytes()


def require_expected(name: str, sums: Checksums, expected: dict[str, str]) -> None:
    """Raise InputError with both values unless a file has every checksum that is recorded for it."""
    found = asdict(sums)
    for kind, wanted in expected.items():
        if wanted.strip().lower() != found[kind].lower():
            raise InputError(
                f"{name} is not the file that the job was made for: its {kind} is {found[kind]}", where=name,
                expected=f"{wanted}, as the job's file records under expected",
                help="put the recorded file back, or, if the new one is meant, record its checksum in the job's file",
            )  # fmt: skip
