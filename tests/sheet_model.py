"""Bench sheets for tests: random ones out of hostile words, and those of real jobs."""

from functools import cache

from hypothesis import strategies as st
from plans import plan_of

from romwright.boards.library import require_board
from romwright.findings import Severity
from romwright.sheets.adapter import draw_view
from romwright.sheets.board import build_board_svg
from romwright.sheets.document import Facts, Picture, Section, Sheet, Statement, Table, Tick, Ticks, Words
from romwright.sheets.drawing import build_svg, draw_text
from romwright.sheets.shapes import page
from romwright.sheets.wiring import VIEWS, title_of, unchecked
from romwright.sheets.wirelist import HEADER, list_straight, list_ties, list_wires

CYRILLIC, CJK, HEBREW = "ПЗУ регистратора", "潮位記録計", "לוח"
HOSTILE = (
    "<script>alert(1)</script>", "</title><img src=x onerror=alert(1)>", "\x1b[2J\x1b]0;owned\x07", "\u202egnp.exe\u202c",
    "../../etc/passwd", "w" * 500, "&amp; &#x41;", "{{ 7 * 7 }}{% raw %}", "]]>--><!--", "javascript:alert(1)", "",
    'a" onclick="b', "\ud800", "\U0001f4a3", "e\u0301\u0301", CYRILLIC, CJK, HEBREW, "\r\n\t a  b", "(\\)endobj", "0",
)  # fmt: skip
TITLE = f"Tern TL-1 <script>alert(1)</script> \x1b[31m \u202eU7 {CYRILLIC} {CJK}"

words = st.one_of(st.sampled_from(HOSTILE), st.text(max_size=30), st.text("abc -<&", max_size=90))


def tables():
    """Tables of a few columns, sometimes of far too many."""

    @st.composite
    def table(draw):
        count = draw(st.one_of(st.integers(1, 4), st.sampled_from([0, 9, 30])))
        row = st.tuples(*[words] * count)
        rows = draw(st.lists(row, max_size=4))
        return Table(draw(row), tuple(rows), ticked=draw(st.booleans()), wide=draw(st.integers(-1, count)))

    return table()


@st.composite
def pictures(draw):
    """A package with a foreign name."""
    return Picture(draw(words), page(200, 120, draw(words), [f"<circle cx='{draw(st.integers(0, 200))}' cy='9' r='8'/>"]),
                   tuple(draw(st.lists(words, max_size=3))))  # fmt: skip


blocks = st.one_of(
    st.builds(Words, words, st.booleans()),
    st.lists(st.tuples(words, words), max_size=4).map(lambda pairs: Facts(tuple(pairs))),
    st.lists(st.builds(Tick, words, words, words), max_size=4).map(lambda items: Ticks(tuple(items))),
    tables(),
    pictures(),
    st.builds(Statement, st.sampled_from(Severity), words, words, words, words),
)
sections = st.builds(Section, words, st.lists(blocks, max_size=5).map(tuple), st.booleans())
sheets = st.builds(Sheet, words, words, words, st.lists(sections, max_size=4).map(tuple), st.lists(words, max_size=3).map(tuple))


def strings_of(sheet):
    """Every string that a reader must find, whatever the sheet is printed on; a picture's own lines are for text only."""
    yield from (sheet.title, sheet.why, sheet.date, *sheet.unchecked)
    for section in sheet.sections:
        yield section.heading
        for block in section.blocks:
            match block:
                case Words():
                    yield block.words
                case Facts():
                    yield from (word for pair in block.pairs for word in pair)
                case Ticks():
                    yield from (word for tick in block.items for word in (tick.words, tick.unit, tick.expected))
                case Table():
                    yield from block.headers
                    yield from (cell for row in block.rows for cell in row)
                case Picture():
                    yield block.caption
                case Statement():
                    yield from (block.code, block.title, block.evidence, block.remedy)


def squeezed(said):
    """Words without their spaces: a renderer may break a line anywhere."""
    return "".join(said.split())


def view_svg(plan, mirrored):
    """One view of a plan as a picture of its own."""
    canvas, height = draw_view(plan, mirrored)
    return page(round(canvas.width), round(height), title_of(plan), canvas.elements(0))


