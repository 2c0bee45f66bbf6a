"""The sheet as PDF: read back by pypdf, an outside reader, and measured with Pillow."""

import io
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from pypdf import PdfReader
from sheet_model import CJK, CYRILLIC, TITLE, samples, sheets, squeezed, strings_of

from romwright.sheets.document import Facts, Picture, Section, Sheet, Table, Words
from romwright.sheets.frame import Frame
from romwright.sheets.pages import Pages
from romwright.sheets.pdf import FONTS, FOOT, LACKING, PAPERS, SIDE, TOP, as_seen, build_pdf, measure, shown
from romwright.sheets.strips import strips_of
from romwright.sheets.vectors import Lettering

SRC = Path(__file__).parents[2]
SAMPLES = samples()


def read(sheet, paper="A4"):
    return PdfReader(io.BytesIO(build_pdf(sheet, paper)), strict=True)


def text_of(reader):
    """All text, in the order in which it is printed, without its spaces."""
    return squeezed("".join(page.extract_text() for page in reader.pages))


def printed(words):
    """What is to be found of words: the two fonts have the same letters, but for a few."""
    return {squeezed(shown(words, bold)) for bold in (False, True)}


def inside(sheet, paper="A4"):
    """Lay the sheet out; no page is overfull, no letters reach over its edges, as Pillow measures them."""
    from PIL import ImageFont

    faces = {bold: ImageFont.truetype(str(FONTS / f"DejaVuSans{'-Bold' * bold}.ttf"), 100) for bold in (False, True)}
    width, height = PAPERS[paper]
    frame = Frame(width - 2 * SIDE, height - TOP - FOOT, measure)
    pages = Pages(frame.height).fill(strips_of(sheet, frame))
    for page in pages:
        for y, strip in page:
            assert y + strip.height <= frame.height + 0.01
            for mark in strip.marks:
                if isinstance(mark, Lettering):
                    length = faces[mark.bold].getlength(shown(mark.words, mark.bold)) * mark.size / 100
                    start = mark.at[1] if mark.upwards else mark.at[0]
                    start -= length * {"start": 0, "middle": 0.5, "end": 1}[mark.anchor] * (-1 if mark.upwards else 1)
                    if not mark.upwards:
                        assert start >= -2 and start + length <= frame.width + 2, mark
                    assert -2 <= mark.at[1] <= strip.height + 2, mark
    return pages


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(sheets)
def test_every_string_is_printed(sheet):
    inside(sheet)
    text = text_of(read(sheet))
    for said in strings_of(sheet):
        assert any(found_in_order(words, text) for words in printed(said)), said


def found_in_order(words, text):
    """Whether the letters of words are all there in their order; other cells may stand between them.

    What lies beyond U+FFFF is printed, but ReportLab's table from glyphs back to letters cannot say it.
    """
    left = iter(text)
    return all(c in left for c in words if ord(c) < 0x10000)


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("name", SAMPLES)
def test_sheets_of_real_jobs(name, paper):
    sheet = SAMPLES[name]
    pages, reader = inside(sheet, paper), read(sheet, paper)
    assert len(reader.pages) == len(pages)
    text = text_of(reader)
    for said in strings_of(sheet):
        assert len(said) > 60 or any(words in text for words in printed(said)), said
    for number, page in enumerate(reader.pages, 1):
        assert list(map(float, page.mediabox)) == pytest.approx([0, 0, *PAPERS[paper]])
        assert squeezed(f"page {number} of {len(pages)}") in squeezed(page.extract_text())
    assert reader.metadata.title == sheet.title
    assert reader.root_object["/Lang"] == "en-GB"
    titles = [entry.title for entry in reader.outline]
    assert titles[: len(sheet.sections)] == [f"{n}. {each.heading}" for n, each in enumerate(sheet.sections, 1)]


@pytest.mark.parametrize("name", SAMPLES)
def test_all_fonts_are_embedded_and_nothing_in_it_acts(name):
    reader = read(SAMPLES[name])
    fonts = {}
    for page in reader.pages:
        for font in page["/Resources"]["/Font"].values():
            fonts[font["/BaseFont"]] = "/FontFile2" in font["/FontDescriptor"]
        assert "/Annots" not in page and "/AA" not in page
    assert fonts and all(fonts.values()) and all("DejaVuSans" in name for name in fonts)
    assert "/OpenAction" not in reader.root_object and "/JavaScript" not in str(reader.root_object.get("/Names"))


def test_what_the_font_lacks_is_printed_as_a_mark():
    text = text_of(read(Sheet(CYRILLIC, CJK, "", ())))
    assert squeezed(CYRILLIC) in text and LACKING * len(CJK) in text


def test_letters_that_run_to_the_left_stand_so_on_paper():
    words = "a \u05d0\u05d1 \u05d2 1 \u05d3\u05d4 z"
    assert as_seen(words) == "a \u05d2 \u05d1\u05d0 1 \u05d4\u05d3 z"


def test_a_whole_section_is_not_broken_and_another_is():
    lines = tuple(Words(f"line {n}") for n in range(20))
    first = Section("first", lines)
    for whole in (True, False):
        (before, *_, after) = inside(Sheet("t", "", "", (first, Section("second", lines, whole))))
        heading = [strip.mark for _, strip in before].count("2. second")
        assert heading == (0 if whole else 1) and bool(after)


