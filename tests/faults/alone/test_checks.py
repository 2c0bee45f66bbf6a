"""Signs of a bad read in one dump alone: laws, faults put into real ROM images, and silence on good ones."""

from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from alone_faults import BUSES, CODES, SPOIL, drops, two_roms
from hypothesis import given, settings
from hypothesis import strategies as st
from line_faults import IMAGES, load, turned

from romwright.faults.alone.checks import find_signs
from romwright.faults.alone.crowd import dependence
from romwright.faults.alone.idle import differing
from romwright.faults.alone.pairs import Pairs
from romwright.faults.alone.signs import Dump
from romwright.faults.lines import Law, Line, LineMap
from romwright.findings import Severity, blocks
from romwright.images.image import Image

REAL = load(IMAGES)
CBIOS = sorted(Path("/usr/share/cbios").glob("*.rom"))
TERN = Path(__file__).parents[3] / "fixtures" / "tern"
LARGE = [name for name in REAL if 32 <= int(name.split()[-1][:-1]) <= 128]
random_bytes = st.builds(
    lambda seed, lines: np.random.default_rng(seed).integers(0, 256, 1 << lines, np.uint8),
    st.integers(0, 1 << 30), st.integers(10, 14),
)  # fmt: skip


def signs(data):
    return find_signs(Image.from_bytes(np.asarray(data, np.uint8).tobytes()))


def named(data):
    """The codes found, with their lines."""
    return {(sign.finding.code.name, tuple(sign.facts.get("lines", ()))) for sign in signs(data)}


def read_through(data, address=(), wires=()):
    """Read through lines of which a few, given as (number, Line), are not straight."""
    straight = LineMap.straight(len(data).bit_length() - 1)
    lists = [list(straight.address), list(straight.data)]
    for lines, changed in zip(lists, (address, wires)):
        for number, line in changed:
            lines[number] = line
    return LineMap(tuple(lists[0]), tuple(lists[1])).apply(data, len(data))


@given(random_bytes)
@settings(max_examples=40, deadline=None)
def test_random_bytes_are_no_bad_read(data):
    assert signs(data) == []


@given(random_bytes, st.integers(1, 6), st.integers(0, 1), st.sampled_from([0, 0.0005]))
@settings(max_examples=40, deadline=None)
def test_a_stuck_data_line_is_the_one_thing_said(data, line, level, noise):
    seen = turned(np.random.default_rng(1), read_through(data, wires=[(line, Line.stuck(level))]), noise)
    assert named(seen) == {("line-stuck", (f"D{line}",))}
    (sign,) = signs(seen)
    assert sign.facts["level"] == level and sign.facts["wrong"] == int(((seen >> line & 1) != level).sum())


@given(random_bytes, st.sampled_from([(0,), (7,), (6, 7), (0, 7), (5, 6, 7)]), st.integers(0, 1))
@settings(max_examples=30, deadline=None)
def test_lines_at_the_edge_are_a_caution_and_said_together(data, lines, level):
    seen = read_through(data, wires=[(line, Line.stuck(level)) for line in lines])
    assert named(seen) == {("line-still", tuple(f"D{line}" for line in lines))}
    assert not blocks(sign.finding for sign in signs(seen))


@given(random_bytes, st.sets(st.integers(0, 7), min_size=2, max_size=3), st.sampled_from(Law))
@settings(max_examples=40, deadline=None)
def test_joined_data_lines_are_named_with_the_law_that_fits(data, lines, law):
    lines = sorted(lines)
    seen = read_through(data, wires=[(line, Line.joined(law, lines)) for line in lines])
    assert named(seen) == {("line-joined", tuple(f"D{line}" for line in lines))}
    (sign,) = signs(seen)
    assert ("low" if law is Law.AND else "high") + " one wins" in sign.finding.evidence


@given(random_bytes, st.data(), st.integers(0, 1))
@settings(max_examples=40, deadline=None)
def test_an_idle_address_line_is_named(data, draw, level):
    count = len(data).bit_length() - 1
    line = draw.draw(st.integers(0, count - 1))
    seen = read_through(data, address=[(line, Line.stuck(level))])
    (code, lines), *more = named(seen)
    assert lines == (f"A{line}",) and not more and code in CODES["address stuck"]
    assert (code == "image-repeats") == (line == count - 1)
    assert blocks(sign.finding for sign in signs(seen)) == (code == "line-reaches-nothing")
    (sign,) = signs(seen)
    assert sign.facts["wrong"] == 0 and sign.facts["pairs"] >= 64


