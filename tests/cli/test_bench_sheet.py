"""What stands on the bench sheet of real jobs, each run by `romwright run` as a user does, sentence by sentence.

Sums and CRCs are worked out here from the bytes, by the standard library; parts and links are told from data sheets'
pages and from the board's file.
"""

import os
import re
import shutil
import subprocess
import sys
import zlib
from pathlib import Path

import pytest
from conftest import require

from romwright.fit.standins import unchecked_pins
from romwright.jobs.doubts import BURNT, SAID
from romwright.parts.library import part_names, require_part
from romwright.sheets.drawing import SHOWN

TERN = Path(__file__).parents[2] / "fixtures" / "tern"
HEAD = 'title = "{0}"\nwhy = "it is dead"\ndate = "1985-03-02"\n'
FIT = '[fit]\nfrom = "{0}"\npolarity = "{1}"\nchip = "{2}"\nconfirmed = "{2}"\n'
BURN = '[contents]\nfiles = ["rom.bin"]\n'
NAMED = '[outputs]\nname = "x"\nkinds = ["burn", "text", "page", "pdf"]\n'
BOARD = '[fit]\nboard = "tern-tl-1"\nsocket = "U7"\nnow = "LK1=2-3,LK2=1-2"\nchip = "{0}"\n'
DUMP = '[[dumps]]\nfiles = ["dump.bin"]\nreference = "good.bin"\n'
TELL = '[after]\nshows = ["the lamps count up"]\nmeasure = ["U5 pin 4 pulses"]\n'
JOBS = {  # name: the job's file, and how large its contents are
    "tern": (DUMP + '[contents]\nfiles = ["diagnostic.bin"]\n' + BOARD.format("28C256") + TELL, 0),
    "24in28": (BURN + FIT.format("rom-2364-24", "20=L", "2764"), 8192),
    "high": (BURN + FIT.format("rom-2364-24", "20=H", "27C64"), 8192),
    "words": (BURN + FIT.format("rom-4m-40-x16", "", "27C4096"), 1 << 19),
    "stop": (BOARD.format("TMS2716"), 0),
    "straight": (BURN + '[fit]\nboard = "kittiwake-kw-68"\nsocket = "U4"\nchip = "27C256"\n', 32768),
}


def contents(size):
    """Bytes that spell their address."""
    return bytes((at * 7 + (at >> 8) * 13 + (at >> 3)) & 255 for at in range(size))


@pytest.fixture(scope="module")
def sheets(tmp_path_factory):
    """The folder of outputs of each job, with what `run` gave as its exit status."""
    made = {}
    for name, (text, size) in JOBS.items():
        folder = tmp_path_factory.mktemp(name)
        for copy, source in (("dump", "logger-rotten"), ("good", "logger"), ("diagnostic", "diagnostic")):
            shutil.copy(TERN / f"{source}.bin", folder / f"{copy}.bin")
        (folder / "rom.bin").write_bytes(contents(size))
        (folder / "job.toml").write_text(HEAD.format(f"Job {name}") + text + NAMED, "utf-8")
        call = [sys.executable, "-m", "romwright", "run", "job.toml"]
        done = subprocess.run(call, cwd=folder, capture_output=True, text=True, timeout=120)
        assert done.returncode in (0, 1), done.stderr
        made[name] = folder / "out", done.returncode
    return made


@pytest.fixture
def text_of(sheets):
    """The sheet of a job in one line, every space one; or one section of it by its heading."""

    def read(name, section=""):
        text = (sheets[name][0] / "x-sheet.txt").read_text("utf-8")
        assert max(map(len, text.splitlines())) <= 80
        if section:
            until = r"(?=^\d+\. |^!! UNCHECKED|\Z)"
            text = re.search(rf"^\d+\. {section}[^\n]*\n-+\n(.*?){until}", text, re.M | re.S)[1]
        return " ".join(text.split())

    return read


def test_the_order_is_that_of_the_work(sheets):
    text = (sheets["tern"][0] / "x-sheet.txt").read_text("utf-8")
    assert re.findall(r"^\d+\. ([A-Za-z, ]+)", text, re.M) == [
        "What and why", "Before you start", "Supplies, with the socket empty", "The dump dump", "The chip",
        "Burn it, and check the sums", "Links", "Wiring", "Wires", "After fitting", "If it does not work", "In time",
    ]  # fmt: skip


