"""The image: bytes at addresses."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from strategies import images

from romwright.errors import GapError, OverlapError, SpanError
from romwright.images.image import SPAN_LIMIT, Image, Segment

pieces = st.lists(st.tuples(st.integers(0, 60), st.binary(max_size=20)), max_size=8)
agreeing = st.lists(
    st.tuples(st.integers(0, 60), st.integers(0, 20)).map(lambda at: (at[0], bytes(range(at[0], at[0] + at[1])))),
    max_size=10,
)


def cells(image):
    return {segment.start + i: byte for segment in image.segments for i, byte in enumerate(segment.data)}


def check_shape(image):
    assert all(segment.data for segment in image.segments)
    assert all(a.stop < b.start for a, b in zip(image.segments, image.segments[1:], strict=False))


@given(agreeing, st.randoms())
def test_the_order_of_agreeing_pieces_does_not_matter(some, random):
    image = Image.of(some)
    check_shape(image)
    assert cells(image) == {address: address for start, data in some for address in range(start, start + len(data))}
    random.shuffle(some)
    assert Image.of(some) == image


@given(pieces, st.randoms())
def test_pieces_are_merged_or_their_disagreement_is_found(some, random):
    seen = {}
    for start, data in some:
        for address, byte in enumerate(data, start):
            seen.setdefault(address, set()).add(byte)
    torn = {address for address, values in seen.items() if len(values) > 1}
    random.shuffle(some)
    if torn:
        with pytest.raises(OverlapError) as caught:
            Image.of(some)
        assert caught.value.address in torn
        assert set(caught.value.values) <= seen[caught.value.address]
        assert len(set(caught.value.values)) == 2
    else:
        assert cells(Image.of(some)) == {address: min(values) for address, values in seen.items()}


@given(images())
def test_an_image_is_made_of_its_own_segments(image):
    check_shape(image)
    assert Image.of([(s.start, s.data) for s in image.segments], image.entry) == image
    assert image.size_bytes == len(image.defined()) == len(cells(image))
    assert image.span_bytes == image.size_bytes + sum(stop - start for start, stop in image.gaps)


@given(images(highest=1 << 20), st.integers(0, 255))
def test_flat_fills_the_gaps_and_only_them(image, fill):
    known = cells(image)
    flat = image.flat(fill)
    assert len(flat) == image.span_bytes
    assert all(flat[address - image.start] == byte for address, byte in known.items())
    assert all(flat[a - image.start : b - image.start] == bytes([fill]) * (b - a) for a, b in image.gaps)


@given(images(highest=1 << 24))
def test_flat_without_a_fill_refuses_gaps(image):
    if image.gaps:
        with pytest.raises(GapError) as caught:
            image.flat()
        assert caught.value.gaps == tuple(image.gaps)
    else:
        assert image.flat() == image.defined()


@given(images().filter(lambda image: image.segments), st.integers(-0x1000000, 0x1000000))
def test_moved_there_and_back(image, by):
    moved = image.moved(by)
    assert moved.start == image.start + by
    assert moved.defined() == image.defined()
    assert moved.moved(-by).segments == image.segments
    assert moved.entry == (image.entry + by if image.entry is not None and image.entry + by >= 0 else None)


@given(images(highest=0x30000), st.integers(0, 0x30000), st.integers(0, 0x30000))
def test_cut_keeps_what_lies_inside(image, start, stop):
    cut = image.cut(start, stop)
    check_shape(cut)
    assert cells(cut) == {address: byte for address, byte in cells(image).items() if start <= address < stop}


def test_a_start_address_moved_out_of_4_gib_is_dropped():
    image = Image.of([(0, b"x")], entry=0x100)
    assert image.moved((1 << 32) - 0x101).entry == (1 << 32) - 1
    assert image.moved((1 << 32) - 0x100).entry is None
    assert image.moved(-0x101).entry is None


def test_pieces_that_touch_become_one():
    assert Image.of([(4, b"B"), (0, b"AAAA"), (5, b"")]).segments == (Segment(0, b"AAAAB"),)


def test_a_piece_inside_another():
    assert Image.of([(0, b"0123456789"), (3, b"345"), (8, b"89ab")]).segments == (Segment(0, b"0123456789ab"),)


def test_the_empty_image():
    empty = Image.of([(5, b"")])
    assert empty == Image(())
    assert (empty.start, empty.stop, empty.size_bytes, empty.span_bytes, empty.gaps, empty.flat()) == (
        0,
        0,
        0,
        0,
        [],
        b"",
    )


def test_the_span_is_limited():
    assert Image.of([(0, b"a"), (SPAN_LIMIT - 1, b"b")]).span_bytes == SPAN_LIMIT
    with pytest.raises(SpanError) as caught:
        Image.of([(SPAN_LIMIT, b"b"), (0, b"a")])
    assert (caught.value.start, caught.value.stop, caught.value.limit) == (0, SPAN_LIMIT + 1, SPAN_LIMIT)
