"""`romwright boards new`: a board's file begun from options, or from questions on a terminal."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable
from pathlib import Path

import click

from romwright.cli.options import AS_JSON, OVERWRITE
from romwright.errors import OptionError, RomwrightError
from romwright.images.notation import parse_address, parse_range

KINDS = {"ram": ("RAM", "memory"), "rom": ("ROM", "memory"), "port": ("port", "memory"), "io": ("port", "io")}
STARTS_LOW = (
    "Z80",
    "8080",
    "8085",
    "68000",
)  # begin after reset at 0, as the makers' books say; the others near the top
UNREAD = "no schematic read yet"


@click.command("new", short_help="Begin a board file from a few answers.")
@click.option("--name", metavar="NAME", help="The name of the board and its file: letters, digits, dashes.")
@click.option("--title", metavar="TEXT", help="What the board is.")
@click.option("--cpu", metavar="CPU", help="Its CPU, such as Z80 or 6502.")
@click.option(
    "--socket", "sockets", multiple=True, metavar="U7=C000-FFFF:PART",
    help="A ROM socket: its addresses, and the ROM, style or page that it was laid out for; :D8-D15 behind it names "
    "its data lines.",
)  # fmt: skip
@click.option(
    "--device", "devices", multiple=True, metavar="U8=0-3FFF:RAM",
    help="Another device on the data bus: RAM, ROM, port, or io for a port in the I/O space.",
)  # fmt: skip
@click.option("--rail", "rails", multiple=True, metavar="+5V=5", help="A supply rail and its volts.")
@click.option("--source", metavar="TEXT", help="The schematic that you read, or that the board was traced.")
@click.option("-o", "--output", metavar="FILE.toml", help="Where the file goes; NAME.toml unless stated.")
@OVERWRITE
@AS_JSON
def command(name, title, cpu, sockets, devices, rails, source, output, overwrite, as_json) -> None:
    """Begin a board file: what a few answers tell is filled in, what the schematic must tell is listed.

    On a terminal, it asks for the name, CPU or sockets that are not given, and for the rest with them. The file passes
    every rule at once: romwright boards show draws it, romwright links says what is still open. pinmaps/README.md
    teaches how to complete it.

    \b
    Example: romwright boards new --name my-board --cpu Z80 --socket U7=0-3FFF:27128 --device RAM=8000-FFFF:RAM
    """
    from romwright.boards.draft import build_draft
    from romwright.boards.library import read_board
    from romwright.images.formats import write_bytes

    given = {"name": name, "title": title, "cpu": cpu, "sockets": sockets, "devices": devices, "rails": rails}
    answers = collect(given | {"source": source}, output)
    path = output or f"{answers.name}.toml"
    write_bytes(path, build_draft(answers).encode("utf-8"), overwrite)
    report(path, answers, read_board(Path(path)), as_json)


def collect(given: dict, output: str | None):
    """Read the answers that are given, ask for the others on a terminal. Raises OptionError without one."""
    from romwright.boards.answers import Answers, rails_for
    from romwright.boards.library import require_cpu

    if output and not given["name"]:
        given["name"] = Path(output).name.removesuffix(".toml")
    missing = [f"--{option.removesuffix('s')}" for option in ("name", "cpu", "sockets") if not given[option]]
    asks = bool(missing) and sys.stdin.isatty()
    if missing and not asks:
        raise OptionError(
            f"not said: {', '.join(missing)}", where="romwright boards new",
            expected="a name, a CPU and a socket at least; on a terminal they are asked for",
            help="romwright boards new --name my-board --cpu Z80 --socket U7=0-3FFF:27128",
        )  # fmt: skip

    def answer(key: str, question: str, default, read: Callable):
        return ask(question, default, read) if asks and not given[key] else read(given[key] or default)

    name = answer("name", "Name of the board and of its file", "my-board", parse_name)
    if output and Path(output).name != f"{name}.toml":
        raise OptionError(
            f"a file {output} for a board named {name}", where="--output", expected=f"a file named {name}.toml"
        )
    title = answer("title", "What is it", name, parse_words)
    page = answer("cpu", "CPU", "Z80", require_cpu)
    ask_more = asks and not given["sockets"]
    places = tuple(ask_places(page) if ask_more else (parse_socket(text, page) for text in given["sockets"]))
    ask_more = asks and not given["devices"]
    others = tuple(ask_others(page) if ask_more else (parse_device(text, page) for text in given["devices"]))
    usual = rails_for(place.part for place in places)
    rails = tuple(f"{rail}={volts:g}" for rail, volts in usual.items())
    if asks and not given["rails"]:
        rails = ask("Supply rails and their volts", " ".join(rails), str).split()
    source = answer("source", "Which schematic", UNREAD, parse_words)
    return Answers(name, title, page, source, parse_rails(given["rails"] or rails), places, others)


def ask(question: str, default, read: Callable):
    """Ask until the answer can be read."""

    def checked(text):
        try:
            return read(text)
        except RomwrightError as error:
            hints = [error.found, error.expected and f"expected: {error.expected}", error.help]
            raise click.UsageError("; ".join(filter(None, hints))) from None

    return click.prompt(question, default=default, value_proc=checked, err=True)


def ask_places(cpu) -> list:
    """Ask for sockets, one at least."""
    from romwright.boards.answers import Place, check_place, lines_for
    from romwright.parts.library import require_part

    found: list = []
    while socket := ask("ROM socket, or - for no more" if found else "ROM socket", "-" if found else "U1", parse_thing):
        part, lines = ask(
            f"{socket} was laid out for which ROM, style or page", None,
            lambda text: (chip := require_part(text), lines_for(chip, cpu)),
        )  # fmt: skip
        if len(lines) < len(cpu.data_lines):
            usual = f"{lines[0]}-{lines[-1]}"
            lines = ask(f"Data lines at {socket}", usual, lambda text: parse_lines(text, cpu, "data lines"))
        size = min(part.words * (len(cpu.data_lines) // 8), cpu.top + 1)
        low = 0 if cpu.name in STARTS_LOW else cpu.top + 1 - size

        def read(text, socket=socket, part=part, lines=lines):
            place = Place(socket, parse_span(text, "addresses"), part, lines)
            check_place(place, cpu)
            return place

        found.append(ask(f"Addresses of {socket}", f"{low:04X}-{low + size - 1:04X}", read))
    return found


def ask_others(cpu) -> list:
    """Ask for other devices on the data bus."""
    found: list = []
    while device := ask("Another device on the data bus, or - for no more", "-", parse_thing):
        kind = ask(f"{device} is", "RAM", parse_kind)
        found.append(ask(f"Addresses of {device}", None, lambda text, d=device, k=kind: make_device(d, text, k, cpu)))
    return found


def parse_name(text: str) -> str:
    """Read a name that is a file's too. Raises OptionError."""
    if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_-]{0,63}", text):
        raise OptionError(f"{text!r} is no name for a file", where="--name", expected="letters, digits and dashes")
    return text


