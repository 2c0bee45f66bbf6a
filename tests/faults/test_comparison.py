"""Whole comparisons: laws on random maps, real images, and what cannot be told.

Real images: Debian packages seabios and vgabios. What is right is known because the reads are spoilt here.
"""

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from line_faults import FAULTS, IMAGES, load, random_map, turned
from strategies import line_maps

from romwright.faults.comparison import compare
from romwright.faults.lines import Law, Line, LineMap
from romwright.images.image import Image
from romwright.sheets.bitdrawing import build_bits_picture

REAL = load(IMAGES)
PROGRAM = np.random.default_rng(7).integers(0, 256, 1 << 12).astype(np.uint8)
PROGRAM[:1024] &= PROGRAM[1024:2048]  # data lines and quarters of different make


def image(data):
    return Image.from_bytes(bytes(data))


def compared(reference, dump):
    """Compare, check what holds for every answer, and return it with its JSON."""
    found = compare(image(reference), image(dump))
    said = found.as_json()
    json.dumps(said)
    assert found.best.residual == said["residual_bits"] == said["residual"]["bits"]
    assert said["residual"]["rose"] + said["residual"]["fell"] == said["residual_bits"]
    assert said["rose"] + said["fell"] == said["bits_different"]
    assert 0 <= said["confidence"] <= 1
    assert bool(found.findings) is not found.identical
    return found, said


@given(st.integers(0, 2**32), st.lists(st.sampled_from(FAULTS), max_size=2), st.booleans())
@settings(max_examples=50, deadline=None)
def test_what_a_map_reads_is_explained_to_the_last_bit(seed, kinds, crossed):
    dump = random_map(np.random.default_rng(seed), 12, kinds, crossed).apply(PROGRAM, len(PROGRAM))
    found, _ = compared(PROGRAM, dump)
    assert np.array_equal(found.best.lines.apply(PROGRAM, len(PROGRAM)), dump)
    assert found.best.residual == 0


@given(line_maps(st.just(8)))
@settings(max_examples=5, deadline=None)
def test_whatever_is_said_reproduces_the_dump(lines):
    """More may be wrong than is looked for: what is said is proved all the same, in as_json."""
    compared(PROGRAM[:256], lines.apply(PROGRAM[:256], 256))


def test_the_simplest_of_equal_explanations():
    """In an image whose bytes spell their address a stuck data line may be taken for a stuck address line."""
    spelt = np.tile(np.arange(256, dtype=np.uint8), 4)
    _, said = compared(spelt, spelt | 8)
    assert said["data_lines"][3] == {"line": "D3", "state": "stuck", "level": 1}
    assert [line["of"] for line in said["address_lines"]] == [f"A{n}" for n in range(10)]


@given(st.integers(0, 2**32), st.lists(st.sampled_from(FAULTS), max_size=2), st.booleans())
@settings(max_examples=40, deadline=None)
def test_wrong_bits_do_not_hide_the_map(seed, kinds, crossed):
    rng = np.random.default_rng(seed)
    true = random_map(rng, 12, kinds, crossed)
    clean = true.apply(PROGRAM, len(PROGRAM))
    found, _ = compared(PROGRAM, turned(rng, clean, 0.003))
    assert np.array_equal(found.best.lines.apply(PROGRAM, len(PROGRAM)), clean)


@pytest.mark.parametrize("name", REAL or [pytest.param("", marks=pytest.mark.skip("needs the Debian package seabios"))])
@pytest.mark.parametrize(
    "kinds", [(), ("address stuck",), ("address joined", "data inverted"), ("data joined",)], ids=" + ".join
)
def test_real_images(name, kinds):
    data, rng = REAL[name], np.random.default_rng(len(name))
    true = random_map(rng, len(data).bit_length() - 1, kinds)
    clean = true.apply(data, len(data))
    found, _ = compared(data, turned(rng, clean, 0.002))
    assert np.array_equal(found.best.lines.apply(data, len(data)), clean)
    assert found.confidence_together > 0.99


