"""`--quiet`, for every command at once: only what is wrong and what came of it is printed.

While a command runs quietly, standard output swallows what is written to it; `aloud` lets a result through. It works
before the command's name as well as behind it, and changes neither the exit status nor what `--json` prints.
"""

from __future__ import annotations

import functools
import io
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, redirect_stdout
from typing import TextIO

import click

HELP = "Print only faults, stops and the result."
# What these print is what was asked for, so nothing of it is swallowed.
ANSWERS = {"boards", "completion", "explain", "lists", "parts"}


class Quiet(io.TextIOBase):
    """Standard output that swallows what is written; `stream` is the real one."""

    def __init__(self, stream: TextIO) -> None:
        self.stream = stream

    def writable(self) -> bool:
        return True

    def write(self, text: str) -> int:
        return len(text)

    def isatty(self) -> bool:
        return self.stream.isatty()

    @property
    def encoding(self) -> str:
        """The coding of the real one."""
        return self.stream.encoding


def is_quiet() -> bool:
    """Tell whether what is printed now is swallowed."""
    return isinstance(sys.stdout, Quiet)


@contextmanager
def aloud() -> Iterator[None]:
    """Print, within, what is heard even with --quiet."""
    with redirect_stdout(sys.stdout.stream if is_quiet() else sys.stdout):
        yield


def add_quiet(command: click.Command, name: str) -> click.Command:
    """Give a command, or all commands of a group, the option --quiet, once; returns it."""
    for each in command.commands.values() if isinstance(command, click.Group) else ():
        add_quiet(each, name)
    if not isinstance(command, click.Group) and all(option.name != "quiet" for option in command.params):
        command.params.append(click.Option(["--quiet"], is_flag=True, help=HELP))
        command.callback = obeying(command.callback, name in ANSWERS)
    return command


def obeying(callback: Callable, answers: bool) -> Callable:
    """Return what a command does, made quiet where that is asked for and its output is no plain answer or JSON."""

    @functools.wraps(callback)
    def run(*args, quiet: bool, **options):
        asked = quiet or click.get_current_context().find_root().params.get("quiet")
        if answers or options.get("as_json") or not asked:
            return callback(*args, **options)
        with redirect_stdout(Quiet(sys.stdout)):
            return callback(*args, **options)

    return run
