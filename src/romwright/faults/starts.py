"""Where in a reference a dump starts, found by stretches of bytes that both have."""

from __future__ import annotations

from collections import Counter

import numpy as np

PROBES = 96
STRETCH = 8  # bytes of a probe: few enough to be spared by wrong bits, enough to be found in one place
VARIED = 5  # different values that a probe must have
AGREED = 0.25  # share of the probes that must agree
LIKELY = 2  # starts returned


def find_starts(reference: np.ndarray, dump: np.ndarray) -> list[int]:
    """Return addresses of the reference at which the dump may start, the likeliest first; below 0: before it.

    >>> text = np.frombuffer(b"the quick brown fox jumps over the lazy dog", np.uint8)
    >>> find_starts(text, text[7:])
    [7]
    """
    known, votes, asked = reference.tobytes(), Counter(), 0
    for at in np.linspace(0, max(len(dump) - STRETCH, 0), PROBES).astype(int).tolist():
        probe = dump[at : at + STRETCH].tobytes()
        if len(set(probe)) < VARIED:
            continue
        asked += 1
        found = known.find(probe)
        if found >= 0 and known.find(probe, found + 1) < 0:
            votes[found - at] += 1
    return [start for start, times in votes.most_common(LIKELY) if times > max(1, AGREED * asked)]
