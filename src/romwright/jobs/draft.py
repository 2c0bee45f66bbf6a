"""A job's file begun from a few answers: commented, with the checksums of its inputs as they are now."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from romwright.jobs.model import AT

HEAD = """\
# A job for `romwright run`. Lines that begin with # are remarks. Files are named from the folder of this file.
# Running it twice gives the same bytes; nothing that is there already is replaced unless you say --overwrite.
"""


@dataclass(frozen=True)
class Answers:
    """What a user says of a job; files are named from the folder of the job's file."""

    title: str
    why: str = ""
    date: str = ""
    dumps: tuple[str, ...] = ()
    reference: str = ""
    lists: str = ""
    contents: tuple[str, ...] = ()
    board: str = ""
    socket: str = ""
    now: str = ""
    original: str = ""
    polarity: str = ""
    chip: str = ""
    chip_polarity: str = ""
    name: str = ""

    @property
    def inputs(self) -> tuple[str, ...]:
        """The files that the job reads, each once."""
        contents = [AT.sub("", name) for name in self.contents]
        return tuple(dict.fromkeys(filter(None, [*self.dumps, self.reference, *contents, self.lists])))


def build_job(answers: Answers, folder: Path) -> str:
    """Write the text of a job's file; what is not answered stands there as a remark that shows its form.

    Raises OSError for an input that cannot be read.
    """
    return "\n".join(lines_of(answers, folder)) + "\n"


def quoted(value: object) -> str:
    """Write a string or a list of strings as TOML: its basic strings are JSON's, but for DEL."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def key(name: str, value: object, form: str, remark: str) -> str:
    """Write a key, or, where nothing is said, a remark that shows its form."""
    said = f"{name} = {quoted(value)}" if value else f"# {name} = {form}"
    return f"{said:<48} # {remark}" if remark else said


def lines_of(a: Answers, folder: Path) -> Iterator[str]:
    """Yield the lines of the file."""
    yield HEAD
    yield f"title = {quoted(a.title)}"
    yield key("why", a.why, '"..."', "one sentence: what is wrong, what this is to find out")
    yield key("date", a.date, '"1984-11-25"', "printed on the sheet; yours, never the clock's")
    yield key("lists", a.lists, '"known.lists"', "reference lists: which ROM is the dump?")
    if a.dumps:
        yield "\n[[dumps]]  # reads of the old chip; several reads of one chip are settled"
        yield f"files = {quoted(list(a.dumps))}"
        yield key("reference", a.reference, '"good.bin"', "what it should be: compared line by line")
    if a.contents:
        yield "\n[contents]  # what the socket must show; the keys are the options of `romwright prepare`"
        yield f"files = {quoted(list(a.contents))}"
        yield "# repeat = true, fill = \"FF\", cut = \"C000-DFFF\", fix = [\"sum8=00@3FFF\"], ..."
    if a.chip:
        yield "\n[fit]"
        yield key("board", a.board, '"tern-tl-1"', "a board and its socket, or: from = the part it was laid out for")
        yield key("socket", a.socket, '"U7"', "")
        yield key("now", a.now, '"LK1=1-2,LK2=1-2"', "the links as they are: so the sheet says which to move")
        yield key("from", a.original, '"rom-2364-24"', "in place of board and socket")
        yield key("polarity", a.polarity, '"20=L"', "of that part, as the factory made it")
        yield key("chip", a.chip, '"28C256"', "the chip in your hand; as printed on it, if you like")
        yield key("chip_polarity", a.chip_polarity, '"20=L"', "of the chip, if it has a choice")
    yield "\n[after]  # what you expect once it is fitted, printed with boxes to tick"
    yield '# shows = ["the eight lamps count up"]'
    yield '# measure = ["U5 pin 4 pulses"]'
    yield "\n[outputs]"
    yield f"name = {quoted(a.name)}  # how the names of the outputs begin"
    yield '# folder = "out"'
    yield '# kinds = ["burn", "plan", "text", "page", "pdf"]  # all of them if nothing is said'
    yield '# paper = "Letter"'
    yield "\n[expected]  # the inputs as they were when this was written: another file stops the job"
    for name in a.inputs:
        digest = hashlib.sha256((folder / name).read_bytes()).hexdigest()
        yield f"{quoted(name)} = {{ sha256 = {quoted(digest)} }}"
