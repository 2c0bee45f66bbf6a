"""A finished run: its manifest records what a sheet rests on, so that the sheet can be shown again without a new run.

A sheet is shown again only if every byte that it came from is as recorded: the job's file, its inputs, the program and
the pages that ship with it, and the sheet itself. All of them are read and their SHA-256 compared; no date or size is
believed. Pages of the user's own are inputs too. A job with an input whose name is no plain line of a manifest leaves
no record.
"""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Iterable

from romwright.shipped import PACKAGE, data_place

MANIFEST = "manifest-sha256.txt"
LINE = re.compile(r"([0-9a-f]{64})  (.+)")
RECORD = re.compile(r"# program ([0-9a-f]{64}), job's file ([0-9a-f]{64}), exit status ([01])")  # the second line
FOLDER = re.compile(r"^\s*folder\s*=\s*[\"']([^\"'\\]+)[\"']", re.MULTILINE)
FOLDERS = ("out",)  # where outputs go if nothing is said
OUTPUTS = "# outputs"
NOT_OURS = {"__pycache__", "fonts", "cli"}  # of the package: what no sheet in text is made by
LARGEST = 1 << 20  # bytes of a job's file or a manifest


def build_record(job: bytes, ok: bool) -> str:
    """Return the line of a manifest that says what made it."""
    return f"# program {program_digest()}, job's file {digest(job)}, exit status {int(not ok)}"


def find_sheet(path: str, ending: str) -> tuple[bytes, bool] | None:
    """Return the sheet that a finished run of this job left, and whether all was well; None if anything has changed.

    A folder is only guessed at from the job's text: the manifest in it names the job's file by its SHA-256.
    """
    try:
        job = read(path)
        if len(job) > LARGEST:
            return None
        said = FOLDER.findall(job.decode("utf-8"))
        for folder in (*said, *FOLDERS):
            if found := sheet_in(os.path.join(os.path.dirname(path), folder), digest(job), ending):
                return found
    except (OSError, ValueError):
        pass  # a new run says what is wrong, if anything is
    return None


def sheet_in(folder: str, job: str, ending: str) -> tuple[bytes, bool] | None:
    """Return the sheet in a folder of outputs if its manifest is of that job and everything still is as it says."""
    manifest = os.path.join(folder, MANIFEST)
    if not os.path.isfile(manifest) or os.path.getsize(manifest) > LARGEST:
        return None
    text = read(manifest).decode("utf-8")
    record = RECORD.fullmatch(second_line(text))
    if not record or record[2] != job:
        return None
    above, _, below = text.partition(f"\n{OUTPUTS}\n")
    outputs = [line for line in LINE.findall(below) if line[1].endswith(ending)]
    changed = (digest(read(os.path.join(folder, name))) != due for due, name in LINE.findall(above))
    if len(outputs) != 1 or any(changed):
        return None
    (due, name), program = outputs[0], record[1]
    sheet = read(os.path.join(folder, name))
    if ending.endswith(".txt") and not sheet.decode("utf-8").replace("\n", "").isprintable():
        return None  # no sheet of ours: nothing in it may steer a terminal
    return (sheet, record[3] == "0") if digest(sheet) == due and program == program_digest() else None


def second_line(text: str) -> str:
    """Return the second line of a manifest: the first has the title, which may say anything."""
    return text.split("\n", 2)[1] if "\n" in text else ""


def without_record(manifest: bytes) -> bytes:
    """Return a manifest without the line that says what made it."""
    first, _, rest = manifest.partition(b"\n")
    line, _, below = rest.partition(b"\n")
    return first + b"\n" + (below if RECORD.fullmatch(line.decode("utf-8", "replace")) else rest)


def read(path: str) -> bytes:
    """Return the bytes of a file."""
    with open(path, "rb", buffering=0) as file:
        return file.read()


def digest(data: bytes) -> str:
    """Return the SHA-256 of bytes."""
    return hashlib.sha256(data).hexdigest()


def program_digest() -> str:
    """Return the SHA-256 of all that makes sheets: the package's own files, and the pages that ship."""
    sums = hashlib.sha256()
    for root in (PACKAGE, data_place("pinmaps")):
        for path in files_in(root):
            sums.update(path[len(root) :].replace(os.sep, "/").encode())
            sums.update(hashlib.sha256(read(path)).digest())
    return sums.hexdigest()


def files_in(folder: str) -> Iterable[str]:
    """Yield the files of a folder and of those in it, in order of their names."""
    with os.scandir(folder) as found:
        entries = sorted(found, key=lambda entry: entry.name)
    for entry in entries:
        if entry.is_dir():
            if entry.name not in NOT_OURS:
                yield from files_in(entry.path)
        elif not entry.name.endswith(".pyc"):
            yield entry.path
