"""Preparing an image, held against the definition of each step."""

import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from romwright.errors import NotFittingError, OptionError, OverlapError
from romwright.images import preparation
from romwright.images.fixup import kind_named
from romwright.images.image import Image
from romwright.images.preparation import Recipe, Source
from romwright.images.sums import Sum

SPELLING = bytes((a ^ (a >> 8) * 7) & 0xFF for a in range(0x4000))  # 16K whose bytes tell their address apart


def recipe(chip=0x8000, **options):
    return Recipe(chip_bytes=chip, chip_name="chip", fill=options.pop("fill", 0xFF), **options)


def prepare(*images, **options):
    sources = [
        Source(f"in{i}", image) if isinstance(image, Image) else Source(f"in{i}", *image)
        for i, image in enumerate(images)
    ]
    return preparation.prepare(sources, recipe(**options))


def test_a_small_image_lies_at_zero_and_the_rest_is_fill():
    done = prepare(Image.from_bytes(SPELLING))
    assert done.chips == [SPELLING + b"\xff" * 0x4000]
    assert [f.code.name for f in done.findings] == ["partly-filled"]


def test_repeat_makes_the_high_line_matter_no_more():
    done = prepare(Image.from_bytes(SPELLING), chip=0x10000, repeat=True)
    assert done.chips == [SPELLING * 4]
    assert not done.findings


def test_repeat_keeps_the_fill_of_a_ragged_image():
    (chip,) = prepare(Image.from_bytes(b"abc"), chip=16, repeat=True, fill=0x00).chips
    assert chip == b"abc\0" * 4


@pytest.mark.parametrize(
    ("start", "chip", "at"),
    [
        (0xC000, 0x4000, 0),
        (0xC100, 0x4000, 0x100),
        (0xC000, 0x10000, 0xC000),
        (0x2000, 0x8000, 0x2000),
        (0xE000, 0x8000, 0),
    ],
)
def test_where_an_image_with_addresses_goes(start, chip, at):
    data = SPELLING[:0x400]
    (made,) = prepare(Image.from_bytes(data, start), chip=chip).chips
    assert made[at : at + len(data)] == data
    assert set(made[:at] + made[at + len(data) :]) <= {0xFF}


def test_an_image_across_block_borders_needs_a_base():
    image = Image.from_bytes(bytes(0x200), 0x7F00)
    with pytest.raises(OptionError, match="not clear"):
        prepare(image, chip=0x400)
    assert prepare(image, chip=0x400, base=0x7F00).chips == [bytes(0x200) + b"\xff" * 0x200]


def test_sources_are_placed_side_by_side():
    (chip,) = prepare((Image.from_bytes(b"one"), 0), (Image.from_bytes(b"two"), 4), chip=8).chips
    assert chip == b"one\xfftwo\xff"


def test_sources_that_differ_are_refused_and_those_that_agree_are_not():
    with pytest.raises(OverlapError) as caught:
        prepare((Image.from_bytes(b"abc"), 0), (Image.from_bytes(b"bX"), 1), chip=8)
    assert caught.value.address == 2
    assert "in1" in caught.value.where
    assert prepare((Image.from_bytes(b"abc"), 0), (Image.from_bytes(b"bc"), 1), chip=4).chips == [b"abc\xff"]


def test_an_image_that_cannot_fit_names_both_sizes():
    with pytest.raises(NotFittingError) as caught:
        prepare(Image.from_bytes(SPELLING), chip=0x2000)
    assert (caught.value.size_bytes, caught.value.room_bytes) == (0x4000, 0x2000)
    assert "16,384" in str(caught.value) and "8,192" in str(caught.value)


@given(st.sampled_from([2, 4]), st.binary(min_size=1, max_size=16))
def test_split_chips_join_to_the_image(ways, data):
    done = prepare(Image.from_bytes(data), chip=32, split=ways, fill=0)
    room = data + bytes(32 * ways - len(data))
    assert done.chips == [room[lane::ways] for lane in range(ways)]
    back = prepare(*(Image.from_bytes(chip) for chip in done.chips), chip=32 * ways, join=True)
    assert back.chips == [room]


