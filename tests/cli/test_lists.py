"""`romwright lists`, as a user runs it."""

import os
import subprocess
from pathlib import Path

import pytest
from conftest import ROOT, require

LISTS = ROOT / "fixtures" / "lists"


@pytest.mark.parametrize(
    ("file", "said", "names"),
    [
        ("plain.sha256", "checksum lines, 2 new rows", ["bag/data/u.bin", "digits.bin"]),
        ("tagged.txt", "checksum lines, 2 new rows", ["bag/data/u.bin", "digits.bin"]),
        ("crc.cksum", "checksum lines, 1 new row", ["digits.bin"]),
        ("roms.csv", "CSV, 2 new rows (kept out: the columns maker)", ["U, many", "digits"]),
        ("bag", "a bag, 2 new rows", ["data/100% digits.bin", "data/u.bin"]),
        ("bag/manifest-sha512.txt", "a bag's manifest, 2 new rows", ["data/100% digits.bin", "data/u.bin"]),
        ("digits.bin", "an image (raw), 9 bytes, new", ["digits.bin"]),
    ],
)
def test_every_kind_of_source_is_recognised_and_its_roms_are_identified(romwright, file, said, names):
    options = ["--images"] if file == "digits.bin" else []  # nine digits are text
    done = romwright("lists", "add", "mine", LISTS / file, *options)
    assert done.status == 0
    assert said in done.out
    assert [row["name"] for row in romwright("lists", "show", "mine", "--json").json] == names
    [row] = romwright("identify", "--json", LISTS / "digits.bin").json
    assert [(match["list"], match["how"]) for match in row["matches"]] == [("mine", "exact")]
    assert romwright("lists", "add", "mine", LISTS / file, *options).status == 0
    assert romwright("lists", "show", "--json").json == [
        {"name": "mine", "rows": len(names), "images": int(file == "digits.bin")}
    ]


def test_what_the_programs_write_goes_in_and_comes_out(romwright, tmp_path):
    """Outside check: lists written on the spot by GNU coreutils name the files that they were made of."""
    require("sha256sum", "coreutils")
    roms = tmp_path / "roms"
    roms.mkdir()
    for i in range(5):
        (roms / f"rom {i}.bin").write_bytes(os.urandom(2048))
    files = sorted(map(str, roms.iterdir()))
    for i, program in enumerate(["sha256sum", "sha1sum --tag", "md5sum -b", "cksum", "sha512sum"]):
        done = subprocess.run([*program.split(), files[i]], capture_output=True, check=True)
        (tmp_path / f"list{i}").write_bytes(done.stdout)
    assert romwright("lists", "add", "five", *(tmp_path / f"list{i}" for i in range(5))).status == 0
    done = romwright("identify", "--json", roms)
    assert done.status == 0
    assert [[match["name"] for match in row["matches"]] for row in done.json] == [[file] for file in files]


def test_images_of_all_formats_are_known_by_their_bytes(romwright, tmp_path):
    require("objcopy", "binutils")
    data = bytes(range(256)) * 4
    (tmp_path / "a.bin").write_bytes(data)
    for target, name in (("ihex", "b.bin"), ("srec", "c.bin")):
        subprocess.run(["objcopy", "-I", "binary", "-O", target, tmp_path / "a.bin", tmp_path / name], check=True)
    said = romwright("lists", "add", "x", "a.bin", "b.bin", "c.bin").out
    assert "(raw)" in said
    assert "(intel-hex)" in said
    assert "(s-record)" in said
    [row] = romwright("identify", "--json", "b.bin").json
    assert (row["size"], [match["name"] for match in row["matches"]]) == (1024, ["a.bin", "b.bin", "c.bin"])


def test_a_folder_is_taken_file_by_file(romwright, tmp_path):
    (tmp_path / "f" / "sub").mkdir(parents=True)
    (tmp_path / "f" / "sub" / "two.bin").write_bytes(os.urandom(999))
    (tmp_path / "f" / "one.bin").write_bytes(os.urandom(999))
    assert romwright("lists", "add", "x", "f").status == 0
    assert [row["name"] for row in romwright("lists", "show", "x", "--json").json] == ["one.bin", "two.bin"]


def test_show_and_remove(romwright):
    romwright("lists", "add", "mine", LISTS / "plain.sha256")
    shown = romwright("lists", "show", "mine").out.splitlines()
    assert shown[1].split() == [
        "-",
        "sha256",
        "15e2b0d3c33891ebb0f1ef609ec419420c20e320ce94c65fbc8c3312448eb225",
        "digits.bin",
    ]
    assert romwright("lists", "remove", "mine").status == 0
    assert romwright("lists", "show", "--json").json == []
    gone = romwright("lists", "remove", "mine")
    assert (gone.status, "no list named 'mine'" in gone.err) == (2, True)


def test_a_near_name_is_offered(romwright):
    romwright("lists", "add", "tern", LISTS / "plain.sha256")
    done = romwright("lists", "show", "tren")
    assert (done.status, "did you mean tern?" in done.err) == (2, True)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("d41d8cd98f00b204e9800998ecf8427e  ok\nnot a line\n", "line 2"),
        ("name,md5\nx,12\n", "line 2"),
        ("Some words.\n", "expected"),
        ("", "empty"),
    ],
)
def test_bad_lists_add_nothing_at_all(romwright, tmp_path, content, said):
    (tmp_path / "bad.txt").write_text(content)
    romwright("lists", "add", "before", LISTS / "plain.sha256")
    done = romwright("lists", "add", "new", LISTS / "crc.cksum", "bad.txt")
    assert done.status == 2
    assert "bad.txt" in done.err
    assert said in done.err
    assert not done.out
    assert [row["name"] for row in romwright("lists", "show", "--json").json] == ["before"]


