"""`romwright identify`, as a user runs it."""

import hashlib
import os
import zlib

import pytest


@pytest.fixture
def rom(romwright, tmp_path):
    """A known image of 4 KiB in a list."""
    data = os.urandom(4095) + b"\xc9"
    (tmp_path / "rom.bin").write_bytes(data)
    assert romwright("lists", "add", "mine", "rom.bin").status == 0
    return data


def test_json_keys_and_forms(romwright, tmp_path, rom):
    (tmp_path / "dump").write_bytes(rom * 2)
    done = romwright("identify", "--json", "dump", "rom.bin")
    assert done.status == 0
    twice, exact = done.json
    assert twice == {
        "file": "dump", "size": 8192, "crc32": f"{zlib.crc32(rom * 2):08X}",
        "sha256": hashlib.sha256(rom * 2).hexdigest(),
        "matches": [{"name": "rom.bin", "list": "mine", "how": "repeated", "detail": "2 times in the file",
                     "pages_equal": 16, "pages_total": 16}],
        "tried": twice["tried"], "next": "",
    }  # fmt: skip
    assert "inverted" in twice["tried"]
    assert exact["matches"][0]["how"] == "exact"


def test_text_names_file_verdict_rom_list_and_change(romwright, tmp_path, rom):
    (tmp_path / "dump").write_bytes(bytes(b ^ 0xFF for b in rom))
    (tmp_path / "other").write_bytes(os.urandom(4096))
    done = romwright("identify", "dump", "rom.bin", "other")
    assert done.status == 1
    first, second, third, *_, summary, tried = done.out.splitlines()
    assert first == "dump: inverted: rom.bin (list mine)"
    assert second == "rom.bin: exact: rom.bin (list mine)"
    assert third == "other: unknown"
    assert summary == "3 files: 1 exact, 1 after a change, 1 unknown"
    assert "bytes swapped" in tried


def test_damage_is_a_mismatch_with_its_pages(romwright, tmp_path, rom):
    (tmp_path / "dump").write_bytes(rom[:700] + bytes([rom[700] ^ 1]) + rom[701:])
    done = romwright("identify", "--json", "dump")
    assert done.status == 1
    [match] = done.json[0]["matches"]
    assert (match["how"], match["pages_equal"], match["pages_total"]) == ("damaged", 15, 16)
    assert match["detail"] == "page 2 of 16 differs"
    assert "15 of 16 pages equal; page 2 of 16 differs" in romwright("identify", "dump").out


def test_gaps_of_a_hex_file_are_filled_and_it_says_so(romwright, tmp_path):
    data = bytes(range(16)) + b"\xff" * 16 + bytes(range(100, 116))
    (tmp_path / "rom.bin").write_bytes(data)
    romwright("lists", "add", "mine", "rom.bin")
    records = [(0, data[:16]), (32, data[32:])]
    lines = []
    for address, part in records:
        record = bytes([len(part), address >> 8, address & 255, 0]) + part
        lines.append(f":{record.hex().upper()}{-sum(record) & 255:02X}\n")
    (tmp_path / "dump.hex").write_text("".join(lines) + ":00000001FF\n")
    [row] = romwright("identify", "--json", "dump.hex").json
    assert (row["matches"][0]["how"], row["note"]) == ("exact", "gaps filled with FF")


def intel_hex(data):
    rows = [bytes([16, a >> 8, a & 255, 0]) + data[a : a + 16] for a in range(0, len(data), 16)]
    return "".join(f":{row.hex().upper()}{-sum(row) & 255:02X}\n" for row in rows)


def test_a_fault_of_a_hex_file_is_told_and_gives_status_1(romwright, tmp_path, rom):
    whole, end = intel_hex(rom), ":00000001FF\n"
    (tmp_path / "whole.hex").write_text(whole + end)
    (tmp_path / "joined.hex").write_text(whole + end + whole + end)
    (tmp_path / "cut.hex").write_text(whole)
    assert romwright("identify", "whole.hex").status == 0
    done = romwright("identify", "--json", "whole.hex", "joined.hex", "cut.hex")
    assert done.status == 1
    assert [row["matches"][0]["how"] for row in done.json] == ["exact"] * 3
    assert [row.get("note") for row in done.json] == [
        None, "257 lines were not read: after the end record", "the end record is missing",
    ]  # fmt: skip
    assert [row.get("faulty") for row in done.json] == [None, True, True]
    done = romwright("identify", "whole.hex", "cut.hex")
    assert done.status == 1
    assert "cut.hex: exact: rom.bin (list mine) (the end record is missing)" in done.out
    assert "2 files: 2 exact; 1 with a fault in the file" in done.out


