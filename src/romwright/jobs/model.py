"""A job's file as a frozen object. Its words are those of the commands: what `prepare` takes as --fill is `fill`.

Names of files are relative to the folder of the job's file; outputs go into one folder, and nowhere else.
"""

from __future__ import annotations

import re
from pathlib import PurePath
from typing import Literal

from msgspec import Struct, field

AT = re.compile(r"@(?:0x|\$)?[0-9A-Fa-f]+h?$")  # where in the chip a file goes, behind its name
Paper = Literal["A4", "Letter"]
Kind = Literal["burn", "plan", "drawing", "table", "netlist", "text", "page", "pdf", "labels"]
KINDS: dict[str, str] = {  # what a job can write, in the order in which it does, and how each file's name ends
    "burn": ".bin", "plan": ".plan", "drawing": ".svg", "table": ".csv", "netlist": ".net",
    "text": "-sheet.txt", "page": "-sheet.html", "pdf": "-sheet.pdf", "labels": "-labels.pdf",
}  # fmt: skip


class Dump(Struct, frozen=True, forbid_unknown_fields=True):
    """Reads of the old chip: several of one chip are settled; compared with `reference`, what it should hold."""

    files: tuple[str, ...]
    reference: str = ""


class Contents(Struct, frozen=True, forbid_unknown_fields=True):
    """What the socket must show: files, and the steps of `prepare` that make the bytes from them."""

    files: tuple[str, ...]
    read_as: Literal["", "raw", "intel-hex", "s-record"] = ""
    cut: str = ""
    join: bool = False
    swap: Literal[0, 2, 4] = 0
    invert: bool = False
    base: str = ""
    fill: str = ""
    repeat: bool = False
    store: tuple[str, ...] = ()
    fix: tuple[str, ...] = ()
    order: Literal["", "little", "big"] = ""
    accept: tuple[str, ...] = ()


class Fit(Struct, frozen=True, forbid_unknown_fields=True):
    """The chip, and the socket: of a `board`, or laid out for the part `original`."""

    chip: str
    board: str = ""
    socket: str = ""
    now: str = ""
    also: tuple[str, ...] = ()
    original: str = field(name="from", default="")
    polarity: str = ""
    chip_polarity: str = ""
    prefer: tuple[str, ...] = ()
    confirmed: str = ""  # what is printed on the chip, as the user has read it


class After(Struct, frozen=True, forbid_unknown_fields=True):
    """What the user expects to see once it is fitted, and at which points, in the user's words."""

    shows: tuple[str, ...] = ()
    measure: tuple[str, ...] = ()


class Label(Struct, frozen=True, forbid_unknown_fields=True):
    """What goes on the chip's label, and the stock in millimetres; `first` leaves used labels of a sheet free.

    `size`, `stock` and the keys below it are written as the options of `romwright label`.
    """

    name: str = ""
    copies: int = 1
    code: Literal["qr", "code128", "none"] = "qr"
    size: str = ""
    stock: str = ""
    grid: str = ""
    label: str = ""
    margin: str = ""
    gap: str = ""
    first: int = 1


class Outputs(Struct, frozen=True, forbid_unknown_fields=True):
    """Where the outputs go, how their names begin, and which are wanted."""

    folder: str = "out"
    name: str = ""
    write_as: Literal["raw", "intel-hex", "s-record"] = "raw"
    kinds: tuple[Kind, ...] = tuple(KINDS)  # type: ignore[assignment]
    paper: Paper = "A4"


class Job(Struct, frozen=True, forbid_unknown_fields=True):
    """A whole job; `expected` has for each input the checksums that it must have."""

    title: str
    why: str = ""
    date: str = ""
    lists: str = ""
    dumps: tuple[Dump, ...] = ()
    contents: Contents | None = None
    fit: Fit | None = None
    after: After = After()
    label: Label = Label()
    outputs: Outputs = Outputs()
    expected: dict[str, dict[str, str]] = {}

    @property
    def own_pages(self) -> tuple[str, ...]:
        """The pages of chips and boards that the job names as files of the user's own."""
        named = [self.fit.board, self.fit.chip, self.fit.original] if self.fit else []
        named += [entry.partition("=")[2].partition(",")[0] for entry in self.fit.also] if self.fit else []
        return tuple(name for name in named if name.endswith(".toml") or PurePath(name).name != name)

    @property
    def inputs(self) -> tuple[str, ...]:
        """The files that the job reads, as they are named, each once."""
        named = [name for dump in self.dumps for name in (*dump.files, dump.reference)]
        named += [AT.sub("", name) for name in self.contents.files] if self.contents else []
        return tuple(dict.fromkeys(filter(None, [*named, self.lists])))
