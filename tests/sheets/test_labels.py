"""Labels: the codes read back by zxing-cpp, an outside reader, from pages rendered by poppler and by Chromium."""

import hashlib
import io
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import zxingcpp
from conftest import require
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image, ImageFont
from pypdf import PdfReader

from romwright.errors import OptionError
from romwright.parts.bodies import BODY_ACROSS_MM, PITCH_MM, WINDOW_MM, has_window, judge_size, label_size
from romwright.parts.library import part_names, require_part
from romwright.sheets import codes
from romwright.sheets.labels import (
    Label,
    build_labels_pdf,
    build_labels_svg,
    cell,
    draw_label,
    judge_label,
    on_stock,
    sheets_of,
)  # fmt: skip
from romwright.sheets.pdf import FONTS, shown
from romwright.sheets.stock import Stock, label_stock, plain_paper
from romwright.sheets.vectors import Lettering, Outline, read_drawing

HEX = st.text("0123456789ABCDEF", min_size=16, max_size=16)
PACKAGES = {"DIP-24": "2716", "DIP-28": "27C256", "DIP-32": "27C010", "DIP-40": "27C400", "DIP-42": "27C800"}
FORMATS = {"qr": zxingcpp.BarcodeFormat.QRCode, "code128": zxingcpp.BarcodeFormat.Code128}
MM = 25.4
EXAMPLES = settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))


def label_for(package, code="qr", **changes):
    part = require_part(PACKAGES[package])
    assert part.package == package
    digest = hashlib.sha256(f"{package}{code}".encode()).hexdigest()
    width, height = label_size(part)
    values = {"name": "Tern TL-1 diagnostic", "part": part.name, "sum16": "01D4", "sha256": digest,
              "date": "2026-11-25", "width": width, "height": height, "code": code}  # fmt: skip
    return Label(**{**values, **changes})


ALL = [label_for(package, code) for package in PACKAGES for code in FORMATS]
PAPER = plain_paper("A4", max(label.width for label in ALL), 12)


def pixels(boxes, module=4, quiet=10):
    """Paint boxes in modules, with a quiet zone."""
    right, bottom = max(x + w for x, _, w, _ in boxes), max(y + h for _, y, _, h in boxes)
    sheet = np.full((int(bottom + 2 * quiet) * module, int(right + 2 * quiet) * module), 255, np.uint8)
    for x, y, w, h in boxes:
        sheet[
            int(y + quiet) * module : int(y + quiet + h) * module, (x + quiet) * module : (x + quiet + w) * module
        ] = 0
    return sheet


def read_codes(picture):
    return [(each.format, each.text) for each in zxingcpp.read_barcodes(picture)]


@EXAMPLES
@given(HEX)
def test_qr_says_its_characters(characters):
    boxes = list(codes.qr_boxes(characters))
    assert max(x + w for x, _, w, _ in boxes) == max(y + 1 for _, y, _, _ in boxes) == codes.QR_MODULES
    (code,) = zxingcpp.read_barcodes(pixels(boxes))
    assert (code.format, code.text, code.ec_level) == (zxingcpp.BarcodeFormat.QRCode, characters, "Q")


@EXAMPLES
@given(HEX, st.sampled_from(codes.BAR_DIGITS))
def test_code128_says_its_characters(characters, digits):
    boxes = list(codes.code128_boxes(characters[:digits], 20))
    assert boxes[-1][0] + boxes[-1][2] <= codes.bar_modules(digits)
    # On a picture without any blur the reader may find a second code in the same bars; on paper it does not (below).
    assert (zxingcpp.BarcodeFormat.Code128, characters[:digits]) in read_codes(pixels(boxes))


def test_modules_are_as_wide_as_said():
    assert codes.qr_for(12) == codes.Symbol("qr", 16, 8) and codes.qr_for(4.9) is None
    assert codes.code128_for(30.48) == codes.Symbol("code128", 8, 5) and codes.code128_for(24) is None
    assert codes.code128_for(100) == codes.Symbol("code128", 16, 8)
    assert codes.Symbol("qr", 16, 8).module == pytest.approx(0.33867, abs=1e-5)


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    """The labels of every package on one page, as files."""
    folder = tmp_path_factory.mktemp("labels")
    (folder / "labels.pdf").write_bytes(build_labels_pdf(ALL, PAPER))
    (svg,) = build_labels_svg(ALL, PAPER)
    (folder / "labels.svg").write_bytes(svg)
    return folder


