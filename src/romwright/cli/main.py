"""The command group, and the one place where exceptions become messages and exit statuses.

0: nothing wrong. 1: findings of severity fault or stop, or a mismatch. 2: it could not be done.
"""

from __future__ import annotations

import importlib
import os
import sys

import click

from romwright import __version__
from romwright.errors import RomwrightError

COMMANDS = ("inspect", "lists", "identify", "prepare", "wire", "demo")  # in the order of the job


class Commands(click.Group):
    """Commands that are imported only when they are called, so that a start costs nothing else."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        return importlib.import_module(f"romwright.cli.{cmd_name}").command

    def resolve_command(self, ctx, args):
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            from romwright.errors import UnknownNameError

            raise UnknownNameError("command", args[0], COMMANDS)
        return super().resolve_command(ctx, args)


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, "--version", message="%(prog)s %(version)s", prog_name="romwright")
def root() -> None:
    """From a suspect ROM to a chip that provably behaves like it in that socket.

    Know the dump (inspect, lists, identify), prepare the image (prepare), fit the chip (wire). See it all on the
    invented Tern TL-1: romwright demo DIR
    """


def complain(found: str, **rows: str) -> None:
    """Print an error as a headline and labelled rows."""
    lines = [click.style("error: ", fg="red", bold=True) + found]
    lines += [f"  {label}: {text}" for label, text in rows.items() if text]
    click.echo("\n".join(lines), err=True)


def main(args: list[str] | None = None) -> None:
    """Run the command line and exit."""
    try:
        status = root.main(args=args, prog_name="romwright", standalone_mode=False)
        sys.stdout.flush()
    except RomwrightError as error:
        complain(error.found, where=error.where, expected=error.expected, help=error.help)
        status = 2
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.format_message(), err=True)
        status = 2
    except click.ClickException as error:
        usage = error.ctx.command_path + " --help" if getattr(error, "ctx", None) else "romwright --help"
        complain(error.format_message(), help=usage)
        status = 2
    except (KeyboardInterrupt, click.Abort):
        complain("stopped by you; nothing was half written")
        status = 2
    except BrokenPipeError:
        # Whoever read our output has gone: there is nobody left to tell, so leave without a second complaint.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        status = 2
    except OSError as error:
        complain(error.strerror or str(error), where=str(error.filename or "standard output"))
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        status = 2
    except MemoryError:
        complain("not enough memory for this file")
        status = 2
    sys.exit(status or 0)