@pytest.mark.parametrize("coding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le"])
def test_identify_recognises_what_inspect_recognises(romwright, tmp_path, rom, coding):
    """One recognition: a title in front, or another coding, makes no raw binary of a hex file."""
    text = intel_hex(rom) + ":00000001FF\n"
    (tmp_path / "dump").write_bytes((text if coding != "utf-8" else "a title\n" + text).encode(coding))
    done = romwright("identify", "dump")
    assert done.status == 2 and "line 1" in done.err
    assert done.err == romwright("inspect", "dump").err


def test_a_folder_is_walked_in_order_and_one_bad_file_is_no_end(romwright, tmp_path, rom):
    folder = tmp_path / "f"
    (folder / "b").mkdir(parents=True)
    (folder / "b" / "x.bin").write_bytes(rom)
    (folder / "a.bin").write_bytes(rom)
    (folder / "c.bin").touch()
    (folder / "d.hex").write_text(":0100000000FE\n")
    if hasattr(os, "mkfifo"):
        os.mkfifo(folder / "pipe")  # a pipe would block for ever
    done = romwright("identify", "--json", folder)
    assert done.status == 1
    assert [os.path.relpath(row["file"], folder) for row in done.json] == [
        "a.bin",
        os.path.join("b", "x.bin"),
        "c.bin",
        "d.hex",
    ]
    assert ["error" in row for row in done.json] == [False, False, True, True]
    assert "not read" in romwright("identify", folder).out


def test_many_files_are_shared_among_processes_and_keep_their_order(romwright, tmp_path, rom):
    folder = tmp_path / "f"
    folder.mkdir()
    for i in range(400):
        (folder / f"{i:03}.bin").write_bytes(
            rom if i % 7 == 0 else rom[i:] + rom[:i] if i % 7 == 1 else os.urandom(300)
        )
    rows = romwright("identify", "--json", folder).json
    assert [os.path.basename(row["file"]) for row in rows] == [f"{i:03}.bin" for i in range(400)]
    hows = [[match["how"] for match in row["matches"]] for row in rows]
    assert hows == [["exact"] if i % 7 == 0 else ["shifted"] if i % 7 == 1 else [] for i in range(400)]


def test_few_misses_among_many_files_are_tried_thoroughly(romwright, tmp_path, rom):
    folder = tmp_path / "f"
    folder.mkdir()
    for i in range(40):
        (folder / f"{i:02}.bin").write_bytes(rom)
    (folder / "z.bin").write_bytes(os.urandom(512))
    done = romwright("identify", "--json", folder)
    assert done.status == 1
    assert "quarter" in done.json[-1]["tried"]
    assert done.json[0]["tried"] == ["exact"]


def test_missing_file_is_an_error_of_the_whole_run(romwright, rom):
    done = romwright("identify", "rom.bin", "nowhere.bin")
    assert (done.status, "nowhere.bin" in done.err, done.out) == (2, True, "")


@pytest.mark.parametrize(
    ("content", "said"), [(b"", "the file is empty"), (b":0100000000FE\n", "line 1")], ids=["empty", "bad checksum"]
)
def test_a_bad_file_that_was_named_is_an_error_of_the_whole_run(romwright, tmp_path, rom, content, said):
    (tmp_path / "dump").write_bytes(content)
    done = romwright("identify", "rom.bin", "dump")
    assert (done.status, said in done.err, done.out) == (2, True, "")


def test_what_is_no_regular_file_is_an_error(romwright, rom):
    if hasattr(os, "mkfifo"):
        assert "no regular file" in romwright("identify", os.devnull).err


def test_names_that_are_not_utf8_are_printed_inert(romwright, tmp_path, rom):
    name = os.fsencode(str(tmp_path)) + b"/f/\xe9\x1b.bin"
    (tmp_path / "f").mkdir()
    try:
        with open(name, "wb") as out:
            out.write(rom)
    except OSError:
        return  # a file system that takes UTF-8 only cannot have the problem
    assert "\\xe9\\x1b.bin: exact" in romwright("identify", "f").out
    assert os.fsencode(romwright("identify", "--json", "f").json[0]["file"]) == b"f/\xe9\x1b.bin"
    assert romwright("lists", "add", "more", "f").status == 0


def test_an_empty_folder_is_an_error(romwright, tmp_path, rom):
    (tmp_path / "f").mkdir()
    assert romwright("identify", "f").status == 2


def test_raw_binary_and_text_load_no_heavy_library(romwright, tmp_path, rom):
    (tmp_path / "notes.txt").write_text("No record at all, but text.\n")
    assert romwright("lists", "add", "mine", "notes.txt", "--images").status == 0
    done = romwright("identify", "rom.bin", "notes.txt", env={"PYTHONPROFILEIMPORTTIME": "1"})
    assert done.status == 0
    assert not [line for line in done.err.splitlines() if line.split("|")[-1].strip() in ("numpy", "rich")]