def test_what_and_why(text_of):
    assert "Job tern it is dead 1985-03-02" in text_of("tern")
    what = text_of("tern", "What and why")
    assert "U7 of Tern TL-1" in what and "28C256" in what and "diagnostic.bin" in what
    assert "16,384 addresses read in 4 states" in what


@pytest.mark.parametrize("name", JOBS)
def test_local_rules_come_first(text_of, name):
    assert text_of(name, "Before you start").startswith("!! Local rules and licensed practice come first")


@pytest.mark.parametrize(
    ("name", "solder", "ultraviolet", "unknown_rails", "volts"),
    [
        ("tern", True, False, False, ""), ("24in28", True, True, True, "21 V"),
        ("straight", False, True, False, "12.75 V"),
        ("high", True, True, True, "12.5 V"), ("stop", True, True, False, "26 V"),
    ],
)  # fmt: skip
def test_only_cautions_that_apply(text_of, name, solder, ultraviolet, unknown_rails, volts):
    said = text_of(name, "Before you start")
    assert ("Solder with" in said, "UV-C light" in said) == (solder, ultraviolet)
    assert ("old sockets may carry -5 V or +12 V" in said) == unknown_rails
    assert ("Programming voltage" in said) == bool(volts) and volts in said
    assert "CIE 187" in said if ultraviolet else "CIE 187" not in said


def test_a_boards_own_high_rails_are_named(romwright, tmp_path):
    job = HEAD.format("x") + '[fit]\nboard = "dunlin-dl-2"\nsocket = "U7"\nchip = "2732"\n' + NAMED
    (tmp_path / "job.toml").write_text(job)
    said = " ".join(romwright("sheet", "job.toml").out.split())
    assert "This board has +12V and -5V" in said and "old sockets may" not in said
    assert "rail +12V: test pad TP2 beside U20 against TP1, which is 0 V ________ V (expect +11.4 to +12.6 V)" in said
    assert "rail -5V: test pad TP3 beside U20 against TP1 ________ V (expect -5.25 to -4.75 V)" in said


def test_supplies_are_measured_against_the_boards_rails(text_of):
    said = text_of("tern", "Supplies")
    assert "[ ] position 28 (+5V) against position 14 ________ V (expect +4.75 to +5.25 V)" in said
    assert "[ ] every other position: the one furthest off ________ V (expect 0 to +5 V)" in said
    assert "[ ] supply current, socket empty ________ mA" in said
    assert "states no limits" not in said and "no verdict on RAM or ROM counts" in said
    assert "The socket's page states no limits for rails, supply current and the clock" in text_of("24in28", "Supplies")
    assert "[ ] position 24 (VCC) against position 12" in text_of("24in28", "Supplies")


def test_a_supply_that_a_link_brings_is_there_once_the_link_is_set(text_of):
    """LK1 of the Kittiwake puts +5 V or A16 at position 1; the links come after the supplies in the work."""
    said = text_of("straight", "Supplies")
    assert "position 1 (P1, with the links set as drawn below) against position 14 ________ V (expect +4.75 to +5.25 V)" in said
    assert "position 28 (+5V) against" in said and "set as drawn" not in text_of("tern", "Supplies")


def test_the_dumps_verdict_is_a_sentence(text_of):
    good, bad = ((TERN / f"{name}.bin").read_bytes() for name in ("logger", "logger-rotten"))
    wrong = sum(a != b for a, b in zip(good, bad))
    rose = sum((~a & b & 255).bit_count() for a, b in zip(good, bad))
    said = text_of("tern", "The dump")
    assert said.startswith(f"!! NOT GOOD: {wrong} of 16,384 bytes differ from good.bin: {rose} bits rose, 0 fell.")
    assert f"{zlib.crc32(bad):08X}" in said and "FAULT" in said


def test_a_dump_that_nothing_is_held_against(romwright, tmp_path):
    (tmp_path / "dump.bin").write_bytes(contents(4096))
    (tmp_path / "job.toml").write_text(HEAD.format("x") + '[[dumps]]\nfiles = ["dump.bin"]\n' + NAMED)
    said = " ".join(romwright("sheet", "job.toml").out.split())
    assert "NOT KNOWN: the job names nothing to hold it against: read the chip once more" in said


