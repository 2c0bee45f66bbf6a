"""What was read, counted: how often each word was seen, and with which levels of the reader's address lines."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from itertools import combinations

import numpy as np

from romwright.faults.lines import Law, Line, State

STEADY = 0.93  # share of the addresses of a word at which a line has one level, from which it always has, but for rot
FEWEST = 12  # addresses of two words together, under which a steady line may be chance
NEARLY = 0.03  # share of rows by which something that a line may carry may fall short of the best
TIES = 12  # things that a line may carry that are handed on to be weighed
WIDEST_JOIN = 4  # lines


class Tally:
    """Counts over addresses and the words read there."""

    def __init__(self, addresses: np.ndarray, words: np.ndarray, lines: int) -> None:
        self.lines = lines
        self.levels = (addresses[:, None] >> np.arange(lines) & 1).astype(np.float32)
        self.words, self.inverse, counts = np.unique(words, return_inverse=True, return_counts=True)
        self.row = {word: at for at, word in enumerate(self.words.tolist())}
        # One row more, of a word that was never seen.
        self.counts = np.append(counts, 0).astype(np.float32)
        ones = [np.bincount(self.inverse, self.levels[:, line], len(self.counts)) for line in range(lines)]
        self.ones = np.array(ones, np.float32).reshape(lines, -1).T
        order = np.argsort(self.inverse, kind="stable")
        self.places = np.split(order, np.cumsum(counts)[:-1])
        self.best_line = cache(self.best_line)

    def common(self, share: float) -> list[int]:
        """List the words that are seen at least as often as a share of what the commonest is."""
        return self.words[self.counts[:-1] >= share * self.counts.max()].tolist()

    def partners(self, words: Sequence[int]) -> list[tuple[int, int]]:
        """List the words that belong together: one is read only with a reader's line low, the other with it high."""
        steady: dict[tuple[int, int], list[int]] = {}
        for word in words:
            share = self.ones[self.row[word]] / self.counts[self.row[word]]
            for level, holds in enumerate((share <= 1 - STEADY, share >= STEADY)):
                for line in np.flatnonzero(holds).tolist():
                    steady.setdefault((line, level), []).append(word)
        pairs = []
        for line in range(self.lines):
            low, high = (steady.get((line, level), []) for level in (0, 1))
            if len(low) == len(high) == 1:
                once = [self.counts[self.row[word]] for word in (low[0], high[0])]
                if sum(once) >= FEWEST and min(once) >= FEWEST / 4:
                    pairs.append((low[0], high[0]))
        return pairs

    def rows(self, words: Sequence[int]) -> list[int]:
        """Return the rows of the counts of words."""
        return [self.row.get(word, len(self.words)) for word in words]

    def against(self, low: Sequence[int], high: Sequence[int]) -> float:
        """Count the addresses that go against every line straight, inverted or stuck.

        `low` and `high` are the words that say that a line of the ROM was low, and high.
        """
        at_low, at_high = self.rows(low), self.rows(high)
        n_low, n_high = self.counts[at_low], self.counts[at_high]
        follows = self.ones[at_high] + n_low[:, None] - self.ones[at_low]
        most = np.maximum(follows, (n_low + n_high)[:, None] - follows).max(axis=1, initial=0)
        return float(self.counts.sum() - np.maximum(most, np.maximum(n_low, n_high)).sum())

    def levels_of(self, word: int) -> np.ndarray:
        """Return the levels of the reader's lines, one row for each address at which a word was read."""
        return self.levels[self.places[self.row[word]]] if word in self.row else self.levels[:0]

    def best_line(self, low: int, high: int) -> tuple[Line, float]:
        """Return what a line of the ROM carries that is low where one word is read, high where the other is."""
        return best_line(self.levels_of(low), self.levels_of(high))


def best_line(low: np.ndarray, high: np.ndarray) -> tuple[Line, float]:
    """Return what a line of the ROM carries if it is not joined, and the share of rows that agree, less mere chance."""
    score, line = next(each for each in scored_lines(low, high) if not each[1].law)
    rows = len(low) + len(high)
    chance = 0 if line.state is State.STUCK else max(len(low), len(high))
    return line, (score - chance) / rows if rows else 0.0


def best_lines(low: np.ndarray, high: np.ndarray) -> list[Line]:
    """List what agrees with the levels best, and what agrees nearly as well."""
    scored = scored_lines(low, high)
    plain = next(score for score, line in scored if not line.law)
    slack = max(4.0, NEARLY * (len(low) + len(high)))
    least = {True: scored[0][0] - slack, False: min(plain, scored[0][0]) - slack}
    return [line for score, line in scored if score >= least[bool(line.law)]][:TIES]


def scored_lines(low: np.ndarray, high: np.ndarray) -> list[tuple[float, Line]]:
    """List what a line of the ROM may carry, by the levels of the reader's lines where it was low, and high.

    What agrees with the most rows comes first, of equals the plainest.
    """
    rows = low, high
    upper = np.triu_indices(low.shape[1], 1)
    (n_low, n_high), (ones_low, ones_high) = map(len, rows), (each.sum(axis=0) for each in rows)
    follows = ones_high + n_low - ones_low
    scored = [(float(n_low), Line.stuck(0)), (float(n_high), Line.stuck(1))]
    scored += [(float(score), Line.follows(line)) for line, score in enumerate(follows)]
    scored += [(float(n_low + n_high - score), Line.inverted(line)) for line, score in enumerate(follows)]
    both = rows[1].T @ rows[1] - rows[0].T @ rows[0]
    either = (ones_high - ones_low)[:, None] + (ones_high - ones_low) - both
    for law, table, steady in (
        (Law.AND, both, ones_high >= STEADY * n_high), (Law.OR, either, ones_low <= (1 - STEADY) * n_low)
    ):  # fmt: skip
        agree = table[upper] + n_low
        best = np.flatnonzero(agree >= agree.max(initial=0) - 1)[:TIES]
        scored += [(float(agree[at]), Line.joined(law, [int(side[at]) for side in upper])) for at in best]
        wide = np.flatnonzero(steady).tolist()
        for size in range(3, min(len(wide), WIDEST_JOIN) + 1 if len(wide) <= 2 * WIDEST_JOIN else 0):
            scored += [(agreeing(law, each, *rows), Line.joined(law, each)) for each in combinations(wide, size)]
    return sorted(scored, key=lambda each: -each[0])


def agreeing(law: Law, lines: Sequence[int], low: np.ndarray, high: np.ndarray) -> float:
    """Count the rows of levels that agree with a join being low, and high."""
    at = list(lines)
    joined = [rows[:, at].all(axis=1) if law is Law.AND else rows[:, at].any(axis=1) for rows in (low, high)]
    return float((~joined[0]).sum() + joined[1].sum())
