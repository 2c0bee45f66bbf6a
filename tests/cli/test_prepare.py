"""romwright prepare, as a user runs it."""

import hashlib
import resource
import subprocess
import sys
import zlib

import pytest

READ = ("--marking", "D27128")  # what is printed on the chip
IMAGE = bytes((a * 7 + (a >> 8)) & 0xFF for a in range(0x4000))


@pytest.fixture(autouse=True)
def image(tmp_path):
    (tmp_path / "in.bin").write_bytes(IMAGE)


def test_a_16k_image_for_a_32k_chip(romwright, tmp_path):
    run = romwright("prepare", "in.bin", "--for", "28C256", "--repeat", "-o", "out.bin", "--json")
    assert run.status == 0, run.err
    made = (tmp_path / "out.bin").read_bytes()
    assert made == IMAGE * 2
    (output,) = run.json["outputs"]
    assert output["sum16"] == f"{sum(made) % 65536:04X}"
    assert output["crc32"] == f"{zlib.crc32(made):08X}"
    assert output["sha256"] == hashlib.sha256(made).hexdigest()
    assert (tmp_path / "in.bin").read_bytes() == IMAGE


def test_the_text_says_what_was_done_and_what_to_expect(romwright):
    run = romwright("prepare", "in.bin", "--for", "27C256", "-o", "out.bin")
    assert run.status == 0
    assert "placed in.bin at chip address 0000-3FFF" in run.out
    assert f"{(sum(IMAGE) + 0x4000 * 0xFF) % 65536:04X}" in run.out
    assert "partly-filled" in run.out
    assert "12.75 V" in run.out and "UV-C" in run.out


@pytest.mark.parametrize("format", ["intel-hex", "s-record"])
def test_formats_go_out_and_come_back(romwright, tmp_path, format):
    assert romwright("prepare", "in.bin", "--for", "27128", *READ, "-o", "out.hex", "--write-as", format).status == 0
    assert romwright("prepare", "out.hex", "--for", "27128", *READ, "-o", "back.bin").status == 0
    assert (tmp_path / "back.bin").read_bytes() == IMAGE


def test_split_and_join(romwright, tmp_path):
    assert romwright("prepare", "in.bin", "--for", "27C64", "--split", "2", "-o", "half.bin").status == 0
    assert (tmp_path / "half-0.bin").read_bytes() == IMAGE[0::2]
    assert (tmp_path / "half-1.bin").read_bytes() == IMAGE[1::2]
    assert romwright("prepare", "half-0.bin", "half-1.bin", "--join", "--for", "27128A", "-o", "back.bin").status == 0
    assert (tmp_path / "back.bin").read_bytes() == IMAGE


def test_placing_by_address(romwright, tmp_path):
    run = romwright("prepare", "in.bin@4000", "--for", "27256", "--fill", "00", "-o", "out.bin")
    assert run.status == 0
    assert (tmp_path / "out.bin").read_bytes() == bytes(0x4000) + IMAGE


def test_fix_and_store(romwright, tmp_path):
    run = romwright(
        "prepare",
        "in.bin",
        "--for",
        "27128",
        *READ,
        "--store",
        "sum16@3FFA:0000-3FF9",
        "--fix",
        "crc-32=00C0FFEE@3FFC",
        "-o",
        "out.bin",
    )
    assert run.status == 0, run.err
    made = (tmp_path / "out.bin").read_bytes()
    assert int.from_bytes(made[0x3FFA:0x3FFC], "little") == sum(made[:0x3FFA]) % 65536
    assert zlib.crc32(made) == 0x00C0FFEE


def test_the_same_inputs_give_the_same_bytes(romwright, tmp_path):
    for name in ("one", "two"):
        assert romwright("prepare", "in.bin", "--for", "27C256", "--write-as", "s-record", "-o", name).status == 0
    assert (tmp_path / "one").read_bytes() == (tmp_path / "two").read_bytes()


