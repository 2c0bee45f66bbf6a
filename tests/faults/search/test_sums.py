"""The sums by which lines are told apart, against brute force."""

from itertools import combinations, permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from romwright.faults.search import matching
from romwright.faults.search.parts import Part, list_parts, promising_parts
from romwright.faults.search.planes import sound
from romwright.faults.search.spectrum import Spectrum, signed_histograms

images = st.integers(1, 7).flatmap(lambda lines: arrays(np.uint8, 1 << lines))


@given(images)
def test_signed_histograms_are_counts(data):
    addresses = np.arange(len(data))
    for line, row in enumerate(signed_histograms(data)):
        low, high = (np.bincount(data[addresses >> line & 1 == level], minlength=256) for level in (0, 1))
        assert row.tolist() == (low - high).tolist()


@st.composite
def parts(draw, lines):
    """Parts of an image with lines held and one or two groups."""
    order = draw(st.permutations(range(lines)))
    groups = draw(st.sampled_from([(), ((0, 1),), ((0, 1), (2, 3)), ((0, 1, 2),)]))
    used = max((line for group in groups for line in group), default=-1) + 1
    held = draw(st.integers(0, min(2, lines - used)))
    levels = draw(st.lists(st.integers(0, 1), min_size=held, max_size=held))
    return Part(
        tuple(zip(order[used : used + held], levels)), tuple(tuple(order[n] for n in group) for group in groups)
    )


@given(arrays(np.uint8, 64), parts(6).filter(Part.conditions))
def test_the_sum_over_a_part_needs_no_look_at_it(data, part):
    addresses = np.arange(64)
    inside = np.ones(64, bool)
    for line, level in part.held:
        inside &= addresses >> line & 1 == level
    for group in part.groups:
        for a, b in combinations(group, 2):
            inside &= addresses >> a & 1 == addresses >> b & 1
    conditions = np.array(part.conditions()).reshape(1, -1, 2)
    sums = Spectrum(data, sound().values, 6).parts(conditions[:, :, 0], conditions[:, :, 1])
    assert sums[:, 0].tolist() == sound().values[:, data[inside]].sum(axis=1).tolist()
    assert sorted(part.cut(data).tolist()) == sorted(data[inside].tolist())


@pytest.mark.parametrize(
    ("held", "groups", "count"),
    [(1, (), 12), (2, (), 60), (0, (2,), 15), (0, (2, 2), 45), (1, (2,), 120), (0, (3,), 20), (5, (), 32)],
)
def test_all_parts_are_listed_once(held, groups, count):
    found = list(list_parts(6, held, groups))
    assert len(found) == len(set(found)) == count


@given(st.integers(0, 2**32), st.sampled_from([(1, ()), (2, ()), (0, (2,)), (1, (2,))]))
@settings(max_examples=20)
def test_the_part_that_a_dump_shows_is_the_likeliest(seed, kind):
    rng = np.random.default_rng(seed)
    data = rng.integers(0, 256, 1 << 12).astype(np.uint8)
    data[: 1 << 11] &= rng.integers(0, 256, 1 << 11).astype(np.uint8)
    every = list(list_parts(12, *kind))
    part = every[int(rng.integers(len(every)))]
    times = np.bincount(part.cut(data), minlength=256)
    assert part in promising_parts(data, times, *kind)[:4]


@given(arrays(np.float64, (5, 5), elements=st.integers(0, 30)))
def test_assignment_is_the_cheapest(cost):
    order = matching.assign(cost)
    best = min(sum(cost[row, column] for column, row in enumerate(way)) for way in permutations(range(5)))
    assert sorted(order.tolist()) == list(range(5))
    assert sum(cost[row, column] for column, row in enumerate(order)) == best


@given(arrays(np.uint8, 64), arrays(np.uint8, 64), st.permutations(range(6)))
def test_the_gain_of_an_exchange_is_what_it_saves(expected, dump, order):
    a, b = order[:2]
    before = matching.bits(expected ^ dump)
    gain = matching.gain(expected, dump, a, b)
    matching.exchange(expected, a, b)
    assert before - matching.bits(expected ^ dump) == gain