def test_three_lines_joined():
    address, data = list(LineMap.straight(12).address), list(LineMap.straight(0).data)
    address[2] = address[5] = address[9] = Line.joined(Law.AND, (2, 5, 9))
    found, said = compared(PROGRAM, LineMap(tuple(address), tuple(data)).apply(PROGRAM, 4096))
    assert said["address_lines"][5] == {
        "line": "A5", "state": "joined", "with": ["A2", "A9"], "law": "and", "of": ["A2", "A5", "A9"],
    }  # fmt: skip
    data[1] = data[3] = data[4] = Line.joined(Law.OR, (1, 3, 4))
    found, said = compared(PROGRAM, LineMap(LineMap.straight(12).address, tuple(data)).apply(PROGRAM, 4096))
    assert (said["data_lines"][3]["with"], said["data_lines"][3]["law"], found.best.residual) == (["D1", "D4"], "or", 0)


def test_equal_files_are_identical():
    found, said = compared(PROGRAM, PROGRAM)
    assert (said["identical"], said["residual_bits"], said["alternatives"], found.findings) == (True, 0, [], ())


@pytest.mark.parametrize("level", [0, 1])
def test_one_half(level):
    half = PROGRAM[2048 * level :][:2048]
    found, said = compared(PROGRAM, half)
    assert said["address_lines"][11] == {"line": "A11", "state": "stuck", "level": level}
    assert [finding.code.name for finding in found.findings] == ["size-differs"]
    assert f"A11 {'high' if level else 'low'}" in found.findings[0].evidence


def test_one_half_with_crossed_lines():
    lines = random_map(np.random.default_rng(3), 12, [])
    dump = lines.apply(PROGRAM, 2048)  # the reader's highest line is low
    found, _ = compared(PROGRAM, dump)
    assert found.best.residual == 0


def test_repeats():
    found, said = compared(PROGRAM, np.tile(PROGRAM, 4))
    assert (said["residual_bits"], [finding.code.name for finding in found.findings]) == (0, ["size-differs"])
    assert "4 times over" in found.findings[0].evidence
    crossed = random_map(np.random.default_rng(4), 12, []).apply(PROGRAM, 4096)
    assert compared(PROGRAM, np.tile(crossed, 2))[0].best.residual == 0


@pytest.mark.parametrize("start", [300, -300])
def test_a_shifted_start(start):
    dump = np.roll(PROGRAM, -start)
    found, said = compared(PROGRAM, dump)
    assert said["start"] % 4096 == start % 4096
    assert said["residual_bits"] == 0
    placed = np.full(8192, 0xFF, np.uint8)
    placed[1000:5096] = PROGRAM
    found, said = compared(PROGRAM, placed)
    assert (said["start"], said["beyond"], said["residual_bits"]) == (-1000, "FF", 0)


def test_a_reference_of_no_power_of_two_is_filled_up():
    short = PROGRAM[:3000]
    whole = np.concatenate((short, np.full(1096, 0xFF, np.uint8)))
    true = random_map(np.random.default_rng(5), 12, ["data stuck"])
    assert compared(short, true.apply(whole, 4096))[0].best.residual == 0
    changed = short.copy()
    changed[77] ^= 16
    assert compared(short, changed)[1]["residual"]["examples"][0]["address"] == 77


def test_gaps_of_a_dump_are_not_compared():
    dump = Image.of(
        [(0x8000, bytes(PROGRAM[:1000])), (0x8400, bytes(PROGRAM[1024:4090])), (0x8FFF, bytes([PROGRAM[-1] ^ 1]))]
    )
    found = compare(image(PROGRAM), dump)
    assert found.as_json()["residual_bits"] == 1
    assert not found.identical
    assert "bytes-not-compared" in [finding.code.name for finding in found.findings]
    crossed = Image.of(
        [(0, bytes(random_map(np.random.default_rng(5), 12, []).apply(PROGRAM, 4096)[:4000])), (4001, b"A")]
    )
    found = compare(image(PROGRAM), crossed)
    assert found.as_json()["residual_bits"] <= 8  # of the one byte that was put there


