"""Sums over an image by which lines can be told apart, however they are crossed.

A sum over all bytes does not change if address lines are crossed; a sum in which one address line gives the sign
depends on that line alone. Random bit errors move such a sum of N bytes by about the square root of N.
"""

from __future__ import annotations

from functools import cache

import numpy as np

ROW_LINES = 9  # address lines within a row, where there are enough
MOST_LINES = 22  # of an image that is transformed whole: more would take too much memory


@cache
def signs(lines: int) -> np.ndarray:
    """Return for each line a row with +1 where the number has it low and -1 where it has it high."""
    numbers = np.arange(1 << lines)
    return (1 - 2 * (numbers >> np.arange(lines)[:, None] & 1)).astype(np.float32)


def signed_histograms(data: np.ndarray) -> np.ndarray:
    """Return for each address line how much more often each byte occurs with the line low than high.

    The data is a power of two of bytes.

    >>> signed_histograms(np.array([7, 7, 7, 9], np.uint8))[:, [7, 9]].tolist()
    [[1.0, -1.0], [1.0, -1.0]]
    """
    lines, done, sums = len(data).bit_length() - 1, 0, []
    for width in (lines // 3, (lines + 1) // 3, (lines + 2) // 3):  # so that the tables stay small
        grid = data.reshape(-1, 1 << width, 1 << done)
        cells = (grid + np.arange(0, 256 << width, 256)[:, None]).ravel()
        table = np.bincount(cells, minlength=256 << width).reshape(1 << width, 256).astype(np.float32)
        sums.append(signs(width) @ table)
        done += width
    return np.concatenate(sums)


class Spectrum:
    """Sums over an image in which the parity of up to `order` address lines gives the sign, for functions of the byte.

    With them the sum over any part of the image in which lines are held, or joined, needs no look at the image: the
    part's indicator is a product of (1 + sign) / 2.
    """

    def __init__(self, data: np.ndarray, functions: np.ndarray, order: int) -> None:
        """Transform an image of a power of two of bytes; each row of `functions` has a value for each byte."""
        self.lines = len(data).bit_length() - 1
        self.low = min(self.lines // 2, ROW_LINES)
        rows, self.row_at = parities(self.lines - self.low, order)
        columns, self.column_at = parities(self.low, order)
        grid = data.reshape(-1, 1 << self.low)
        planes = (np.take(function.astype(np.float32), grid) for function in functions)
        self.sums = np.stack([(rows @ plane) @ columns.T for plane in planes])

    def at(self, masks: np.ndarray) -> np.ndarray:
        """Return the sums for sets of lines, given as bit masks; the functions come first."""
        return self.sums[:, self.row_at[masks >> self.low], self.column_at[masks & (1 << self.low) - 1]]

    def parts(self, masks: np.ndarray, levels: np.ndarray) -> np.ndarray:
        """Return the sums over parts of the image: those addresses whose parity over each of a row's masks is as given.

        `masks` and `levels` have a row for each part and a column for each condition.
        """
        count, conditions = masks.shape
        total = np.zeros((len(self.sums), count))
        for subset in range(1 << conditions):
            chosen = [c for c in range(conditions) if subset >> c & 1]
            mask = np.bitwise_xor.reduce(masks[:, chosen], axis=1) if chosen else np.zeros(count, np.int64)
            total += self.at(mask) * (1 - 2 * (levels[:, chosen].sum(axis=1) & 1))
        return total / (1 << conditions)


@cache
def parities(lines: int, order: int) -> tuple[np.ndarray, np.ndarray]:
    """Return the sign of each number by the parity of up to `order` lines, a row for each set of lines.

    The second array has the row of each set, given as a bit mask.
    """
    numbers = np.arange(1 << lines)
    weights = np.bitwise_count(numbers)
    masks = numbers[weights <= order]
    at = np.full(1 << lines, -1)
    at[masks] = np.arange(len(masks))
    return (1 - 2.0 * (np.bitwise_count(masks[:, None] & numbers) & 1)).astype(np.float32), at
