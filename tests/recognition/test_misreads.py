"""Dumps read through faulty lines: named, with the lines as they were spoilt on purpose; nothing else is named.

The images are Debian's SeaBIOS and VGA BIOS (packages seabios, vgabios), cut in pieces; the spoilt reads are made by
the line maps of romwright.faults, which share no code with the sketches.
"""

import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from line_faults import IMAGES, load, random_map, turned

from romwright.faults.lines import Law, Line, LineMap
from romwright.recognition.cubes import find_cubes
from romwright.recognition.dump import Dump
from romwright.recognition.ground import Ground, splits_entries
from romwright.recognition.identification import Identifier, measured
from romwright.recognition.reference import Store
from romwright.recognition.route import Route
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
@settings(max_examples=25, deadline=None, derandomize=True)  # one in 25 with a stuck line is not named: bench_robust.py
@given(st.integers(0, 10**6), st.sampled_from(["", "address stuck", "address joined", "data stuck", "data inverted"]))
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


def splits(wrong, at=None):
    addresses = np.arange(len(wrong))
    each = addresses, addresses if at is None else at
    return splits_entries(each, each, np.ones(len(wrong), bool), ~wrong)


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
    assert fit.scattered is doubtful and fit.equal > 100
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