def test_a_dump_that_shows_by_itself_that_it_is_bad(romwright, tmp_path):
    """A0 without a contact: every byte stands there twice, which needs no reference to be seen."""
    good = (TERN / "diagnostic.bin").read_bytes()
    (tmp_path / "dump.bin").write_bytes(bytes(byte for byte in good for _ in range(2)))
    (tmp_path / "job.toml").write_text(HEAD.format("x") + '[[dumps]]\nfiles = ["dump.bin"]\n' + NAMED)
    run = romwright("sheet", "job.toml")
    assert run.status == 1 and "NOT GOOD: A0 reaches nothing" in " ".join(run.out.split())


def test_a_good_dump_is_called_good(romwright, tmp_path):
    shutil.copy(TERN / "logger.bin", tmp_path / "dump.bin")
    shutil.copy(TERN / "logger.bin", tmp_path / "good.bin")
    (tmp_path / "job.toml").write_text(HEAD.format("x") + DUMP + NAMED)
    assert "GOOD: every byte is that of good.bin." in romwright("sheet", "job.toml").out
    (tmp_path / "job.toml").write_text(HEAD.format("x") + DUMP.partition("reference")[0] + NAMED)
    assert "!! NOT KNOWN" in romwright("sheet", "job.toml").out


def test_the_chip_its_voltage_and_how_it_is_erased(text_of):
    said = text_of("24in28", "The chip")
    assert "Programming voltage: 21 V, never above 22 V (UNCHECKED). Read the marking first" in said
    assert "by maker 2764A: 12.5 V" in said and "8,192 x 8 EPROM, DIP-28" in said
    assert "by UV-C light through its window: 15 to 30 W s/cm2, 15 to 35 minutes at 12 mW/cm2" in said
    assert "then reads every byte FF (UNCHECKED)" in said
    assert "electrically, by the programmer" in text_of("tern", "The chip")


@pytest.mark.parametrize("name", ["tern", "24in28", "words"])
def test_the_sums_to_expect(sheets, text_of, name):
    burnt = (sheets[name][0] / "x.bin").read_bytes()
    said = text_of(name, "Burn it")
    assert f"[ ] the sum on the programmer's display (expect {sum(burnt) & 0xFFFF:04X})" in said
    assert f"burn x.bin, {len(burnt):,} bytes" in said and f"CRC-32 {zlib.crc32(burnt):08X}" in said


def test_links_are_drawn_as_they_must_be(sheets, text_of):
    said = text_of("tern", "Links")
    assert "[ ] LK1: move from 2-3 to 1-2" in said and "[ ] LK2: stays at 1-2" in said
    assert "/ROMSEL = P20 SET" in said and "P20 = /ACC is now" in said
    page = (sheets["tern"][0] / "x-sheet.html").read_text("utf-8")
    drawn = page[page.index("Pads in their order") : page.index("</figure>", page.index("Pads in their order"))]
    assert "SET 1-2:" in drawn and "is now 2-3:" in drawn and "stroke-dasharray" in drawn and "NOW" not in drawn
    assert "Links" not in text_of("24in28")


def test_the_wiring_is_drawn_from_both_sides(sheets):
    text = (sheets["24in28"][0] / "x-sheet.txt").read_text("utf-8")
    above, below = text[text.index("FROM ABOVE") : text.index("SOLDER SIDE")], text[text.index("SOLDER SIDE") :]
    assert re.search(r"UP: VCC -\|\* 1  VPP +VCC  28 \|- UP: VCC", above)
    assert re.search(r"UP: wire 1 -: 23  A11 +A4   6 :- socket 4 A4", below)
    page = (sheets["24in28"][0] / "x-sheet.html").read_text("utf-8")
    assert page.count(">FROM ABOVE<") == page.count(">SOLDER SIDE<") == 1 and page.count(">pin 1<") == 4


def test_each_wire_has_a_box(text_of):
    said = text_of("24in28", "Wires")
    for wire in ("[ ] 1 socket 18 A11 chip 23 A11", "[ ] GND socket 12 chip 20 /CE", "[ ] VCC socket 24 chip 28 VCC"):
        assert wire in said
    assert "Nothing to wire." in text_of("straight", "Wires")
    assert "X1 74LS04; pin 14 to VCC, pin 7 to GND; inputs not used: 3, 5, 9, 11, 13 to GND" in text_of("high", "Wires")


