"""The command group, and the one place where exceptions become messages and exit statuses.

0: nothing wrong. 1: findings of severity fault or stop, or a mismatch. 2: it could not be done.
"""

from __future__ import annotations

import importlib
import os
import signal
import sys

import click

from romwright import __version__
from romwright.cli.quiet import HELP, add_quiet
from romwright.errors import RomwrightError, UnknownNameError

# In the order of the job.
COMMANDS = (
    "inspect", "lists", "identify", "compare", "settle", "repair", "prepare", "pattern", "parts", "boards", "wire",
    "prove", "links", "timing", "bench", "label", "job", "run", "sheet", "demo", "explain", "completion",
)  # fmt: skip
COMPLETING = "_ROMWRIGHT_COMPLETE"  # set by a shell that asks what may follow; click's own name for it


class Commands(click.Group):
    """Commands that are imported only when they are called, so that a start costs nothing else."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        command = add_quiet(importlib.import_module(f"romwright.cli.{cmd_name}").command, cmd_name)
        if COMPLETING in os.environ:
            from romwright.cli.completion import add_names

            add_names(command)
        return command

    def resolve_command(self, ctx, args):
        if args and args[0] not in COMMANDS and not args[0].startswith("-") and not ctx.resilient_parsing:
            raise UnknownNameError("command", args[0], COMMANDS)
        return super().resolve_command(ctx, args)


def colours() -> bool | None:
    """Return False where the user wants none: NO_COLOR is set and not empty (no-color.org); None: as the output can."""
    return False if os.environ.get("NO_COLOR") else None


@click.group(
    cls=Commands,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100, "color": colours()},
)
@click.version_option(__version__, "--version", message="%(prog)s %(version)s", prog_name="romwright")
@click.option("--quiet", is_flag=True, help=HELP)
def root(quiet: bool) -> None:
    """From a suspect ROM to a chip that provably behaves like it in that socket.

    Know the dump (inspect, lists, identify, compare, settle, repair), prepare the image (prepare), test the bench
    (pattern), know the chip (parts) and the board (boards), fit it (wire, prove, links), judge the supplies (bench),
    mark it (label); or do it all from one file (job, run, sheet). What a finding means: explain. See it on the invented
    Tern TL-1: romwright demo DIR
    """


SYSTEM = {  # what the system says of files, in other words
    FileNotFoundError: ("there is no such file", "a file that is there: look at the name and the folder"),
    IsADirectoryError: ("this is a folder", "a file"),
    PermissionError: ("this file may not be used", "a file that you may read, or a folder that you may write to"),
}


def complain(found: str, **rows: str) -> None:
    """Print an error as a headline and labelled rows; control characters in it are made harmless."""
    lines = [click.style("error: ", fg="red", bold=True) + harmless(found)]
    lines += [f"  {label}: {harmless(text)}" for label, text in rows.items() if text]
    click.echo("\n".join(lines), err=True, color=colours())


def harmless(text: str) -> str:
    """Make control characters visible, line by line."""
    from romwright.cli.render import inert

    return "\n".join(inert(line) for line in text.split("\n"))


class Stopped(KeyboardInterrupt):
    """Ctrl-C. A library that was just loading may wrap it, so that it was pressed is noted too."""

    pressed = False

    @classmethod
    def press(cls, number: int, frame: object) -> None:
        """Note it and raise, so that whoever holds a temporary file can take it away."""
        cls.pressed = True
        raise cls

    @classmethod
    def unheard(cls, lost: object) -> None:
        """Press once more, a little later, where it came while an object was being cleared away: Python drops that."""
        if issubclass(lost.exc_type, cls):
            from threading import Timer

            Timer(0.01, os.kill, [os.getpid(), signal.SIGINT]).start()
        else:
            sys.__unraisablehook__(lost)


def open_streams() -> None:
    """Make sure that anything can be printed: to a stream that is closed, and in a coding that lacks the character."""
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is None:
            setattr(sys, name, open(os.devnull, "w"))  # noqa: SIM115 (open as long as the program runs)
        elif hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")


def forget_output() -> None:
    """Send what is still to be printed nowhere: there is nobody to tell, or no room."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def main(args: list[str] | None = None) -> None:
    """Run the command line and exit."""
    open_streams()
    signal.signal(signal.SIGINT, Stopped.press)
    sys.unraisablehook = Stopped.unheard
    try:
        status = root.main(args=args, prog_name="romwright", standalone_mode=False)
        sys.stdout.flush()
    except BaseException as error:
        status = status_of(error)
    sys.exit(status or 0)


def status_of(error: BaseException) -> int:
    """Turn an exception into a message and an exit status; anything unforeseen is raised again."""
    if Stopped.pressed or isinstance(error, click.Abort):
        complain("stopped by you; nothing was half written")
    elif isinstance(error, RomwrightError):
        complain(error.found, where=error.where, expected=error.expected, help=error.help)
    elif isinstance(error, click.exceptions.NoArgsIsHelpError):
        click.echo(error.format_message(), err=True)
    elif isinstance(error, click.ClickException):
        usage = error.ctx.command_path if getattr(error, "ctx", None) else "romwright"
        complain(error.format_message(), help=f"{usage} --help")
    elif isinstance(error, BrokenPipeError):
        forget_output()  # whoever read our output has gone
    elif isinstance(error, OSError):
        found, expected = SYSTEM.get(type(error), (error.strerror or str(error), ""))
        complain(found, where=str(error.filename or "standard output"), expected=expected)
        forget_output()
    elif isinstance(error, MemoryError):
        complain("not enough memory for this file")
    else:
        raise error
    return 2
