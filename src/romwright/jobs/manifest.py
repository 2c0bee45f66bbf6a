"""A manifest: one line for each input and output with its SHA-256, as `sha256sum` reads and writes them.

`sha256sum --check manifest-sha256.txt` in the folder of the outputs tells next year whether anything has changed. Lines
that begin with # say what belongs to what, and hold names that a terminal might obey; sha256sum passes over them.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from pathlib import Path

from romwright.jobs.finished import OUTPUTS, digest


def build_manifest(
    title: str, inputs: Iterable[tuple[str, str]], outputs: Mapping[str, bytes], up: str, record: str = ""
) -> bytes:
    """Return the manifest of outputs by their names in the folder; `up` leads from there to that of the inputs.

    `record` is the line that says what made them.

    >>> print(build_manifest("U7", [("a.bin", "0" * 64)], {"b.bin": b""}, "..").decode().splitlines()[2])
    0000000000000000000000000000000000000000000000000000000000000000  ../a.bin
    """
    lines = [f"# {one_line(title)}", *filter(None, [record]), "# made from"]
    lines += [line(sha256, Path(up, name).as_posix()) for name, sha256 in inputs]
    lines.append(OUTPUTS)
    lines += [line(digest(data), name) for name, data in outputs.items()]
    return ("\n".join(lines) + "\n").encode("utf-8", "replace")


def line(sha256: str, name: str) -> str:
    r"""Return the line of a file, a backslash in its name written twice and announced, as coreutils' manual says.

    >>> print(line("0", "a\\b"))
    \0  a\\b
    """
    if not name.isprintable():
        return f"# {sha256}  {one_line(name)} (this name cannot be printed: look at that file by hand)"
    return "\\" * ("\\" in name) + f"{sha256}  " + name.replace("\\", "\\\\")


def one_line(words: str) -> str:
    """Return words without what would break a line."""
    return "".join(c if c.isprintable() else "\ufffd" for c in words)


def up_from(folder: Path, job_folder: Path) -> str:
    """Return how the folder of the inputs is written from that of the outputs, which may be a link to elsewhere."""
    return os.path.relpath(os.path.realpath(job_folder), os.path.realpath(folder))
