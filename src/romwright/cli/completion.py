"""`romwright completion`: what the shell needs to complete commands, options and names; and the names themselves."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from functools import partial

import click
from click.shell_completion import CompletionItem, get_completion_class

from romwright.cli.options import AS_JSON
from romwright.errors import RomwrightError

SHELLS = ("bash", "zsh", "fish")
FILES = re.compile(r"\[?(FILE|FOLDER|DIR|IN|OUT|READ|DUMP|REFERENCE|PLAN|JOB)\b")


@click.command("completion", short_help="Print what makes your shell complete commands and names.")
@click.argument("shell", type=click.Choice(SHELLS))
@AS_JSON
def command(shell: str, as_json: bool) -> None:
    """Print the lines that make SHELL complete commands, options, parts, boards, CPUs and codes at the Tab key.

    \b
    bash, in ~/.bashrc:                   eval "$(romwright completion bash)"
    zsh, in ~/.zshrc, behind compinit:    eval "$(romwright completion zsh)"
    fish, in ~/.config/fish/config.fish:  romwright completion fish | source

    \b
    Example: romwright completion bash
    """
    from romwright.cli.main import COMPLETING, root
    from romwright.cli.render import print_json

    script = get_completion_class(shell)(root, {}, "romwright", COMPLETING).source()
    print_json({"shell": shell, "script": script}) if as_json else click.echo(script)


def part_names(context: click.Context) -> Iterable[str]:
    """Return the names of the pages of parts."""
    from romwright.parts.library import part_names

    return part_names()


def board_names(context: click.Context) -> Iterable[str]:
    """Return the names of the boards that are shipped."""
    from romwright.boards.library import board_names

    return board_names()


def cpu_names(context: click.Context) -> Iterable[str]:
    """Return the names of the CPUs."""
    from romwright.boards.library import cpu_names

    return cpu_names()


def socket_names(context: click.Context) -> Iterable[str]:
    """Return the sockets of the board that was named before."""
    from romwright.boards.library import require_board

    board = context.params.get("board")
    return [socket.name for socket in require_board(board).sockets] if board else []


def socket_or_part_names(context: click.Context) -> Iterable[str]:
    """Return the sockets of the board that was named before, or without one the parts."""
    return socket_names(context) or part_names(context)


def code_names(context: click.Context) -> Iterable[str]:
    """Return the codes of findings."""
    from romwright.codes import all_codes

    return [code.name for code in all_codes()]


NAMES: dict[str, Callable[[click.Context], Iterable[str]]] = {  # by what stands for a value in the help
    "PART": part_names, "PART...": part_names, "ROM": part_names, "A": part_names, "B": part_names, "TO": part_names,
    "FROM": socket_or_part_names, "SOCKET": socket_names, "BOARD": board_names, "CPU": cpu_names,
    "CODE": code_names, "[CODE]": code_names,
}  # fmt: skip


def add_names(command: click.Command) -> click.Command:
    """Let the arguments and options of a command, or of all in a group, complete names; returns the command."""
    for each in command.commands.values() if isinstance(command, click.Group) else ():
        add_names(each)
    for parameter in command.params:
        if isinstance(parameter.type, click.types.StringParamType | click.Path) and parameter.metavar:
            parameter.shell_complete = partial(complete, parameter)
    return command


def complete(parameter: click.Parameter, context: click.Context, begun: str) -> list[CompletionItem]:
    """Return the names that go on from what was begun; where there are none, files, if it may be one."""
    names = NAMES.get(parameter.metavar)
    try:
        known = sorted(names(context)) if names else []
    except (RomwrightError, OSError, ValueError):  # a board file that is wrong, say: the command itself will tell
        known = []
    found = [CompletionItem(name) for name in known if name.casefold().startswith(begun.casefold())]
    may_be_file = names or FILES.match(parameter.metavar)
    return found or ([CompletionItem(begun, type="file")] if may_be_file else [])
