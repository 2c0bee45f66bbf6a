"""Values on the command line: addresses, ranges and bytes, each with an error that says what was expected."""

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


def parse_address(text: str, option: str) -> int:
    """Read hex digits, with 0x or $ in front or h behind if you like. Raises OptionError."""
    match = re.fullmatch(r"(?:0x|\$)?([0-9a-f]{1,8})h?", text.strip(), re.IGNORECASE)
    if not match:
        raise OptionError(f"{text!r} is no address", where=option, expected="hex digits, for instance C000")
    return int(match[1], 16)


def parse_byte(text: str, option: str) -> int:
    """Read a byte of two hex digits. Raises OptionError."""
    try:
        value = parse_address(text, option)
    except OptionError:
        value = -1
    if not 0 <= value <= 0xFF:
        raise OptionError(f"{text!r} is no byte", where=option, expected="two hex digits, 00 to FF")
    return value


def parse_range(text: str, option: str) -> tuple[int, int]:
    """Read FIRST-LAST, both included, as (first, after the last). Raises OptionError."""
    first, dash, last = text.partition("-")
    if not dash:
        raise OptionError(f"{text!r} is no range", where=option, expected="FIRST-LAST, for instance C000-FFFF")
    start, stop = parse_address(first, option), parse_address(last, option) + 1
    if stop <= start:
        raise OptionError(
            f"the range {text} ends before it starts", where=option, expected="FIRST-LAST, the lower address first"
        )
    return start, stop


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