@given(st.binary(min_size=4, max_size=64).map(lambda d: d[: len(d) // 4 * 4]))
def test_swap_and_invert_twice_change_nothing(data):
    once = prepare(Image.from_bytes(data), chip=64, swap=2, invert=True).chips[0][: len(data)]
    assert prepare(Image.from_bytes(once), chip=64, swap=2, invert=True).chips[0][: len(data)] == data


def test_cut_takes_a_stretch():
    assert prepare(Image.from_bytes(SPELLING, 0xC000), chip=0x1000, cut=(0xE000, 0xF000)).chips == [
        SPELLING[0x2000:0x3000]
    ]
    with pytest.raises(OptionError, match="nothing"):
        prepare(Image.from_bytes(SPELLING), cut=(0x8000, 0x9000))


def test_a_sum_is_fixed_in_place():
    wanted = Sum(kind_named("sum8"), (0x3FFF, None), 0x00, (0, 0x4000))
    (chip,) = prepare(Image.from_bytes(SPELLING), chip=0x4000, sums=[wanted]).chips
    assert sum(chip) % 256 == 0
    assert chip[:-1] == SPELLING[:-1]


def test_a_byte_sum_grows_into_fill_but_never_into_the_program():
    wanted = Sum(kind_named("sum16"), (0x4000, None), 0x1234)
    (chip,) = prepare(Image.from_bytes(SPELLING), sums=[wanted]).chips
    assert sum(chip) % 65536 == 0x1234
    assert chip[:0x4000] == SPELLING
    from romwright.errors import NotSolvableError

    inside = Sum(kind_named("sum16"), (0x100, None), (sum(SPELLING) + 5000) % 65536, (0, 0x4000))
    with pytest.raises(NotSolvableError):
        prepare(Image.from_bytes(SPELLING), sums=[inside])


def test_a_checksum_is_stored_without_its_own_place():
    wanted = Sum(kind_named("sum16"), (0x3FFE, None), None, (0, 0x4000))
    (chip,) = prepare(Image.from_bytes(SPELLING), chip=0x4000, sums=[wanted]).chips
    assert int.from_bytes(chip[-2:], "little") == sum(chip[:-2]) % 65536


def test_crc_comes_out_over_the_whole_chip():
    wanted = Sum(kind_named("crc-32"), (0x7FFC, None), 0xDEADBEEF)
    (chip,) = prepare(Image.from_bytes(SPELLING), sums=[wanted]).chips
    assert zlib.crc32(chip) == 0xDEADBEEF


def test_fixing_outside_the_range_is_refused():
    with pytest.raises(OptionError, match="outside"):
        prepare(Image.from_bytes(SPELLING), sums=[Sum(kind_named("sum8"), (0x3FFF, None), 0, (0, 0x3FFF))])


def test_sizes_of_an_image_that_does_not_fit_are_its_own():
    with pytest.raises(NotFittingError, match="2 bytes and, placed at 8000, reaches 8001"):
        prepare((Image.from_bytes(b"ab"), 0x8000))
    apart = Image.of([(0, b"a"), (0x10000, b"b")])
    with pytest.raises(NotFittingError, match="2 bytes that span 65,537"):
        prepare(apart)


def test_a_clash_names_the_two_sources_that_clash():
    with pytest.raises(OverlapError) as caught:
        prepare((Image.from_bytes(b"far"), 0x100), (Image.from_bytes(b"abc"), 0), (Image.from_bytes(b"X"), 1))
    assert caught.value.where == "chip address 0001 in in1 and in2"


def test_words_of_four_and_sixteen_bits():
    with pytest.raises(OptionError, match="more bits"):
        prepare(Image.from_bytes(b"\x05\x1f"), chip=2, chip_bits=4, fill=0)
    done = prepare(Image.from_bytes(b"\x01\x02"), chip=2, chip_bits=16)
    assert [f.code.name for f in done.findings] == ["word-wide"]
    assert "0201" in done.findings[0].evidence