def test_after_fitting_says_what_to_measure_and_what_to_see(text_of):
    said = text_of("tern", "After fitting")
    for line in (
        "[ ] chip pin 28 (VCC) against pin 14 ________ V (expect +5 V)",
        "[ ] supply current, chip in ________ mA (expect at most 50 mA more;"
        " 350 to 800 mA from +5V with every chip in)",
        "[ ] chip pin 20 (/CE) (expect pulses L, in reads of C000-FFFF)",
        "[ ] chip pin 27 (/WE), tied to VCC ________ V (expect always H, +5 V)",
        "[ ] chip pin 10 (A0), frequency ________ kHz (expect never still while a program runs;"
        " in a free run 250 kHz)", "[ ] clock of the 6502 ________ MHz (expect 1 MHz)",
        "[ ] chip pin 11 (D0) (expect changes, at most 0.45 V, at least 2.4 V)",
        "[ ] U5 pin 4 pulses", "[ ] it should show: the lamps count up",
    ):  # fmt: skip
        assert line in said
    assert "the job's file does not say what it should ________ noted" in text_of("24in28", "After fitting")


def test_the_likeliest_findings_are_those_of_the_job(sheets, text_of):
    said = text_of("tern", "If it does not work")
    assert "LK1 still at 2-3" in said and "not wired: pin 27" in said
    burnt = (sheets["tern"][0] / "x.bin").read_bytes()
    assert f"not {sum(burnt) & 0xFFFF:04X}" in said and f"is {0xFF * len(burnt) & 0xFFFF:04X}," in said
    other = text_of("24in28", "If it does not work")
    assert "not wired: pins 1, 2," in other and "LK1" not in other
    crc = f"{zlib.crc32((sheets['words'][0] / 'x.bin').read_bytes()):08X}"
    assert f"Read the chip back: its CRC-32 must be {crc}." in text_of("words", "If it does not work")
    turned = bytearray(contents(1 << 19))
    turned[::2], turned[1::2] = turned[1::2], turned[::2]
    assert f"{zlib.crc32(turned):08X}" in text_of("words", "If it does not work")


def test_slips_of_the_hand_make_up_three_and_keys_are_spoken_of(romwright, tmp_path):
    (tmp_path / "a.bin").write_bytes(contents(4096))
    job = 'title = "x"\n[contents]\nfiles = ["a.bin"]\n[fit]\nfrom = "2764"\nchip = "27C64"\n[outputs]\nname = "x"\n'
    (tmp_path / "j.toml").write_text(job)
    assert romwright("run", "j.toml").status == 0
    [sheet] = (tmp_path / "out").glob("*-sheet.html")
    said = " ".join(re.sub("<[^>]*>", " ", sheet.read_text("utf-8")).split())
    assert "a leg bent under the chip" in said and "pins 11-13, 15-19" in said
    assert "notch at the wrong end" in said and "pin 14 (GND)" in said and "common practice, no source" in said
    assert "or give contents.repeat so that" in said and "--repeat" not in said


def test_the_costly_mistake_is_foretold(sheets):
    """The demo's own scenario: with LK1 left as it is the select never comes, and good RAM chips are called bad."""
    page = " ".join(re.sub("<[^>]*>", " ", (sheets["tern"][0] / "x-sheet.html").read_text("utf-8")).split())
    assert "all eight chips U10-U17 bad; nothing is wrong with them" in page and "a model" in page


def test_a_stop_is_at_the_top_and_nothing_is_switched_on(sheets, text_of):
    assert sheets["stop"][1] == 1
    text = (sheets["stop"][0] / "x-sheet.txt").read_text("utf-8")
    assert text.splitlines()[5].startswith("!! STOP: DO NOT POWER UP")
    assert text_of("stop", "After fitting").startswith("!! Leave the chip out")
    assert "switch on" not in text_of("stop", "After fitting").replace("do not switch on", "")
    assert "If it does not work" not in text and "DO NOT BUILD THIS" in text