@given(random_bytes, st.data(), st.sampled_from(Law))
@settings(max_examples=40, deadline=None)
def test_joined_address_lines_are_named_with_their_law(data, draw, law):
    lines = sorted(draw.draw(st.sets(st.integers(0, len(data).bit_length() - 2), min_size=2, max_size=3)))
    seen = read_through(data, address=[(line, Line.joined(law, lines)) for line in lines])
    assert named(seen) == {("line-joined", tuple(f"A{line}" for line in lines))}
    assert signs(seen)[0].facts["law"] == law


@given(st.binary(min_size=128, max_size=300))
@settings(max_examples=30, deadline=None)
def test_pairs_are_those_of_brute_force(data):
    """The plainest way: every address, every line, every other line."""
    dump = Dump(Image.from_bytes(data))
    pairs, tells = Pairs(dump), dump.tells
    for line, other in combinations(range(dump.lines), 2):
        met = [(a, a ^ 1 << line) for a in range(len(data)) if a ^ 1 << line < len(data)]
        met = [(a, b) for a, b in met if tells[data[a]] or tells[data[b]]]
        high = [(a, b) for a, b in met if a >> other & 1]
        assert pairs.pairs[line] == len(met) and pairs.wrong[line] == sum(data[a] != data[b] for a, b in met)
        assert pairs.pairs_high[line, other] == len(high)
        assert pairs.wrong_high[line, other] == sum(data[a] != data[b] for a, b in high)


@given(st.binary(min_size=1, max_size=200) | st.builds(lambda part: part * 9, st.binary(min_size=1, max_size=30)))
@settings(max_examples=60, deadline=None)
def test_pairs_along_a_line_are_counted_over_the_whole(data):
    """The plainest way: every address and its partner."""
    dump = Dump(Image.from_bytes(data))
    for line in range(dump.lines):
        met = [
            (data[a], data[a | 1 << line]) for a in range(len(data)) if not a >> line & 1 and a | 1 << line < len(data)
        ]
        met = [(a, b) for a, b in met if dump.tells[a] or dump.tells[b]]
        assert differing(dump, line) == (len(met), sum(a != b for a, b in met))


def test_lines_of_a_byte_that_are_independent_tell_nothing_of_each_other():
    """The Kullback-Leibler divergence from the product of the marginals: 0 if independent, 7 bits if all 8 are one."""
    ones = np.array([np.prod([0.2 if value >> bit & 1 else 0.8 for bit in range(8)]) for value in range(256)])
    assert dependence(ones) == pytest.approx(0, abs=1e-9)
    assert dependence(np.array([1.0, *[0] * 254, 1.0])) == pytest.approx(7)


@pytest.mark.skipif(not REAL, reason="needs the Debian packages seabios, vgabios, ipxe-qemu")
@pytest.mark.parametrize("fault", SPOIL)
def test_faults_in_real_images_are_found(fault):
    """Images: Debian seabios 1.16.2, vgabios 0.8a, ipxe-qemu. The rates are measured by bench_alone.py."""
    rng, found = np.random.default_rng(6), 0
    for name in LARGE:
        seen, lines = SPOIL[fault](rng, REAL[name])
        found += any(
            sign.finding.code.name in CODES[fault] and lines <= set(sign.facts.get("lines", ())) for sign in signs(seen)
        )
    assert found >= 0.9 * len(LARGE)


@pytest.mark.skipif(not REAL, reason="needs the Debian packages seabios, vgabios, ipxe-qemu")
@pytest.mark.parametrize("name", REAL)
def test_good_rom_images_are_let_alone(name):
    assert {sign.finding.severity for sign in signs(REAL[name])} <= {Severity.NOTE}


@pytest.mark.skipif(not CBIOS, reason="needs the Debian package cbios")
def test_good_msx_roms_are_let_alone():
    for path in CBIOS:
        found = signs(np.frombuffer(path.read_bytes(), np.uint8))
        assert {sign.finding.severity for sign in found} <= {Severity.NOTE}, path


@pytest.mark.parametrize("path", sorted(TERN.glob("*.bin")), ids=lambda path: path.stem)
def test_the_tern_programs_are_let_alone(path):
    assert signs(np.frombuffer(path.read_bytes(), np.uint8)) == []