def test_lines_that_the_contents_never_distinguish():
    quarter = PROGRAM[:1024]
    data = np.concatenate(
        (quarter, PROGRAM[1024:2048], PROGRAM[1024:2048], PROGRAM[2048:3072])
    )  # A10 and A11 are alike
    lines = random_map(np.random.default_rng(6), 12, [])
    found, said = compared(data, lines.apply(data, 4096))
    assert {"kind": "alike", "lines": ["A10", "A11"]} in said["cannot_tell"]
    other = [each for each in said["alternatives"] if each["residual_bits"] == 0]
    assert len(other) == 1
    assert said["confidence"] == pytest.approx(other[0]["confidence"], rel=0.01)  # neither is straight
    assert said["confidence_together"] > 0.99
    assert {line["of"] for line in other[0]["address_lines"][10:]} == {
        line["of"] for line in said["address_lines"][10:]
    }


def test_lines_that_never_matter_and_never_change():
    data = np.tile(PROGRAM[:2048] & 0x7F, 2)
    lines = random_map(np.random.default_rng(8), 12, [])
    found, said = compared(data, lines.apply(data, 4096))
    kinds = {each["kind"]: each["lines"] for each in said["cannot_tell"]}
    assert kinds["never matters"] == ["A11"]
    assert kinds["never changes"] == [f"D{[line.of[0] for line in lines.data].index(7)}"]
    assert found.best.residual == 0


def test_many_lines_that_are_alike_share_the_confidence():
    data = np.full(8192, 0xFF, np.uint8)
    data[:512] = PROGRAM[:512]
    lines = random_map(np.random.default_rng(12), 13, [])
    found, said = compared(data, turned(np.random.default_rng(1), lines.apply(data, 8192), 0.004))
    assert np.array_equal(found.expected, lines.apply(data, 8192))
    assert {"kind": "alike", "lines": ["A9", "A10", "A11", "A12"]} in said["cannot_tell"]
    assert said["confidence"] < 0.5 < 0.99 < said["confidence_together"]
    assert len(said["alternatives"]) >= 23


def test_another_rom_is_not_explained():
    other = np.random.default_rng(9).integers(0, 256, 4096).astype(np.uint8)
    found, said = compared(PROGRAM, other)
    assert not said["explained"]
    assert said["confidence"] < 0.01
    assert [finding.code.name for finding in found.findings] == ["not-explained"]
    assert found.best.lines == LineMap.straight(12)


@pytest.mark.parametrize("value", [0x00, 0xFF])
def test_a_read_of_nothing(value):
    found, _ = compared(PROGRAM, np.full(4096, value, np.uint8))
    assert [finding.code.name for finding in found.findings] == ["reads-blank"]


@pytest.mark.parametrize("size", [1, 2, 3, 5])
def test_the_smallest_images(size):
    data = np.arange(1, size + 1, dtype=np.uint8)
    compared(data, data)
    compared(data, data ^ np.uint8(4))
    compared(data, np.tile(data, 2))
    compared(PROGRAM, data)
    compared(data, PROGRAM)


def codes(dump, reference=PROGRAM):
    return [finding.code.name for finding in compared(reference, dump)[0].findings]


def test_bits_that_rose_in_one_page_are_charge_loss():
    dump = PROGRAM.copy()
    dump[0x500:0x600:9] |= 4
    found, said = compared(PROGRAM, dump)
    assert [finding.code.name for finding in found.findings] == ["bits-rose"]
    clusters = {each["kind"]: each for each in said["residual"]["clusters"]}
    assert clusters["page"]["detail"] == "0500-05FF"
    assert clusters["data bit"]["detail"] == "D2"
    assert clusters["page"]["wrong"] == clusters["page"]["of"]
    assert "charge" in found.findings[0].remedy


def test_where_bits_can_rise_is_weighed():
    """Most of the image is FF: that no bit rose there tells nothing."""
    data = np.full(8192, 0xFF, np.uint8)
    data[:1024] = PROGRAM[:1024]
    dump, rng = data.copy(), np.random.default_rng(2)
    for at in rng.choice(1024, 40, replace=False):
        dump[at] |= 1 << int(rng.integers(8))
    assert compared(data, dump)[1]["residual"]["clusters"] == []


