"""Options that several commands share, and values on the command line that belong together."""

from __future__ import annotations

import re

import click

from romwright.errors import OptionError

READ_AS = click.option(
    "--read-as",
    type=click.Choice(["raw", "intel-hex", "s-record"]),
    help="Read the files as this format, whatever their content looks like.",
)
AS_JSON = click.option("--json", "as_json", is_flag=True, help="Print the answer as JSON.")
OVERWRITE = click.option("--overwrite", is_flag=True, help="Replace an output that exists.")


def parse_polarity(context: click.Context, parameter: click.Parameter, text: str | None) -> dict[int, str]:
    """Read `20=L,22=H,27=NC` into levels by pin number."""
    stated: dict[int, str] = {}
    for entry in (text or "").split(",") if text else ():
        match = re.fullmatch(r"\s*(\d+)\s*=\s*(H|L|NC)\s*", entry, re.IGNORECASE)
        if not match:
            raise OptionError(
                f"{parameter.opts[0]} {text}: {entry.strip() or 'an empty entry'} is no polarity",
                expected="PIN=L (active low), PIN=H (active high) or PIN=NC, with commas between, such as 20=L,27=H",
            )
        pin, level = int(match[1]), match[2].upper()
        if stated.setdefault(pin, level) != level:
            raise OptionError(f"{parameter.opts[0]} {text}: pin {pin} is given as {stated[pin]} and as {level}")
    return stated


def parse_also(context: click.Context, parameter: click.Parameter, entries) -> list[tuple[str, str, dict]]:
    """Read each `U8=rom-2364-24,20=L` into the socket, the part and the polarities by pin. Raises OptionError."""
    found = []
    for entry in entries:
        socket, equals, rest = entry.partition("=")
        part, _, polarity = rest.partition(",")
        if not equals or not socket.strip():
            raise OptionError(f"--also {entry}: no socket is named", expected="SOCKET=PART or SOCKET=none: U8=27C64")
        found.append((socket.strip(), part.strip(), parse_polarity(context, parameter, polarity)))
    return found


ALSO = click.option(
    "--also", multiple=True, callback=parse_also, metavar="SOCKET=PART[,PIN=L…]",
    help="What sits in another socket, with its polarities; SOCKET=none: nothing. Repeat it for each socket.",
)  # fmt: skip