@pytest.mark.skipif(not REAL, reason="needs the Debian packages seabios, vgabios, ipxe-qemu")
def test_two_real_roms_at_once_are_seen():
    """The AND of two programs of different makers (seabios; vgabios; ipxe)."""
    pairs = [("bios-256k.bin 28000 32K", "vgabios.banshee.bin 0 32K"), ("bios.bin 0 128K", "efi-e1000.rom 0 128K")]
    for one, other in pairs:
        seen, _ = two_roms(REAL[other])(None, REAL[one])
        assert {code for code, _ in named(seen)} == {"few-ones"}


@pytest.mark.skipif(not REAL, reason="needs the Debian packages seabios, vgabios, ipxe-qemu")
@pytest.mark.parametrize("bus", BUSES)
def test_a_chip_that_drops_out_says_how_often_and_what_it_reads(bus):
    rng, data = np.random.default_rng(2), REAL["bios-256k.bin 28000 32K"]
    (sign,) = signs(drops(bus, 0.25)(rng, data)[0])
    assert sign.finding.code.name == "answers-now-and-then" and sign.facts["share"] == pytest.approx(0.25, abs=0.05)
    assert sign.facts["value"].startswith(bus) and "line" not in sign.facts


@pytest.mark.skipif(not REAL, reason="needs the Debian packages seabios, vgabios, ipxe-qemu")
def test_a_drop_out_that_depends_on_a_line_names_it():
    rng, data = np.random.default_rng(3), REAL["bios-256k.bin 28000 32K"]
    gone = (np.arange(len(data)) >> 9 & 1 == 1) & (rng.random(len(data)) < 0.3)
    (sign,) = signs(np.where(gone, np.uint8(0xFF), data))
    assert sign.facts["line"] == "A9" and sign.facts["low"] < 0.05 < 0.2 < sign.facts["high"]


@pytest.mark.skipif(not REAL, reason="needs the Debian packages seabios, vgabios, ipxe-qemu")
def test_holes_at_any_address_are_seen():
    rng, data = np.random.default_rng(4), REAL["bios-256k.bin 28000 32K"].copy()
    for at in rng.integers(0, 32000, 24):
        data[at : at + rng.integers(30, 200)] = 0xFF
    (sign,) = signs(data)
    assert sign.finding.code.name == "stretches-missing" and sign.facts["odd"] >= 2
    assert all(data[first : last + 1].tolist() == [0xFF] * (last - first + 1) for first, last in sign.facts["places"])


@pytest.mark.parametrize(("data", "code"), [
    (b"\xff" * 4096, "one-value"), (b"\0" * 4096, "one-value"), (b"\x55" * 100, "one-value"),
    (bytes(range(256)) * 16, "reads-its-address"),
    (b"".join(bytes([0xC0 + page]) * 256 for page in range(32)), "reads-its-address"),
    (b"THE TIDE IS HIGH AT NOON, LOW AT SIX; LOG IT. " * 200, "seven-bit-text"),
    (bytes(np.random.default_rng(5).integers(0, 16, 2048, np.uint8)), "line-still"),
])  # fmt: skip
def test_what_may_be_innocent_is_no_fault(data, code):
    found = find_signs(Image.from_bytes(data))
    assert [sign.finding.code.name for sign in found] == [code] and not blocks(sign.finding for sign in found)


@pytest.mark.parametrize("data", [b"", b"x", b"xy", b"\xff", b"\xff" * 15, b"abc", bytes(range(100)), b"\xff\x00" * 64])
def test_too_little_says_nothing(data):
    image = Image.from_bytes(data) if data else Image(())
    assert find_signs(image) == []


def test_a_repeat_that_is_not_quite_equal_is_a_caution():
    data = np.tile(np.random.default_rng(7).integers(0, 256, 4096, np.uint8), 2)
    assert named(data) == {("image-repeats", ("A12",))}
    data[5000] ^= 4
    (sign,) = signs(data)
    assert (sign.finding.code.name, sign.facts["wrong"]) == ("repeats-differ", 1)


def test_address_lines_are_not_judged_across_gaps():
    data = np.random.default_rng(8).integers(0, 256, 4096, np.uint8).tobytes()
    image = Image.of([(0, data), (0x2000, data)])
    assert find_signs(image) == []


def test_a_callers_own_check_is_asked_last():
    asked = []

    def check(dump):
        asked.append(dump.data.tobytes())
        return find_signs(Image.from_bytes(b"\0" * 64))

    found = find_signs(Image.from_bytes(b"\xff" * 64), (check,))
    assert asked == [b"\xff" * 64] and [sign.facts["value"] for sign in found] == ["FF", "00"]