def read_all(picture, dpi):
    """Read every label of the page where it lies, in a strip a little larger than the label."""
    grey = np.asarray(picture.convert("L"))
    for label, (_, x, y) in zip(ALL, PAPER.places(1, len(ALL))):
        left, top = x + (PAPER.label_width - label.width) / 2, y
        box = [round(each * dpi / MM) for each in (left - 2, top - 2, left + label.width + 2, top + label.height + 2)]
        found = read_codes(np.ascontiguousarray(grey[box[1] : box[3], box[0] : box[2]]))
        assert found == [(FORMATS[label.code], draw_label(label).digits)], (label.part, label.code, dpi)


@pytest.mark.parametrize(("dpi", "printed"), [(300, 1), (600, 1), (600, 0.8)])
def test_codes_are_read_from_the_pdf(pages, dpi, printed):
    """On paper as it is, and printed at 80 % by somebody who has not read the line below."""
    require("pdftoppm", "poppler-utils")
    stem = pages / f"at{dpi}-{printed * 100:.0f}"
    subprocess.run(
        ["pdftoppm", "-r", str(dpi * printed), "-png", "-singlefile", pages / "labels.pdf", stem], check=True
    )
    read_all(Image.open(stem.with_suffix(".png")), dpi * printed)


def test_codes_are_read_from_the_svg(pages):
    require("chromium", "chromium")
    picture, scale = pages / "svg.png", 300 / 96
    subprocess.run(
        ["chromium", "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--window-size=800,1130",
         f"--force-device-scale-factor={scale}", f"--screenshot={picture}", f"--user-data-dir={pages / 'profile'}",
         (pages / "labels.svg").as_uri()],
        check=True, capture_output=True, timeout=100,
    )  # fmt: skip
    read_all(Image.open(picture), 300)


@pytest.mark.parametrize("package", PACKAGES)
@pytest.mark.parametrize("code", FORMATS)
def test_nothing_stands_in_the_quiet_zone(package, code):
    """ISO/IEC 18004: 4 modules around; ISO/IEC 15417: 10 modules left and right."""
    label = label_for(package, code)
    drawn = draw_label(label)
    disc, bars, *words = drawn.marks
    left, top, right, bottom = extent(bars)
    quiet = drawn.symbol.quiet
    assert quiet == drawn.symbol.module * (4 if code == "qr" else 10)
    down = quiet if code == "qr" else 0
    zone = left - quiet, top - down, right + quiet, bottom + down
    assert zone[0] >= -1e-6 and zone[1] >= -1e-6 and zone[2] <= label.width + 1e-6 and zone[3] <= label.height + 1e-6
    for mark in (disc, *words):
        x, y, end, foot = extent(mark)
        assert end <= zone[0] + 1e-6 or x >= zone[2] - 1e-6 or foot <= zone[1] + 1e-6 or y >= zone[3] - 1e-6, mark


def extent(mark):
    """How far a mark reaches: left, top, right, bottom; letters as Pillow measures them."""
    if isinstance(mark, Outline):
        xs, ys = zip(*(point for _, points in mark.way for point in points))
        return max(min(xs), 0), min(ys), max(xs), max(ys)
    face = ImageFont.truetype(str(FONTS / f"DejaVuSans{'-Bold' * mark.bold}.ttf"), 200)
    left, top, right, bottom = (
        each * mark.size / 200 for each in face.getbbox(shown(mark.words, mark.bold), anchor="ls")
    )
    x, y = mark.at
    return x + min(left, 0), y + min(top, 0), x + right, y + max(bottom, 0)


NAMES = st.one_of(
    st.text(max_size=60), st.text("Wm ", min_size=1, max_size=500), st.just("x" * 5000),
    st.sampled_from(["<script>alert(1)</script> & \"'", "\x1b[31m\u202ered\u2066", "\u65e5 ROM", "\ud800", "a\nb"]),
)  # fmt: skip


@EXAMPLES
@given(NAMES, st.sampled_from(sorted(PACKAGES)), st.sampled_from(["qr", "code128", "none"]), st.text(max_size=24))
def test_words_stay_on_the_label(name, package, code, date):
    label = label_for(package, code, name=name, date=date)
    try:
        drawn = draw_label(label)
    except OptionError as error:
        assert "no room" in error.found and len(date) > 6
        return
    words = [mark for mark in drawn.marks if isinstance(mark, Lettering)]
    for mark in words:
        x, y, right, bottom = extent(mark)
        assert mark.size >= 1.41 - 1e-9 and x >= 0 and right <= label.width and bottom <= label.height + 0.05, mark
        assert mark.words.isprintable() and mark.at[1] - 0.75 * mark.size >= -0.35
    said = "".join(mark.words for mark in words).replace(" ", "")
    assert f"SHA-256{drawn.digits}" in said and label.part in said and "sum01D4" in said
    assert drawn.digits == label.sha256[: len(drawn.digits)].upper()
    assert [each.code.name for each in judge_label(label, drawn) if each.code.name == "name-cut"] == [
        "name-cut"
    ] * drawn.cut


