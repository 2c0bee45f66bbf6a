"""Dumps read through faulty lines: named, with the lines as they were spoilt on purpose; nothing else is named.

The images are Debian's SeaBIOS and VGA BIOS (packages seabios, vgabios), cut in pieces; the spoilt reads are made by
the line maps of romwright.faults, which share no code with the sketches.
"""

import random

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from line_faults import IMAGES, load, random_map, turned
from msgspec.structs import replace

from romwright.faults.lines import Law, Line, LineMap
from romwright.recognition.cubes import find_cubes
from romwright.recognition.datalines import match_data
from romwright.recognition.dump import Dump
from romwright.recognition.entries import MOST_AT_PLACE, amid_equals, by_chance, splits_entries
from romwright.recognition.evidence import Fit
from romwright.recognition.ground import Ground
from romwright.recognition.identification import Identifier, measured
from romwright.recognition.reference import Store
from romwright.recognition.route import FREE, Route
from romwright.recognition.signatures import SketchIndex
from romwright.recognition.sketch import Sketch, build_sketch, pack_axes, unpack_place
from romwright.recognition.verdicts import Contents

SIZE = 16384
WHOLE = load(IMAGES)
PIECES = {
    f"{name} {at:X}": data[at : at + SIZE].tobytes()
    for name, data in WHOLE.items() if "bios-256k" in name and len(data) == 262144 or "bios.banshee" in name
    for at in range(0, len(data), SIZE)
    if len(data) >= SIZE and np.bincount(data[at : at + SIZE]).max() < SIZE // 2
}  # fmt: skip
NAMES = sorted(PIECES)
needs_images = pytest.mark.skipif(not PIECES, reason="no seabios, no vgabios")


@pytest.fixture(scope="module")
def store():
    store = Store(":memory:", create=True)
    with store.changing():
        for name, data in PIECES.items():
            store.add_image("list", *measured(name, data))
    return store


def identify(store, data):
    [row] = Identifier(store, thorough=True).identify(["dump"], lambda file: Contents(data))
    return row.matches


def spoilt(name, lines):
    values = np.frombuffer(PIECES[name], np.uint8)
    return lines.apply(values, len(values))


def straight():
    return list(map(Line.follows, range(14))), list(map(Line.follows, range(8)))


@needs_images
@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10**6), st.sampled_from(["", "address stuck", "address joined", "data stuck", "data inverted"]))
@example(1573, "address stuck")  # the byte at address 0 is wrong, where bytes stand that are not seen
@example(5002, "address stuck")
@example(5040, "address stuck")
def test_lines_crossed_at_random_with_a_fault_and_wrong_bits(store, seed, fault):
    rng = np.random.default_rng(seed)
    name = NAMES[seed % len(NAMES)]
    lines = random_map(rng, 14, [fault] if fault else [])
    dump = turned(rng, spoilt(name, lines), 0.002)
    if np.bincount(dump, minlength=256).max() > 0.8 * SIZE:
        return
    match = identify(store, dump.tobytes())[0]
    assert match.name == name
    assert match.how.startswith(("lines", "inverted"))
    assert match.how.endswith("damaged")


@needs_images
def test_crossed_lines_alone_are_lossless_and_every_page_is_proved(store):
    address, data = straight()
    address[8], address[9] = address[9], address[8]
    [match] = identify(store, spoilt(NAMES[0], LineMap(tuple(address), tuple(data))).tobytes())
    assert (match.name, match.how, match.detail) == (NAMES[0], "lines crossed", "A8 and A9 crossed")
    assert (match.pages_equal, match.pages_total, match.pages_differ) == (64, 64, ())
    assert match.address_lines[8] == {"line": "A8", "state": "follows", "of": "A9"}
    assert match.lossless


