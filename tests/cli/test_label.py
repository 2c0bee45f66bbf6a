"""`romwright label` as a user runs it; the digests by hashlib, the sums by hand."""

import hashlib
import io
import re

import pytest
from pypdf import PdfReader

from romwright.sheets.vectors import read_drawing

STOCK = ("--stock", "210x297", "--grid", "5x13", "--label", "38.1x21.2", "--margin", "4.7,10.7", "--gap", "2.5,0")
DATA = bytes(range(256)) * 128
HOSTILE = "<b>&\"'\x1b[31m\u202e../../etc"


@pytest.fixture
def burned(tmp_path):
    (tmp_path / "burn-me.bin").write_bytes(DATA)
    return tmp_path


def test_one_label_on_plain_paper(romwright, burned):
    done = romwright("label", "burn-me.bin", "--for", "27C256", "--date", "25 Nov 2026", "-o", "l.pdf", "--json")
    assert done.status == 0, done.err
    answer = done.json
    (label,) = answer["labels"]
    digest = hashlib.sha256(DATA).hexdigest()
    assert label["name"] == "burn-me" and label["sha256"] == digest and label["digits"] == digest[:16].upper()
    assert label["sum16"] == f"{sum(DATA) & 0xFFFF:04X}"
    assert label["code"] == {"kind": "qr", "module_mm": 0.3387}
    assert (answer["width_mm"], answer["height_mm"], answer["sheets"], answer["first"]) == (30.48, 12, 1, 1)
    assert "opaque" in answer["notes"][0] and "unchecked" in answer["unchecked"][0]
    pdf = (burned / "l.pdf").read_bytes()
    assert answer["files"] == [
        {"file": "l.pdf", "format": "pdf", "size": len(pdf), "sha256": hashlib.sha256(pdf).hexdigest()}
    ]
    text = PdfReader(io.BytesIO(pdf)).pages[0].extract_text()
    assert "25 Nov 2026" in text and "opaque" in text and "27128A" in text and "27C256" in text


def test_what_is_printed_on_the_screen(romwright, burned):
    done = romwright("label", "burn-me.bin", "--for", "28C256", "-o", "l.svg", *STOCK, "--copies", 3, "--first", 64)
    assert done.status == 0, done.err
    assert "3 labels for the 28C256, 30.48 x 12 mm, QR of 16 digits, modules 0.339 mm; 2 sheets" in done.out
    assert "opaque" not in done.out and "half disc" in done.out
    assert "written: l-0.svg" in done.out and "written: l-1.svg" in done.out
    for name in ("l-0.svg", "l-1.svg"):
        read_drawing((burned / name).read_bytes())


def test_several_files_and_a_smaller_one_is_filled(romwright, burned):
    (burned / "half.bin").write_bytes(DATA[:16384])
    names = ("--name", "one", "--name", "two")
    done = romwright("label", "burn-me.bin", "half.bin", "--for", "M27C256B", *names, "-o", "l.pdf", "--json")
    one, two = done.json["labels"]
    assert (one["name"], two["name"]) == ("one", "two")
    filled = DATA[:16384] + b"\xff" * 16384
    assert two["sha256"] == hashlib.sha256(filled).hexdigest() and two["sum16"] == f"{sum(filled) & 0xFFFF:04X}"
    assert [each["code"] for each in done.json["findings"]] == ["partly-filled"]
    again = romwright("label", "half.bin", "--for", "27C256", "--repeat", "-o", "m.pdf", "--json")
    assert again.json["labels"][0]["sha256"] == hashlib.sha256(DATA[:16384] * 2).hexdigest()


@pytest.mark.parametrize("output", ["l.pdf", "l.svg"])
def test_hostile_names_stay_inert(romwright, burned, output):
    done = romwright("label", "burn-me.bin", "--for", "27C256", "--name", HOSTILE, "--date", "<i>&", "-o", output)
    assert done.status == 0 and "\x1b" not in done.out and "\u202e" not in done.out
    data = (burned / output).read_bytes()
    if output == "l.svg":
        read_drawing(data)
        assert b"<b>" not in data and b"<i>" not in data
    else:
        assert "<b>&" in PdfReader(io.BytesIO(data)).pages[0].extract_text()
    assert b"\x1b" not in re.sub(rb"(?s)stream\r?\n.*?endstream", b"", data)
    assert sorted(path.name for path in burned.iterdir()) == sorted(["burn-me.bin", output])


