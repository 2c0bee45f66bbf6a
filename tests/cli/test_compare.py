"""romwright compare, as a user runs it."""

import numpy as np
import pytest

from romwright.faults.lines import Law, Line, LineMap

PROGRAM = np.random.default_rng(11).integers(0, 256, 8192).astype(np.uint8)


@pytest.fixture
def files(tmp_path):
    """Write good.bin, and dump.bin with some lines replaced."""
    (tmp_path / "good.bin").write_bytes(PROGRAM.tobytes())

    def write(address=(), data=(), spoil=lambda dump: dump):
        straight = LineMap.straight(13)
        lines = [list(straight.address), list(straight.data)]
        for side, changes in zip(lines, (dict(address), dict(data))):
            for line, carried in changes.items():
                side[line] = carried
        dump = spoil(LineMap(*map(tuple, lines)).apply(PROGRAM, len(PROGRAM)))
        (tmp_path / "dump.bin").write_bytes(dump.tobytes())

    return write


def rotten(dump):
    dump = dump.copy()
    dump[0x1A00:0x1B00:8] |= 1
    return dump


CASES = {
    "A11 and A12 are crossed": ({11: Line.follows(12), 12: Line.follows(11)}, {}),
    "A3 is stuck low": ({3: Line.stuck(0)}, {}),
    "A3 and A4 are joined": ({3: Line.joined(Law.AND, (3, 4)), 4: Line.joined(Law.AND, (3, 4))}, {}),
    "D3 is stuck high": ({}, {3: Line.stuck(1)}),
    "A0, A5 and A9 are stuck low": (dict.fromkeys((0, 5, 9), Line.stuck(0)), {}),
    "D0, D1 and D6 are inverted": ({}, {n: Line.inverted(n) for n in (0, 1, 6)}),
    "D6 is inverted": ({}, {6: Line.inverted(6)}),
    "D0-D7 are inverted": ({}, {n: Line.inverted(n) for n in range(8)}),
    "A0 is inverted": ({0: Line.inverted(0)}, {}),
    "A3 and A7 are inverted": ({n: Line.inverted(n) for n in (3, 7)}, {}),
    "D0 and D1 are joined": ({}, {0: Line.joined(Law.OR, (0, 1)), 1: Line.joined(Law.OR, (0, 1))}),
    "D0, D1 and D2 are crossed": ({}, {0: Line.follows(1), 1: Line.follows(2), 2: Line.follows(0)}),
}


@pytest.mark.parametrize("title", CASES)
def test_each_fault_in_a_technicians_words(romwright, files, title):
    files(*CASES[title])
    done = romwright("compare", "good.bin", "dump.bin")
    assert done.status == 1
    assert f": {title}\n" in done.out
    assert "every bit of it (checked at every address)" in done.out
    assert "Confidence over 99.99%" in done.out


def test_json(romwright, files):
    files({2: Line.follows(9), 9: Line.follows(2)}, {7: Line.stuck(0)}, rotten)
    done = romwright("compare", "--json", "good.bin", "dump.bin")
    assert done.status == 1
    said = done.json
    assert (said["identical"], said["size_reference"], said["size_dump"]) == (False, 8192, 8192)
    assert said["address_lines"][2] == {"line": "A2", "state": "follows", "of": "A9"}
    assert said["data_lines"][7] == {"line": "D7", "state": "stuck", "level": 0}
    assert said["residual_bits"] == said["residual"]["rose"] > 8
    assert said["residual"]["clusters"][0]["detail"] == "1A00-1AFF"
    assert {"line-crossed", "line-stuck", "bits-rose"} == {finding["code"] for finding in said["findings"]}


def test_equal_files(romwright, files):
    files()
    done = romwright("compare", "good.bin", "dump.bin")
    assert (done.status, done.out) == (0, "dump.bin against good.bin\nidentical: 8,192 bytes\n")
    assert romwright("compare", "--json", "good.bin", "dump.bin").json["identical"] is True


def test_what_cannot_be_told_is_said(romwright, tmp_path):
    data = np.concatenate((PROGRAM[:1024], PROGRAM[1024:2048], PROGRAM[1024:2048], PROGRAM[2048:3072])) & 0x7F
    (tmp_path / "good.bin").write_bytes(data.tobytes())
    (tmp_path / "dump.bin").write_bytes((data ^ 1).tobytes())
    done = romwright("compare", "good.bin", "dump.bin")
    assert "The contents cannot tell A10 and A11 apart" in done.out
    assert "D7: never changes" in done.out
    assert "Other explanations" in done.out