def test_bits_that_fell_are_no_charge_loss():
    dump = PROGRAM.copy()
    rng = np.random.default_rng(4)
    dump[rng.choice(4096, 60, replace=False)] &= (255 - (1 << rng.integers(0, 8, 60))).astype(np.uint8)
    assert codes(dump) == ["bits-fell"]


def test_bits_both_ways_are_a_read_at_the_limit():
    assert codes(turned(np.random.default_rng(1), PROGRAM, 0.001)) == ["bits-both-ways"]


def test_an_address_line_that_makes_contact_now_and_then():
    dump, rng = PROGRAM.copy(), np.random.default_rng(1)
    at = rng.choice(4096, 30, replace=False)
    dump[at] = PROGRAM[at ^ 0x80]
    found, _ = compared(PROGRAM, dump)
    assert [finding.code.name for finding in found.findings] == ["contact-comes-and-goes"]
    assert found.findings[0].title.startswith("A7 ")


def test_a_data_line_that_makes_contact_now_and_then():
    dump, rng = PROGRAM.copy(), np.random.default_rng(1)
    dump[rng.choice(4096, 30, replace=False)] ^= 8
    found, _ = compared(PROGRAM, dump)
    assert found.findings[0].title.startswith("D3 makes contact")


def test_bytes_that_are_altogether_different_are_another_version():
    dump = PROGRAM.copy()
    dump[0x300:0x340] = ~PROGRAM[0x340:0x380]
    assert codes(dump) == ["other-contents"]


def test_a_stuck_data_line_in_another_version():
    """More bytes differ than random wrong bits ever would: the stuck line is found all the same."""
    dump = PROGRAM.copy()
    dump[0x300:0x500] = np.random.default_rng(3).integers(0, 256, 0x200)
    found, said = compared(PROGRAM, dump | 32)
    assert said["data_lines"][5] == {"line": "D5", "state": "stuck", "level": 1}
    assert [line["state"] for line in said["address_lines"]] == ["follows"] * 12


few = st.binary(min_size=1, max_size=300) | st.lists(st.sampled_from([0, 8, 0xFF]), min_size=1, max_size=300).map(bytes)


@given(few, few, st.integers(1, 5))
@settings(max_examples=30, deadline=None)
def test_any_two_images_are_compared(reference, dump, times):
    compared(np.frombuffer(reference, np.uint8), np.frombuffer(dump, np.uint8))
    compared(np.frombuffer(reference, np.uint8), np.frombuffer(reference * times, np.uint8) | np.uint8(8))


def test_a_small_piece_with_joined_lines():
    """More lines are missing than are searched for, and some look joined besides."""
    dump = np.zeros(32, np.uint8)
    dump[24:] = PROGRAM[:8]
    compared(PROGRAM, dump)


def mapped(address=(), data=(), reference=PROGRAM):
    """Read a reference with these lines replaced."""
    straight = LineMap.straight(len(reference).bit_length() - 1)
    sides = [
        tuple(dict(changes).get(n, line) for n, line in enumerate(side))
        for side, changes in ((straight.address, address), (straight.data, data))
    ]
    return LineMap(*sides).apply(reference, len(reference))


def names(found):
    return [finding.code.name for finding in found.findings]


BOTH = Line.joined(Law.AND, (3, 4))
LOST = {
    "three low": {1: Line.stuck(0), 8: Line.stuck(0), 9: Line.stuck(0)},
    "the top three high": {9: Line.stuck(1), 10: Line.stuck(1), 11: Line.stuck(1)},
    "five, each way": {0: Line.stuck(0), 2: Line.stuck(1), 5: Line.stuck(0), 7: Line.stuck(1), 10: Line.stuck(0)},
    "low, high and joined": {0: Line.stuck(0), 1: Line.stuck(1), 3: BOTH, 4: BOTH},
}


