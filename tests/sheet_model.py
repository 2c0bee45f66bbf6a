"""Bench sheets for tests: random ones out of hostile words, and those of real jobs."""

from functools import cache

from hypothesis import strategies as st
from plans import plan_of

from romwright.boards.library import require_board, require_cpu
from romwright.findings import Severity
from romwright.fit.onboard.boarding import plan_board
from romwright.parts.library import require_part
from romwright.sheets.adapter import draw_view
from romwright.sheets.board import build_board_svg
from romwright.sheets.document import Facts, Picture, Section, Sheet, Statement, Table, Tick, Ticks, Words
from romwright.sheets.drawing import build_svg, draw_text
from romwright.sheets.shapes import page
from romwright.sheets.wirelist import HEADER, list_straight, list_ties, list_wires
from romwright.sheets.wiring import VIEWS, title_of, unchecked

CYRILLIC, CJK, HEBREW = "ПЗУ регистратора", "潮位記録計", "לוח"
HOSTILE = (
    "<script>alert(1)</script>", "</title><img src=x onerror=alert(1)>", "\x1b[2J\x1b]0;owned\x07",
    "\u202egnp.exe\u202c", "../../etc/passwd", "w" * 500, "&amp; &#x41;", "{{ 7 * 7 }}{% raw %}",
    "]]>--><!--", "javascript:alert(1)", "",
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
    """A disc on a sheet with a foreign name."""
    disc = f'<circle cx="{draw(st.integers(0, 200))}" cy="9" r="8"/>'
    return Picture(draw(words), page(200, 120, draw(words), [disc]), tuple(draw(st.lists(words, max_size=3))))


blocks = st.one_of(
    st.builds(Words, words, st.booleans()),
    st.lists(st.tuples(words, words), max_size=4).map(lambda pairs: Facts(tuple(pairs))),
    st.lists(st.builds(Tick, words, words, words), max_size=4).map(lambda items: Ticks(tuple(items))),
    tables(),
    pictures(),
    st.builds(Statement, st.sampled_from(Severity), words, words, words, words),
)
sections = st.builds(Section, words, st.lists(blocks, max_size=5).map(tuple), st.booleans())
sheets = st.builds(
    Sheet, words, words, words, st.lists(sections, max_size=4).map(tuple), st.lists(words, max_size=3).map(tuple)
)


def strings_of(sheet):
    """Every string that a reader must find, on whatever it is printed; a picture's own lines are for text only."""
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


FOUND = (
    Statement(Severity.FAULT, "select-lost", "pin 20 of the socket selects nothing", "position 20 = /ROMSEL"),
    Statement(Severity.CAUTION, "slower", "the chip answers after 250 ns, the original after 200 ns",
              "access times of the pages", "read the marking of the chip"),
    Statement(Severity.NOTE, "part-shown", "address pins above the original's are at a constant level"),
)  # fmt: skip
STOP = Statement(Severity.STOP, "rail-on-signal", "position 1 carries +12 V, chip pin 1 takes 5 V at most",
                 "socket 1 = +12 V; chip pin 1 = A15", "cut the trace to position 1 before power")  # fmt: skip
BEFORE = (
    Words("Local rules and licensed practice come first."),
    Words("Mains voltage inside the power supply: unplug it first.", loud=True),
    Ticks((Tick("Wear a wrist strap, earthed through its resistor"), Tick("Take out the chips with a window"))),
)
SUPPLIES = Ticks((
    Tick("position 28 against position 14", "V", "+4.75 to +5.25 V"),
    Tick("current of the whole board", "mA", "about 600 mA"),
))  # fmt: skip
AFTER = Ticks((Tick("pin 20 of the chip pulses", "kHz", "some 100 kHz"),))


@cache
def tern():
    """The plan of the demo: the 28C256 in socket U7 of the Tern TL-1, as its step 08-plan asks for it."""
    board, chip = require_board("tern-tl-1"), require_part("28C256")
    socket = next(socket for socket in board.sockets if socket.name == "U7")
    now = {"LK1": "2-3", "LK2": "1-2"}
    return plan_board(board, require_cpu(board.cpu), socket, chip.ordered_as(chip.polarities({})[0]), now).plan


def sheet_of(plan, title, board="tern-tl-1", found=FOUND):
    """A whole sheet for a plan: supplies, statements, drawings, the table of wires, what is unchecked."""
    chip, original = plan.chip, plan.original
    facts = Facts((("board", board), ("original", original.name), ("chip", chip.name), ("16-bit sum", "3F7A")))
    package = Picture(f"{chip.name}, seen from above", build_svg(chip), tuple(draw_text(chip, boxes=False)))
    links = Picture(f"{board}, its links", build_board_svg(require_board(board)))
    wires = Table(HEADER, (*list_wires(plan), *list_ties(plan)), ticked=True, wide=3)
    views = [Picture(title_of(plan), view_svg(plan, mirrored)) for mirrored in (False, True)]
    sections = (
        Section("What and why", (facts, *found), whole=True),
        Section("Before you start", BEFORE),
        Section("Supplies, with the socket empty", (SUPPLIES,), whole=True),
        Section("The chip", (package,), whole=True),
        Section("Links", (links,), whole=True),
        *(Section(f"Wiring, {view}", (picture,), whole=True) for view, picture in zip(VIEWS, views)),
        Section("Wires", (wires, *map(Words, list_straight(plan)))),
        Section("After fitting", (AFTER, Words("If the lamps stay dark: read the three likeliest findings."))),
    )
    return Sheet(title, "The logger's ROM is rotten.", "2026-11-25", sections, tuple(unchecked(plan)))


@cache
def samples():
    """Sheets as the bench meets them: the demo, 24 pins in 28, 16 bits, a stop; and one of hostile words."""
    rotten = tuple((f"{n:04X}", "5A", "A5", "rotten " * (n % 7)) for n in range(200))
    hostile = (
        Words(TITLE, loud=True), Facts(((TITLE, TITLE), ("w" * 300, "v" * 500))),
        Table((TITLE, "b"), ((TITLE, "w" * 500),) * 3, ticked=True),
        Statement(Severity.STOP, "x" * 200, TITLE, TITLE, TITLE), Ticks((Tick(TITLE, "V" * 50, TITLE),)),
    )  # fmt: skip
    long = Section("A long table", (Table(("address", "was", "is", "remark"), rotten),))
    return {
        "tern": sheet_of(tern(), "Tern TL-1: 28C256 in U7"),
        "24in28": sheet_of(plan_of("rom-2364-24", "27C64", ((20, "H"),)), "27C64 in place of a 2364"),
        "wide": sheet_of(plan_of("27C4096", "27C400"), "27C400 in place of a 27C4096"),
        "stop": sheet_of(plan_of("2564", "27C64"), "27C64 in place of a 2564", found=(STOP, *FOUND)),
        "hostile": Sheet(TITLE, "why? " * 60, "2026-11-25", (Section(TITLE, hostile), long), (TITLE,)),
    }
