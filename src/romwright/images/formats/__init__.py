"""The file formats of images, recognised by content and never by file name.

Every format module has NAME, LIMIT_BYTES (what is longer is refused), `parse(stream)` and `build(image)`; FORMATS
lists them. A format of hex records has the name of its grammar (images/grammar.py), by which it is recognised.
"""

from __future__ import annotations

import contextlib
import os
import shutil
from collections.abc import Mapping, Sequence
from io import BytesIO
from os import PathLike
from pathlib import Path
from types import ModuleType

from msgspec import Struct

from romwright.errors import FormatError, InputError, OutputError, UnknownNameError
from romwright.findings import Finding
from romwright.images.formats import intel, motorola, raw
from romwright.images.grammar import HEAD_BYTES, recognise
from romwright.images.image import Image
from romwright.images.interrupts import held_back

FORMATS: tuple[ModuleType, ...] = (intel, motorola, raw)


class Loaded(Struct, frozen=True):
    """An image as it was read: the file, the name of its format, and what was odd about it."""

    file: str
    format: str
    image: Image
    findings: Sequence[Finding] = ()


def format_named(name: str) -> ModuleType:
    """Find a format by its name. Raises UnknownNameError."""
    known = {module.NAME: module for module in FORMATS}
    if name not in known:
        raise UnknownNameError("format", name, known)
    return known[name]


def sniff(head: bytes) -> ModuleType:
    """Return the format of which these are the first bytes; anything unknown is raw binary."""
    grammar = recognise(head)
    return format_named(grammar.name) if grammar else raw


def read(path: str | PathLike[str], format: str | None = None) -> Loaded:
    """Read an image, in the named format or the one that its content shows.

    Raises InputError for a missing file, a folder, an empty file or records without data; FormatError, OverlapError or
    SpanError, naming the file, for bad content.
    """
    file = str(path)
    try:
        with open(path, "rb") as stream:
            head = stream.read(HEAD_BYTES)
            if not head:
                raise InputError("the file is empty", expected="an image of at least one byte")
            module = format_named(format) if format else sniff(head)
            if stream.seekable():
                stream.seek(0)
                image, findings = module.parse(stream)
            else:  # a pipe, maybe an endless one
                image, findings = module.parse(BytesIO(head + stream.read(module.LIMIT_BYTES + 1 - len(head))))
            if not image.segments:
                raise InputError("no record of the file holds data", expected="an image of at least one byte")
    except FormatError as error:
        raise error.in_file(file) from None
    except InputError as error:
        error.where = f"{file}, {error.where}" if error.where else file
        raise
    except OSError as error:
        raise unreadable(file, error) from None
    return Loaded(file, module.NAME, image, tuple(findings))


def unreadable(file: str, error: OSError) -> InputError:
    """Turn the system's refusal to read a file into words."""
    if isinstance(error, FileNotFoundError):
        return InputError("there is no such file", where=file, help="check the spelling and the folder")
    if isinstance(error, IsADirectoryError) or Path(file).is_dir():
        return InputError("this is a folder, not a file", where=file, expected="a file with an image")
    return InputError(f"the file cannot be read: {error.strerror or error}", where=file)


def write_bytes(path: str | PathLike[str], data: bytes, overwrite: bool = False) -> None:
    """Write one file; see write_files."""
    write_files({str(path): data}, overwrite)


def write_files(files: Mapping[str, bytes], overwrite: bool = False) -> None:
    """Write files whole or not at all: beside the target, flushed, renamed, read back and compared.

    All are written before the first is renamed, and what they replace is kept until the last reads back equal: if
    anything fails, everything is as before. Raises OutputError if one exists (unless `overwrite`), is no regular file,
    cannot be written, or does not read back equal.
    """
    targets = {Path(os.path.realpath(path)): (path, data) for path, data in files.items()}
    if len(targets) < len(files):
        raise OutputError("two outputs would go to one file", where=", ".join(files))
    with held_back() as stopped:
        write_targets(targets, overwrite, stopped)


def write_targets(targets: Mapping[Path, tuple[str, bytes]], overwrite: bool, stopped: Sequence[int]) -> None:
    """Write files as write_files does, to the targets of their names; leave as soon as `stopped` has an entry."""
    made: list[Path] = []  # temporary files of ours
    undo: list[tuple[Path, Path | None]] = []  # what was renamed, and what it had replaced
    path = ""
    try:
        for target, (path, _) in targets.items():
            require_free(target, path, overwrite)
        parts = {}
        for target, (path, data) in targets.items():  # noqa: B007 (an error below names the path)
            if stopped:
                raise KeyboardInterrupt
            parts[target] = beside(target, "new")
            with open(parts[target], "xb") as stream:
                made.append(parts[target])
                stream.write(data)
                stream.flush()
                os.fsync(stream.fileno())
        for target, (path, data) in targets.items():
            old = None
            if target.exists():
                old = beside(target, "old")
                made.append(old)
                keep(target, old)
            undo.append((target, old))
            os.replace(parts[target], target)
            if target.read_bytes() != data:
                raise OutputError("what was written does not read back equal", where=path, help="check the disk")
        undo.clear()
    except OSError as error:
        raise OutputError(
            f"the output cannot be written: {error.strerror}",
            where=path,
            help="nothing was changed; check the folder and the room on the disk",
        ) from None
    finally:
        for target, old in reversed(undo):
            os.replace(old, target) if old else target.unlink(missing_ok=True)
        for part in made:
            with contextlib.suppress(OSError):
                part.unlink()


def beside(target: Path, kind: str) -> Path:
    """Return the name of a temporary file in the target's folder."""
    return target.with_name(f".{target.name[:100]}.{os.getpid()}.{kind}")


def keep(target: Path, copy: Path) -> None:
    """Give a file a second name, or copy it where the file system has no second names."""
    try:
        os.link(target, copy)
    except OSError:
        shutil.copy2(target, copy)


def require_free(target: Path, path: str, overwrite: bool) -> None:
    """Raise OutputError unless a file may be written there."""
    if target.is_dir():
        raise OutputError("the output is a folder", where=path, expected="the name of a file")
    if (target.exists() or os.path.exists(path)) and not target.is_file():
        raise OutputError("the output is no regular file", where=path)
    if target.exists() and not overwrite:
        raise OutputError("the output exists already", where=path, help="choose another name, or give --overwrite")