BAD = {
    "too large": (["in.bin", "--for", "2764"], ["16,384", "8,192"]),
    "unknown part": (["in.bin", "--for", "27C2556"], ["did you mean", "27C256"]),
    "missing file": (["none.bin", "--for", "2764"], ["none.bin", "no such file"]),
    "folder": ([".", "--for", "2764"], ["folder"]),
    "output is input": (["in.bin", "--for", "27128", "-o", "in.bin", "--overwrite"], ["one of the inputs"]),
    "bad fill": (["in.bin", "--for", "27128", "--fill", "1FF"], ["--fill", "00 to FF"]),
    "bad range": (["in.bin", "--for", "27128", "--cut", "20-10"], ["--cut"]),
    "bad sum": (["in.bin", "--for", "27128", "--fix", "sum61=0@0"], ["did you mean sum16"]),
    "sum too wide": (["in.bin", "--for", "27128", "--fix", "sum8=100@0"], ["8 bits"]),
    "join of one": (["in.bin", "--for", "27128", "--join"], ["two or more"]),
    "join with an address": (["in.bin@0", "in.bin", "--for", "27256", "--join"], ["joined"]),
    "no name": (["in.bin", "--for", "2764", "--split", "2", "-o", "."], ["no name of a file"]),
    "standard output": (["in.bin", "--for", "27128", "-o", "-"], ["no name of a file"]),
    "below a file": (["in.bin", "--for", "27128", "-o", "in.bin/x"], ["cannot be written", "in.bin/x"]),
    "empty value": (["in.bin", "--for", "27128", "--base", ""], ["--base"]),
    "no byte": (["in.bin", "--for", "27128", "--fill", "GG"], ["no byte", "--fill"]),
    "order of nothing": (["in.bin", "--for", "27128", "--order", "big"], ["--store"]),
    "mask ROM": (["in.bin", "--for", "rom-23128-style-a"], ["mask ROM"]),
    "nothing to accept": (["in.bin", "--for", "27128", "--accept", "missing-end"], ["--accept"]),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_input(romwright, tmp_path, case):
    arguments, words = BAD[case]
    if "-o" not in arguments:
        arguments = [*arguments, "-o", "out.bin"]
    run = romwright("prepare", *arguments)
    assert run.status == 2
    assert all(word in run.err for word in words), run.err
    assert len(run.err.splitlines()) < 24
    assert not (tmp_path / "out.bin").exists()
    assert (tmp_path / "in.bin").read_bytes() == IMAGE


def test_an_existing_output_is_kept_unless_asked(romwright, tmp_path):
    (tmp_path / "out.bin").write_bytes(b"precious")
    run = romwright("prepare", "in.bin", "--for", "27128", "-o", "out.bin")
    assert run.status == 2 and "--overwrite" in run.err
    assert (tmp_path / "out.bin").read_bytes() == b"precious"
    assert romwright("prepare", "in.bin", "--for", "27128", *READ, "-o", "out.bin", "--overwrite").status == 0
    assert (tmp_path / "out.bin").read_bytes() == IMAGE


def test_a_cut_off_hex_file_needs_a_word(romwright, tmp_path):
    (tmp_path / "cut.hex").write_text(":0100000041BE\n")
    run = romwright("prepare", "cut.hex", "--for", "2764", "-o", "out.bin")
    assert run.status == 2 and "--accept missing-end" in run.err
    assert romwright("prepare", "cut.hex", "--for", "2764A", "-o", "out.bin", "--accept", "missing-end").status == 0


def test_a_full_disk_loses_nothing(tmp_path):
    """A file-size limit stands in for the full disk: the system refuses the write in the same way."""
    (tmp_path / "out.bin").write_bytes(b"precious")
    done = subprocess.run(
        [sys.executable, "-m", "romwright", "prepare", "in.bin", "--for", "27256", "-o", "out.bin", "--overwrite"],
        cwd=tmp_path, capture_output=True, text=True,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096)),
    )  # fmt: skip
    assert done.returncode == 2
    assert "cannot be written" in done.stderr and "Traceback" not in done.stderr
    assert sorted(p.name for p in tmp_path.iterdir()) == ["in.bin", "out.bin"]
    assert (tmp_path / "out.bin").read_bytes() == b"precious"


def test_a_set_of_outputs_is_replaced_whole_or_not_at_all(tmp_path, monkeypatch):
    """The last rename fails; what was renamed before it goes back."""
    import os

    from romwright.errors import OutputError
    from romwright.images import formats

    files = {str(tmp_path / name): name.encode() for name in ("a", "b", "c")}
    (tmp_path / "b").write_bytes(b"old")
    replace, calls = os.replace, []

    def failing(source, target):
        calls.append(target)
        if len(calls) == 3:
            raise OSError(5, "Input/output error")
        replace(source, target)

    monkeypatch.setattr(os, "replace", failing)
    with pytest.raises(OutputError, match="cannot be written"):
        formats.write_files(files, overwrite=True)
    assert (tmp_path / "b").read_bytes() == b"old"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["b", "in.bin"]