def parse_words(text: str) -> str:
    """Read a line of text. Raises OptionError if it is empty or holds what cannot be printed."""
    if not text.strip() or not text.isprintable():
        raise OptionError(f"{text!r} is no line of text", where="the title or source", expected="printable characters")
    return text.strip()


def parse_thing(text: str) -> str:
    """Read the name of a socket or device; nothing for a dash. Raises OptionError."""
    if text == "-":
        return ""
    if not re.fullmatch(r"[A-Za-z0-9][\w/+-]{0,31}", text, re.ASCII) or text.casefold() in ("none", "nc"):
        raise OptionError(f"{text!r} is no name for a chip", expected="what is printed beside it, such as U7")
    return text


def parse_kind(text: str) -> tuple[str, str]:
    """Read the kind of a device as (kind, space). Raises OptionError."""
    if text.strip().casefold() not in KINDS:
        raise OptionError(f"{text!r} is no kind of device", expected="RAM, ROM, port, or io for a port in I/O space")
    return KINDS[text.strip().casefold()]


def parse_span(text: str, where: str) -> tuple[int, int]:
    """Read FIRST-LAST or one address as (first, last). Raises OptionError."""
    if "-" not in text:
        return (parse_address(text, where),) * 2
    first, stop = parse_range(text, where)
    return first, stop - 1


