"""romwright inspect, as a user runs it."""

import hashlib
import os
import random
import re
import subprocess
import sys
import zlib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
LOGGER = ROOT / "fixtures" / "tern" / "logger.bin"
KEYS = ["file", "format", "size", "origin", "crc32", "md5", "sha1", "sha256", "sum8", "sum16", "traits", "structures"]


def test_json_has_the_documented_keys(romwright):
    run = romwright("inspect", "--json", LOGGER, LOGGER)
    assert run.status == 0 and len(run.json) == 2
    one, data = run.json[0], LOGGER.read_bytes()
    assert set(KEYS) <= set(one)
    assert (one["file"], one["format"], one["size"], one["origin"]) == (str(LOGGER), "raw", 16384, 0)
    assert one["crc32"] == f"{zlib.crc32(data):08X}" and one["sha256"] == hashlib.sha256(data).hexdigest()
    assert (one["sum16"], one["sum8"]) == (f"{sum(data) & 0xFFFF:04X}", f"{sum(data) & 0xFF:02X}")
    assert int(one["sum16"], 16) + int(one["sum16_twos"], 16) == 0x10000
    assert (one["span"], one["gaps"], one["findings"], one["crcs"]) == (16384, [], [], [])
    assert [c["cpu"] for c in one["cpus"]] == ["6502"] and one["cpus"][0]["evidence"]
    assert all({"kind", "detail"} <= set(t) for t in one["traits"])
    assert [t["whole"] for t in one["traits"] if t["kind"] == "entropy"] == [2.676]


def test_text_puts_first_what_a_programmer_shows(romwright):
    run = romwright("inspect", LOGGER)
    lines = run.out.splitlines()
    assert lines[0] == str(LOGGER)
    assert [re.split(r"\s{2,}", line.strip())[0] for line in lines[1:8]] == [
        "size", "16-bit sum", "8-bit sum", "CRC-32", "MD5", "SHA-1", "SHA-256",
    ]  # fmt: skip
    assert "16,384 bytes (4000h, 16K)" in lines[1] and "A56D" in lines[2]  # the sum that fixtures/tern/README.md states
    assert "6502" in run.out and "C000" in run.out and "EACH YEAR: NEW BATTERY." in run.out
    assert max(map(len, lines)) <= 110


def test_named_crcs(romwright, tmp_path):
    (tmp_path / "check").write_bytes(b"123456789")
    run = romwright("inspect", "--json", "check", "--crc", "xmodem", "--crc", "crc-16")
    # check values: CRC RevEng catalogue, CRC-16/XMODEM and CRC-16/ARC
    assert run.json[0]["crcs"] == [
        {"name": "xmodem", "value": "31C3", "width": 16},
        {"name": "crc-16", "value": "BB3D", "width": 16},
    ]
    run = romwright("inspect", "check", "--crc", "xmoden")
    assert run.status == 2 and "did you mean xmodem" in run.err


def record(address, data):
    body = bytes([len(data), address >> 8, address & 0xFF, 0, *data])
    return ":" + (body + bytes([-sum(body) & 0xFF])).hex().upper() + "\n"


def test_gaps_stay_gaps_until_filled(romwright, tmp_path):
    (tmp_path / "a.hex").write_text(record(0xC000, b"ABCD") + record(0xC010, b"EFGH") + ":00000001FF\n")
    one = romwright("inspect", "--json", "a.hex").json[0]
    assert (one["format"], one["size"], one["origin"], one["span"]) == ("intel-hex", 8, 0xC000, 20)
    assert one["gaps"] == [[0xC004, 0xC010]] and one["crc32"] == f"{zlib.crc32(b'ABCDEFGH'):08X}"
    filled = romwright("inspect", "--json", "--fill", "FF", "a.hex").json[0]
    whole = b"ABCD" + b"\xff" * 12 + b"EFGH"
    assert (filled["size"], filled["gaps"], filled["fill"], filled["filled"]) == (20, [], "FF", 12)
    assert filled["crc32"] == f"{zlib.crc32(whole):08X}"
    text = romwright("inspect", "--fill", "FF", "a.hex").out
    assert "12 bytes of gaps, with FF" in text
    assert "--fill HH fills the gaps" in romwright("inspect", "a.hex").out


