"""The next physical action with which commands close: true for the case, and never where nothing follows."""

import json
import random

import pytest

from romwright.cli.action import BLANKS, READ_AGAIN, after_read, setting_words
from romwright.codes import all_codes
from romwright.findings import Finding
from romwright.parts.library import read_all

GOOD = bytes((7 * n + (n >> 8) * 13 + (n * n >> 5)) & 0xFF for n in range(8192))
KNOWN, OTHER = random.Random(1).randbytes(8192), random.Random(2).randbytes(8192)


def next_of(run):
    """Return the action that an answer closes with, on one line; nothing if there is none."""
    text = run.out.rstrip("\n")
    assert text.count("\nNext: ") <= 1
    before, found, action = text.partition("\nNext: ")
    assert not found or (action.endswith(".") and "\n\n" not in action and before.endswith("\n"))
    return " ".join(action.split())


@pytest.fixture
def bench(romwright, tmp_path):
    """A good image and several bad reads of it."""
    crossed = bytes(GOOD[n & ~6 | (n & 2) << 1 | (n & 4) >> 1] for n in range(8192))
    rotten = bytearray(GOOD)
    for at in range(3, 8192, 300):
        rotten[at] |= 0x81
    stuck = bytes(GOOD[n & ~8] for n in range(8192))
    files = {"good": GOOD, "crossed": crossed, "rotten": bytes(rotten), "stuck": stuck, "blank": b"\xff" * 8192}
    for name, data in files.items():
        (tmp_path / f"{name}.bin").write_bytes(data)
    return romwright


def test_every_code_in_the_table_exists_once():
    named = [name for names in READ_AGAIN for name in names]
    assert len(named) == len(set(named)) and set(named) <= {code.name for code in all_codes()}


def test_what_hinders_most_comes_first():
    codes = {code.name: code for code in all_codes()}
    both = [Finding(codes["bits-rose"], "x"), Finding(codes["line-stuck"], "y")]
    assert after_read(both) == after_read(both[1:]) != after_read(both[:1])
    assert after_read([]) == after_read([Finding(codes["size-differs"], "x")]) == ""


def test_every_family_that_a_programmer_burns_has_its_words():
    assert set(BLANKS) | {"mask ROM", "SRAM"} == {part.family for part in read_all()}


@pytest.mark.parametrize(("dump", "words"), [
    ("good", ""), ("crossed", "reseat the chip and the adapter"), ("stuck", "check those lines"),
    ("rotten", "romwright settle"), ("blank", "supplied, selected and the right way round"),
])  # fmt: skip
def test_after_compare(bench, dump, words):
    action = next_of(bench("compare", "good.bin", f"{dump}.bin"))
    assert words in action and bool(words) == bool(action)


def test_after_inspect_of_one_file_only(bench):
    assert "then read it again" in next_of(bench("inspect", "blank.bin"))
    assert next_of(bench("inspect", "blank.bin", "good.bin")) == next_of(bench("inspect", "good.bin")) == ""


def test_after_identify(bench, tmp_path):
    bench("lists", "add", "known", "good.bin")
    (tmp_path / "few.bin").write_bytes(GOOD[:100] + bytes([GOOD[100] ^ 1]) + GOOD[101:])
    assert next_of(bench("identify", "good.bin")) == next_of(bench("identify", "few.bin", "blank.bin")) == ""
    assert next_of(bench("identify", "few.bin")).startswith("reseat the chip, read it again")
    assert "probably no list here has that ROM" in next_of(bench("identify", "blank.bin"))


@pytest.mark.parametrize("spoil, words", [
    (lambda data: bytes(byte | 8 for byte in data), "check those lines from the chip's pins"),
    (lambda data: bytes(byte & 0xF7 | level & 8 for byte, level in zip(data, OTHER)), "clean the pins, reseat the chip"),
    (lambda data: bytes(byte & 0xDB if byte & 0x24 != 0x24 else byte for byte in data), "solder or a whisker"),
    (lambda data: bytes(a & b for a, b in zip(data, OTHER)), "if another ROM shares these data lines, pull it"),
    (lambda data: data[:512] + bytes(512) + data[1024:], "reseat the chip, read it again"),
    (lambda data: data[77:] + data[:77], ""),
], ids=["stuck", "open", "joined", "two at once", "damaged", "shifted"])  # fmt: skip
def test_after_identify_of_a_bad_read(bench, tmp_path, spoil, words):
    for name, data in (("known", KNOWN), ("other", OTHER), ("bad", spoil(KNOWN))):
        (tmp_path / f"{name}.rom").write_bytes(data)
    bench("lists", "add", "known", "known.rom", "other.rom")
    action = next_of(bench("identify", "bad.rom"))
    assert words in action and bool(words) == bool(action)


def test_after_settle_as_many_reads_as_are_still_needed(bench, tmp_path):
    for number in range(7):
        (tmp_path / f"r{number}.bin").write_bytes(GOOD)
    reads = [f"r{number}.bin" for number in range(7)]
    assert next_of(bench("settle", *reads[:3])) == "take the chip out, seat it anew, and read it 4 times more."
    assert next_of(bench("settle", *reads[:6])) == "take the chip out, seat it anew, and read it once more."
    assert next_of(bench("settle", *reads)) == ""
    assert "three times more" in next_of(bench("settle", "good.bin", "crossed.bin"))