def parse_lines(text: str, cpu, where: str) -> tuple[str, ...]:
    """Read data lines, `D8-D15`. Raises OptionError if the CPU has not each of them, or one is there twice."""
    from romwright.boards.model import expand

    lines = expand(text.upper())
    if not lines or not set(lines) <= set(cpu.data_lines) or len(set(lines)) < len(lines):
        raise OptionError(f"{text!r} are no data lines of the {cpu.name}", where=where, expected=f"lines of {cpu.data}")
    return lines


def split(text: str, option: str, form: str, cpu) -> tuple[str, str, str, tuple[str, ...]]:
    """Cut NAME=RANGE:WHAT or NAME=RANGE:WHAT:LINES into its parts. Raises OptionError."""
    match = re.fullmatch(r"([^=]*)=([^:]*):(.+?)(?::([Dd]\d+(?:-[Dd]\d+)?))?", text)
    if not match:
        raise OptionError(f"{text!r} cannot be read", where=option, expected=form)
    name = parse_thing(match[1].strip())
    if not name:
        raise OptionError(f"{text!r} has no name", where=option, expected=form)
    return name, match[2], match[3], parse_lines(match[4], cpu, option) if match[4] else ()


def parse_socket(text: str, cpu):
    """Read `U7=C000-FFFF:PART` or `U7=C000-FFFF:PART:D8-D15`. Raises OptionError, UnknownNameError."""
    from romwright.boards.answers import Place, lines_for
    from romwright.parts.library import require_part

    name, span, word, lines = split(text, "--socket", "NAME=FIRST-LAST:PART, such as U7=C000-FFFF:27128", cpu)
    part = require_part(word)
    return Place(name, parse_span(span, f"--socket {name}"), part, lines or lines_for(part, cpu))


def parse_device(text: str, cpu):
    """Read `U8=0-3FFF:RAM`. Raises OptionError."""
    name, span, word, lines = split(text, "--device", "NAME=FIRST-LAST:KIND, such as U8=0-3FFF:RAM", cpu)
    return make_device(name, span, parse_kind(word), cpu, lines)


def make_device(name: str, span: str, kind: tuple[str, str], cpu, lines: tuple[str, ...] = ()):
    """Make a device. Raises OptionError if its range is none, or the CPU has no I/O space."""
    from romwright.boards.answers import Other, check_span

    where = f"device {name}"
    if kind[1] == "io" and all(cycle.space != "io" for cycle in cpu.cycles):
        raise OptionError(f"the {cpu.name} has no I/O space", where=where, expected="RAM, ROM or port")
    both = parse_span(span, where)
    check_span(both, cpu, where)
    return Other(name, both, kind[0], lines or cpu.data_lines, kind[1])


def parse_rails(texts) -> dict[str, float]:
    """Read `+5V=5` and more. Raises OptionError."""
    found: dict[str, float] = {}
    for text in texts:
        match = re.fullmatch(r"([\w+/-]+)=([+-]?\d{1,3}(?:\.\d+)?)", text.strip(), re.ASCII)
        if not match or match[1] in found:
            fault = f"{match[1]} is there twice" if match else f"{text!r} is no rail"
            raise OptionError(fault, where="--rail", expected="NAME=VOLTS, such as +5V=5")
        found[match[1]] = float(match[2])
    return found


def report(path: str, answers, board, as_json: bool) -> None:
    """Say what was written, and what the schematic must tell."""
    from romwright.boards.draft import question
    from romwright.boards.library import board_json
    from romwright.cli.render import inert, print_json, print_table

    asked = [
        {"socket": place.name, "position": pin.number, "pin": pin.name, "question": words}
        for place in answers.places
        for pin in place.part.pins
        if (words := question(answers.cpu, place, pin))
    ]
    if as_json:
        print_json({"file": path, "board": board_json(board, answers.cpu), "to_find_out": asked})
        return
    click.echo(f"{inert(path)} is written; it passes every rule. The schematic must tell:\n")
    rows = [tuple(entry.values()) for entry in asked]
    rows += [(other.name, "-", "-", "which select and which strobe are at its enables?") for other in answers.others]
    print_table(("at", "position", "pin", "to be found out"), rows, right=(1,))
    first = answers.places[0]
    click.echo(f"\nnext: romwright boards show {inert(path)}")
    click.echo(f"then: romwright links {inert(path)} {first.name} {first.part.name}, until it says ok")