def test_a_name_that_fits_is_whole_and_a_longer_one_is_cut_and_said_to_be():
    short, long = label_for("DIP-24"), label_for("DIP-24", name="word " * 200)
    assert not draw_label(short).cut and draw_label(long).cut
    assert "…" in "".join(mark.words for mark in draw_label(long).marks if isinstance(mark, Lettering))


@EXAMPLES
@given(st.lists(st.tuples(NAMES, st.sampled_from(["qr", "code128", "none"])), min_size=1, max_size=4))
def test_the_svg_has_the_marks_of_the_pdf(entries):
    labels = [label_for("DIP-28", code, name=name) for name, code in entries]
    stock = plain_paper("Letter", 30.48, 12)
    (svg,), (marks,) = build_labels_svg(labels, stock, 1, ["note <b>"]), sheets_of(labels, stock, 1, ["note <b>"])
    drawing = read_drawing(svg)
    assert (drawing.width, drawing.height) == (215.9, 279.4)
    paper, *seen = drawing.marks
    assert len(seen) == len(marks)
    for one, other in zip(seen, marks):
        assert type(one) is type(other)
        if isinstance(one, Lettering):
            assert one.words == other.words and one.at == pytest.approx(other.at, abs=1e-6)
        else:
            assert [kind for kind, _ in one.way] == [kind for kind, _ in other.way]
            for (_, points), (_, others) in zip(one.way, other.way):
                assert np.allclose(points, others, atol=1e-6) if points else not others


def test_the_pdf_has_the_words_and_nothing_that_acts():
    reader = PdfReader(io.BytesIO(build_labels_pdf([label_for("DIP-28", name="a <b> & (c) \\")], PAPER, 1, ["heed"])))
    (page,) = reader.pages
    text = page.extract_text()
    assert "a <b> & (c) \\" in text and "sum 01D4" in text and "100 mm long" in text and "heed" in text
    assert list(map(float, page.mediabox)) == pytest.approx([0, 0, 210 / MM * 72, 297 / MM * 72])
    assert "/Annots" not in page and "/OpenAction" not in reader.root_object
    assert reader.root_object["/ViewerPreferences"]["/PrintScaling"] == "/None"


def test_same_labels_same_bytes():
    code = (
        "import hashlib\nfrom romwright.sheets.labels import *\nfrom romwright.sheets.stock import plain_paper\n"
        "l = [Label('n', '27C256', '01D4', 'ab' * 32, '2026', code=c) for c in ('qr', 'code128')]\n"
        "p = plain_paper('A4', 30.48, 12)\n"
        "print(hashlib.sha256(build_labels_pdf(l, p) + b''.join(build_labels_svg(l, p))).hexdigest())"
    )
    seen = set()
    for changes in ({"PYTHONHASHSEED": "1"}, {"PYTHONHASHSEED": "2", "SOURCE_DATE_EPOCH": "1", "TZ": "Asia/Tokyo"}):
        environment = {**os.environ, **changes, "PYTHONPATH": str(Path(codes.__file__).parents[2])}
        seen.add(subprocess.run([sys.executable, "-c", code], env=environment, capture_output=True, check=True).stdout)
    assert len(seen) == 1


SIZES = st.tuples(st.floats(5, 80), st.floats(5, 60)).map(lambda pair: tuple(round(each, 1) for each in pair))


