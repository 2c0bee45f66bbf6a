"""A bench sheet as text of 80 columns, for a terminal or a printer that has nothing but letters."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from functools import singledispatch
from unicodedata import combining, east_asian_width

from romwright.sheets.document import (
    STOPS,
    Block,
    Facts,
    Picture,
    Section,
    Sheet,
    Statement,
    Table,
    Tick,
    Ticks,
    Words,
)  # fmt: skip

COLUMNS = 80
BOX, ROOM = "[ ]", "________"  # to tick, and for a measured value
LABEL = 22  # columns of a fact's name, at most
LEAST = 6  # columns that a cell keeps, however long its neighbours are
SPACE = 2  # between columns
NOTHING = "-"  # where a fact or a thing to do has no words
UNCHECKED = "UNCHECKED: no document was read for these"


def build_text(sheet: Sheet) -> str:
    """Return the whole sheet; the same sheet gives the same text."""
    return "\n".join(line.rstrip() for line in lines_of(sheet)) + "\n"


def lines_of(sheet: Sheet) -> Iterator[str]:
    """Yield the lines: title, what stops the work, the sections, what is unchecked."""
    yield "=" * COLUMNS
    yield from wrapped(sheet.title)
    yield from wrapped(sheet.why)
    yield from wrapped(sheet.date)
    yield "=" * COLUMNS
    for stop in sheet.stops:
        yield from wrapped(f"{STOPS}: {stop.title}", "!! ")
    if sheet.unchecked:
        yield from wrapped("Some values are UNCHECKED: see the end of the sheet.", "!! ")
    for number, section in enumerate(sheet.sections, 1):
        yield ""
        yield from section_lines(number, section)
    if sheet.unchecked:
        yield ""
        yield from wrapped(UNCHECKED, "!! ")
        for entry in sheet.unchecked:
            yield from wrapped(entry, "- ")


def section_lines(number: int, section: Section) -> Iterator[str]:
    """Yield a section: its number and heading, then its blocks."""
    yield from wrapped(section.heading, f"{number}. ")
    yield "-" * COLUMNS
    for place, block in enumerate(section.blocks):
        if place and not (isinstance(block, Statement) and isinstance(section.blocks[place - 1], Statement)):
            yield ""
        yield from block_lines(block)


@singledispatch
def block_lines(block: Block) -> Iterator[str]:
    """Yield the lines of one block."""
    raise TypeError(f"no text for a {type(block).__name__}")


@block_lines.register
def _(block: Words) -> Iterator[str]:
    return wrapped(block.words, "!! " if block.loud else "")


@block_lines.register
def _(block: Facts) -> Iterator[str]:
    wide = min(max((columns(name) for name, _ in block.pairs), default=0), LABEL)
    for name, value in block.pairs:
        *above, last = broken(name, wide)
        yield from above
        yield from wrapped(value or NOTHING, padded(last, wide) + "  ")


@block_lines.register
def _(block: Ticks) -> Iterator[str]:
    for item in block.items:
        yield from tick_lines(item)


def tick_lines(item: Tick) -> Iterator[str]:
    """Yield a box with what to do, and the room for what was measured."""
    words = f"{item.words}  {ROOM} {item.unit}" if item.unit else item.words
    words = f"{words}  (expect {item.expected})" if item.expected else words
    yield from wrapped(words or NOTHING, BOX + " ")


@block_lines.register
def _(block: Table) -> Iterator[str]:
    lead = len(BOX) + 1 if block.ticked else 0
    wide = widths(block, COLUMNS - lead)
    if sum(wide) + SPACE * (len(wide) - 1) > COLUMNS - lead:
        yield from rows_as_lists(block)
        return
    yield from row_lines(block.headers, wide, " " * lead)
    yield " " * lead + row_line(["-" * each for each in wide], wide)
    for row in block.rows:
        yield from row_lines(row, wide, (BOX if block.ticked else "").ljust(lead))


def row_lines(row: tuple[str, ...], wide: list[int], lead: str) -> Iterator[str]:
    """Yield a row of a table after a lead, each cell in as many lines as it takes."""
    cells = [broken(cell, room) for cell, room in zip(row, wide)]
    for count in range(max(map(len, cells), default=1)):
        parts = [lines[count] if count < len(lines) else "" for lines in cells]
        yield (" " * len(lead) if count else lead) + row_line(parts, wide)


def rows_as_lists(block: Table) -> Iterator[str]:
    """Yield a table that has too many columns for one line: each row as a list of its cells."""
    for row in block.rows or (("(no row)",) * len(block.headers),):
        lead = BOX if block.ticked and block.rows else "-"
        for header, cell in zip(block.headers, row):
            yield from wrapped(f"{header}: {cell}", lead.ljust(len(BOX) + 1))
            lead = ""


@block_lines.register
def _(block: Picture) -> Iterator[str]:
    yield from wrapped(block.caption)
    lines, beyond = block.lines or ("(drawn on the page and on paper only)",), False
    while any(lines):
        if beyond:
            yield "(what stands to the right of that:)"
        parts = [cut(line, COLUMNS) for line in lines]
        yield from parts
        lines, beyond = [line[len(part) :] for line, part in zip(lines, parts)], True


@block_lines.register
def _(block: Statement) -> Iterator[str]:
    yield from wrapped(f"{block.title}  [{block.code}]", f"{block.severity.upper():<8}")
    for said in filter(None, (block.evidence, f"Do: {block.remedy}" if block.remedy else "")):
        yield from wrapped(said, " " * 8)


def columns(words: str) -> int:
    """Count the columns that words take on a terminal: wide letters two, marks over a letter none."""
    return sum(0 if combining(c) else 2 if east_asian_width(c) in "WF" else 1 for c in words)


def padded(words: str, wide: int) -> str:
    """Fill words with spaces to a number of columns."""
    return words + " " * (wide - columns(words))


def cut(words: str, wide: int) -> str:
    """Return as much from the start of words as a number of columns holds."""
    used = 0
    for stop, letter in enumerate(words):
        used += columns(letter)
        if used > wide:
            return words[:stop]
    return words


def broken(words: str, wide: int) -> list[str]:
    """Break words into lines no wider than a number of columns; a single word that is wider is broken too."""
    if wide and {*map(columns, words)} <= {1}:
        return textwrap.wrap(words, wide) or [""]
    lines = [""]
    for word in words.split():
        if lines[-1] and columns(f"{lines[-1]} {word}") <= wide:
            lines[-1] += f" {word}"
            continue
        while word:
            lines.append(cut(word, wide) or word[0])
            word = word[len(lines[-1]) :]
    return [line for line in lines if line] or [""]


def wrapped(words: str, lead: str = "") -> Iterator[str]:
    """Yield words after a lead; further lines stand below the first."""
    if not words:
        return
    for number, line in enumerate(broken(words, COLUMNS - columns(lead))):
        yield (" " * columns(lead) if number else lead) + line


def widths(block: Table, room: int) -> list[int]:
    """Share out the columns: each what it needs, the widest shortened until all fit or none is wider than LEAST."""
    rows = [block.headers, *block.rows]
    wide = [max(columns(row[n]) for row in rows) for n in range(len(block.headers))]
    words = [max(map(columns, header.split()), default=0) for header in block.headers]
    least = [min(each, max(LEAST, word)) for each, word in zip(wide, words)]
    room -= SPACE * (len(wide) - 1)
    while sum(wide) > room and max(wide) > LEAST:
        longer = [n for n, each in enumerate(wide) if each > LEAST]
        wide[max(longer, key=lambda n: (wide[n] - least[n], wide[n]))] -= 1
    return wide


def row_line(cells, wide: list[int]) -> str:
    """Return cells side by side."""
    return (" " * SPACE).join(padded(cell, room) for cell, room in zip(cells, wide))
