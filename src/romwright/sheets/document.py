"""A bench sheet as plain values: sections in working order, each of blocks. It knows no chips, no paper, no screen.

One Sheet serves text (`text.py`), a page for a browser (`page.py`) and paper (`pdf.py`): what one of them says, all
say. Strings come from files, so what cannot be printed (terminal escapes, marks that turn the direction of writing) is
replaced when a block is made: nothing that renders a sheet has to think of it.
"""

from __future__ import annotations

from msgspec import Struct
from msgspec.structs import force_setattr

from romwright.findings import Finding, Severity

STOPS = "STOP: DO NOT POWER UP"  # what a sheet with a stop says at its top, and on paper at the head of every page


def readable(words: str) -> str:
    """Return words with a mark for every character that cannot be printed, and one space for any white space.

    >>> readable("a" + chr(27) + "[2Jb")
    'a�[2Jb'
    """
    return "".join(c if c.isprintable() else " " if c.isspace() else "\ufffd" for c in words)


def cleaned(value: object) -> object:
    """Return a value with every string in it readable."""
    if isinstance(value, Severity):
        return value
    if isinstance(value, str):
        return readable(value)
    return tuple(map(cleaned, value)) if isinstance(value, (tuple, list)) else value


def is_unchecked(words: str) -> bool:
    """Tell whether words say of a value that it was not checked."""
    return "unchecked" in words.casefold()


class Block(Struct, frozen=True):
    """What a section is made of; its strings are made readable."""

    def __post_init__(self) -> None:
        for name in self.__struct_fields__:
            force_setattr(self, name, cleaned(getattr(self, name)))


class Words(Block, frozen=True):
    """A paragraph; `loud` where overlooking it costs a chip or hurts a person."""

    words: str
    loud: bool = False


class Facts(Block, frozen=True):
    """What is so, as pairs of a name and a value."""

    pairs: tuple[tuple[str, str], ...]


class Tick(Block, frozen=True):
    """A thing to do, with a box to tick; `unit` leaves room for a measured value, `expected` says what it should be."""

    words: str
    unit: str = ""
    expected: str = ""


class Ticks(Block, frozen=True):
    """Things to do, in order."""

    items: tuple[Tick, ...]


class Table(Block, frozen=True):
    """Rows of cells below headers; `ticked`: each row has a box to tick; `wide`: the column that takes what is left.

    Raises ValueError if a row has other than one cell for each header.
    """

    headers: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    ticked: bool = False
    wide: int = -1

    def __post_init__(self) -> None:
        Block.__post_init__(self)
        for row in self.rows:
            if len(row) != len(self.headers):
                raise ValueError(f"a row of {len(row)} cells below {len(self.headers)} headers: {row}")


class Picture(Block, frozen=True):
    """A drawing: as SVG made by this package (`shapes.py`), and as lines of text where there is no better.

    `share`: so many of its kind are to go on one sheet of paper, if they can still be read then.
    """

    caption: str
    svg: bytes
    lines: tuple[str, ...] = ()
    share: int = 1


class Statement(Block, frozen=True):
    """A finding: what is seen, how bad that is, the evidence, what to do."""

    severity: Severity
    code: str
    title: str
    evidence: str = ""
    remedy: str = ""

    @classmethod
    def of(cls, finding: Finding) -> Statement:
        """Return the statement of a finding."""
        return cls(finding.severity, finding.code.name, finding.title, finding.evidence, finding.remedy)


class Section(Block, frozen=True):
    """A step of the work: its heading, and what belongs to it; `whole`: not broken over two pages if it fits one."""

    heading: str
    blocks: tuple[Block, ...]
    whole: bool = False
    each: bool = False  # done anew for every chip, with boxes of its own, though it reads the same


class Sheet(Block, frozen=True):
    """All of it: what the job is, why, on which date (the user's, never the clock's), and the sections in order."""

    title: str
    why: str
    date: str
    sections: tuple[Section, ...]
    unchecked: tuple[str, ...] = ()  # what no document was read for, printed last and pointed to at the top

    @property
    def stops(self) -> tuple[Statement, ...]:
        """The statements that mean: do not power up."""
        blocks = [block for section in self.sections for block in section.blocks if isinstance(block, Statement)]
        return tuple(block for block in blocks if block.severity is Severity.STOP)
