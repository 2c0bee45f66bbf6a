"""Where in a reference a dump starts: at the shifts at which most of its bytes are those of the reference."""

from __future__ import annotations

import numpy as np

from romwright.faults.lines import BYTES

AGREED = 0.2  # share of the bytes that are not blank which must agree
LIKELY = 2  # starts returned
SPREAD = 181  # odd, far from a power of two: one wrong bit makes quite another value


def find_starts(reference: np.ndarray, dump: np.ndarray) -> list[int]:
    """Return addresses of the reference at which the dump may start, the likeliest first; below 0: before it.

    All shifts are weighed at once: their sums of products are a product of Fourier transforms.

    >>> text = np.frombuffer(b"the quick brown fox jumps over the lazy dog", np.uint8)
    >>> find_starts(text, text[7:])[0]
    7
    """
    here, there = spread(reference), spread(dump)
    size = 1 << (len(here) + len(there) - 1).bit_length()
    sums = np.fft.irfft(np.fft.rfft(here, size) * np.conj(np.fft.rfft(there, size)), size)
    least = AGREED * min(float(here @ here), float(there @ there))
    best = np.argpartition(-sums, LIKELY)[:LIKELY] if size > LIKELY else np.arange(size)
    likely = [int(shift) for shift in best[np.argsort(-sums[best])] if sums[shift] > max(least, 0)]
    return [shift if shift < len(reference) else shift - size for shift in likely]


def spread(data: np.ndarray) -> np.ndarray:
    """Return a value for each byte, far apart for bytes that are alike; 0 for the byte that occurs most often.

    Their mean is 0: else shifts at which more bytes overlap would have greater sums.
    """
    times = np.bincount(data, minlength=256)
    values = (BYTES * np.uint8(SPREAD)).astype(np.float32)
    times[times.argmax()] = 0
    values -= values @ times / max(times.sum(), 1)
    values[times == 0] = 0
    return np.take(values, data)