@pytest.mark.parametrize("spoilt", [False, True], ids=["clean", "spoilt"])
@pytest.mark.parametrize("lost", LOST)
def test_more_than_two_lost_lines_are_found_where_the_others_run_straight(lost, spoilt):
    clean = mapped(LOST[lost], {6: Line.inverted(6)})
    found, _ = compared(PROGRAM, turned(np.random.default_rng(3), clean, 0.001 * spoilt))
    assert np.array_equal(found.expected, clean)
    assert found.certain


@pytest.mark.parametrize("seed", [1, 6, 7, 15])
def test_a_map_that_misses_a_line_is_not_said(seed):
    """Four lines are lost and all others crossed: a map with three of them is found, and right in half of the pages."""
    lines = random_map(np.random.default_rng(seed), 12, ["address stuck"] * 4)
    found, said = compared(PROGRAM, lines.apply(PROGRAM, 4096))
    assert found.best.residual == 0 or (names(found), said["certain"]) == (["not-explained"], False)
    assert found.explained or "looked for" in found.findings[0].evidence


@pytest.mark.parametrize("guard", ["romwright.faults.search.judge.RIGHT", "romwright.faults.comparison.BELIEVED"])
def test_what_nothing_speaks_for_is_not_said_of_lines(monkeypatch, guard):
    """Two short programs in blank images: either guard alone forbids the lines that would make one of the other."""
    monkeypatch.setattr(guard, 0.0)
    rng = np.random.default_rng(1)
    size = int(rng.integers(8, 40))
    data, dump = np.full((2, 2048), 0xFF, np.uint8)
    first, second = rng.integers(0, 1900, 2)
    data[first : first + size] = PROGRAM[:size]
    dump[second : second + size] = PROGRAM[:size] if rng.random() < 0.5 else PROGRAM[500 : 500 + size]
    found, said = compared(data, dump)
    assert not any(name.startswith("line-") for name in names(found))
    assert {line["state"] for line in said["address_lines"] + said["data_lines"]} == {"follows"}


@pytest.mark.parametrize("inverted", [(5,), range(8)], ids=["one line", "all lines"])
def test_charge_is_counted_at_the_cell(inverted):
    """A cell that lost its charge reads 0 through an inverted line."""
    rng, rotten = np.random.default_rng(4), PROGRAM.copy()
    for at in rng.choice(4096, 60, replace=False).tolist():
        rotten[at] |= 1 << int(rng.choice([5, *range(8)]))
    found, said = compared(PROGRAM, mapped((), {n: Line.inverted(n) for n in inverted}, rotten))
    assert (said["residual"]["fell"], said["residual"]["rose"]) == (0, said["residual_bits"])
    assert names(found)[-1] == "bits-rose"


@pytest.mark.parametrize("share", [0.02, 0.98], ids=["mostly 0", "mostly 1"])
def test_the_fewer_wrong_bits_do_not_decide(share):
    """Though few bits could go the other way, what fell cannot be charge loss, nor what rose a bad contact."""
    rng = np.random.default_rng(6)
    data = np.full(8192, 0xFF * (share > 0.5), np.uint8)
    data[:512] = PROGRAM[:512]
    dump = data.copy()
    bits = (1 << rng.integers(0, 8, 60)).astype(np.uint8)
    at = rng.choice(512, 60, replace=False)
    dump[at] = dump[at] | bits if share > 0.5 else dump[at] & ~bits
    dump[512 + rng.choice(7680, 38, replace=False)] ^= 16
    found, said = compared(data, dump)
    assert min(said["residual"]["rose"], said["residual"]["fell"]) > 3
    assert not {"bits-rose", "bits-fell"} & set(names(found))


