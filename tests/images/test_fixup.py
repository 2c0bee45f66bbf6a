"""Checksums made to come out: the solved bytes, checked by computing the sum again elsewhere."""

import binascii
import zlib
from functools import reduce

import pytest
from hypothesis import given
from hypothesis import strategies as st

from romwright.errors import NotSolvableError, UnknownNameError
from romwright.images.fixup import SUMS, kind_named, solve

# Second witnesses that share no code with the solver: the standard library and plain arithmetic.
WITNESSES = {
    "sum8": lambda d: sum(d) % 256,
    "words-big": lambda d: (
        sum(int.from_bytes(d[i : i + 2].ljust(2, b"\0"), "big") for i in range(0, len(d), 2)) % 65536
    ),
    "words-little": lambda d: sum(int.from_bytes(d[i : i + 2], "little") for i in range(0, len(d), 2)) % 65536,
    "xor8": lambda d: reduce(int.__xor__, d, 0),
    "crc-32": zlib.crc32,
    "xmodem": lambda d: binascii.crc_hqx(d, 0),
    "crc-ccitt-false": lambda d: binascii.crc_hqx(d, 0xFFFF),
}


@pytest.mark.parametrize("name", WITNESSES)
@given(data=st.binary(min_size=8, max_size=200), where=st.integers(0), value=st.integers(0))
def test_the_checksum_comes_out(name, data, where, value):
    kind = kind_named(name)
    value %= 1 << kind.width
    at = where % (len(data) - kind.size_bytes + 1)
    patch = solve(data, kind, value, at, kind.size_bytes)
    assert len(patch) == kind.size_bytes
    assert WITNESSES[name](data[:at] + patch + data[at + len(patch) :]) == value


@given(data=st.binary(min_size=300, max_size=600), value=st.integers(0, 0xFFFF))
def test_257_bytes_reach_every_16_bit_sum_of_bytes(data, value):
    patch = solve(data, SUMS["sum16"], value, 5, 258)
    assert sum(data[:5] + patch + data[263:]) % 65536 == value


@given(data=st.binary(min_size=8, max_size=40), value=st.integers(0, 0xFFFF), count=st.integers(1, 3))
def test_what_cannot_be_solved_really_cannot(data, value, count):
    """A byte sum: no bytes at all reach the value, by the range that they can add."""
    rest = sum(data[count:])
    try:
        solve(data, SUMS["sum16"], value, 0, count)
    except NotSolvableError:
        assert (value - rest) % 65536 > 255 * count
    else:
        assert (value - rest) % 65536 <= 255 * count


def test_too_few_bytes_for_a_crc_are_refused():
    with pytest.raises(NotSolvableError) as caught:
        solve(bytes(range(64)), kind_named("crc-32"), 0x12345678, 10, 2)
    assert "4 bytes" in caught.value.expected


def test_a_wide_place_costs_no_more_than_a_narrow_one():
    data, kind = bytes(65536), kind_named("xmodem")
    patch = solve(data, kind, 0x1234, 0x4000, 0xC000)
    assert binascii.crc_hqx(data[:0x4000] + patch, 0) == 0x1234


def test_an_unknown_checksum_offers_near_names():
    with pytest.raises(UnknownNameError) as caught:
        kind_named("sum61")
    assert "sum16" in caught.value.near
