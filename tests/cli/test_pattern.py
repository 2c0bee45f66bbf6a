"""romwright pattern, as a user runs it."""

import pytest

from romwright.faults.patterns.image import LineFinder


@pytest.fixture
def lines(romwright, tmp_path):
    """Write lines.bin for a 2716; return its bytes."""
    done = romwright("pattern", "line-finder", "--for", "2716", "--marking", "D2716", "-o", "lines.bin")
    assert done.status == 0 and "By eye" in done.out and "Take care" in done.out
    return (tmp_path / "lines.bin").read_bytes()


def test_line_finder_written_and_read(romwright, lines, tmp_path):
    assert lines == LineFinder(11, 8).image_bytes()
    done = romwright("pattern", "line-finder", "--for", "2716", "--read", "lines.bin")
    assert (done.status, done.out.splitlines()[-1]) == (0, "every address line and every data line is right")
    spoilt = bytes(lines[at & ~0x10] | 4 for at in range(2048))
    (tmp_path / "dump.bin").write_bytes(spoilt)
    done = romwright("pattern", "line-finder", "--for", "2716", "--read", "dump.bin")
    assert done.status == 1
    assert "A4 is stuck low" in done.out and "D2 is stuck high" in done.out
    done = romwright("pattern", "line-finder", "--for", "2716", "--read", "dump.bin", "--json")
    answer = done.json
    assert done.status == 1 and answer["explained"] and answer["unique"] and answer["wrong_bits"] == 0
    assert answer["address_lines"][4] == {"line": "A4", "state": "stuck", "level": 0}
    assert answer["data_lines"][2] == {"line": "D2", "state": "stuck", "level": 1}


def test_an_inverted_address_line(romwright, lines, tmp_path):
    (tmp_path / "dump.bin").write_bytes(bytes(lines[at ^ 0x400] for at in range(2048)))
    done = romwright("pattern", "line-finder", "--for", "2716", "--read", "dump.bin")
    assert done.status == 1 and "fault (address-inverted): A10 is inverted" in done.out


@pytest.mark.parametrize("part", ["prom-82s123", "prom-82s129", "27C1024"])
def test_other_widths(romwright, part):
    done = romwright("pattern", "line-finder", "--for", part, "-o", "a.hex", "--write-as", "intel-hex", "--json")
    assert done.status == 0 and done.json["outputs"][0]["format"] == "intel-hex"
    assert len(done.json["lines"]) in (5, 8, 16)
    assert romwright("pattern", "line-finder", "--for", part, "--read", "a.hex").status == 0


@pytest.mark.parametrize("pattern", [("line-finder",), ("free-run", "--cpu", "Z80")])
def test_a_pattern_is_burnt_at_no_voltage_that_kills_a_look_alike(romwright, pattern):
    command = ("pattern", *pattern, "--for", "2764", "-o", "x.bin", "--overwrite")
    unread = romwright(*command)
    assert unread.status == 1 and "stop (voltage-unconfirmed)" in unread.out and "At the bench: burn" not in unread.out
    assert romwright(*command, "--marking", "2764A").status == 1
    answer = romwright(*command, "--json")
    assert answer.status == 1 and answer.json["findings"][0]["code"] == "voltage-unconfirmed"
    read = romwright(*command, "--marking", "MBM2764-25 VPP 21V")
    assert read.status == 0 and "voltage-unconfirmed" not in read.out


def test_free_run(romwright, tmp_path):
    given = ("pattern", "free-run", "--cpu", "z80", "--clock", "4MHz", "--for", "2764", "--marking", "D2764")
    done = romwright(*given, "-o", "n.bin", "--json")
    assert done.status == 0 and (tmp_path / "n.bin").read_bytes() == bytes(8192)
    answer = done.json
    assert answer["clock_hz"] == 4e6 and answer["word"] == "00" and answer["source"] and answer["cautions"]
    first, last = answer["lines"][0], answer["lines"][-1]
    assert (first["line"], first["hz_exact"], first["period_s"]) == ("A0", "500000", 2e-6)
    assert (last["line"], last["hz_exact"], last["counter_hz"]) == ("A15", "15625/1024", 5e5)
    done = romwright("pattern", "free-run", "--cpu", "68000")
    assert done.status == 0 and "4E714E71" in done.out and "Unchecked: " in done.out


REFUSED = [
    ["line-finder", "--for", "2716"],
    ["line-finder", "--for", "2716", "-o", "x", "--read", "lines.bin"],
    ["line-finder", "--for", "2716", "-o", "lines.bin"],
    ["line-finder", "--for", "rom-2364-24", "-o", "x"],
    ["line-finder", "--for", "nosuch", "-o", "x"],
    ["line-finder", "--for", "2716", "--read", "nosuch"],
    ["line-finder", "--for", "2716", "--read", "."],
    ["line-finder", "--for", "2716", "--read", "empty"],
    ["line-finder", "--for", "2716", "--read", "one"],
    ["line-finder", "--for", "2708", "--read", "large"],
    ["line-finder", "--for", "27C1024", "--read", "odd"],
    ["line-finder", "--for", "2716", "--read", "gaps.hex"],
    ["free-run", "--cpu", "nosuch"],
    ["free-run", "--cpu", "Z80", "--clock", "soon"],
    ["free-run", "--cpu", "Z80", "-o", "x"],
    ["free-run", "--cpu", "Z80", "--for", "2716"],
    ["free-run", "--cpu", "Z80", "--for", "27C1024", "-o", "x"],
]


@pytest.mark.parametrize("args", REFUSED, ids=" ".join)
def test_refused(romwright, lines, tmp_path, args):
    (tmp_path / "empty").touch()
    (tmp_path / "one").write_bytes(b"\xff")
    (tmp_path / "large").write_bytes(bytes(32768))
    (tmp_path / "odd").write_bytes(bytes(9001))
    (tmp_path / "gaps.hex").write_text(":0100000000FF\n:01070000AA4E\n:00000001FF\n")
    done = romwright("pattern", *args)
    assert done.status == 2 and done.err.startswith("error: ") and not done.out
    assert not (tmp_path / "x").exists() and (tmp_path / "lines.bin").read_bytes() == lines


@pytest.mark.parametrize(("clock", "shown"), [("3.579545MHz", "3.579545 MHz"), ("14.31818MHz/3", "4.77272667 MHz")])
def test_a_clock_is_shown_as_it_was_given(romwright, clock, shown):
    assert f"): {shown}\n" in romwright("pattern", "free-run", "--cpu", "Z80", "--clock", clock).out
