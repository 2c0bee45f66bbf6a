"""The sheet as HTML: read by the standard library's parser, and by Chromium where it is installed."""

import base64
import hashlib
import re
import shutil
import subprocess
from html import escape
from html.parser import HTMLParser

import pytest
from hypothesis import HealthCheck, given, settings
from sheet_model import TITLE, samples, sheets, squeezed, strings_of

from romwright.sheets.document import STOPS, Picture, Section, Sheet, Table, Tick, Ticks, Words
from romwright.sheets.page import build_page

SAMPLES = samples()
MOST = 500_000
TAGS = """html head meta title style body header h1 h2 p div span b strong bdi ul ol li nav a section dl dt dd label
    input table thead tbody tr th td figure figcaption pre svg g path rect circle text"""
ATTRIBUTES = """lang dir charset http-equiv content name class id href role aria-label scope data-head type inputmode
    autocomplete size viewbox d fill stroke stroke-width stroke-dasharray stroke-linecap stroke-linejoin transform
    x y width height rx cx cy r font-size font-weight font-family text-anchor data-wire"""
EMPTY = {"meta", "input"}


class Reader(HTMLParser):
    """Collects what a page says; every element must be one of ours, and closed where it was opened."""

    def __init__(self, page):
        super().__init__()
        self.open, self.words, self.style, self.elements = [], [], "", []
        self.feed(page.decode("utf-8"))
        self.close()
        assert not self.open

    def handle_starttag(self, tag, attributes):
        assert tag in TAGS.split(), tag
        found = dict(attributes)
        assert len(found) == len(attributes) and not found.keys() - {*ATTRIBUTES.split()}, attributes
        assert re.fullmatch(r"#(s\d+|unchecked)", found.get("href", "#s1"))
        if tag not in EMPTY:
            self.open.append(tag)
        self.elements.append((tag, found))

    def handle_startendtag(self, tag, attributes):
        self.handle_starttag(tag, attributes)
        self.handle_endtag(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if self.open[-1:] == ["style"]:
            self.style += data
        else:
            self.words.append(data)

    def handle_comment(self, data):
        raise AssertionError(f"a comment: {data}")

    handle_pi = unknown_decl = handle_comment

    @property
    def text(self):
        return squeezed("".join(self.words))


def check(sheet):
    page = build_page(sheet)
    reader = Reader(page)
    for said in strings_of(sheet):
        assert squeezed(said) in reader.text, said
    assert page == build_page(sheet)
    return reader


@settings(max_examples=200, deadline=None, suppress_health_check=list(HealthCheck))
@given(sheets)
def test_everything_is_said_and_nothing_acts(sheet):
    check(sheet)


@pytest.mark.parametrize("name", SAMPLES)
def test_sheets_of_real_jobs(name):
    sheet = SAMPLES[name]
    reader = check(sheet)
    assert len(build_page(sheet)) <= MOST
    ids = [found["id"] for _, found in reader.elements if "id" in found]
    assert len(ids) == len(set(ids)) == len(sheet.sections) + bool(sheet.unchecked)
    assert {found["href"][1:] for _, found in reader.elements if "href" in found} <= set(ids)
    assert ("halt" in [found.get("class") for _, found in reader.elements]) == bool(sheet.stops)
    assert reader.text.count("DONOTPOWERUP") == bool(sheet.stops)


def test_the_policy_allows_the_style_of_the_page_and_nothing_else():
    reader = check(SAMPLES["stop"])
    (policy,) = [found["content"] for tag, found in reader.elements if "http-equiv" in found]
    digest = base64.b64encode(hashlib.sha256(reader.style.encode()).digest()).decode()
    assert policy == f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"
    assert not re.search(r"url|@import|expression|http", reader.style)


def test_each_thing_to_do_has_a_box_and_each_measurement_room():
    blocks = Ticks((Tick("a"), Tick("b", "V", "5 V"))), Table(("c",), (("d",),) * 3, ticked=True)
    sheet = Sheet("t", "", "", (Section("s", blocks),))
    kinds = [found["type"] for tag, found in check(sheet).elements if tag == "input"]
    assert kinds.count("checkbox") == 5 and kinds.count("text") == 1


def test_what_is_unchecked_is_marked():
    blocks = Words("12.5 V (unchecked)"), Table(("a",), (("UNCHECKED: b",), ("c",)))
    reader = check(Sheet("t", "", "", (Section("s", blocks),)))
    assert [found.get("class") for tag, found in reader.elements if tag in ("p", "span")].count("unchecked") == 2


def test_a_foreign_picture_is_refused():
    for inside in ("<script>1</script>", '<a href="x"/>', '<rect width="1" height="1" onclick="x"/>', '<g id="a"/>'):
        svg = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9">{inside}</svg>'
        with pytest.raises(ValueError, match="unknown"):
            build_page(Sheet("t", "", "", (Section("s", (Picture("c", svg.encode()),)),)))


def test_a_block_that_is_none_is_refused():
    with pytest.raises(TypeError, match="no page for a Section"):
        build_page(Sheet("t", "", "", (Section("s", (Section("inner", ()),)),)))


MEASURE = """<body style="margin:0"><iframe id=f style="border:0;width:{width}px;height:900px" srcdoc="{page}"></iframe>
<p id=o></p><script>onload = () => {{ let d = f.contentDocument, e = d.documentElement;
let past = [...d.querySelectorAll("body *")].filter(x => x.getBoundingClientRect().right > {width} + 0.5);
past = past.filter(x => !x.closest(".drawn svg"));
let tiny = [...d.querySelectorAll(".drawn svg")].filter(x => x.getBoundingClientRect().width < 600);
let small = [...d.querySelectorAll("label:has([type=checkbox])")].filter(x => x.getBoundingClientRect().height < 44);
o.textContent = ["measured", e.scrollWidth, past.length, small.length, tiny.length, d.title].join(" ") }}</script>"""


@pytest.mark.parametrize("name", SAMPLES)
def test_nothing_scrolls_sideways_on_a_phone_and_boxes_fit_a_thumb(name, tmp_path, width=360):
    """44 CSS pixels: the target size of WCAG 2.1, success criterion 2.5.5. Only a drawing scrolls, in its own box."""
    if shutil.which("chromium") is None:
        pytest.skip("chromium is not installed")
    frame = tmp_path / "frame.html"
    page = build_page(SAMPLES[name]).decode("utf-8")
    frame.write_text(MEASURE.format(width=width, page=escape(page)), "utf-8")
    call = ["chromium", "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--dump-dom",
            f"--user-data-dir={tmp_path / 'profile'}", "--virtual-time-budget=5000", frame.as_uri()]  # fmt: skip
    done = subprocess.run(call, capture_output=True, text=True, encoding="utf-8", timeout=120)
    found = re.search(r'<p id="o">measured (\d+) (\d+) (\d+) (\d+) (.*?)</p>', done.stdout, re.DOTALL)
    assert found, done.stderr
    assert found.group(1, 2, 3, 4) == (str(width), "0", "0", "0")
    if name == "hostile":
        assert "&lt;script&gt;alert(1)" in found[5] and TITLE[:9] in found[5]


@pytest.mark.parametrize("name", SAMPLES)
def test_a_stop_stands_on_every_page_that_a_browser_prints(name, tmp_path):
    if shutil.which("chromium") is None or shutil.which("pdftotext") is None:
        pytest.skip("chromium or poppler-utils is not installed")
    (tmp_path / "page.html").write_bytes(build_page(SAMPLES[name]))
    call = ["chromium", "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer",
            f"--user-data-dir={tmp_path / 'profile'}", f"--print-to-pdf={tmp_path / 'page.pdf'}",
            (tmp_path / "page.html").as_uri()]  # fmt: skip
    subprocess.run(call, capture_output=True, timeout=120)
    told = subprocess.run(["pdftotext", tmp_path / "page.pdf", "-"], capture_output=True, timeout=60).stdout.decode()
    *pages, rest = told.split("\f")
    assert pages and not rest
    assert {STOPS in page for page in pages} == {bool(SAMPLES[name].stops)}
