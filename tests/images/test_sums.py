"""Several checksums in one image: none may spoil another, and places grow only where nothing is lost."""

import binascii

import pytest

from romwright.errors import NotSolvableError, OptionError
from romwright.images.fixup import kind_named
from romwright.images.sums import Sum, put_sums

PROGRAM = bytes((a * 37 + (a >> 8)) & 0xFF for a in range(0x800))
DATA = PROGRAM + b"\xff" * 0x800
FILLED = bytes(0x800) + b"\1" * 0x800


def put(*sums, data=DATA, filled=FILLED, order="little"):
    steps = []
    return put_sums(data, bytearray(filled), sums, order, steps), steps


def test_a_stored_sum_and_a_fixed_one_side_by_side():
    data, steps = put(
        Sum(kind_named("sum16"), (0x7FE, None), None, (0, 0x7FE)), Sum(kind_named("xmodem"), (0xFFE, None), 0xBEEF)
    )
    assert int.from_bytes(data[0x7FE:0x800], "little") == sum(data[:0x7FE]) % 65536
    assert binascii.crc_hqx(data, 0) == 0xBEEF
    assert "replaced bytes of the program" in " ".join(steps)


def test_the_order_of_a_stored_sum():
    data, _ = put(Sum(kind_named("sum16"), (0xFFE, None), None, (0, 0xFFE)), order="big")
    assert int.from_bytes(data[0xFFE:], "big") == sum(data[:0xFFE]) % 65536


@pytest.mark.parametrize(
    "sums",
    [
        (Sum(kind_named("crc-16"), (0x800, None), 0), Sum(kind_named("crc-16"), (0x900, None), 1)),
        (Sum(kind_named("sum16"), (0xFFE, None)), Sum(kind_named("sum8"), (0xFFD, None), 0)),
    ],
)
def test_a_sum_that_spoils_another_is_refused(sums):
    with pytest.raises(OptionError, match="does not hold"):
        put(*sums)


def test_two_sums_at_one_place_are_refused():
    with pytest.raises(OptionError, match="two checksums"):
        put(Sum(kind_named("sum8"), (0x10, None)), Sum(kind_named("sum8"), (0x10, None), 0))


def test_a_byte_sum_grows_over_fill_downwards_where_there_is_no_room_above():
    data, steps = put(Sum(kind_named("sum16"), (0xFFE, None), (sum(DATA) - 9000) % 65536))
    assert sum(data) % 65536 == (sum(DATA) - 9000) % 65536
    assert data[:0x800] == PROGRAM


def test_a_place_that_would_cost_program_bytes_is_named_not_taken():
    wanted = (sum(PROGRAM) + 5000) % 65536
    with pytest.raises(NotSolvableError) as caught:
        put(Sum(kind_named("sum16"), (0x100, None), wanted, (0, 0x800)))
    assert caught.value.where == "chip address 0100-0101, over 0000-07FF"
    first, last = (int(x, 16) for x in caught.value.help.split(" ")[0].split("-"))
    data, _ = put(Sum(kind_named("sum16"), (first, last + 1), wanted, (0, 0x800)))
    assert sum(data[:0x800]) % 65536 == wanted


def test_places_and_ranges_must_lie_in_the_image():
    for wanted in (Sum(kind_named("sum8"), (0x1000, None)), Sum(kind_named("sum8"), (0, None), 0, (0, 0x1001))):
        with pytest.raises(OptionError, match="does not lie"):
            put(wanted)
    with pytest.raises(OptionError, match="outside"):
        put(Sum(kind_named("sum8"), (0x900, None), 0, (0, 0x800)))