@pytest.mark.parametrize(
    ("first", "stop", "value"), [(0x100, 0x200, 0xFF), (0x800, 0x1000, 0xFF), (0, 0x800, 0), (0x2F3, 0x351, 0xFF)]
)
def test_a_region_of_one_value_is_named(first, stop, value):
    dump = PROGRAM.copy()
    dump[first:stop] = value
    dump[0x700 if first != 0 else 0x900] ^= 1
    found, said = compared(PROGRAM, dump)
    region = next(each for each in found.findings if each.code.name == "reads-one-value")
    low, high = said["residual"]["regions"][0]["first"], said["residual"]["regions"][0]["last"]
    wrong = np.flatnonzero(PROGRAM[first:stop] != value) + first
    assert (low <= wrong[0], high >= wrong[-1], first <= low, high < stop) == (True,) * 4
    assert region.title == f"{low:04X}-{high:04X} reads {value:02X}"
    assert not {"contact-comes-and-goes", "other-contents", "not-explained"} & set(names(found))


def test_a_dead_half_of_a_blank_image_is_no_bad_contact():
    data = np.full(8192, 0xFF, np.uint8)
    data[:5000] = np.resize(PROGRAM, 5000)  # of the upper half less than a quarter is not blank
    dump = data.copy()
    dump[4096:] = 0xFF
    assert [finding.title for finding in compared(data, dump)[0].findings] == ["1000-13FF reads FF"]


def test_blank_bytes_speak_for_no_bad_contact():
    """Bytes that read FF, and that with A11 at its other level should: so should half of the image."""
    data, rng = PROGRAM.copy(), np.random.default_rng(5)
    data[2048:] = 0xFF
    dump = data.copy()
    dump[rng.choice(2048, 40, replace=False)] = 0xFF
    assert codes(dump, data) == ["bits-rose"]


def test_what_a_reference_does_not_define_is_not_compared():
    pieces = [(0xC000, bytes(PROGRAM[:1000])), (0xC000 + 2000, bytes(PROGRAM[2000:]))]
    found = compare(Image.of(pieces), image(PROGRAM))
    assert (found.as_json()["residual_bits"], found.as_json()["bytes_compared"]) == (0, 3096)
    assert names(found) == ["bytes-not-compared"]
    assert found.findings[0].title.startswith("1,000 bytes")
    again = compare(Image.of(pieces), Image.of(pieces))
    assert again.identical
    spoilt = compare(Image.of(pieces), image(mapped((), {3: Line.stuck(1)})))
    assert names(spoilt) == ["bytes-not-compared", "line-stuck"]
    crossed = compare(Image.of(pieces), image(mapped({2: Line.follows(7), 7: Line.follows(2)})))
    assert (names(crossed), crossed.best.residual) == (["bytes-not-compared", "line-crossed"], 0)


def test_a_short_reference_says_nothing_of_what_follows():
    found, said = compared(PROGRAM[:3840], PROGRAM)
    assert (said["extra"], said["residual_bits"], names(found)) == ({"before": 0, "after": 256}, 0, ["extra-bytes"])


@pytest.mark.parametrize(
    ("before", "after"),
    [
        (b"", b"\0"),
        (b"", b"\r\n"),
        (b"", b"\x1a" * 128),
        (b"", b"\xff" * 4096),
        (b"\xff" * 4096, b""),
        (b"HEAD 1\n", b""),
    ],
    ids=["one byte", "line end", "padding", "padded to twice", "padded in front", "header"],
)
@pytest.mark.parametrize("spoilt", [False, True], ids=["clean", "spoilt"])
def test_extra_bytes_are_no_fault_of_the_chip(before, after, spoilt):
    dump = PROGRAM.copy()
    dump[77] ^= spoilt
    found, said = compared(PROGRAM, np.frombuffer(before + dump.tobytes() + after, np.uint8))
    assert said["extra"] == {"before": len(before), "after": len(after)}
    assert said["size_dump"] == 4096 + len(before) + len(after)
    assert said["residual_bits"] == spoilt
    assert names(found)[0] == "extra-bytes"
    assert all(finding.severity == "note" for finding in found.findings) is not spoilt