@EXAMPLES
@given(st.integers(1, 6), st.integers(1, 12), SIZES, st.floats(0, 5), st.floats(0, 5), st.integers(1, 200), st.data())
def test_labels_of_stock_lie_apart_on_the_sheet(columns, rows, label, across, down, count, data):
    sheet = columns * (label[0] + across) + 8, rows * (label[1] + down) + 8
    stock = label_stock(sheet, (columns, rows), label, None, (across, down))
    first = data.draw(st.integers(1, stock.count))
    places = list(stock.places(first, count))
    assert len(set(places)) == count
    for sheet_number, x, y in places:
        assert -1e-6 <= x <= sheet[0] - label[0] + 1e-6 and -1e-6 <= y <= sheet[1] - label[1] + 1e-6
        for other, left, top in places:
            same = (other, left, top) == (sheet_number, x, y)
            away = abs(left - x) >= label[0] - 1e-6 or abs(top - y) >= label[1] - 1e-6
            assert same or other != sheet_number or away
    assert [sheet_number for sheet_number, *_ in places] == [(first - 1 + n) // stock.count for n in range(count)]


def test_a_part_used_sheet_starts_at_the_label_that_is_named():
    stock = label_stock((210, 297), (5, 13), (38.1, 21.2), (4.7, 10.7), (2.5, 0))
    assert next(stock.places(8, 1)) == (0, pytest.approx(4.7 + 2 * 40.6), pytest.approx(10.7 + 21.2))
    assert [sheet for sheet, *_ in stock.places(65, 2)] == [0, 1]
    for wrong in (0, 66):
        with pytest.raises(OptionError, match="not on the sheet"):
            list(stock.places(wrong, 1))


@pytest.mark.parametrize(
    ("sheet", "grid", "label", "margin"),
    [((210, 297), (6, 13), (38.1, 21.2), (4.7, 10.7)), ((210, 297), (1, 1), (38, 21), (180, 0)),
     ((210, 5000), (1, 1), (38, 21), None), ((210, 297), (0, 1), (38, 21), None), ((210, 297), (1, 1), (1, 21), None)],
)  # fmt: skip
def test_stock_that_cannot_be(sheet, grid, label, margin):
    with pytest.raises(OptionError):
        label_stock(sheet, grid, label, margin, (2.5, 0))


def test_a_label_on_stock_lies_within_it_turned_if_need_be():
    label = label_for("DIP-28")
    wide, tall, small = (label_stock((210, 297), (1, 1), size) for size in ((38.1, 21.2), (21.2, 38.1), (25.4, 10)))
    assert on_stock(label, wide) == (label, False) and on_stock(label, tall) == (label, True)
    fitting, turned = on_stock(label, small)
    assert (fitting.width, fitting.height, turned) == (25.4, 10, False)
    for stock in (wide, tall, small):
        for mark in cell(label, stock):
            if isinstance(mark, Outline):
                x, y, right, bottom = extent(mark)
                assert x >= -1e-6 and right <= stock.label_width + 1e-6, mark
                assert y >= -1e-6 and bottom <= stock.label_height + 1e-6, mark
    assert any(mark.upwards for mark in cell(label, tall) if isinstance(mark, Lettering))


def test_a_turned_label_is_read_too(tmp_path):
    require("pdftoppm", "poppler-utils")
    label, stock = label_for("DIP-28"), label_stock((60, 60), (1, 1), (21.2, 38.1))
    (tmp_path / "t.pdf").write_bytes(build_labels_pdf([label], stock))
    subprocess.run(["pdftoppm", "-r", "300", "-png", "-singlefile", tmp_path / "t.pdf", tmp_path / "t"], check=True)
    picture = np.asarray(Image.open(tmp_path / "t.png").convert("L"))
    assert read_codes(picture) == [(FORMATS["qr"], draw_label(label).digits)]


def test_a_label_that_is_too_small_is_refused():
    for changes in ({"width": 9.0, "height": 9.0}, {"height": 6.0, "code": "code128"}, {"height": 4.0}):
        with pytest.raises(OptionError, match="no room"):
            draw_label(label_for("DIP-28", **changes))


@pytest.mark.parametrize("name", part_names())
def test_every_part_has_a_label_that_fits_its_body(name):
    part = require_part(name)
    if part.pin_count < 20:
        return  # bipolar PROMs of 16 and 18 pins: judged by the room for words, in the command
    width, height = label_size(part)
    assert width <= part.pin_count // 2 * PITCH_MM - 2 * PITCH_MM + 1e-6 and height < BODY_ACROSS_MM[part.row_pitch_mm]
    assert not list(judge_size(part, width, height))
    assert not has_window(part) or min(width, height) >= WINDOW_MM
    draw_label(Label("x", part.name, "01D4", "ab" * 32, "2026-11-25", width, height))


def test_a_qr_gives_way_to_words():
    """The module gets smaller, down to what any printer can do, before a name is cut."""
    long = draw_label(label_for("DIP-24", name="Tern TL-1 tide-gauge logger"))
    assert not long.cut and codes.FINE <= long.symbol.dots < draw_label(label_for("DIP-24", name="U7")).symbol.dots
    endless = draw_label(label_for("DIP-24", name="word " * 200))
    assert endless.cut and endless.symbol.dots == 8


def test_what_is_wrong_with_a_size_is_said():
    part = require_part("27C256")
    assert [each.code.name for each in judge_size(part, 40, 12)] == ["label-past-body"]
    assert [each.code.name for each in judge_size(part, 30, 8)] == ["window-bare"]
    assert isinstance(PAPER, Stock) and PAPER.cut
