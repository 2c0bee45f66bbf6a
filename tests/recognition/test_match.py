"""Identification: every change is named, unrelated images are not, damage is told page by page."""

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from romwright.recognition import forms
from romwright.recognition.digests import KINDS, Row
from romwright.recognition.identification import Identifier, measured
from romwright.recognition.reference import Store
from romwright.recognition.verdicts import Contents

SIZE = 8192


def image(seed, size=SIZE):
    """Bytes like a program: random, but neither end looks like fill."""
    data = bytearray(random.Random(seed).randbytes(size))
    data[0], data[-1] = 0x31, 0xC9
    return bytes(data)


def store_of(images, as_bytes, kind="sha256"):
    store = Store(":memory:", create=True)
    with store.changing():
        for name, data in images.items():
            if as_bytes:
                store.add_image("known", *measured(name, data))
            else:
                store.add_rows("known", [Row(name, None, {kind: KINDS[kind](data)})])
    return store


def identify(store, data, thorough=True):
    [row] = Identifier(store, thorough).identify(["dump"], lambda file: Contents(data))
    return row


@pytest.mark.parametrize("kind", ["sha256", "crc32"])
def test_a_crc_is_worked_out_if_it_is_asked_for_or_a_list_needs_it(kind):
    store = store_of({"A": image(1)}, as_bytes=False, kind=kind)
    rows = [
        Identifier(store, with_crc32=asked).identify(["dump"], lambda file: Contents(image(1)))[0]
        for asked in (True, False)
    ]
    crc32 = KINDS["crc32"](image(1)).hex().upper()
    assert [row.crc32 for row in rows] == [crc32, crc32 if kind == "crc32" else ""]
    assert [match.how for row in rows for match in row.matches] == ["exact", "exact"]


def test_a_hex_file_is_also_looked_up_as_it_is_stored():
    store = store_of({"A.hex": b":00000001FF\n"}, as_bytes=False)
    [row] = Identifier(store).identify(["A"], lambda file: Contents(image(1), stored=b":00000001FF\n"))
    assert [(match.name, match.how, match.detail) for match in row.matches] == [("A.hex", "exact", "the file itself")]
    assert row.sha256 == KINDS["sha256"](image(1)).hex()


def swap(data):
    return bytes(data[i ^ 1] for i in range(len(data)))


def invert(data):
    return bytes(b ^ 0xFF for b in data)


def mirror(data):
    return bytes(int(f"{b:08b}"[::-1], 2) for b in data)


A, B = image(1), image(2)
# how -> a dump of image A
LINE_CHANGES = {
    "exact": A,
    "repeated": A * 4,
    "filled": A + b"\xff" * SIZE,
    "filled ": b"\x00" * SIZE * 3 + A,
    "filled  ": b"\xff" * 100 + A + b"\xff" * 900,
    "half": A + B,
    "half ": B + A,
    "half  ": bytes(x for pair in zip(A, B) for x in pair),
    "half   ": bytes(x for pair in zip(B, A) for x in pair),
    "quarter": B + A + image(3, 2 * SIZE),
    "shifted": image(3, 512) + A,
    "shifted ": A + image(3, 77),
    "shifted  ": A[0x700:] + A[:0x700],
    "inverted": invert(A),
    "bytes swapped": swap(A),
    "inverted and bytes swapped": invert(swap(A)),
    "lines crossed": mirror(A),
    "inverted and repeated": invert(A) * 2,
    "bytes swapped and filled": swap(A) + b"\xff" * SIZE,
    "inverted and half": invert(A + B),
    "repeated and filled": (A + b"\xff" * SIZE) * 2,
}


@pytest.mark.parametrize("kind", ["sha256", "md5"])
@pytest.mark.parametrize("how", LINE_CHANGES)
def test_changes_are_named_from_a_checksum_alone(how, kind):
    row = identify(store_of({"A": A, "other": image(9)}, as_bytes=False, kind=kind), LINE_CHANGES[how])
    assert [(match.name, match.list, match.how) for match in row.matches] == [("A", "known", how.strip())]
    assert row.known


@pytest.mark.parametrize("how", LINE_CHANGES)
def test_changes_are_named_from_an_image(how):
    row = identify(store_of({"A": A, "other": image(9)}, as_bytes=True), LINE_CHANGES[how])
    assert [(match.name, match.how) for match in row.matches] == [("A", how.strip())]
    assert row.matches[0].pages_equal == row.matches[0].pages_total == SIZE // 256


QUICK = ["exact", "repeated", "filled", "half", "inverted", "bytes swapped", "inverted and repeated", "shifted"]


@pytest.mark.parametrize("how", QUICK)
def test_the_quick_search_names_the_common_changes(how):
    row = identify(store_of({"A": A}, as_bytes=False), LINE_CHANGES[how], thorough=False)
    assert [match.how for match in row.matches] == [how]


