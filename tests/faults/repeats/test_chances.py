"""How sure a majority is: against exact fractions, every outcome written out, and a printed table."""

from fractions import Fraction
from itertools import product
from math import comb

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from romwright.faults.repeats.chances import Count, alike, counts_of, missed_at, reads_needed, tail, unseen, wrong_at

HALF = Fraction(1, 2)
# Cumulative binomial probabilities for p = 0.5 as statistics books print them, four digits (from memory, unchecked).
TABLE = {
    5: (0.0312, 0.1875, 0.5000),
    10: (0.0010, 0.0107, 0.0547, 0.1719, 0.3770),
    15: (0.0000, 0.0005, 0.0037, 0.0176, 0.0592, 0.1509, 0.3036, 0.5000),
    20: (0.0000, 0.0000, 0.0002, 0.0013, 0.0059, 0.0207, 0.0577, 0.1316, 0.2517, 0.4119),
}


@pytest.mark.parametrize("n", TABLE)
def test_tails_as_printed(n):
    assert [tail(n, k) for k in range(len(TABLE[n]))] == pytest.approx(TABLE[n], abs=5.1e-5)


@pytest.mark.parametrize("n", range(1, 11))
def test_every_outcome_written_out(n):
    """Of all rows of n reads, each as likely: in how many are at most k right?"""
    rights = [sum(row) for row in product((0, 1), repeat=n)]
    for k in range((n + 1) // 2):
        assert tail(n, k) == sum(right <= k for right in rights) / 2**n
    for k in range(1, n):
        p = Fraction(k, n)
        wrong = sum(p**w * (1 - p) ** (n - w) for row in product((0, 1), repeat=n) if 2 * (w := sum(row)) >= n)
        assert wrong_at(n, k) == float(wrong)
        assert missed_at(n, k, n) == float(p**n + (1 - p) ** n)


@given(st.integers(1, 400), st.data())
def test_tail_is_the_exact_sum(n, data):
    k = data.draw(st.integers(0, n))
    exact = sum(Fraction(comb(n, i), 2**n) for i in range(k + 1)) if 2 * k < n else 1
    assert tail(n, k) == float(exact)


def chance_of_silent_error(rates, n, most):
    """Return P(at most `most` cells are unstable in n reads, and one is read alike and wrong), exactly."""
    chances = {(0, False): Fraction(1)}
    for p in rates:
        right, wrong = (1 - p) ** n, p**n
        then = {}
        for (unstable, bad), chance in chances.items():
            for key, factor in (
                ((unstable, bad), right),
                ((unstable, True), wrong),
                ((unstable + 1, bad), 1 - right - wrong),
            ):
                if key[0] <= most:
                    then[key] = then.get(key, 0) + chance * factor
        chances = then
    return sum(chance for (_, bad), chance in chances.items() if bad)


@given(st.lists(st.fractions(0, HALF, max_denominator=40), max_size=8), st.integers(2, 12), st.integers(0, 4))
def test_no_rates_break_the_bound_of_bits_read_alike(rates, n, unstable):
    bound = Fraction(unstable + 1, 2**n)
    if bound <= Fraction(1, 3):
        assert chance_of_silent_error(rates, n, unstable) <= bound
        assert alike(unstable, n) == float(bound)


@pytest.mark.parametrize(("n", "unstable"), [(n, u) for n in range(2, 11) for u in range(6) if 3 * (u + 1) <= 2**n])
def test_nor_does_any_number_of_even_cells(n, unstable):
    """These are the worst: the chance is convex in each rate."""
    bound = Fraction(unstable + 1, 2**n)
    share, worst = Fraction(2, 2**n), []
    for cells in range(1, 400):
        worst.append(
            sum(
                comb(cells, same) * share**same * (1 - share) ** (cells - same) * (1 - Fraction(1, 2**same))
                for same in range(max(cells - unstable, 1), cells + 1)
            )
        )
    assert max(worst) <= bound
    assert worst[-1] < max(worst)  # it has long begun to fall
    if not unstable:
        assert max(worst) == bound  # one even cell: the bound is reached


def test_a_thousand_chips_with_weak_cells():
    """Draw reads of chips with cells of all rates: what is called settled is wrong no more often than was allowed."""
    rng = np.random.default_rng(8)
    called, wrong = 0, 0
    for _ in range(4000):
        n = int(rng.integers(2, 14))
        rates = rng.uniform(0, 0.5, int(rng.integers(1, 4)))
        bad = (rng.random((len(rates), n)) < rates[:, None]).sum(axis=1)
        less = np.minimum(bad, n - bad)
        sum_of_tails = sum(tail(n, int(k)) for k in less if k)
        if sum_of_tails + alike(int((less > 0).sum()), n) <= 0.05:
            called += 1
            wrong += bool((2 * bad > n).any())
    assert called > 300
    assert wrong <= 0.05 * called


def brute_reads_needed(counts, risk, least):
    unstable = sum(each.cells for each in counts)
    for n in range(least, 1001):
        total = alike(unstable, n)
        for each in counts:
            if not (each.even or each.tied):
                total += each.cells * tail(n, -(-each.less * n // each.reads))
        if total <= risk:
            return n
    return None


rows = st.tuples(st.integers(2, 30), st.integers(1, 15), st.integers(1, 50)).filter(lambda r: 2 * r[1] <= r[0])


@given(st.lists(rows, max_size=4), st.sampled_from([0.2, 0.01, 1e-4]), st.integers(2, 20))
def test_reads_needed_is_the_first_number_that_does(some, risk, least):
    counts = [Count(less, reads, cells) for reads, less, cells in some]
    assert reads_needed(counts, risk, least) == brute_reads_needed(counts, risk, least)


def test_reads_needed_where_all_were_alike():
    """2^-n <= risk: five reads for 5 %, seven for 1 %, ten for 0.1 %, as --help says."""
    assert [reads_needed([], risk, 2) for risk in (0.05, 0.01, 0.001)] == [5, 7, 10]


def test_even_and_tied():
    assert Count(1, 2, 1).tied and not Count(1, 2, 1).even
    assert Count(2, 4, 1).even and Count(4, 10, 1).even and not Count(3, 10, 1).even


def test_counts_of():
    assert counts_of(np.array([1, 4, 1, 2]), np.array([9, 9, 9, 4])) == [Count(2, 4, 1), Count(4, 9, 1), Count(1, 9, 2)]


def test_unseen_counts_what_chance_hid():
    """Cells of one rate: the estimate comes close to those that were read alike; of many rates it stays below."""
    rng = np.random.default_rng(2)
    n, cells = 12, 20_000
    for p in (0.15, rng.beta(0.5, 3, cells)):
        bad = rng.binomial(n, p, cells)
        less = np.minimum(bad, n - bad)
        estimate = unseen(counts_of(less[less > 0], np.full(int((less > 0).sum()), n)), n)
        hidden = int((less == 0).sum())
        assert 0.2 * hidden < estimate < 1.1 * hidden
        if isinstance(p, float):
            assert estimate == pytest.approx(hidden, rel=0.1)
    assert unseen([Count(1, 2, 9)], 2) is None
