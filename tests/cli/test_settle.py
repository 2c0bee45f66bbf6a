"""romwright settle, as a user runs it."""

import numpy as np
import pytest

PROGRAM = np.random.default_rng(21).integers(0, 256, 8192).astype(np.uint8)


@pytest.fixture
def write(tmp_path):
    """Write reads r0.bin, r1.bin, ..., each the program with some bits turned; returns their names."""

    def write(*reads):
        for n, turned in enumerate(reads):
            data = PROGRAM.copy()
            for at, bit in turned:
                data[at] ^= 1 << bit
            (tmp_path / f"r{n}.bin").write_bytes(data.tobytes())
        return [f"r{n}.bin" for n in range(len(reads))]

    return write


def test_seven_reads_that_are_alike_settle_it(romwright, write, tmp_path):
    done = romwright("settle", *write(*[()] * 7), "-o", "settled.bin")
    assert done.status == 0
    assert "settled: any bit wrong with at most 0.781%; 1% is allowed" in done.out
    assert "(0 + 1) / 2^7 = 0.781%" in done.out
    assert "written and read back: settled.bin (raw, 8,192 bytes" in done.out
    assert (tmp_path / "settled.bin").read_bytes() == PROGRAM.tobytes()


def test_three_do_not(romwright, write):
    done = romwright("settle", *write((), (), ()))
    assert done.status == 1
    assert "fault (more-reads): 3 reads are not enough" in done.out
    assert "7 reads in all would do if they are alike too" in done.out
    assert "not settled: any bit wrong with at most 12.5%; 1% is allowed" in done.out
    assert romwright("settle", *write((), (), ()), "--risk", "0.125").status == 0


def test_an_unstable_bit_is_never_hidden(romwright, write, tmp_path):
    reads = write([(0x123, 3)], *[()] * 14)
    done = romwright("settle", *reads, "-o", "settled.bin")
    assert done.status == 0  # 16 / 2^15 + 2 / 2^15
    assert (
        f"{'0123     D3':<12}" in done.out and "caution (unstable-bits): 1 bit was not read alike in all 15" in done.out
    )
    said = romwright("settle", *reads, "--json").json
    value = int(PROGRAM[0x123]) >> 3 & 1
    assert said["unstable"] == [
        {
            "address": 0x123, "bit": "D3", "zeros": 1 if value else 14, "ones": 14 if value else 1, "value": value,
            "written": value, "state": "settled", "chance_wrong": 16 / 2**15,
        }
    ]  # fmt: skip
    assert said["risk_reached"] == 18 / 2**15 and said["risk_alike"] == 2 / 2**15
    assert (tmp_path / "settled.bin").read_bytes() == PROGRAM.tobytes()


def test_a_tie_is_undecided_and_not_written_unasked(romwright, write, tmp_path):
    reads = write([(0x456, 7)], [(0x456, 7)], (), ())
    done = romwright("settle", *reads, "-o", "settled.bin")
    assert done.status == 1
    assert "fault (bits-undecided): 1 bit is undecided" in done.out
    assert "fault (bits-about-even): 1 bit read 0 about as often as 1" in done.out
    assert "each value in two fifths of the reads or more: 0456 D7" in done.out
    assert "not written: settled.bin (bits-undecided); if it is meant so: --accept bits-undecided" in done.out
    assert not (tmp_path / "settled.bin").exists()
    said = romwright("settle", *reads, "--json", "-o", "settled.bin").json
    assert said["unstable"][0]["value"] is None and said["unstable"][0]["state"] == "tied"
    assert (said["tied_bits"], said["even_bits"], said["undecided_bits"]) == (1, 1, 1)
    assert said["written"] is None and said["not_written_for"] == ["bits-undecided"]
    done = romwright("settle", *reads, "-o", "settled.bin", "--accept", "bits-undecided")
    assert done.status == 1
    first = int(PROGRAM[0x456]) >> 7 & 1 ^ 1
    assert f"0456 D7 as {first} (tied)" in done.out
    written = (tmp_path / "settled.bin").read_bytes()
    assert written[0x456] == PROGRAM[0x456] ^ 0x80 and written[:0x456] == PROGRAM[:0x456].tobytes()