def test_a_format_can_be_forced(romwright, tmp_path):
    (tmp_path / "a.hex").write_text(record(0, b"ABCD") + ":00000001FF\n")
    assert (
        romwright("inspect", "--json", "--read-as", "raw", "a.hex").json[0]["size"]
        == (tmp_path / "a.hex").stat().st_size
    )
    run = romwright("inspect", "--read-as", "s-record", "a.hex")
    assert run.status == 2 and "a.hex" in run.err


def test_a_rom_that_was_read_twice(romwright, tmp_path):
    (tmp_path / "twice.bin").write_bytes(LOGGER.read_bytes() * 2)
    one = romwright("inspect", "--json", "twice.bin").json[0]
    assert [(t["period"], t["times"]) for t in one["traits"] if t["kind"] == "repeat"] == [(16384, 2)]
    assert [t["lines"] for t in one["traits"] if t["kind"] == "address line"] == [["A14"]]
    assert "16K in a 32K image" in romwright("inspect", "twice.bin").out


def test_a_header_that_does_not_hold_gives_status_1(romwright, tmp_path):
    rom = bytearray(b"\x55\xaa\x01\xcb".ljust(512, b"\0"))
    rom[-1] = -sum(rom) & 0xFF
    (tmp_path / "good.bin").write_bytes(rom)
    rom[100] ^= 1
    (tmp_path / "bad.bin").write_bytes(rom)
    assert romwright("inspect", "good.bin").status == 0
    run = romwright("inspect", "good.bin", "bad.bin")
    assert run.status == 1 and "fault (rom-header)" in run.out and "sum to 01, not 00" in run.out
    assert romwright("inspect", "--json", "bad.bin").json[0]["findings"][0]["severity"] == "fault"


def test_an_erased_chip_is_told_in_few_lines(romwright, tmp_path):
    (tmp_path / "erased.bin").write_bytes(b"\xff" * 8192)
    run = romwright("inspect", "erased.bin")
    sums = run.out.splitlines()[:10]
    assert run.out.splitlines()[10] == "caution (one-value): every byte is FF"
    assert "SHA-256" in sums[7] and "the erased state of an EPROM" in run.out and "\n  erased " not in run.out
    one = romwright("inspect", "--json", "erased.bin").json[0]
    assert ([t["kind"] for t in one["traits"]], one["cpus"], one["structures"]) == (["erased"], [], [])


def test_what_is_known_comes_before_the_error(romwright, tmp_path):
    (tmp_path / "bad.hex").write_text(":00000001FE\n")
    run = romwright("inspect", LOGGER, "bad.hex")
    assert run.status == 2 and "EACH YEAR: NEW BATTERY." in run.out and "bad.hex, line 1" in run.err
    run = romwright("inspect", "--json", LOGGER, "bad.hex")
    assert run.status == 2 and not run.out and "bad.hex, line 1" in run.err


def test_labels_keep_to_their_column(romwright, tmp_path):
    rom = bytearray(b"\x55\xaa\x01\xcb".ljust(512, b"\0"))
    rom[-1] = -sum(rom) & 0xFF
    (tmp_path / "rom.bin").write_bytes(rom + b"\xff" * 512)
    lines = romwright("inspect", "rom.bin").out.splitlines()[1:]
    assert "  rest          at offset 0200: 512 bytes after the last image, all FF" in lines
    assert all(line[:2] == "  " and line[15] == " " != line[16] for line in lines)