@cache
def sheet_of(socket, chip, polarity=(), board="tern-tl-1", stop=False, title="Fit"):
    """A whole sheet for a plan of two parts: supplies, statements, drawings, the table of wires, what is unchecked."""
    plan = plan_of(socket, chip, polarity)
    found = [
        Statement(Severity.CAUTION, "slower", f"{chip} answers after 250 ns, the original after 200 ns",
                  "access time of the page", "read the marking of the chip"),
        Statement(Severity.FAULT, "select-lost", "pin 20 of the socket selects nothing", "position 20 = /ROMSEL"),
        Statement(Severity.NOTE, "part-shown", "address pins above the original's are at a constant level"),
    ]  # fmt: skip
    if stop:
        found.insert(0, Statement(Severity.STOP, "rail-on-signal", "position 1 carries +12 V, chip pin 1 takes 5 V at most",
                                  "socket 1 = +12 V; chip pin 1 = A15", "cut the trace to position 1 before power"))  # fmt: skip
    wires = (*list_wires(plan), *list_ties(plan))
    sections = (
        Section("What and why", (Facts((("board", board), ("socket", "U7"), ("original", plan.original.name),
                                        ("chip", chip), ("16-bit sum", "3F7A"), ("CRC-32", "1C291CA3"))), *found), True),
        Section("Before you start", (Words("Local rules and licensed practice come first."),
                                     Words("Mains voltage inside the power supply: unplug it first.", loud=True),
                                     Ticks((Tick("Wear a wrist strap, earthed through its resistor"),
                                            Tick("Take out the chips that cannot be bought again"))))),
        Section("Supplies, with the socket empty", (Ticks((Tick("position 28 against position 14", "V", "+4.75 to +5.25 V"),
                                                           Tick("current of the whole board", "mA", "about 600 mA"))),), True),
        Section("The chip", (Picture(f"{chip}, seen from above", build_svg(plan.chip), tuple(draw_text(plan.chip, False))),), True),
        Section("Links", (Picture(f"{board}, its links", build_board_svg(require_board(board))),), True),
        *(Section(f"Wiring, {view}", (Picture(f"{title_of(plan)}, {view}", view_svg(plan, mirrored)),), True)
          for mirrored, view in enumerate(VIEWS)),
        Section("Wires", (Table(HEADER, wires, ticked=True, wide=3), *map(Words, list_straight(plan)))),
        Section("After fitting", (Ticks((Tick("pin 20 of the chip pulses", "kHz", "some 100 kHz"),)),
                                  Words("If the lamps stay dark: read the three likeliest findings above."))),
    )  # fmt: skip
    return Sheet(f"{title}: {chip} in place of {socket}", "The logger's ROM is rotten.", "2026-11-25", sections,
                 tuple(unchecked(plan)))  # fmt: skip


def samples():
    """Sheets as the bench meets them: the demo, 24 pins in 28, 16 bits, a stop, a foreign title, much of everything."""
    tern = ("rom-23128-style-b", "28C256", ((20, "L"), (22, "L"), (27, "L")))
    long = Table(("address", "was", "is", "remark"), tuple((f"{n:04X}", "5A", "A5", "rotten " * (n % 7)) for n in range(200)))
    return {
        "tern": sheet_of(*tern, title="Tern TL-1, U7"),
        "24in28": sheet_of("rom-2364-24", "27C64", ((20, "H"),)),
        "wide": sheet_of("27C4096", "27C400"),
        "stop": sheet_of("2564", "27C64", stop=True),
        "hostile": Sheet(TITLE, "why? " * 60, "2026-11-25", (
            Section(TITLE, (Words(TITLE, loud=True), Facts(((TITLE, TITLE), ("w" * 300, "v" * 500))),
                            Table((TITLE, "b"), ((TITLE, "w" * 500),) * 3, ticked=True),
                            Statement(Severity.STOP, "x" * 200, TITLE, TITLE, TITLE),
                            Ticks((Tick(TITLE, "V" * 50, TITLE),)))),
            Section("A long table", (long,)),
        ), (TITLE,)),
    }  # fmt: skip