def test_all_unstable_bits_are_in_json_and_the_rest_is_counted_on_paper(romwright, write):
    reads = write([(at, at % 8) for at in range(0, 8000, 100)], (), ())
    done = romwright("settle", *reads)
    assert "and 64 more (see --json)" in done.out
    said = romwright("settle", *reads, "--json").json
    assert [(each["address"], each["bit"]) for each in said["unstable"]] == [
        (at, f"D{at % 8}") for at in range(0, 8000, 100)
    ]
    assert said["unstable_bits"] == said["unstable_bytes"] == 80
    assert [each["stray_bits"] for each in said["reads"]] == [80, 0, 0]


def test_reads_that_disagree_are_set_aside(romwright, write, tmp_path):
    reads = write(*[()] * 8)
    (tmp_path / "stuck.bin").write_bytes((PROGRAM | 8).tobytes())
    (tmp_path / "blank.bin").write_bytes(b"\xff" * 8192)
    (tmp_path / "half.bin").write_bytes(PROGRAM[:4096].tobytes())
    done = romwright("settle", *reads, "stuck.bin", "blank.bin", "half.bin")
    assert done.status == 0
    for said in (
        "8 of 11 reads counted", "stuck.bin is set aside", "D3 is stuck high", "every byte reads FF",
        "it has 4,096 bytes, not 8,192",
    ):  # fmt: skip
        assert said in done.out
    said = romwright("settle", *reads, "stuck.bin", "blank.bin", "half.bin", "--json").json
    assert [each["reason"] for each in said["reads"]] == [None] * 8 + ["lines", "blank", "size"]
    assert said["reads_counted"] == 8 and said["settled"]


def test_two_that_differ_throughout(romwright, write, tmp_path):
    write(())
    (tmp_path / "other.bin").write_bytes(PROGRAM[::-1].tobytes())
    done = romwright("settle", "r0.bin", "other.bin", "-o", "settled.bin")
    assert done.status == 1
    assert "neither can be called right" in done.out and "not written: settled.bin (nothing is settled)" in done.out
    assert not (tmp_path / "settled.bin").exists()


def test_the_same_file_twice_is_no_second_read(romwright, write, tmp_path):
    write((), ())
    for again in ("r0.bin", "./r0.bin", tmp_path / "r0.bin"):
        done = romwright("settle", "r0.bin", again)
        assert done.status == 2 and "there is only one read" in done.err
    (tmp_path / "link.bin").symlink_to("r0.bin")
    done = romwright("settle", "r0.bin", "r1.bin", "link.bin")
    assert "caution (same-read-twice): link.bin is not counted" in done.out
    assert "2 of 3 reads counted" in done.out


def test_hex_with_gaps(romwright, tmp_path):
    from romwright.images.formats import intel
    from romwright.images.image import Image

    whole = PROGRAM.tobytes()
    (tmp_path / "a.hex").write_bytes(intel.build(Image.of([(0xE000, whole[:256]), (0xE200, whole[512:])])))
    (tmp_path / "b.hex").write_bytes(intel.build(Image.of([(0xE000, whole[:256]), (0xE300, whole[768:])])))
    done = romwright("settle", "a.hex", "b.hex")
    assert "fault (read-once): 256 bytes are in one read only" in done.out and "E200-E2FF" in done.out
    assert "caution (byte-in-no-read): 256 bytes are in no read" in done.out
    assert "2 reads are not enough: some bytes are in 1 of them only" in done.out
    options = ("-o", "out", "--accept", "read-once")
    done = romwright("settle", "a.hex", "b.hex", *options)
    assert done.status == 2 and "--fill FF" in done.err
    assert romwright("settle", "a.hex", "b.hex", *options, "--fill", "FF").status == 1
    assert (tmp_path / "out").read_bytes() == whole[:256] + b"\xff" * 256 + whole[512:]
    done = romwright("settle", "a.hex", "b.hex", "-o", "out.hex", "--accept", "read-once", "--write-as", "intel-hex")
    assert (tmp_path / "out.hex").read_bytes() == (tmp_path / "a.hex").read_bytes()