def test_a_stray_55_aa_is_a_note(romwright, tmp_path):
    (tmp_path / "pattern.bin").write_bytes(b"\x55\xaa" * 2048)
    run = romwright("inspect", "pattern.bin")
    assert run.status == 0 and "note (55aa-by-chance)" in run.out


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes on this system")
def test_an_endless_pipe_ends_in_an_error(tmp_path):
    """`yes` writes for ever: read up to 64 MiB, and then refused."""
    done = subprocess.run(
        ["sh", "-c", f"yes | {sys.executable} -m romwright inspect /dev/stdin"],
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert done.returncode == 2 and "more than 67,108,864 bytes" in done.stderr


@pytest.mark.parametrize("name", ["map.png", "map.svg"])
def test_picture(romwright, tmp_path, name):
    run = romwright("inspect", LOGGER, "--picture", name)
    assert run.status == 0 and f"picture written to {name}" in run.out
    picture = (tmp_path / name).read_bytes()
    assert picture.startswith(b"\x89PNG" if name.endswith("png") else b"<svg ")
    again = romwright("inspect", LOGGER, "--picture", name)
    assert again.status == 2 and "exists already" in again.err
    assert romwright("inspect", LOGGER, "--picture", name, "--overwrite").status == 0
    assert (tmp_path / name).read_bytes() == picture


def test_pictures_that_cannot_be(romwright, tmp_path):
    for arguments, words in (
        ([LOGGER, LOGGER, "--picture", "a.png"], "one FILE for one picture"),
        ([LOGGER, "--picture", "a.jpg"], "ends in .png or .svg"),
        ([LOGGER, "--picture", "no/such/a.png"], "no/such/a.png"),
    ):
        run = romwright("inspect", *arguments)
        assert run.status == 2 and words in run.err and not list(tmp_path.glob("*a.*"))
    (tmp_path / "image.svg").write_bytes(LOGGER.read_bytes())
    run = romwright("inspect", "image.svg", "--picture", "image.svg", "--overwrite")
    assert run.status == 2 and (tmp_path / "image.svg").read_bytes() == LOGGER.read_bytes()


@pytest.mark.parametrize(
    ("content", "arguments", "words"),
    [
        (None, [], "no such file"),
        (b"", [], "empty"),
        (b"AB", ["--fill", "100"], "00 to FF"),
        (b"AB", ["--fill", "xyz"], "--fill"),
        (b"AB", ["--read-as", "tape"], "tape"),
        (b":00000001FE\n", [], "line 1"),
    ],
)
def test_bad_input_is_told_in_words(romwright, tmp_path, content, arguments, words):
    if content is not None:
        (tmp_path / "rom").write_bytes(content)
    run = romwright("inspect", "rom", *arguments)
    assert run.status == 2 and words in run.err and not run.out
    assert len(run.err.splitlines()) < 10


def test_a_folder_and_no_file(romwright, tmp_path):
    assert romwright("inspect", tmp_path).status == 2
    assert romwright("inspect").status == 2


def test_foreign_names_and_strings_are_inert(romwright, tmp_path):
    (tmp_path / "evil\x1b[31m.bin").write_bytes(b"[bold]hello[/bold]\x1b[31m" + bytes(40))
    run = romwright("inspect", "evil\x1b[31m.bin", "--picture", "p.svg")
    assert run.status == 0 and "\x1b" not in run.out and "[bold]hello[/bold]" in run.out
    assert "\x1b" not in (tmp_path / "p.svg").read_text("utf-8")


def test_one_byte_and_random_images(romwright, tmp_path):
    (tmp_path / "one").write_bytes(b"\x5a")
    (tmp_path / "noise").write_bytes(random.Random(4).randbytes(65536))
    assert "1 byte (1h)" in romwright("inspect", "one").out
    one, noise = romwright("inspect", "--json", "one", "noise").json
    assert one["size"] == 1 and one["cpus"][0]["cpu"] == noise["cpus"][0]["cpu"] == "unknown"
    assert not [t for t in noise["traits"] if t["kind"] in ("repeat", "address line", "data bit", "half")]


def test_a_stuck_line_is_said_once_and_gives_status_1(romwright, tmp_path):
    (tmp_path / "d3.bin").write_bytes(bytes(byte & 0xF7 for byte in LOGGER.read_bytes()))
    run = romwright("inspect", "d3.bin")
    assert run.status == 1 and run.out.count("D3 is") == 1 and "fault (line-stuck): D3 is stuck low" in run.out
    assert "data bit" not in run.out and "1 in 10^" in run.out and "short to GND" in run.out
    one = romwright("inspect", "--json", "d3.bin").json[0]
    assert [(t["bit"], t["finding"]) for t in one["traits"] if t["kind"] == "data bit"] == [("D3", "line-stuck")]
    (sign,) = one["signs"]
    assert (sign["code"], sign["lines"], sign["level"], sign["wrong"]) == ("line-stuck", ["D3"], 0, 0)
    assert [finding["code"] for finding in one["findings"]] == ["line-stuck"]


def test_what_may_be_innocent_gives_status_0(romwright, tmp_path):
    data = LOGGER.read_bytes()
    (tmp_path / "d7.bin").write_bytes(bytes(byte & 0x7F for byte in data))
    (tmp_path / "twice.bin").write_bytes(data * 2)
    (tmp_path / "half.bin").write_bytes(data + b"\xff" * len(data))
    run = romwright("inspect", "d7.bin", "twice.bin", "half.bin")
    assert run.status == 0 and all(code in run.out for code in ("(line-still)", "(image-repeats)", "(half-blank)"))
    assert "7-bit codes" in run.out and "\n  half " not in run.out and "\n  repeat " not in run.out
    one = romwright("inspect", "--json", "twice.bin").json[0]
    assert {t["kind"] for t in one["traits"] if "finding" in t} == {"repeat", "half", "address line"}


def test_an_inverted_program_is_a_hint_only(romwright, tmp_path):
    (tmp_path / "inverted.bin").write_bytes(bytes(byte ^ 0xFF for byte in LOGGER.read_bytes()))
    run = romwright("inspect", "inverted.bin")
    assert run.status == 0 and "note (cpu-if-crossed): with all data lines inverted" in run.out and "6502" in run.out


def test_two_known_roms_at_once(romwright, tmp_path):
    """Of the AND of two ROMs, made here byte by byte, both are named; a list without images cannot serve."""
    diagnostic = ROOT / "fixtures" / "tern" / "diagnostic.bin"
    (tmp_path / "dump.bin").write_bytes(bytes(a & b for a, b in zip(LOGGER.read_bytes(), diagnostic.read_bytes())))
    romwright("lists", "add", "tern", LOGGER, diagnostic, "--lists", "tern.lists")
    run = romwright("inspect", "--json", "dump.bin", LOGGER, "--lists", "tern.lists")
    dump, good = run.json
    assert run.status == 1 and "two-known-at-once" in [finding["code"] for finding in dump["findings"]]
    [sign] = [sign for sign in dump["signs"] if sign["code"] == "two-known-at-once"]
    assert {(image["name"], image["list"]) for image in sign["images"]} == {
        (LOGGER.name, "tern"), (diagnostic.name, "tern"),
    }  # fmt: skip
    assert good["findings"] == []
    assert "two ROMs answered at once" not in romwright("inspect", "dump.bin").out
    (tmp_path / "names.csv").write_text("name,size,crc32\nlogger,16384,8FE1D3A5\n")
    romwright("lists", "add", "tern", "names.csv", "--lists", "names.lists")
    run = romwright("inspect", "dump.bin", "--lists", "names.lists")
    assert run.status == 2 and "no list in this file has an image" in run.err
    run = romwright("inspect", "dump.bin", "--lists", "none.lists")
    assert run.status == 2 and "there are no reference lists yet" in run.err