def test_the_same_files_give_the_same_answer(romwright, tmp_path):
    data = np.full(8192, 0xFF, np.uint8)
    data[:512] = PROGRAM[:512]
    (tmp_path / "good.bin").write_bytes(data.tobytes())
    crossed = LineMap(tuple(map(Line.follows, reversed(range(13)))), LineMap.straight(0).data)
    (tmp_path / "dump.bin").write_bytes(crossed.apply(data, 8192).tobytes())
    answers = {romwright("compare", "--json", "good.bin", "dump.bin", env={"PYTHONHASHSEED": n}).out for n in "0123"}
    assert len(answers) == 1


def test_a_hex_file_against_a_binary(romwright, files, tmp_path):
    from romwright.images.formats import intel
    from romwright.images.image import Image

    files(data={3: Line.stuck(1)})
    (tmp_path / "good.hex").write_bytes(intel.build(Image.from_bytes(PROGRAM.tobytes(), 0xE000)))
    assert "D3 is stuck high" in romwright("compare", "good.hex", "dump.bin").out


@pytest.mark.parametrize(
    ("names", "content", "said"),
    [
        (("good.bin", "nowhere.bin"), None, "there is no such file"),
        (("good.bin", "bad.bin"), b"", "the file is empty"),
        (("good.bin", "bad.bin"), b":0100000000FE\n", "line 1"),
        (("good.bin",), None, "DUMP"),
    ],
    ids=["missing", "empty", "bad checksum", "one file"],
)
def test_bad_input(romwright, files, tmp_path, names, content, said):
    files()
    if content is not None:
        (tmp_path / "bad.bin").write_bytes(content)
    done = romwright("compare", *names)
    assert (done.status, said in done.err, done.out) == (2, True, "")


def test_names_are_printed_inert(romwright, files, tmp_path):
    files(data={3: Line.stuck(1)})
    (tmp_path / "dump.bin").rename(tmp_path / "d\x1b[2J.bin")
    assert "\x1b" not in romwright("compare", "good.bin", "d\x1b[2J.bin").out


def test_the_first_wrong_addresses_are_printed(romwright, files):
    def spoil(dump):
        dump = dump.copy()
        dump[0x123:0x12D] ^= 0x10
        dump[0x1F00] ^= 0x81
        return dump

    files(spoil=spoil)
    lines = romwright("compare", "good.bin", "dump.bin").out.splitlines()
    good = int(PROGRAM[0x123])
    assert f"0123: {good:02X} expected, {good ^ 0x10:02X} read (D4)" in lines
    assert "and 3 more (see --json)" in lines
    said = romwright("compare", "--json", "good.bin", "dump.bin").json["residual"]
    assert [each["address"] for each in said["examples"]] == [*range(0x123, 0x12D), 0x1F00]


def test_the_advice_for_a_moved_dump_works(romwright, tmp_path):
    """The command that is printed, filled in with a part and an output, gives the reference."""
    import re

    (tmp_path / "good.bin").write_bytes(PROGRAM.tobytes())
    for name, before, after in (("moved", b"\xff" * 1000, b"\xff" * 7192), ("padded", b"HEADER 1", b"")):
        (tmp_path / "dump.bin").write_bytes(before + PROGRAM.tobytes() + after)
        said = " ".join(romwright("compare", "good.bin", "dump.bin").out.split())
        options = re.search(r"prepare, (--cut \S+ --base \S+) takes", said)[1].split()
        done = romwright("prepare", "dump.bin", "--for", "27C64", *options, "-o", f"{name}.out")
        assert (done.status, (tmp_path / f"{name}.out").read_bytes()) == (0, PROGRAM.tobytes())


def test_no_certainty_where_more_may_be_wrong(romwright, files):
    rng = np.random.default_rng(5)
    at = rng.choice(8192, 30, replace=False)

    def spoil(dump):
        dump = dump.copy()
        dump[at] = PROGRAM[at ^ 0x80]
        return dump

    files(spoil=spoil)
    done = romwright("compare", "good.bin", "dump.bin")
    assert "A7 makes contact only now and then" in done.out
    assert "How sure that is cannot be said" in done.out
    assert "Confidence" not in done.out
    assert romwright("compare", "--json", "good.bin", "dump.bin").json["certain"] is False


def test_other_explanations_are_never_empty(romwright, tmp_path):
    dump = np.concatenate((PROGRAM[:1], PROGRAM[:-1]))
    dump[0] ^= 0x55
    (tmp_path / "good.bin").write_bytes(PROGRAM.tobytes())
    (tmp_path / "dump.bin").write_bytes(dump.tobytes())
    done = romwright("compare", "good.bin", "dump.bin")
    assert "starts 0001 before the reference" in done.out
    assert "%: ;" not in done.out
