"""A bench sheet as strips of paper: what is not cut in two when it is broken into pages. All in points, y downwards.

Made for a printer without colours and for poor light: what is loud has a black bar, what is a stop a black sign.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import singledispatch

from msgspec.structs import replace

from romwright.findings import Severity
from romwright.sheets.document import (
    Block,
    Facts,
    Picture,
    Section,
    Sheet,
    Statement,
    Table,
    Ticks,
    Words,
    is_unchecked,
)
from romwright.sheets.frame import BODY, LEADING, Cell, Frame, Strip, row_strips
from romwright.sheets.marks import BLACK, WHITE, box, lettering, octagon, on_its_side, rule, scaled
from romwright.sheets.text import NOTHING, UNCHECKED
from romwright.sheets.vectors import Mark, read_drawing

SPACE = 7.5  # between blocks
UNNUMBERED = "!"  # in place of the number of a section: what is unchecked
BOX = 12.0  # to tick
GUTTER = 22.0  # between two short facts in one row
ROOM, UNITS, EXPECTED = 70.0, 64.0, 150.0  # for a measured value, its unit, and what to expect at most
LABEL = 0.34  # of the width: a fact's name at most
LEAST = 34.0  # width of a column of a table at least
MOST_SCALE, SMALL = 0.75, 0.5  # points for a pixel of a drawing: at most, and below that it is laid on its side
HEADING = 52.0  # room for the heading of a section whose drawings share a page
TAG = 66.0  # width of a severity's sign


def strips_of(sheet: Sheet, frame: Frame) -> Iterator[tuple[bool, list[Strip]]]:
    """Yield the sheet as groups of strips, and whether a group is not to be broken."""
    yield True, [*title(sheet, frame)]
    if sheet.stops:
        yield False, [*stop_box(sheet, frame)]
    if sheet.unchecked:
        yield True, [*loud("Some values are UNCHECKED: see the end of the sheet.", frame)]
    for number, section in enumerate(sheet.sections, 1):
        yield section.whole, [*section_strips(section, str(number), frame)]
    if sheet.unchecked:
        listed = [strip for entry in sheet.unchecked for strip in plain(entry, frame)]
        listed[:1] = [replace(strip, above=SPACE) for strip in listed[:1]]
        yield False, [*section_strips(Section(UNCHECKED, ()), UNNUMBERED, frame), *listed]


def title(sheet: Sheet, frame: Frame) -> Iterator[Strip]:
    """Yield what the job is, why and when."""
    for words, size, bold in ((sheet.title, 19.0, True), (sheet.why, 11.0, False), (sheet.date, 11.0, False)):
        for line in frame.lines(words, frame.width, size, bold) if words else ():
            yield Strip(size * 1.35, (lettering(0, size, line, size, bold),))


def stop_box(sheet: Sheet, frame: Frame) -> Iterator[Strip]:
    """Yield the box that nobody overlooks: a black octagon, a heavy edge, each stop by its title."""
    edge, side, width = 5.0, 62.0, frame.width

    def strip(height: float, *marks: Mark, **more) -> Strip:
        edges = box(0, 0, edge, height, BLACK), box(width - edge, 0, edge, height, BLACK)
        return Strip(height, (*edges, *marks), **more)

    first = box(0, 0, width, edge, BLACK), *octagon(18, 14, side)
    words = lettering(18 + side + 16, 56, "DO NOT POWER UP", 28, True)
    yield strip(side + 24, *first, words, above=SPACE, keep=True)
    for stop in sheet.stops:
        for n, line in enumerate(frame.lines(stop.title, width - 52, 12, True)):
            bullet = [box(19, 4, 9, 9, BLACK)] if not n else []
            yield strip(17, *bullet, lettering(36, 13, line, 12, True), keep=True)
    yield strip(14, box(0, 14 - edge, width, edge, BLACK))


def section_strips(section: Section, number: str, frame: Frame) -> Iterator[Strip]:
    """Yield a section: its number in a black field, its heading above a heavy line, then its blocks."""
    field = max(24.0, frame.measure(f"{number}.", 13, True) + 10)
    lines = frame.lines(section.heading, frame.width - field - 10, 14, True)
    for n, line in enumerate(lines):
        last = n == len(lines) - 1
        height = 24 if last else 18
        marks = [box(0, 0, field, height, BLACK), lettering(field + 9, 17, line, 14, True)]
        if not n:
            sign = number if number == UNNUMBERED else f"{number}."
            marks.append(lettering(field / 2, 17, sign, 13, True, anchor="middle", ink=WHITE))
        if last:
            marks.append(box(0, height - 3, frame.width, 3, BLACK))
        entry = f"{number}. {section.heading}".removeprefix(f"{UNNUMBERED}. ") if not n else ""
        yield Strip(height, tuple(marks), above=13 if not n else 0, keep=True, mark=entry)
    for n, block in enumerate(section.blocks):
        strips = [*block_strips(block, frame)] or [Strip(0)]
        strips[0] = replace(strips[0], above=SPACE if n else SPACE - 2)
        leads = isinstance(block, Words) and isinstance((*section.blocks[n + 1 :], None)[0], Picture)
        yield from (replace(strip, keep=True) for strip in strips) if leads else strips


@singledispatch
def block_strips(block: Block, frame: Frame) -> Iterator[Strip]:
    """Yield the strips of one block."""
    raise TypeError(f"no paper for a {type(block).__name__}")


@block_strips.register
def _(block: Words, frame: Frame) -> Iterator[Strip]:
    return loud(block.words, frame) if block.loud else plain(block.words, frame)


def plain(words: str, frame: Frame) -> Iterator[Strip]:
    """Yield a paragraph; what was not checked is printed bold."""
    bold = is_unchecked(words)
    for line in frame.lines(words, frame.width, BODY, bold) if words else ():
        yield Strip(LEADING, (lettering(0, BODY, line, bold=bold),))


def loud(words: str, frame: Frame) -> Iterator[Strip]:
    """Yield a paragraph in bold letters beside a black bar with a mark of exclamation."""
    lines = frame.lines(words, frame.width - 34, 11, True)
    for n, line in enumerate(lines):
        sign = [lettering(11, 14, "!", 15, True, anchor="middle", ink=WHITE)] if not n else []
        yield Strip(18, (box(0, 0, 22, 18.2, BLACK), *sign, lettering(32, 13, line, 11, True)),
                    above=SPACE if not n else 0, keep=n < len(lines) - 1)  # fmt: skip


@block_strips.register
def _(block: Facts, frame: Frame) -> Iterator[Strip]:
    wide = max((frame.measure(name, BODY, False) for name, _ in block.pairs), default=0)
    wide = min(wide + 1, frame.width * LABEL)
    half = (frame.width + GUTTER) / 2
    pairs = list(block.pairs)
    while pairs:
        short = [frame.measure(value, BODY, True) <= half - GUTTER - wide - 14 for _, value in pairs[:2]]
        row = [pairs.pop(0) for _ in range(2 if short == [True, True] else 1)]
        cells = []
        for place, (name, value) in enumerate(row):
            x, room = half * place, (half - GUTTER if len(row) > 1 else frame.width) - wide - 14
            cells += [frame.cell(x, name, wide), frame.cell(x + wide + 14, value or NOTHING, room, bold=True)]
        yield from row_strips(cells, frame)


@block_strips.register
def _(block: Ticks, frame: Frame) -> Iterator[Strip]:
    def widest(words: Sequence[str], most: float) -> float:
        return min(max((frame.measure(each, BODY, False) + 1 for each in words), default=0), most)

    units = widest([item.unit for item in block.items if item.unit], UNITS)
    at_unit = frame.width - units
    at_room = at_unit - ROOM - 6 if units else frame.width
    words = widest([item.words for item in block.items if item.expected], at_room) + BOX + 36
    most = max(EXPECTED, at_room - words)
    expected = widest([f"expect {item.expected}" for item in block.items if item.expected], most)
    at_expected = at_room - expected - 14 if expected else at_room
    for item in block.items:
        right = at_expected if item.expected else at_room if item.unit else frame.width
        cells = [frame.cell(BOX + 11, item.words or NOTHING, right - BOX - 21)]
        lead = [box(1, 3, BOX, BOX, stroke=1.6)]
        if item.expected:
            cells.append(frame.cell(at_expected, f"expect {item.expected}", expected))
        if item.unit:
            cells.append(frame.cell(at_unit, item.unit, units))
            lead.append(rule(at_room, at_unit - 6, 15.5, 1))
        yield from row_strips(cells, frame, lead, least=18)


@block_strips.register
def _(block: Table, frame: Frame) -> Iterator[Strip]:
    lead = BOX + 11 if block.ticked else 0
    count = len(block.headers)
    if count * LEAST > frame.width - lead:
        pairs = [(f"row {n}: {head}" if not at else head, cell) for n, row in enumerate(block.rows, 1)
                 for at, (head, cell) in enumerate(zip(block.headers, row))]  # fmt: skip
        yield from block_strips(Facts(tuple(pairs or ((head, "") for head in block.headers))), frame)
        return
    wide = widths(block, frame, frame.width - lead)
    places = [lead + sum(wide[:n]) for n in range(count)]

    def cells(row: Sequence[str], bold: bool = False) -> list[Cell]:
        return [frame.cell(x, words, room - 8, bold) for x, words, room in zip(places, row, wide)]

    head = [replace(strip, keep=True) for strip in row_strips(cells(block.headers, True), frame)]
    head[-1] = replace(head[-1], marks=(*head[-1].marks, rule(0, frame.width, head[-1].height, 2)))
    again = tuple(head) if sum(strip.height for strip in head) < frame.height / 4 else ()
    yield from head
    ticks = [box(1, 3.5, BOX, BOX, stroke=1.6)] if block.ticked else []
    for n, row in enumerate(block.rows):
        for strip in row_strips(cells(row), frame, ticks, least=18 if block.ticked else 0):
            yield replace(strip, again=again, keep=n < min(2, len(block.rows) - 1))


def widths(block: Table, frame: Frame, room: float) -> list[float]:
    """Share out the width: each column what it needs, else in proportion; what is left goes to the `wide` one."""
    count = len(block.headers)
    if not count:
        return []
    columns = [[(head, True), *((row[n], is_unchecked(row[n])) for row in block.rows)]
               for n, head in enumerate(block.headers)]  # fmt: skip
    natural = [max(frame.measure(words, BODY, bold) for words, bold in column) + 9 for column in columns]
    spare = room - sum(natural)
    if spare >= 0:
        natural[block.wide if -count <= block.wide < count else -1] += spare
        return natural
    words = [max((frame.measure(word, BODY, bold) for said, bold in column for word in said.split()), default=0) + 9
             for column in columns]  # fmt: skip
    fair = room / count
    least = [each if each <= fair else max(LEAST, min(longest, fair)) for longest, each in zip(words, natural)]
    more = [max(each - low, 0) ** 0.7 for each, low in zip(natural, least)]  # or the longest would take nearly all
    for _ in natural:
        part = (room - sum(least)) / (sum(more) or 1)
        full = [n for n, each in enumerate(more) if each and least[n] + each * part >= natural[n]]
        for n in full:
            least[n], more[n] = natural[n], 0
        if not full:
            break
    part = (room - sum(least)) / (sum(more) or 1)
    return [low + each * part for low, each in zip(least, more)]


@block_strips.register
def _(block: Picture, frame: Frame) -> Iterator[Strip]:
    caption = [Strip(LEADING, (lettering(0, BODY, line, bold=True),), keep=True)
               for line in (frame.lines(block.caption, frame.width, bold=True) if block.caption else ())]  # fmt: skip
    yield from caption
    if not block.svg:
        yield from letters(block.lines, frame)
        return
    drawing = read_drawing(block.svg)
    room = frame.height - min(90 + LEADING * len(caption), frame.height / 2)
    shared = (frame.height - HEADING) / block.share - LEADING * len(caption) - SPACE - 4
    if block.share > 1 and shared / drawing.height >= SMALL:
        room = shared
    upright, turned = (
        min(frame.width / wide, room / high, MOST_SCALE)
        for wide, high in ((drawing.width, drawing.height), (drawing.height, drawing.width))
    )
    scale, wide, high = upright, drawing.width, drawing.height
    marks = drawing.marks
    if upright < SMALL and turned > upright * 1.15:
        scale, wide, high = turned, drawing.height, drawing.width
        marks = [on_its_side(mark, drawing.width) for mark in marks]
    left = (frame.width - wide * scale) / 2
    yield Strip(high * scale + 4, tuple(scaled(mark, scale, left, 4) for mark in marks))


def letters(lines: Sequence[str], frame: Frame) -> Iterator[Strip]:
    """Yield a drawing made of letters, each in a field of the same width."""
    most = max(map(len, lines), default=1) or 1
    field = min(frame.width / most, 6.2)
    for line in lines:
        marks = [lettering((n + 0.5) * field, field * 1.5, c, field / 0.7, anchor="middle") for n, c in enumerate(line)]
        yield Strip(field * 2, tuple(marks))


SIGNS = {
    Severity.STOP: (BLACK, WHITE, 0, 0), Severity.FAULT: (WHITE, BLACK, 3.5, 0),
    Severity.CAUTION: (WHITE, BLACK, 1.6, 5), Severity.NOTE: ("", BLACK, 0.6, 5),
}  # fmt: skip  # of each severity: the field behind its word, the ink, the edge, its round corners


@block_strips.register
def _(block: Statement, frame: Frame) -> Iterator[Strip]:
    fill, ink, edge, r = SIGNS[block.severity]
    do = f"Do: {block.remedy}" if block.remedy else ""
    said = ((f"{block.title}  [{block.code}]", True), (block.evidence, False), (do, False))
    lines = []
    for words, bold in said:
        cell = frame.cell(TAG + 12, words, frame.width - TAG - 12, bold)
        lines += [(line, cell.bold) for line in cell.lines if line]
    heavy = block.severity is Severity.STOP
    for n, (line, bold) in enumerate(lines):
        marks = [lettering(TAG + 12, BODY + 2, line, bold=bold)]
        if not n:
            marks.append(box(1, 0, TAG, 16, fill, edge, r))
            sign = block.severity.upper()
            marks.append(lettering(TAG / 2, 12, sign, BODY, True, anchor="middle", ink=ink))
        if heavy:
            marks.append(box(TAG + 2, 0, 5, LEADING + 3 if n == len(lines) - 1 else LEADING, BLACK))
        last = n == len(lines) - 1
        yield Strip(LEADING + 4 if last else LEADING, tuple(marks), keep=not last and n < 2)