@needs_images
def test_pages_that_differ_are_told_beside_crossed_lines(store):
    address, data = straight()
    address[8], address[9] = address[9], address[8]
    dump = bytearray(spoilt(NAMES[1], LineMap(tuple(address), tuple(data))).tobytes())
    for page in (12, 40, 41):  # of the image; A8 and A9 exchanged
        seen = page & ~3 | (page & 1) << 1 | page >> 1 & 1
        dump[seen * 256 + 7] ^= 1
    match = identify(store, bytes(dump))[0]
    assert match.detail == "pages 12, 40-41 of 64 differ; A8 and A9 crossed"
    assert (match.pages_equal, match.pages_differ, match.how) == (61, (12, 40, 41), "lines crossed and damaged")


FAULTS = {
    "A12 stuck low": (12, Line.stuck(0), None),
    "A3 stuck high": (3, Line.stuck(1), None),
    "A2 and A5 joined: each reads as A2 AND A5": (2, Line.joined(Law.AND, (2, 5)), 5),
    "A9 and A13 joined: each reads as A9 OR A13": (9, Line.joined(Law.OR, (9, 13)), 13),
}


@needs_images
@pytest.mark.parametrize("said", FAULTS)
def test_a_stuck_or_joined_address_line_is_said(store, said):
    line, fault, other = FAULTS[said]
    address, data = straight()
    address[line] = fault
    if other is not None:
        address[other] = fault
    match = identify(store, spoilt(NAMES[2], LineMap(tuple(address), tuple(data))).tobytes())[0]
    assert match.name == NAMES[2]
    assert said in match.detail
    assert not match.lossless
    assert match.samples_equal == match.samples_total > 40


@needs_images
@pytest.mark.parametrize("said,lines", [
    ("D3 stuck high", {3: Line.stuck(1)}),
    ("D0 and D7 crossed", {0: Line.follows(7), 7: Line.follows(0)}),
    ("D5 inverted", {5: Line.inverted(5)}),
    ("D1 and D6 joined: each reads as D1 AND D6", {1: Line.joined(Law.AND, (1, 6)), 6: Line.joined(Law.AND, (1, 6))}),
])  # fmt: skip
def test_data_lines_are_said(store, said, lines):
    address, data = straight()
    for number, line in lines.items():
        data[number] = line
    match = identify(store, spoilt(NAMES[3], LineMap(tuple(address), tuple(data))).tobytes())[0]
    assert (match.name, said in match.detail) == (NAMES[3], True)