def test_what_is_unchecked_is_printed_so(text_of):
    said = text_of("24in28")
    assert "!! Some values are UNCHECKED: see the end of the sheet." in said
    end = said[said.index("UNCHECKED: no document was read") :]
    assert "2764: when it drives; read levels" in end and "; VPP: 21 V, but" in end
    assert "rom-2364-24: row spacing: assumed" in end
    assert "28C256: erased byte" in text_of("tern")


def test_no_key_of_a_page_is_printed_as_unchecked():
    """At the bench nobody knows what read_levels are."""
    for name in part_names():
        part = require_part(name)
        entries = [*unchecked_pins(part), *part.unchecked_about(*SHOWN, *BURNT)]
        assert all(entry.partition(":")[0] in SAID for entry in entries), name


def test_findings_that_no_wire_changes_are_told(romwright, tmp_path):
    """A 6116 forgets, however it is wired."""
    (tmp_path / "job.toml").write_text(HEAD.format("x") + FIT.format("2716", "", "6116") + NAMED)
    run = romwright("sheet", "job.toml")
    assert run.status == 1 and "[volatile]" in run.out


@pytest.mark.parametrize(
    ("original", "polarity", "chip", "said"),
    [
        ("rom-6830", "10=L,11=L,13=L,14=L", "2708", ["STOP: DO NOT POWER UP: VDD of the chip (12 V)", "no -5 V"]),
        ("28C64B", "", "DS1225", ["in 1 of 8 states it is written where the original is not", "[write-states]"]),
    ],
)
def test_a_chip_that_stays_out_says_why(romwright, tmp_path, original, polarity, chip, said):
    """No wire brings the supplies of a 2708 to a socket of +5 V alone; it may not leave the bench without a reason."""
    (tmp_path / "job.toml").write_text(HEAD.format("x") + FIT.format(original, polarity, chip) + NAMED)
    run = romwright("sheet", "job.toml")
    text = " ".join(run.out.split())
    assert run.status == 1 and all(words in text for words in said)


@pytest.mark.parametrize(
    ("name", "most"), [("tern", 5), ("24in28", 4), ("high", 5), ("straight", 5), ("words", 6), ("stop", 5)]
)
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_few_pages(sheets, tmp_path, name, most, paper):
    """Of a board the last page has the margins of time, which nobody needs while the work goes well."""
    require("pdfinfo", "poppler-utils")
    call = [sys.executable, "-m", "romwright", "sheet", "job.toml", "-o", tmp_path / "s.pdf", "--paper", paper]
    subprocess.run(call, cwd=sheets[name][0].parent, capture_output=True, timeout=120)
    said = subprocess.run(["pdfinfo", tmp_path / "s.pdf"], capture_output=True, text=True).stdout
    assert int(re.search(r"Pages:\s+(\d+)", said)[1]) <= most


def test_hostile_words_stay_words_in_every_form(romwright, tmp_path):
    hostile = "<script>alert(1)</script> \\u001b[2J \\u202e ../../x </svg> (\\\\) endobj"
    name = "a<b>&\u202e.bin"
    (tmp_path / name).write_bytes(contents(8192))
    (tmp_path / "job.toml").write_text(
        f'title = "{hostile}"\nwhy = "{hostile}"\n[contents]\nfiles = ["{name}"]\n'
        + FIT.format("rom-2364-24", "20=L", "2764")
        + f'[after]\nshows = ["{hostile}"]\nmeasure = ["{hostile}"]\n' + NAMED,
        "utf-8",
    )  # fmt: skip
    assert romwright("run", "job.toml").status == 0
    out = tmp_path / "out"
    page, text = ((out / f"x-sheet.{kind}").read_text("utf-8") for kind in ("html", "txt"))
    assert not {"\x1b", "\u202e"} & {*page, *text} and "<script" not in page and "&lt;script&gt;" in page
    assert b"/JavaScript" not in (data := (out / "x-sheet.pdf").read_bytes()) and b"/URI" not in data
    assert os.listdir(tmp_path.parent) and not (tmp_path.parent.parent / "x").exists()
    if shutil.which("pdftotext"):
        shown = subprocess.run(["pdftotext", out / "x-sheet.pdf", "-"], capture_output=True, text=True).stdout
        assert "<script>alert(1)</script>" in shown and "\x1b" not in shown