@pytest.mark.parametrize(("before", "after"), [(b"HEAD 1\n", b""), (b"", bytes(range(128))), (b"\x7f" * 3000, b"")])
@pytest.mark.parametrize("fault", ["", "address stuck", "data stuck"])
def test_extra_bytes_do_not_hide_crossed_lines(before, after, fault):
    """A header in front puts every address off; the lines are all crossed besides."""
    lines = random_map(np.random.default_rng(8), 12, [fault] if fault else [])
    dump = lines.apply(PROGRAM, 4096)
    found, said = compared(PROGRAM, np.frombuffer(before + dump.tobytes() + after, np.uint8))
    assert said["residual_bits"] == 0 and said["extra"] == {"before": len(before), "after": len(after)}
    assert "line-crossed" in names(found) and np.array_equal(found.best.lines.apply(PROGRAM, 4096), dump)


def test_padding_does_not_hide_a_line():
    padded = np.concatenate((mapped({3: Line.stuck(0)}), np.full(4096, 0xFF, np.uint8)))
    assert names(compared(PROGRAM, padded)[0]) == ["extra-bytes", "line-stuck"]


def test_heavy_charge_loss_is_no_other_rom():
    rng = np.random.default_rng(2)
    dump = PROGRAM | turned(rng, np.zeros(4096, np.uint8), 0.3)
    found, said = compared(PROGRAM, dump)
    assert (names(found), said["fell"]) == (["bits-rose"], 0)
    assert codes(PROGRAM | turned(rng, np.zeros(4096, np.uint8), 0.7)) == ["bits-rose"]
    other = rng.integers(0, 256, 4096).astype(np.uint8)
    assert codes(PROGRAM & other) == ["bits-fell"]
    assert names(compared(PROGRAM, other)[0]) == ["not-explained"]


def test_one_byte_that_is_altogether_different_was_written():
    dump = PROGRAM.copy()
    dump[0x123] ^= 0xFF
    assert codes(dump) == ["other-contents"]
    assert codes(np.array([1, 2, 3, 4, 5, 6, 0x78]), np.arange(1, 8)) == ["other-contents"]


def test_a_blank_reference_is_said():
    assert codes(PROGRAM, np.full(4096, 0xFF, np.uint8)) == ["blank-reference"]


def test_all_wrong_bytes_are_listed():
    dump = turned(np.random.default_rng(1), PROGRAM, 0.002)
    said = compared(PROGRAM, dump)[1]["residual"]
    wrong = np.flatnonzero(dump != PROGRAM).tolist()
    assert len(wrong) > 40
    assert [each["address"] for each in said["examples"]] == wrong
    assert said["left_out"] == 0


def test_starts_that_read_the_same_are_one_explanation():
    found, said = compared(PROGRAM, np.concatenate((PROGRAM[1:], PROGRAM[:1])))
    assert (said["alternatives"], said["confidence"] > 0.99) == ([], True)
    found, said = compared(PROGRAM, np.roll(PROGRAM, 2048))
    inverted, shifted = said["address_lines"][-1], said["alternatives"][0]
    assert (inverted, said["residual_bits"]) == ({"line": "A11", "state": "inverted", "of": "A11"}, 0)
    assert (len(said["alternatives"]), shifted["start"], shifted["residual_bits"]) == (1, 2048, 0)
    assert round(shifted["confidence"], 2) == 0.33


ALIKE = np.where(PROGRAM & 4, PROGRAM | 0xFC, PROGRAM & 3).astype(np.uint8)  # D2 to D7 are one


@pytest.mark.parametrize(
    "fault",
    [
        {3: Line.stuck(0)},
        {6: Line.inverted(6)},
        {0: Line.joined(Law.AND, (0, 3)), 3: Line.joined(Law.AND, (0, 3))},
    ],
    ids=["stuck", "inverted", "joined"],
)
def test_of_data_lines_that_are_alike_no_sound_one_is_called_crossed(fault):
    found, said = compared(ALIKE, mapped((), fault, ALIKE))
    assert (names(found), found.best.residual) == ([f"line-{fault[max(fault)].state}"], 0)
    assert [line for n, line in enumerate(found.best.lines.data) if n not in fault] == [
        Line.follows(n) for n in range(8) if n not in fault
    ]
    assert (said["alternatives_left_out"] > 0, said["confidence_together"] > 0.99) == (True, True)