def test_text_in_utf16_is_no_image(romwright, tmp_path):
    (tmp_path / "list.txt").write_bytes("d41d8cd98f00b204e9800998ecf8427e  ok\r\n".encode("utf-16"))
    done = romwright("lists", "add", "x", "list.txt")
    assert (done.status, "UTF-8" in done.err) == (2, True)


def test_windows_text_with_a_byte_order_mark_is_read(romwright, tmp_path):
    (tmp_path / "list.txt").write_bytes("d41d8cd98f00b204e9800998ecf8427e *ok.bin\r\n".encode("utf-8-sig"))
    assert romwright("lists", "add", "x", "list.txt").status == 0
    assert [row["name"] for row in romwright("lists", "show", "x", "--json").json] == ["ok.bin"]


@pytest.mark.parametrize(
    ("bagit", "manifest", "said"),
    [
        ("BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-99\n", "", "'UTF-99'"),
        ("BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n", None, "without a manifest"),
        ("BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n", "12 data/x\n", "line 1"),
    ],
)
def test_bad_bags(romwright, tmp_path, bagit, manifest, said):
    (tmp_path / "bag").mkdir()
    (tmp_path / "bag" / "bagit.txt").write_text(bagit)
    if manifest is not None:
        (tmp_path / "bag" / "manifest-md5.txt").write_text(manifest)
    done = romwright("lists", "add", "x", "bag")
    assert (done.status, said in done.err) == (2, True)


def test_names_cannot_do_anything_to_the_terminal(romwright, tmp_path):
    (tmp_path / "list").write_text("d41d8cd98f00b204e9800998ecf8427e  a\x1b[31mred\n")
    (tmp_path / "list2").write_text("\\d41d8cd98f00b204e9800998ecf8427e  a\\nb\n")
    done = romwright("lists", "add", "e\x1b[1m", "list2")
    done = romwright("lists", "show", "e\x1b[1m")
    assert "a\\x0ab" in done.out
    for done in (romwright("lists", "show"), romwright("lists", "add", "x", "list"), romwright("lists", "show", "x")):
        assert "\x1b" not in done.out + done.err


def test_no_lists_yet_missing_file_and_empty_name(romwright):
    for words in (["lists", "show"], ["identify", "."], ["lists", "remove", "x"]):
        done = romwright(*words)
        assert done.status == 2
        assert "lists add" in done.err or "no file in this folder" in done.err
    assert "no such file" in romwright("lists", "add", "x", "nowhere").err
    assert romwright("lists", "add", " ", "nowhere").status == 2


def test_a_full_disk_loses_nothing(romwright, tmp_path):
    """A limit on the size of files stands for the full disk: the same write fails in the same way."""
    resource = pytest.importorskip("resource")
    romwright("lists", "add", "before", LISTS / "plain.sha256")
    (tmp_path / "many").write_text("".join(f"{os.urandom(32).hex()}  {i}\n" for i in range(20_000)))
    limit = {"preexec_fn": lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (300_000, 300_000))}
    done = romwright("lists", "add", "new", "many", **limit)
    assert (done.status, "cannot be used" in done.err) == (2, True)
    assert romwright("lists", "show", "--json").json == [{"name": "before", "rows": 2, "images": 0}]


def test_a_store_of_your_own(romwright, tmp_path):
    assert romwright("lists", "add", "x", LISTS / "plain.sha256", "--lists", "my.lists").status == 0
    assert (tmp_path / "my.lists").is_file()
    assert not Path(tmp_path / "data").exists()
    assert romwright("identify", LISTS / "digits.bin", "--lists", "my.lists").status == 0
    done = romwright("identify", LISTS / "digits.bin", "--lists", LISTS / "digits.bin")
    assert (done.status, "no SQLite file" in done.err) == (2, True)


def test_every_answer_as_json(romwright, tmp_path):
    (tmp_path / "a.bin").write_bytes(bytes(range(256)) * 4)
    added = romwright("lists", "add", "mine", "a.bin", "--json").json
    assert (added["list"], added["rows"], [one["file"] for one in added["added"]]) == ("mine", 1, ["a.bin"])
    assert romwright("lists", "show", "--json").json == [{"name": "mine", "rows": 1, "images": 1}]
    (row,) = romwright("lists", "show", "mine", "--json").json
    assert (row["name"], row["size"]) == ("a.bin", 1024)
    assert romwright("lists", "remove", "mine", "--json").json == {"list": "mine", "removed": 1}


def test_a_tag_manifest_is_refused(romwright, tmp_path):
    (tmp_path / "tagmanifest-sha256.txt").write_text("0" * 64 + "  bagit.txt\n")
    run = romwright("lists", "add", "x", "tagmanifest-sha256.txt")
    assert run.status == 2 and "tag manifest" in run.err


def test_a_small_text_that_is_no_list_names_the_way_out(romwright, tmp_path):
    (tmp_path / "hello.rom").write_text("HELLO WORLD FROM A ROM\n")
    run = romwright("lists", "add", "x", "hello.rom")
    assert run.status == 2 and "--images" in run.err
    assert romwright("lists", "add", "x", "hello.rom", "--images").status == 0


def test_a_hex_file_is_found_by_its_own_checksum(romwright, tmp_path):
    """Source: coreutils' own sha256sum line form."""
    import hashlib

    data = b":0100000041BE\r\n:00000001FF\r\n"
    (tmp_path / "one.hex").write_bytes(data)
    (tmp_path / "one.sha256").write_text(f"{hashlib.sha256(data).hexdigest()}  one.hex\n")
    assert romwright("lists", "add", "x", "one.sha256").status == 0
    run = romwright("identify", "one.hex", "--json")
    assert run.status == 0
    assert run.json[0]["matches"][0]["how"] == "exact"
