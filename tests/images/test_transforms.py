"""Laws of the transforms: each with its inverse."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from romwright.errors import OptionError
from romwright.images import transforms

LANES = st.sampled_from([2, 4])


@given(LANES, st.binary(max_size=64))
def test_join_undoes_split(lanes, data):
    data *= lanes
    assert transforms.join(transforms.split(data, lanes)) == data


@given(LANES, st.integers(0, 40).flatmap(lambda n: st.lists(st.binary(min_size=n, max_size=n), min_size=2, max_size=4)))
def test_split_undoes_join(_, lanes):
    assert transforms.split(transforms.join(lanes), len(lanes)) == lanes


@given(LANES, st.binary(max_size=64))
def test_swap_is_its_own_inverse_and_reverses_each_group(group, data):
    data *= group
    swapped = transforms.swap(data, group)
    assert transforms.swap(swapped, group) == data
    assert swapped == b"".join(data[i : i + group][::-1] for i in range(0, len(data), group))


@given(st.binary(max_size=64))
def test_invert_is_its_own_inverse_and_turns_every_bit(data):
    assert transforms.invert(transforms.invert(data)) == data
    assert all(a ^ b == 0xFF for a, b in zip(data, transforms.invert(data), strict=True))


@given(st.binary(min_size=1, max_size=64), st.integers(1, 8))
def test_repeat_shows_the_same_byte_in_every_copy(data, times):
    repeated = transforms.repeat(data, len(data) * times)
    assert all(repeated[i] == data[i % len(data)] for i in range(len(repeated)))


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: transforms.split(b"abc", 2),
        lambda: transforms.swap(b"abcdef", 4),
        lambda: transforms.join([b"ab", b"c"]),
        lambda: transforms.repeat(b"abc", 8),
        lambda: transforms.repeat(b"", 8),
    ],
)
def test_sizes_that_do_not_divide_are_refused(wrong):
    with pytest.raises(OptionError):
        wrong()
