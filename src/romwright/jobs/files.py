"""The names of outputs: never those of inputs, and one for each chip of a set."""

from __future__ import annotations

import os
from pathlib import Path

from romwright.errors import OptionError, OutputError


def output_names(output: str, split: int) -> list[str]:
    """Return the name of each chip's file: OUT, or OUT-0, OUT-1, ... before the suffix."""
    path = Path(output)
    if output == "-" or not path.name:
        raise OutputError(
            f"{output!r} is no name of a file", where="--output", expected="a file, since it is read back"
        )
    return (
        [output] if split == 1 else [str(path.with_name(f"{path.stem}-{lane}{path.suffix}")) for lane in range(split)]
    )


def pages_of(*names: str | None) -> list[str]:
    """Return those names that are files which were read: plans, and pages of one's own."""
    return [name for name in names if name and os.path.isfile(name)]


def require_not_inputs(names: list[str], inputs: list[str]) -> None:
    """Raise OptionError if an output is one of the inputs: inputs are never changed."""
    taken = {os.path.realpath(name) for name in inputs}
    for name in names:
        if os.path.realpath(name) in taken:
            raise OptionError(
                "the output is one of the inputs", where=name, help="inputs are never changed: choose another name"
            )
