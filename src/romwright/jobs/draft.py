"""A job's file begun from a few answers: commented, with the checksums of its inputs as they are now."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

from msgspec import Struct

from romwright.jobs.finished import digest
from romwright.jobs.library import require_sound

HEAD = """\
# A job for `romwright run`. Lines that begin with # are remarks. Files are named from the folder of this file.
# Running it twice gives the same bytes; nothing that is there already is replaced unless you say --overwrite.
"""
MORE = (
    "# Several sockets: write [[fit]] for each, with a name where it has no board; then [[contents]] for each",
    '# too, with into = ["U7"], or one [contents] with split, whose bytes are dealt out to the fits in their order.',
)


class Answers(Struct, frozen=True):
    """What a user says of a job; files are named from the folder of the job's file."""

    title: str
    why: str = ""
    date: str = ""
    dumps: tuple[str, ...] = ()
    reference: str = ""
    lists: str = ""
    contents: tuple[str, ...] = ()
    split: int = 0
    board: str = ""
    socket: str = ""
    now: str = ""
    also: tuple[str, ...] = ()
    original: str = ""
    polarity: str = ""
    second: str = ""
    second_polarity: str = ""
    chip: str = ""
    chip_polarity: str = ""
    chips: int = 0
    banks: tuple[str, ...] = ()
    name: str = ""


def build_job(answers: Answers, folder: Path) -> str:
    """Write the text of a job's file; what is not answered stands there as a remark that shows its form.

    Raises OSError for an input that cannot be read, DataFileError for answers that do not go together.
    """
    text = "\n".join(lines_of(answers)) + "\n"
    inputs = require_sound(text, "the answers").inputs
    return text + "".join(f"{line}\n" for line in recorded(inputs, folder))


def quoted(value: object) -> str:
    """Write a string, a number or a list of strings as TOML, whose basic strings are JSON's; all of it can be printed.

    >>> print(quoted(["é", "\\x7f"]))
    ["é", "\\U0000007f"]
    """
    text = json.dumps(value, ensure_ascii=False)
    return "".join(c if c.isprintable() else f"\\U{ord(c):08x}" for c in text)


def key(name: str, value: object, form: str, remark: str) -> str:
    """Write a key, or, where nothing is said, a remark that shows its form."""
    value = list(value) if isinstance(value, tuple) else value
    said = f"{name} = {quoted(value)}" if value else f"# {name} = {form}"
    return f"{said:<48} # {remark}" if remark else said


def section(header: str, remark: str, said: object, *lines: str) -> Iterator[str]:
    """Yield the lines of a table; of one about which nothing is said, all as remarks."""
    yield ""
    for line in (f"{header}  # {remark}", *lines):
        yield line if said or line.startswith("#") else f"# {line}"


def lines_of(a: Answers) -> Iterator[str]:
    """Yield the lines of the file, but for the checksums of its inputs."""
    yield HEAD
    yield f"title = {quoted(a.title)}"
    yield key("why", a.why, '"..."', "one sentence: what is wrong, what this is to find out")
    yield key("date", a.date, '"1984-11-25"', "printed on the sheet; yours, never the clock's")
    yield key("lists", a.lists, '"known.lists"', "reference lists: which ROM is the dump?")
    yield from section(
        "[[dumps]]", "reads of the old chip; several reads of one chip are settled", a.dumps,
        key("files", a.dumps, '["dump.bin"]', ""),
        key("reference", a.reference, '"good.bin"', "what it should be: compared line by line"),
    )  # fmt: skip
    yield from section(
        "[contents]", "what the socket must show; the keys are the options of `romwright prepare`", a.contents,
        key("files", a.contents, '["program.hex"]', "FILE, FILE@ADDRESS, or FILE@BANK if the chip has banks"),
        key("split", a.split, "2", "even bytes to the first [[fit]], odd ones to the second"),
        "# repeat = true                                  # until the chip is full",
        '# cut = "C000-DFFF"                              # take only these addresses',
        '# fix = ["sum8=00@3FFF"]                         # make a checksum come out',
    )  # fmt: skip
    yield from section(
        "[fit]", "the chip and its socket; the keys are the options of `romwright wire`", a.chip,
        key("board", a.board, '"tern-tl-1"', "a board and its socket, or: from = the part it was laid out for"),
        key("socket", a.socket, '"U7"', ""),
        key("confirmed", "", '"D27128A"', "what is printed on the chip, as you have read it"),
        key("now", a.now, '"LK1=1-2,LK2=1-2"', "the links as they are: so the sheet says which to move"),
        key("also", a.also, '["U8=27C64"]', "what sits in its other sockets"),
        key("from", a.original, '"rom-2364-24"', "in place of board and socket"),
        key("polarity", a.polarity, '"20=L"', "of that part, as the factory made it"),
        key("second", a.second, '"rom-2364-24"', "a second ROM whose place the chip takes: banks first and second"),
        key("second_polarity", a.second_polarity, '"20=L"', "of the second"),
        key("chip", a.chip, '"28C256"', "the chip in your hand; as printed on it, if you like"),
        key("chip_polarity", a.chip_polarity, '"20=L"', "of the chip, if it has a choice"),
        key("chips", a.chips, "2", "chips in place of one, each with its share"),
        key("banks", a.banks, '["game", "test"]', "several contents in one chip, chosen by switches"),
        *MORE,
    )  # fmt: skip
    yield "\n[after]  # what you expect once it is fitted, printed with boxes to tick"
    yield '# shows = ["the eight lamps count up"]'
    yield '# measure = ["U5 pin 4 pulses"]'
    yield "\n[outputs]"
    yield f"name = {quoted(a.name)}  # how the names of the outputs begin"
    yield '# folder = "out"'
    yield '# kinds = ["burn", "plan", "text", "page", "pdf"]  # all of them if nothing is said'
    yield '# paper = "Letter"'


def recorded(inputs: tuple[str, ...], folder: Path) -> Iterator[str]:
    """Yield the lines with the checksums of the inputs as they are now."""
    yield "\n[expected]  # the inputs as they were when this was written: another file stops the job"
    for name in inputs:
        sha256 = digest((folder / name).read_bytes())
        yield f"{quoted(name)} = {{ sha256 = {quoted(sha256)} }}"