def test_after_repair(bench):
    reference = ("--reference", "good.bin")
    assert next_of(bench("repair", "good.bin", *reference)) == ""
    assert next_of(bench("repair", "rotten.bin", *reference)).startswith("read the chip a second time")
    assert next_of(bench("repair", "rotten.bin", *reference, "-o", "m.bin")).startswith("burn m.bin into a fresh chip")
    assert next_of(bench("repair", "crossed.bin", *reference)).startswith("put the lines right")
    assert next_of(bench("repair", "blank.bin", *reference)).endswith("keep this dump.")
    none = bench("repair", "rotten.bin", "--crc32", "12345678", "--decay", "rose", "--bits", "1")
    assert "reseat the chip" in next_of(none)


@pytest.mark.parametrize(("chip", "more", "words"), [
    ("2764", (), "read the marking on the 2764, and state it with --marking."),
    ("2764", ("--marking", "2764"), "burn out.bin into an erased 2764, and verify against the 16-bit sum "),
    ("28C256", ("--repeat",), "burn out.bin into the 28C256, and verify against the 16-bit sum "),
    ("27C256", ("--split", "2"), "burn out-0.bin and out-1.bin into an erased 27C256 each, and verify"),
    ("28C256", ("--split", "2"), "burn out-0.bin and out-1.bin into a 28C256 each"),
    ("27C1024", (), "verify against the sums above."),
])  # fmt: skip
def test_after_prepare(bench, chip, more, words):
    run = bench("prepare", "good.bin", "--for", chip, *more, "-o", "out.bin")
    assert words in next_of(run)
    if words.endswith("sum "):
        again = json.loads(bench("inspect", "out.bin", "--json").out)[0]
        assert next_of(run).endswith(f"{again['sum16']}.")


def test_the_name_of_a_file_stays_inert(bench):
    run = bench("prepare", "good.bin", "--for", "27C64", "-o", "[bold]\x1b[31m\u202e.bin")
    assert run.status == 0 and "burn [bold]\\x1b[31m\\x202e.bin into" in next_of(run)
    assert "\x1b" not in run.out and "\u202e" not in run.out


def test_after_wire(romwright):
    same = romwright("wire", "27C256", "27C256")
    assert next_of(same) == "switch off; plug the 27C256 in, its pin 1 at socket pin 1."
    stated = ("--polarity", "20=L,22=L,27=L")
    assert next_of(romwright("wire", "rom-23128-style-b", "28C256", *stated)) == (
        "switch off; bend up and wire chip pins 1, 20 and 27 as the table says, with the 74LS32; "
        "plug the 28C256 in, its pin 1 at socket pin 1."
    )
    assert "polarity of pin 20, 22 and 27" in next_of(romwright("wire", "rom-23128-style-b", "28C256"))
    lost = next_of(romwright("wire", "rom-23128-style-a", "28C256", *stated, "--prefer", "no-gates"))
    assert lost.startswith("see that the board never makes the states in which the two differ; switch off; ")
    assert "its pin 3 at socket pin 1" in next_of(romwright("wire", "2716", "27128"))


def test_after_wire_on_a_board_and_prove(romwright):
    now = romwright("wire", "U7", "28C256", "--board", "tern-tl-1", "--now", "LK1=2-3,LK2=1-2", "--plan", "u7.plan")
    assert next_of(now).startswith("switch off; move LK1 from 2-3 to 1-2; bend up and wire chip pin 27 as the table")
    unknown = next_of(romwright("wire", "U7", "28C256", "--board", "tern-tl-1"))
    assert unknown.startswith("switch off; set LK1 to 1-2 and LK2 to 1-2; ")
    assert next_of(romwright("prove", "u7.plan")) == "switch off, and fit the 28C256, wired as u7.plan says."


def test_after_links(romwright):
    links = ("links", "tern-tl-1", "U7")
    assert next_of(romwright(*links, "27C512", "--now", "LK1=2-3,LK2=1-2")) == (
        "switch off; move LK1 from 2-3 to 1-2; then the 27C512 goes into U7."
    )
    assert "leave the links as they are" in next_of(romwright(*links, "27C512", "--now", "LK1=1-2,LK2=1-2"))
    assert "set LK1 to 1-2" in next_of(romwright(*links, "27C512"))
    assert next_of(romwright(*links, "28C256")).startswith("leave the 28C256 out of U7")
    assert "sits straight" in next_of(romwright(*links, "27C512", "--seated", "turned"))
    assert next_of(romwright(*links, "27C512", "28C256")) == ""


def test_words_of_a_setting():
    assert setting_words({}, {}, None) == ""
    assert setting_words({"LK1": "1-2"}, {}, {"LK1": "1-2"}) == ""
    assert setting_words({"A": "1", "B": "2", "C": "3"}, {}, None) == "set A to 1, B to 2 and C to 3"


@pytest.mark.parametrize("words", [("parts", "list"), ("boards", "list"), ("explain",), ("completion", "bash")])
def test_nothing_physical_follows_a_look_up(romwright, words):
    assert "Next:" not in romwright(*words).out