def test_the_same_bytes_each_time(romwright, burned):
    for name in ("a.pdf", "b.pdf"):
        romwright("label", "burn-me.bin", "--for", "27C256", "-o", name, env={"PYTHONHASHSEED": str(ord(name[0]))})
    assert (burned / "a.pdf").read_bytes() == (burned / "b.pdf").read_bytes()


def test_a_label_larger_than_the_body_and_one_that_bares_a_window(romwright, burned):
    for size, code in (("60x20", "label-past-body"), ("30x9", "window-bare")):
        done = romwright(
            "label", "burn-me.bin", "--for", "27C256", "--size", size, "-o", "l.pdf", "--json", "--overwrite"
        )
        assert done.status == 0 and [each["code"] for each in done.json["findings"]] == [code]
        assert done.json["unchecked"] == []


BAD = {
    "no such file": (["none.bin", "-o", "l.pdf"], "no such file"),
    "no kind": (["burn-me.bin", "-o", "l.png"], "ends in .pdf or .svg"),
    "no name": (["burn-me.bin", "-o", "l"], "ends in .pdf or .svg"),
    "an input": (["burn-me.bin", "-o", "../x/burn-me.bin"], "ends in .pdf or .svg"),
    "half of a stock": (["burn-me.bin", "-o", "l.pdf", "--stock", "210x297"], "without --grid and --label"),
    "a size": (["burn-me.bin", "-o", "l.pdf", "--size", "30by12"], "cannot be read"),
    "a size of nothing": (["burn-me.bin", "-o", "l.pdf", "--size", "0x0"], "5 to 1000 mm"),
    "not a number": (["burn-me.bin", "-o", "l.pdf", "--size", "nanxinf"], "cannot be read"),
    "a grid": (["burn-me.bin", "-o", "l.pdf", *STOCK, "--grid", "0x0"], "1 to 200"),
    "too many": (["burn-me.bin", "-o", "l.pdf", *STOCK, "--grid", "6x13"], "do not fit"),
    "a label that is not there": (["burn-me.bin", "-o", "l.pdf", *STOCK, "--first", "66"], "1 to 65"),
    "no label": (["burn-me.bin", "-o", "l.pdf", "--first", "0"], "0"),
    "names": (["burn-me.bin", "-o", "l.pdf", "--name", "a", "--name", "b"], "2 names for 1 image"),
    "an empty name": (["burn-me.bin", "-o", "l.pdf", "--name", " "], "the name is empty"),
    "a long date": (["burn-me.bin", "-o", "l.pdf", "--date", "x" * 500], "at most 24"),
    "too many copies": (["burn-me.bin", "-o", "l.pdf", "--copies", "99999999999"], "at most 2,000"),
    "no room": (["burn-me.bin", "-o", "l.pdf", "--size", "30x8", "--code", "code128"], "no room"),
    "a sheet": (["burn-me.bin", "-o", "l.pdf", "--size", "300x12"], "does not fit"),
    "an unknown part": (["burn-me.bin", "-o", "l.pdf", "--for", "27C25"], "no part"),
    "a mask ROM": (["burn-me.bin", "-o", "l.pdf", "--for", "rom-2364-24"], "mask ROM"),
    "too large": (["burn-me.bin", "-o", "l.pdf", "--for", "2716"], "at most 2,048"),
    "no images": (["-o", "l.pdf"], "IMAGE"),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_input(romwright, burned, case):
    words, told = BAD[case]
    done = romwright("label", "--for", "27C256", *words)
    assert done.status == 2 and told in done.err and not list(burned.glob("l*"))


def test_an_output_is_kept(romwright, burned):
    (burned / "l.pdf").write_bytes(b"mine")
    words = ("label", "burn-me.bin", "--for", "27C256", "-o", "l.pdf")
    assert romwright(*words).status == 2 and (burned / "l.pdf").read_bytes() == b"mine"
    assert romwright(*words, "--overwrite").status == 0
    (burned / "burned.pdf").write_bytes(DATA)
    done = romwright("label", "burned.pdf", "--for", "27C256", "-o", "burned.pdf", "--overwrite")
    assert done.status == 2 and "one of the inputs" in done.err and (burned / "burned.pdf").read_bytes() == DATA