BAD = {
    "one read": (["r0.bin"], "at least two reads"),
    "no read": ([], "READ"),
    "missing": (["r0.bin", "nowhere.bin"], "there is no such file"),
    "empty": (["r0.bin", "empty.bin"], "the file is empty"),
    "folder": (["r0.bin", "."], "this is a folder"),
    "bad hex": (["r0.bin", "bad.hex"], "line 1"),
    "risk 0": (["r0.bin", "r1.bin", "--risk", "0"], "1e-12 to 0.25"),
    "risk 100%": (["r0.bin", "r1.bin", "--risk", "100%"], "1e-12 to 0.25"),
    "risk in words": (["r0.bin", "r1.bin", "--risk", "low"], "for instance 0.01, or 1%"),
    "risk nan": (["r0.bin", "r1.bin", "--risk", "nan"], "1e-12 to 0.25"),
    "fill without output": (["r0.bin", "r1.bin", "--fill", "FF"], "-o OUT"),
    "fill": (["r0.bin", "r1.bin", "--fill", "FFF", "-o", "x"], "two hex digits"),
    "unknown code": (["r0.bin", "r1.bin", "-o", "x", "--accept", "evrything"], "bits-undecided, read-once"),
    "output is an input": (["r0.bin", "r1.bin", "-o", "./r1.bin", "--overwrite"], "one of the inputs"),
    "output is there": (["r0.bin", "r1.bin", "-o", "empty.bin"], "--overwrite"),
    "output is no file": (["r0.bin", "r1.bin", "-o", "-"], "no name of a file"),
    "output is a folder": (["r0.bin", "r1.bin", "-o", "."], "name of a file"),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD)
def test_bad_input(romwright, write, tmp_path, name):
    write((), ())
    (tmp_path / "empty.bin").write_bytes(b"")
    (tmp_path / "bad.hex").write_bytes(b":0100000000FE\n")
    arguments, said = BAD[name]
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir() if path.is_file()}
    done = romwright("settle", *arguments)
    assert (done.status, said in done.err, done.out) == (2, True, ""), done.err
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir() if path.is_file()} == before


def test_names_are_printed_inert(romwright, write, tmp_path):
    write((), ())
    (tmp_path / "r1.bin").rename(tmp_path / "d\x1b[2J.bin")
    assert "\x1b" not in romwright("settle", "r0.bin", "d\x1b[2J.bin").out


def test_a_faulty_hex_file_is_told_and_refuses_writing(romwright, tmp_path):
    from romwright.images.formats import intel
    from romwright.images.image import Image

    text = intel.build(Image.from_bytes(PROGRAM.tobytes()))
    for n in range(8):
        (tmp_path / f"{n}.hex").write_bytes(text if n else text.rsplit(b"\r\n", 2)[0] + b"\r\n")
    reads = [f"{n}.hex" for n in range(8)]
    done = romwright("settle", *reads, "-o", "out")
    assert done.status == 1 and "0.hex:\nfault (missing-end)" in done.out
    assert "not written: out (missing-end)" in done.out
    assert romwright("settle", *reads, "-o", "out", "--accept", "missing-end").status == 1
    assert (tmp_path / "out").read_bytes() == PROGRAM.tobytes()


def test_many_reads_fit_on_a_page(romwright, write):
    done = romwright("settle", *write([(9, 1)], *[()] * 39))
    lines = done.out.splitlines()
    assert done.status == 0 and "and 16 more reads (see --json)" in lines
    assert lines[2].split() == ["r0.bin", "8,192", "1", "counted"]  # the worst comes first
