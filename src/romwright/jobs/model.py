"""A job's file as a frozen object. Its words are those of the commands: what `prepare` takes as --fill is `fill`.

Names of files are relative to the folder of the job's file; outputs go into one folder, and nowhere else. Contents and
fits are one table each, or several: `[[contents]]`, `[[fit]]`.
"""

from __future__ import annotations

import re
from collections.abc import Container
from pathlib import Path
from typing import Literal

from msgspec import Struct, field

AT = re.compile(r"@(?:0x|\$)?[0-9A-Fa-f]+h?$")  # where in the chip a file goes, behind its name
JOINED = ("first", "second")  # the banks of one chip in place of two
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
    """What the socket must show: files, and the steps of `prepare` that make the bytes from them.

    `into` names the fits that it is for, one for each chip that `split` deals the bytes to; without it all fits are.
    Where the fit has banks, each file is FILE@BANK.
    """

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
    split: Literal[0, 2, 4] = 0
    accept: tuple[str, ...] = ()
    into: tuple[str, ...] = ()


class Fit(Struct, frozen=True, forbid_unknown_fields=True):
    """The chip, and the socket: of a `board`, or laid out for the part `original`.

    `chips` in place of the one original; `banks` that switches choose in one chip; or one chip in its place and in that
    of the original `second`, which are the banks first and second. All as `wire` has them.
    """

    chip: str
    name: str = ""
    board: str = ""
    socket: str = ""
    now: str = ""
    also: tuple[str, ...] = ()
    original: str = field(name="from", default="")
    polarity: str = ""
    chip_polarity: str = ""
    prefer: tuple[str, ...] = ()
    chips: int = 1
    banks: tuple[str, ...] = ()
    second: str = ""
    second_polarity: str = ""
    grade_ns: float | None = None
    confirmed: str = ""  # what is printed on the chip, as the user has read it

    @property
    def label(self) -> str:
        """What the fit is called: by its name, else by its socket."""
        return self.name or self.socket

    @property
    def all_banks(self) -> tuple[str, ...]:
        """The banks of its chip, none if there is only one."""
        return JOINED if self.second else self.banks

    @property
    def pages(self) -> tuple[str, ...]:
        """The pages of parts and boards that it names as files."""
        others = [entry.partition("=")[2].partition(",")[0].strip() for entry in self.also]
        return tuple(filter(is_page, [self.board, self.original, self.second, self.chip, *others]))


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
    contents: Contents | tuple[Contents, ...] | None = None
    fit: Fit | tuple[Fit, ...] | None = None
    after: After = After()
    label: Label = Label()
    outputs: Outputs = Outputs()
    expected: dict[str, dict[str, str]] = {}

    @property
    def all_contents(self) -> tuple[Contents, ...]:
        """The contents, however many."""
        return listed(self.contents)

    @property
    def fits(self) -> tuple[Fit, ...]:
        """The fits, however many."""
        return listed(self.fit)

    @property
    def inputs(self) -> tuple[str, ...]:
        """The files that the job reads, as they are named, each once."""
        banks = {bank for fit in self.fits for bank in fit.all_banks}
        named = [name for dump in self.dumps for name in (*dump.files, dump.reference)]
        named += [file_of(text, banks) for contents in self.all_contents for text in contents.files]
        pages = [page for fit in self.fits for page in fit.pages]
        return tuple(dict.fromkeys(filter(None, [*named, self.lists, *pages])))


def listed(one_or_more: object) -> tuple:
    """Return what stands in a file as one table, as several, or not at all.

    >>> listed(None), listed(1), listed((1, 2))
    ((), (1,), (1, 2))
    """
    if one_or_more is None or isinstance(one_or_more, tuple):
        return one_or_more or ()
    return (one_or_more,)


def file_of(text: str, banks: Container[str] = ()) -> str:
    """Return the file of FILE, FILE@ADDRESS, FILE@BANK or FILE@ADDRESS@BANK.

    >>> file_of("a.hex@C000"), file_of("a.hex@C000@game", ("game",)), file_of("a@b.bin")
    ('a.hex', 'a.hex', 'a@b.bin')
    """
    file, at, bank = text.rpartition("@")
    return AT.sub("", file if at and bank in banks else text)


def is_page(name: str) -> bool:
    """Tell whether the name of a part or a board is that of a file, as `require_part` and `require_board` do."""
    return bool(name) and (Path(name).suffix == ".toml" or Path(name).name != name)
