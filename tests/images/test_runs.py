"""Runs, against a loop over every byte."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from romwright.images import runs


def by_hand(bits, least):
    found, start = [], None
    for at, bit in enumerate([*bits, False]):
        if bit and start is None:
            start = at
        if not bit and start is not None:
            if at - start >= least:
                found.append([start, at])
            start = None
    return found


@pytest.mark.parametrize("chunk", [1, 3, 7, 1 << 20])
@given(bits=st.lists(st.sampled_from([True, True, True, False]), max_size=80), least=st.integers(1, 9))
def test_runs_are_those_of_a_loop_however_small_the_chunks(bits, least, chunk):
    array = np.array(bits, bool)
    kept, runs.CHUNK = runs.CHUNK, chunk
    try:
        assert runs.find_runs(len(array), lambda a, b: array[a:b], least).tolist() == by_hand(bits, least)
    finally:
        runs.CHUNK = kept


@given(st.binary(min_size=1, max_size=60), st.data())
def test_uniform_runs_have_one_value(data, draw):
    view = np.frombuffer(data, np.uint8)
    cuts = sorted(draw.draw(st.sets(st.integers(0, len(data)), max_size=8)))
    rows = np.array([cuts[i : i + 2] for i in range(0, len(cuts) - 1, 2)], int).reshape(-1, 2)
    assert runs.uniform(view, rows).tolist() == [len(set(data[a:b])) == 1 for a, b in rows]


def test_longest_takes_the_lower_address_among_equals():
    rows = np.array([[0, 2], [4, 9], [10, 15]])
    assert runs.longest(rows, 2).tolist() == [[4, 9], [10, 15]]