# how -> (known image, a dump that holds less than it, or other fill)
IMAGE_CHANGES = {
    "repeated": (A * 2, A),
    "repeated ": (A * 2, A * 4),
    "filled": (A + b"\xff" * 3000, A),
    "filled ": (b"\x00" * 300 + A, A + b"\xff" * 500),
    "shifted": (A + b"\xff" * 1000, b"\xff" * 1000 + A),
    "half": (A + B, A),
    "half ": (A + B, B),
    "half  ": (A, A[::2]),
    "half   ": (A, A[1::2]),
    "inverted and half": (A + B, invert(B)),
    "quarter": (A + B, A[SIZE // 2 :]),
    "quarter ": (A, A[3::4]),
    "part": (A + B, (A + B)[3000:9001]),
    "shifted ": (A, A[777:] + A[:777]),
    "shifted  ": (A, image(5, 1001) + A + image(6, 3)),
    "inverted and shifted": (A, invert(A[777:] + A[:777])),
}


@pytest.mark.parametrize("how", IMAGE_CHANGES)
@pytest.mark.parametrize("thorough", [False, True])
def test_the_other_direction_is_named_for_images(how, thorough):
    known, dump = IMAGE_CHANGES[how]
    row = identify(store_of({"A": known, "other": image(9)}, as_bytes=True), dump, thorough)
    assert [(match.name, match.how) for match in row.matches] == [("A", how.strip())]
    assert row.known


@settings(max_examples=60, deadline=None)
@given(st.integers(3, 64), st.integers(0, 10**6), st.integers(0, 2**32), st.data())
def test_damage_is_told_page_by_page(pages, offset, seed, data):
    """Law: change bytes in fewer than half of the pages, rotate: named as damaged, with exactly those pages."""
    known = image(seed, pages * 256)
    bad = data.draw(st.sets(st.integers(0, pages - 1), min_size=1, max_size=(pages - 1) // 2))
    dump = bytearray(known)
    for page in bad:
        dump[page * 256 + data.draw(st.integers(0, 255))] ^= data.draw(st.integers(1, 255))
    offset %= len(dump)
    dump = bytes(dump[offset:] + dump[:offset])
    store = store_of({"A": known, "other": image(1 << 33)}, as_bytes=True)
    if pages - len(bad) < 2:
        return
    [match] = identify(store, dump, thorough=False).matches
    assert (match.name, match.how, match.lossless) == ("A", "shifted and damaged" if offset else "damaged", False)
    assert (match.pages_equal, match.pages_total) == (pages - len(bad), pages)
    told = match.detail.split("page")[-1].removeprefix("s ").split(" of ")[0]
    runs = [run.split("-") for run in told.replace(" and ", ", ").split(", ")[:12] if "more" not in run]
    assert {n for run in runs for n in range(int(run[0]), int(run[-1]) + 1)} <= bad
    assert len(bad) > 12 or {n for run in runs for n in range(int(run[0]), int(run[-1]) + 1)} == bad


@settings(max_examples=60, deadline=None)
@given(st.binary(min_size=1, max_size=3000), st.booleans())
def test_unrelated_bytes_have_no_name(data, thorough):
    """Known images with much fill, and any bytes that hypothesis makes of few values: blank pages are no evidence."""
    images = {"A": A, "half empty": A[:2048] + b"\xff" * 6144, "empty": b"\xff" * 4096, "tiny": b"\x00\x01"}
    row = identify(store_of(images, as_bytes=True), data, thorough)
    assert [m for m in row.matches if m.how != "exact"] == []
    assert row.tried


def test_two_thousand_random_images_have_no_name():
    store = store_of({f"{i}": image(i, 2048) for i in range(300)}, as_bytes=True)
    identifier = Identifier(store)
    names = [str(10_000 + i) for i in range(2000)]
    rows = identifier.identify(names, lambda name: Contents(image(int(name), 4096)))
    assert [row.matches for row in rows if row.matches] == []


@pytest.mark.parametrize("blank", [b"\xff" * 4096, b"\x00" * 300])
def test_a_blank_dump_is_called_blank(blank):
    row = identify(store_of({"A": A + b"\xff" * 4096, "B": b"\xff" * 8192}, as_bytes=True), blank)
    assert row.matches == ()
    assert "blank" in row.note


def test_two_roms_in_one_chip_are_both_named():
    row = identify(store_of({"A": A, "B": B}, as_bytes=False), A + B)
    assert {(match.name, match.how) for match in row.matches} == {("A", "half"), ("B", "half")}


@pytest.mark.parametrize("kind", ["crc32", "cksum"])
def test_short_checksums_need_a_size_and_say_that_they_are_short(kind):
    digest = {kind: KINDS[kind](A)}
    store = Store(":memory:", create=True)
    with store.changing():
        store.add_rows("known", [Row("no size", None, digest), Row("sized", SIZE, digest), Row("wrong", 5, digest)])
    exact = identify(store, A)
    assert {match.name for match in exact.matches} == {"no size", "sized"}
    assert all("32 bits only" in match.detail for match in exact.matches)
    assert [(match.name, match.how) for match in identify(store, invert(A)).matches] == [("sized", "inverted")]


@pytest.mark.parametrize("as_bytes", [True, False])
@pytest.mark.parametrize("thorough", [True, False])
@pytest.mark.parametrize("rest", [b"\x55" * SIZE, b"\xe5" * 100, b"\xff" * SIZE])
def test_one_value_beside_an_image_is_fill_whatever_the_value(rest, thorough, as_bytes):
    store = store_of({"A": image(1)}, as_bytes)
    for dump in (image(1) + rest, rest + image(1)):
        assert [(match.name, match.how) for match in identify(store, dump, thorough).matches] == [("A", "filled")]


def test_an_image_moved_and_cut_is_shifted_and_damaged():
    store = store_of({"A": image(1)}, as_bytes=True)
    [match] = identify(store, b"\xff" * 256 + image(1)[:-256]).matches
    assert (match.how, match.lossless, match.pages_equal) == ("shifted and damaged", False, SIZE // 256 - 1)


@given(st.sampled_from([0x00, 0xFF]), st.integers(0, 300), st.binary(max_size=40), st.integers(0, 300))
def test_the_core_is_what_stripping_leaves(value, before, middle, after):
    data = bytes([value]) * before + middle + bytes([value]) * after
    start, stop = forms.core(data)
    if data and data[-1] in (0x00, 0xFF):
        assert stop == len(data.rstrip(data[-1:]))
    else:
        assert stop == len(data)
    if data and data[0] in (0x00, 0xFF):
        assert start == min(len(data) - len(data.lstrip(data[:1])), stop)