@pytest.mark.parametrize("size", [32, 256])
@pytest.mark.parametrize("which", [[0], [1, 3], None], ids=["one", "two", "all, data too"])
def test_inverted_address_lines_of_small_chips(size, which):
    """What costs little to write down is not searched as widely, but such lines are said to be looked for."""
    data = PROGRAM[2000 : 2000 + size]
    turned_lines = range(size.bit_length() - 1) if which is None else which
    address = {n: Line.inverted(n) for n in turned_lines}
    dump = mapped(address, {n: Line.inverted(n) for n in range(8) if which is None}, data)
    found, _ = compared(data, dump)
    assert (set(names(found)), found.best.residual) == ({"line-inverted"}, 0)
    assert found.best.lines.address == tuple(address.get(n, Line.follows(n)) for n in range(size.bit_length() - 1))


def test_an_inverted_address_line_of_a_chip_that_is_nearly_blank():
    data = np.full(4096, 0xFF, np.uint8)
    data[0x100:0x180] = PROGRAM[:128]
    found, _ = compared(data, mapped({5: Line.inverted(5)}, (), data))
    assert (names(found), found.findings[0].title) == (["line-inverted"], "A5 is inverted")


@pytest.mark.parametrize(("line", "level", "value"), [(0, 1, 0xFF), (0, 0, 0x00), (5, 1, 0xFF)])
def test_a_chip_of_a_pair_that_did_not_answer_is_no_charge_loss(line, level, value):
    addresses = np.arange(4096)
    dump = np.where(addresses >> line & 1 == level, value, PROGRAM).astype(np.uint8)
    dump[[0x3DE, 0x7DE] if level else [0x3DF, 0x7DF]] ^= 1
    found, said = compared(PROGRAM, dump)
    assert names(found)[0] == "reads-one-value"
    assert found.findings[0].title == f"every byte with A{line} {('low', 'high')[level]} reads {value:02X}"
    half = said["residual"]["half"]
    assert (half["line"], half["level"], half["reads"]) == (f"A{line}", level, f"{value:02X}")
    wrong = np.flatnonzero(dump != PROGRAM)
    assert half["wrong"] == int((wrong >> line & 1 == level).sum())
    assert (said["residual"]["regions"], found.residue.rest.bits) == ([], int((wrong >> line & 1 != level).sum()))
    drawn = build_bits_picture(found, "dump", ".svg").decode()
    assert f"every byte with A{line} {('low', 'high')[level]} reads {value:02X}" in drawn and "explains" not in drawn


def test_a_shifted_start_with_a_data_line_stuck():
    found, said = compared(PROGRAM, np.roll(PROGRAM, -0x123) | 8)
    assert (said["start"], said["residual_bits"], names(found)) == (0x123, 0, ["starts-elsewhere", "line-stuck"])
    assert "but for what is said below" in found.findings[0].evidence


@pytest.mark.parametrize("at", [40, 900, 2048, 3500])
@pytest.mark.parametrize("late", [1, 3, -1, -7])
def test_bytes_lost_or_put_in_are_said_with_their_place(at, late):
    """What follows is right and at the wrong place, wherever that begins: no other version, no other start."""
    crossed = at == 3500  # two data lines besides
    read = mapped(data={0: Line.follows(3), 3: Line.follows(0)}) if crossed else PROGRAM
    put_in = np.full(max(late, 0), 0x5A, np.uint8)
    dump = np.concatenate((read[:at], put_in, read[at + max(-late, 0) :]))[:4096]
    found, said = compared(PROGRAM, dump)
    slipped = next(each for each in found.findings if each.code.name == "bytes-slipped")
    where = int(slipped.title.split()[1], 16)
    assert at <= where <= at + 8 and f"{'late' if late > 0 else 'early'} by {abs(late)} byte" in slipped.title
    assert not {"other-contents", "starts-elsewhere"} & {*names(found)}
    assert ("line-crossed" in names(found)) is crossed
