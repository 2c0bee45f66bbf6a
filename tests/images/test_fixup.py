"""Checksums made to come out: the solved bytes, checked by computing the sum again elsewhere."""

import binascii
import zlib

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
def test_a_byte_sum_says_how_many_bytes_it_takes(data, value):
    at, count = 5, 2
    try:
        patch = solve(data, SUMS["sum16"], value, at, count)
    except NotSolvableError as error:
        count = error.needed
        patch = solve(data, SUMS["sum16"], value, at, count)
        with pytest.raises(NotSolvableError):
            solve(data, SUMS["sum16"], value, at, count - 1)
    assert sum(data[:at] + patch + data[at + count :]) % 65536 == value


def test_too_few_bytes_for_a_crc_are_refused():
    with pytest.raises(NotSolvableError) as caught:
        solve(bytes(range(64)), kind_named("crc-32"), 0x12345678, 10, 2)
    assert caught.value.needed == 4


def test_an_unknown_checksum_offers_near_names():
    with pytest.raises(UnknownNameError) as caught:
        kind_named("sum61")
    assert "sum16" in caught.value.near