def test_a_heading_is_not_left_alone_at_the_foot():
    for count in range(30, 50):
        sections = Section("one", tuple(Words("x") for _ in range(count))), Section("two", (Words("y"),))
        for page in inside(Sheet("t", "", "", sections)):
            assert not page[-1][1].mark


def test_the_head_of_a_table_comes_again_on_each_page():
    table = Table(("address", "was"), tuple((f"{n:04X}", "5A") for n in range(150)), ticked=True)
    reader = read(Sheet("t", "", "", (Section("s", (table,)),)))
    assert len(reader.pages) > 3 and all("address" in page.extract_text() for page in reader.pages)
    text = text_of(reader)
    assert all(f"{n:04X}5A" in text for n in range(150))


def test_a_cell_longer_than_a_page_is_broken():
    sheet = Sheet("t", "", "", (Section("s", (Table(("a", "b"), (("x", "word " * 3000),)),), whole=True),))
    assert len(inside(sheet)) >= 3
    assert text_of(read(sheet)).count("word") == 3000


def test_words_of_any_length_are_broken():
    long = "x" * 12_000
    blocks = Words(long, loud=True), Facts(((long, long),)), Table((long,), ((long,),))
    sheet = Sheet(long, "", "", (Section(long, blocks),))
    assert len(inside(sheet)) > 10
    assert text_of(read(sheet)).count("x") >= 7 * len(long)


def test_a_wide_drawing_is_laid_on_its_side_if_it_gets_larger():
    view = next(s for s in SAMPLES["wide"].sections if s.heading.startswith("Wiring"))
    marks = [mark for page in inside(Sheet("t", "", "", (view,))) for _, strip in page for mark in strip.marks]
    sizes = [mark.size for mark in marks if isinstance(mark, Lettering) and mark.upwards]
    assert sizes and min(sizes) > 5.5 and sorted(sizes)[len(sizes) // 2] > 7


@pytest.mark.parametrize("name", SAMPLES)
def test_letters_in_drawings_can_be_read(name):
    """5.5 points is the smallest that is left of a name in a drawing."""
    for page in inside(SAMPLES[name]):
        for _, strip in page:
            for mark in strip.marks:
                if isinstance(mark, Lettering):
                    assert mark.size >= 5.5, mark


def test_another_paper_and_a_foreign_picture_are_refused():
    with pytest.raises(ValueError, match="A4 or Letter was expected, not 'A5'"):
        build_pdf(SAMPLES["tern"], "A5")
    foreign = Picture("c", b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><script/></svg>')
    with pytest.raises(ValueError, match="unknown element"):
        build_pdf(Sheet("t", "", "", (Section("s", (foreign,)),)))


def test_a_drawing_of_letters_is_printed_where_there_is_no_better():
    sheet = Sheet("t", "", "", (Section("s", (Picture("c", b"", ("+--+", "|ab|" * 40)),)),))
    inside(sheet)
    assert "|ab|" * 40 in text_of(read(sheet))


SAME = """
import hashlib, sys
from sheet_model import samples
from romwright.sheets.page import build_page
from romwright.sheets.pdf import build_pdf
from romwright.sheets.text import build_text
whole = hashlib.sha256()
for sheet in samples().values():
    for part in (build_text(sheet).encode(), build_page(sheet), build_pdf(sheet), build_pdf(sheet, "Letter")):
        whole.update(part)
print(whole.hexdigest())
"""


def test_the_same_bytes_whatever_the_process_the_zone_the_language_and_the_time():
    found = set()
    for more in (
        {"PYTHONHASHSEED": "1", "TZ": "Pacific/Auckland", "LANG": "tr_TR.UTF-8", "SOURCE_DATE_EPOCH": "1700000000"},
        {"PYTHONHASHSEED": "2", "TZ": "UTC", "LC_ALL": "C", "SOURCE_DATE_EPOCH": "yesterday"},
    ):
        path = os.pathsep.join(filter(None, [str(SRC / "src"), str(SRC / "tests")]))
        done = subprocess.run([sys.executable, "-c", SAME], env={**os.environ, **more, "PYTHONPATH": path},
                              capture_output=True, text=True, cwd=SRC)  # fmt: skip
        assert done.returncode == 0, done.stderr
        found.add(done.stdout)
        time.sleep(1.1)
    assert len(found) == 1


def test_a_title_of_markup_is_a_title():
    reader = read(Sheet(TITLE, "", "", (Section("s", (Facts((("a", "(b\\) Tj ET"),)),)),)))
    assert "<script>alert(1)</script>" in reader.metadata.title and "(b\\)TjET" in text_of(reader)


def test_every_page_of_a_stop_warns():
    """A page that has come loose must not be taken for one of a good sheet."""
    pages = [page.extract_text() for page in read(SAMPLES["stop"]).pages]
    assert len(pages) > 1 and all("STOP: DO NOT POWER UP" in page for page in pages)
    good = next(sheet for sheet in SAMPLES.values() if not sheet.stops)
    assert not any("POWER UP" in page.extract_text() for page in read(good).pages)