@needs_images
@pytest.mark.parametrize("size", ["half", "doubled", "with other", "shifted"])
def test_wrong_bits_and_another_size(store, size):
    rng = np.random.default_rng(7)
    dump = turned(rng, np.frombuffer(PIECES[NAMES[4]], np.uint8), 0.005)
    dump = {
        "half": dump[: SIZE // 2], "doubled": np.concatenate([dump, dump]), "shifted": np.roll(dump, 1777),
        "with other": np.concatenate([rng.integers(0, 256, SIZE, np.uint8), dump]),
    }[size]  # fmt: skip
    match = identify(store, dump.tobytes())[0]
    assert (match.name, match.lossless) == (NAMES[4], False)
    assert "sampled bytes agree, most pages differ" in match.detail


@needs_images
@settings(max_examples=10, deadline=None)
@given(st.integers(0, 10**6))
def test_other_programs_and_random_bytes_have_no_name(store, seed):
    source = random.Random(seed)
    with open("/usr/bin/python3.11" if seed % 2 else "/bin/bash", "rb") as stream:
        stream.seek(source.randrange(400_000))
        data = stream.read(SIZE)
    shared = PIECES[NAMES[seed % len(NAMES)]][:1024]  # a piece of a library that both have
    assert identify(store, data) == ()
    assert [match for match in identify(store, shared + data[1024:]) if not match.how.startswith("part")] == []
    assert identify(store, source.randbytes(SIZE)) == ()


@pytest.mark.parametrize("data", [b"", b"\x00", b"\xff" * 4096, b"\x00" * 65536, bytes(range(256)) * 64, b"AB" * 5000])
def test_odd_images_make_no_sketch_that_hurts(data):
    store = Store(":memory:", create=True)
    with store.changing():
        store.add_image("list", *measured("odd", data))
        store.add_image("list", *measured("random", random.Random(1).randbytes(4096)))
    assert identify(store, random.Random(2).randbytes(4096)) == ()
    assert len(build_sketch(data)) <= 4900


@needs_images
def test_a_sketch_is_small_and_its_cubes_are_found_again():
    values = np.frombuffer(PIECES[NAMES[0]], np.uint8)
    blob = build_sketch(values.tobytes())
    assert len(blob) <= 4900
    sketch = Sketch.parse(blob)
    found = [cubes for planes in (0xFF, 0x7F) for cubes in find_cubes(values, planes)]
    every = {
        (int(h), int(a), *axes)
        for cubes in found for h, a, axes in zip(cubes.hashes, cubes.addresses, cubes.axes.tolist())
    }  # fmt: skip
    addresses, axes = unpack_place(sketch.cubes["place"][:96])
    kept = zip(sketch.cubes["hash"][:96].tolist(), addresses.tolist(), axes.tolist())
    assert {(h, a, *x) for h, a, x in kept} <= every


@given(st.permutations(range(19)))
def test_axes_come_out_of_one_number(order):
    axes = np.array([order[:3]])
    assert unpack_place(pack_axes(axes) << 19 | 77)[1].tolist() == axes.tolist()
    assert unpack_place(pack_axes(axes) << 19 | 77)[0].tolist() == [77]


def table(seed, entries=256, target=0x5000):
    """Return a table of jumps of 16 bytes: the count runs on, the distances differ from program to program."""
    source = random.Random(seed)
    return b"".join(
        bytes([0xFF, 0x25, *source.randbytes(2), 0x17, 0x00, 0x68, n & 0xFF, n >> 8, 0, 0, 0xE9])
        + (target - 16 * n & 0xFFFF).to_bytes(2, "little") + b"\xff\xff"
        for n in range(entries)
    )  # fmt: skip


def test_a_table_that_is_only_alike_is_not_named():
    store = Store(":memory:", create=True)
    with store.changing():
        store.add_image("list", *measured("jumps", table(1)))
        store.add_image("list", *measured("random", random.Random(1).randbytes(4096)))
    other = table(2)
    assert sum(a == b for a, b in zip(table(1), other)) > 0.85 * len(other)
    assert identify(store, other) == ()
    assert identify(store, random.Random(3).randbytes(1000) + other) == ()
    worn = turned(np.random.default_rng(1), np.frombuffer(table(1), np.uint8), 0.005)
    assert [match.name for match in identify(store, worn.tobytes())] == ["jumps"]


def jumps_by_offset(base, offset):
    """Return a table of 16-byte entries with a distance that falls and an offset that rises from entry to entry."""
    return b"".join(
        b"\x48\x8d\x05" + (base - 16 * n).to_bytes(4, "little") + b"\xff\xa0" + (offset + 8 * n).to_bytes(4, "little")
        + b"\x0f\x1f\x00"
        for n in range(256)
    )  # fmt: skip


def pointers(first):
    """Return a table of pointers to entries of 16 bytes."""
    return b"".join((first + 16 * n).to_bytes(8, "little") for n in range(256))


def thunks(base, offset):
    """Return a table of 32-byte entries, alike but for two numbers."""
    rest = b"\x00\x00\x66\x66\x2e\x0f\x1f\x84\x00\x00\x00\x00\x00\x0f\x1f\x00"
    return b"".join(
        b"\x48\x8b\x05" + (base - 32 * n).to_bytes(4, "little") + b"\x64\x4c\x8b\x18\x41\xff\xa3"
        + (offset + 8 * n).to_bytes(2, "little") + rest
        for n in range(128)
    )  # fmt: skip


@pytest.mark.parametrize("image, other", [
    (jumps_by_offset(0x1E3D9, 0x0EC8), jumps_by_offset(0x1A3D9, 0x2EC8)),
    (jumps_by_offset(0x15BD9, 0x52C8)[:2048], jumps_by_offset(0x17BD9, 0x42C8)[:2048]),
    (pointers(0x1F9A6), pointers(0x10476)),
    (thunks(0x69F99, 0x0800), thunks(0x59F99, 0x4800)),
])  # fmt: skip
def test_tables_that_count_alike_do_not_name_each_other(image, other):
    """They agree in the counts of all entries, and in what all entries have; one bit of an address differs, or two."""
    store = kept(image=image, random=random.Random(1).randbytes(4096))
    assert identify(store, other) == ()
    worn = turned(np.random.default_rng(1), np.frombuffer(image, np.uint8), 0.003).copy()
    worn[512:768] = np.random.default_rng(2).integers(0, 256, 256, np.uint8)
    assert [match.name for match in identify(store, worn.tobytes())] == ["image"]


@pytest.mark.parametrize("image, other", [
    (pointers(0x06036)[:1200].ljust(2048, b"\0"), pointers(0x16036)[:1200].ljust(2048, b"\0")),
    (pointers(0x06036)[:1200].ljust(2048, b"\xff"), pointers(0x0A436)[:1984].ljust(4096, b"\xff")),
    (pointers(0x06036)[:800].ljust(2048, b"\0"), pointers(0x16036)[:800].ljust(2048, b"\0")),
])  # fmt: skip
def test_the_fill_behind_tables_does_not_make_them_the_same(image, other):
    """It is the same behind both, and passes for bytes that are missing; wrong bits in it are at no place."""
    store = kept(image=image, random=random.Random(1).randbytes(4096))
    assert identify(store, other) == ()
    for seed in range(4):
        worn = turned(np.random.default_rng(seed), np.frombuffer(image, np.uint8), 0.003)
        assert [match.name for match in identify(store, worn.tobytes())] == ["image"]


def splits(wrong, at=None):
    addresses = np.arange(len(wrong))
    each = addresses, addresses if at is None else at
    return splits_entries(each, each, np.ones(len(wrong), bool), ~wrong)


def test_what_is_in_the_midst_of_fill():
    values = np.array([7, 0, 0, 0, 0, 0, 5, 9, 9, 9, 9], np.uint8)
    amid = [False, False, False, True, False, False, False, False, False, True, True]
    addresses = np.arange(100, 111)
    assert amid_equals(addresses, values).tolist() == amid
    order = np.array([4, 9, 3, 10, 0, 3])
    rest = np.setdiff1d(np.arange(11), order)
    order = np.concatenate([order, rest])  # in any order, some twice
    assert amid_equals(addresses[order], values[order]).tolist() == [amid[n] for n in order]


@pytest.mark.parametrize("count", [40, 60, 80, 160, 320])
@pytest.mark.parametrize("share", [0.1, 0.25, 0.4])
def test_damage_at_random_splits_no_entries(count, share):
    for seed in range(60):
        rng = np.random.default_rng(seed)
        addresses = rng.choice(2048, count, replace=False)
        equal = rng.random(count) >= share
        assert not splits_entries((addresses,), (addresses,), np.ones(count, bool), equal), seed


def test_what_chance_puts_at_places_is_the_tail_of_the_binomial_distribution():
    """Against trials: mean and two standard deviations of the wrong bytes at places where most are wrong."""
    rng = np.random.default_rng(1)
    count, rate = np.array([4, 6, 10]), 0.5
    lost = rng.binomial(count, rate, (200_000, 3))
    there = np.where(count - lost <= MOST_AT_PLACE * count, lost, 0).astype(float)
    expected = there.mean(axis=0).sum() + 2 * np.sqrt((there**2).mean(axis=0).sum())
    assert by_chance(count, 10) == pytest.approx(expected, rel=0.01)


def test_what_splits_entries():
    addresses = np.arange(4096)
    assert splits(addresses % 16 == 9) and splits(addresses % 24 == 5)
    assert not splits(addresses // 256 == 3), "a page"
    assert not splits(addresses[:80] % 16 == 9), "five bytes may be chance"
    for seed in range(20):
        assert not splits(np.random.default_rng(seed).random(4096) < 0.3)
    turned_round = addresses & ~0x208 | (addresses >> 3 & 1) << 9 | (addresses >> 9 & 1) << 3
    assert splits(addresses >> 3 & 1 == 1, turned_round), "half of all pages of the dump: nothing was overwritten"


@pytest.mark.parametrize("seed", range(6))
def test_pages_of_the_dump_that_were_overwritten_look_like_places_of_entries_through_crossed_lines(seed):
    """A page of the dump holds eight of its address lines: in the image, often the lowest of its own."""
    rng = np.random.default_rng(seed)
    data = rng.integers(0, 256, 4096, np.uint8)
    low_to_high = LineMap(
        tuple(map(Line.follows, (11, 10, 9, 8, *rng.permutation(8)))), tuple(map(Line.follows, range(8)))
    )
    dump = low_to_high.apply(data, 4096).copy()
    for page in rng.choice(16, 3, replace=False):
        dump[page * 256 : page * 256 + 256] = rng.integers(0, 256, 256, np.uint8)
    [match] = identify(kept(image=data.tobytes(), random=random.Random(1).randbytes(4096)), dump.tobytes())
    assert match.name == "image" and "crossed" in match.how


@pytest.mark.parametrize("missing, doubtful", [(0.3, False), (0.4, False), (0.5, True)])
def test_what_is_mostly_missing_rests_on_whole_pages_alone(missing, doubtful):
    data = random.Random(5).randbytes(4096)
    store = Store(":memory:", create=True)
    with store.changing():
        store.add_image("list", *measured("random", data))
    index = SketchIndex(store.sketches())
    kept = 4096 - int(missing * 4096)
    dump = data[:kept] + b"\xa1" * (4096 - kept)
    fit = Ground(Dump(dump), index.sampled(0)).improve(Route.straight(12))
    assert fit.doubtful is doubtful and fit.equal > 100
    assert [match.name for match in identify(store, dump)] == ["random"]


@pytest.mark.parametrize("seed", range(8))
def test_text_is_named_through_crossed_inverted_lines_with_pages_overwritten(seed):
    """Of text the highest data line never changes, and cubes that differ in all others are rare."""
    rng = np.random.default_rng(seed)
    words = ["load", "the", "byte", "ERROR", "ready", "disk\0", "key_", "line", "memory", "OK?", "file", "_set", "0x1F"]
    text = " ".join(np.random.default_rng(1).choice(words) + str(n * 7919 % 1009) for n in range(3000)).encode()[:8192]
    store = Store(":memory:", create=True)
    with store.changing():
        store.add_image("list", *measured("text", text))
        store.add_image("list", *measured("random", random.Random(1).randbytes(4096)))
    crossed = random_map(rng, 13, [])
    lines = LineMap(crossed.address, tuple(Line.inverted(line.of[0]) for line in crossed.data))
    dump = lines.apply(np.frombuffer(text, np.uint8), 8192).copy()
    for page in rng.choice(32, 6, replace=False):
        dump[page * 256 : page * 256 + 256] = rng.integers(0, 256, 256, np.uint8)
    assert [match.name for match in identify(store, dump.tobytes())] == ["text"]


def kept(**images):
    store = Store(":memory:", create=True)
    with store.changing():
        for name, data in images.items():
            store.add_image("list", *measured(name, data))
    return store


def crossed_over(data):
    """Return an image of 4 KiB as it is read with A3 and A9 crossed."""
    address = list(map(Line.follows, range(12)))
    address[3], address[9] = address[9], address[3]
    return (
        LineMap(tuple(address), tuple(map(Line.follows, range(8)))).apply(np.frombuffer(data, np.uint8), 4096).tobytes()
    )


@pytest.mark.parametrize("rest, how, said", [
    (lambda read: read, "lines crossed and repeated", "A3 and A9 crossed; 2 copies"),
    (lambda read: b"\xff" * 4096, "lines crossed and filled", "A3 and A9 crossed; it starts at 0000 of the file"),
    (lambda read: read[:9] + b"?" + read[10:], "lines crossed and repeated and damaged",
     "A3 and A9 crossed; 2 copies, which differ in 1 byte"),
    (lambda read: random.Random(8).randbytes(4096), "lines crossed and shifted",
     "A3 and A9 crossed; it starts at 0000 of the file"),
])  # fmt: skip
def test_how_a_larger_file_goes_on_is_said(rest, how, said):
    data = random.Random(5).randbytes(4096)
    read = crossed_over(data)
    [match] = identify(kept(known=data), read + rest(read))
    assert (match.how, match.detail) == (how, said)


@pytest.mark.parametrize("seed", range(4))
def test_a_line_stuck_high_among_crossed_ones_is_said_in_the_upper_half_of_a_file_too(seed):
    rng, data = np.random.default_rng(seed), random.Random(seed).randbytes(8192)
    address = list(random_map(rng, 13, []).address)
    address[4] = Line.stuck(1)
    read = LineMap(tuple(address), tuple(map(Line.follows, range(8)))).apply(np.frombuffer(data, np.uint8), 8192)
    [match] = identify(kept(known=data), random.Random(9).randbytes(8192) + read.tobytes())
    assert "A4 stuck high" in match.detail and match.at == 8192


def test_the_image_that_explains_the_whole_dump_comes_before_a_piece_of_it():
    data = random.Random(5).randbytes(16384)
    worn = turned(np.random.default_rng(1), np.frombuffer(data, np.uint8), 0.02)
    worn[:2048] = np.frombuffer(data[:2048], np.uint8) ^ (np.arange(2048) % 40 == 0)
    found = identify(kept(piece=data[:2048], whole=data), worn.tobytes())
    assert [match.name for match in found] == ["whole", "piece"]


def test_pages_that_differ_are_told_when_they_are_more_than_half():
    data, other = random.Random(5).randbytes(16384), random.Random(6).randbytes(16384)
    read = bytearray(data)
    for page in range(20, 53):
        read[page * 256 + 192 : page * 256 + 256] = other[page * 256 + 192 : page * 256 + 256]
    [match] = identify(kept(known=data), bytes(read))
    assert (match.pages_equal, match.detail) == (31, "pages 20-52 of 64 differ")


def test_a_page_that_differs_is_numbered_in_the_known_image():
    data = random.Random(5).randbytes(8192)
    half = bytearray(data[4096:])
    half[3 * 256] ^= 1
    [match] = identify(kept(known=data), bytes(half))
    assert match.detail == "bytes 1000-1FFF of the known image; page 19 of 32 differs (16 compared)"


def test_joined_data_lines_that_are_seldom_high_are_said():
    source = np.random.default_rng(3)
    values = source.integers(0, 256, 8192).astype(np.uint8)
    values &= np.where(source.random(8192) < 0.985, np.where(source.random(8192) < 0.5, 0xFB, 0xDF), 0xFF).astype(
        np.uint8
    )
    lines = [Line.joined(Law.AND, (2, 5)) if n in (2, 5) else Line.follows(n) for n in range(8)]
    read = LineMap(tuple(map(Line.follows, range(13))), tuple(lines)).apply(values, 8192)
    assert Dump(read.tobytes()).constant[2] == 0
    [match] = identify(kept(known=values.tobytes()), read.tobytes())
    assert "D2 and D5 joined: each reads as D2 AND D5" in match.detail


@pytest.mark.parametrize("overwritten", [0, 450])
@pytest.mark.parametrize("crossed", [False, True])
def test_a_data_line_that_still_toggles_is_not_said_to_be_stuck(overwritten, crossed):
    rng = np.random.default_rng(1)
    image = rng.integers(0, 256, 1000, np.uint8)
    image &= np.where(rng.random(1000) < 0.3, 0xFF, 0x7F).astype(np.uint8)
    stuck, open_line = image & 0x7F, image & 0x7F | (rng.random(1000) < 0.3).astype(np.uint8) << 7
    order = [1, 0, 2, 3, 4, 5, 6] if crossed else list(range(7))
    for found, last, loose in ((stuck, Line.stuck(0), ()), (open_line, Line.follows(7), () if crossed else (7,))):
        found = LineMap((), tuple(map(Line.follows, [*order, 7]))).table()[found]
        found[:overwritten] = rng.integers(0, 256, overwritten, np.uint8)
        assert match_data(found, image, Dump(found.tobytes())) == ((*map(Line.follows, order), last), loose)


def test_a_dump_with_an_open_data_line_is_named():
    data = random.Random(5).randbytes(4096)
    read = np.frombuffer(data, np.uint8) & 0xF7 | np.random.default_rng(1).integers(0, 2, 4096, np.uint8) << 3
    [match] = identify(kept(known=data), read.tobytes())
    assert (match.name, match.how) == ("known", "lines loose and damaged")
    assert "D3 has levels of its own: it may be open, or have a bad contact" in match.detail
    assert match.data_lines[3] == {"line": "D3", "state": "follows", "of": "D3", "loose": True}


@pytest.mark.parametrize("fill", [b"\0", b"\xff"])
@pytest.mark.parametrize("size, used", [(2048, 320), (2048, 800), (8192, 800)])
def test_a_table_of_which_one_bit_is_another_has_no_open_data_line(size, used, fill):
    image, other = (pointers(first)[:used].ljust(size, fill) for first in (0x06036, 0x06836))
    found = identify(kept(image=image, random=random.Random(1).randbytes(4096)), other)
    assert [match for match in found if "levels of its own" in match.detail] == []


def test_the_highest_bit_of_last_letters_is_not_an_open_data_line():
    """Words of a table end so: D7 of the known text never changes."""
    words = [np.random.default_rng(n).integers(97, 123, 2 + n % 7, np.uint8) for n in range(900)]
    plain = np.concatenate(words)[:4096]
    ends = np.cumsum([len(word) for word in words]) - 1
    marked = plain.copy()
    marked[ends[ends < 4096]] |= 0x80
    for known, read in ((plain, marked), (marked, plain)):
        found = identify(kept(known=known.tobytes(), random=random.Random(1).randbytes(4096)), read.tobytes())
        assert [match for match in found if "levels of its own" in match.detail] == []


@pytest.mark.parametrize("seed", range(3))
def test_one_of_two_images_behind_lines_that_are_all_crossed_is_proved_by_its_pages(seed):
    """The line that chooses between them is anywhere among the others."""
    first, second = (np.frombuffer(random.Random(n).randbytes(4096), np.uint8) for n in (5, 6))
    lines = random_map(np.random.default_rng(seed), 13, [])
    read = lines.apply(np.concatenate([first, second]), 8192)
    [match] = identify(kept(first=first.tobytes(), other=random.Random(1).randbytes(4096)), read.tobytes())
    assert match.name == "first" and match.pages_equal == 16 and match.lossless


def test_a_table_of_few_different_bytes_needs_whole_pages():
    few = b"".join(bytes([0x76 + n % 5, 0, 0, 0, 6, 1, 0, 0]) for n in range(256))
    many = b"".join(bytes([n, 0, 0, 0, 6, 1, 0, 0]) for n in range(256))
    for image, doubtful in ((few, True), (many, False)):
        known = SketchIndex(kept(known=image).sketches()).sampled(0)
        assert Ground(Dump(image), known).improve(Route.straight(11)).doubtful is doubtful


def test_an_image_that_was_doubted_as_it_is_does_not_come_back_with_more_faults():
    source = random.Random(4)
    bodies = [(source.randbytes(12), source.randrange(90)) for _ in range(32)]

    def records(first, bank):
        return b"".join(body + (first + step).to_bytes(2, "little") + bytes([bank, 0]) for body, step in bodies)

    image, other = (records(0x6036, bank).ljust(1024, b"\0") for bank in (0, 1))
    found = identify(kept(image=image, random=random.Random(1).randbytes(4096)), other)
    assert [match for match in found if "lines" in match.how] == []


def test_what_is_wrong_with_tables_is_seen_between_much_fill_and_behind_a_loose_line():
    for image, other, route in (
        (pointers(0x06036)[:560], pointers(0x16036)[:560], Route.straight(11)),
        (pointers(0x06036), pointers(0x06836), replace(Route.straight(11), loose=(3,))),
    ):
        known = SketchIndex(kept(known=image.ljust(2048, b"\0")).sketches()).sampled(0)
        grounds = [Ground(Dump(read.ljust(2048, b"\0")), known) for read in (image, other)]
        assert [ground.scattered(route) for ground in grounds] == [False, True]


def test_few_bytes_show_no_loose_line():
    rng = np.random.default_rng(1)
    image = rng.integers(0, 256, 200, np.uint8)
    read = image & 0xF7 | rng.integers(0, 2, 200, np.uint8) << 3
    assert [match_data(read[:n], image[:n], Dump(read.tobytes()))[1] for n in (20, 200)] == [(), (3,)]


def test_what_is_seldom_so_needs_more_evidence():
    plain = Fit(Route.straight(12), 100.0, 50, 60)
    loose, skipping = replace(plain, route=replace(plain.route, loose=(3,))), replace(plain, skips=True)
    assert plain.worth > loose.worth > skipping.worth > 0


def test_a_line_of_the_dump_that_a_route_passes_over_must_reach_nothing():
    """Bytes at even addresses are not half of an image of which the other half is elsewhere."""
    data = random.Random(5).randbytes(2048)
    store = kept(known=data)
    known = SketchIndex(store.sketches()).sampled(0)
    route = Route((11, *range(1, 11)), (FREE,) * 11)
    values = np.frombuffer(data, np.uint8)
    at = np.arange(4096)
    places = at & 0x7FE | at >> 11 & 1
    twice = values[places]
    once = np.where(at & 1, np.random.default_rng(1).integers(0, 256, 4096, np.uint8), twice).astype(np.uint8)
    assert [Ground(Dump(dump.tobytes()), known).skips(route) for dump in (twice, once)] == [False, True]


def side_by_side(*parts):
    return np.stack(parts, 1).ravel()


@pytest.mark.parametrize("spread, how, said", [
    (lambda read, other: side_by_side(read, other), "half", "it is the even bytes of the file"),
    (lambda read, other: side_by_side(other, read), "half", "it is the odd bytes of the file"),
    (lambda read, other: np.concatenate([other, other, side_by_side(other, read)]), "half",
     "it is the odd bytes of the file, from 2001 on"),
    (lambda read, other: side_by_side(other, ~other, read, other), "quarter",
     "it is every fourth byte of the file, from 0002 on"),
    (lambda read, other: np.concatenate([read[:2048], other[:2048], read[2048:], other[2048:]]),
     "lines crossed and shifted", "crossed: A11 follows A12; it starts at 0000 of the file"),
])  # fmt: skip
def test_a_worn_image_between_the_bytes_of_another_is_named(spread, how, said):
    """Of two chips side by side, or in two banks: the lines that choose between them are passed over."""
    data, other = (np.frombuffer(random.Random(seed).randbytes(4096), np.uint8) for seed in (5, 6))
    worn = turned(np.random.default_rng(1), data, 0.002)
    [match] = identify(kept(known=data.tobytes()), spread(worn, other).tobytes())
    assert (match.name, match.how) == ("known", f"{how} and damaged") and match.detail.endswith(f"; {said}")


def test_an_image_of_which_each_byte_is_there_twice_is_not_half_of_the_file():
    data = np.frombuffer(random.Random(5).randbytes(4096), np.uint8)
    worn = turned(np.random.default_rng(1), data, 0.002)
    [match] = identify(kept(known=data.tobytes()), np.repeat(worn, 2).tobytes())
    assert "repeated" in match.how and match.detail.endswith("; 2 copies")
