"""The data lines of a dump, matched with those of a known image."""

from __future__ import annotations

import numpy as np

from romwright.faults.lines import Law, Line, State, byte_table
from romwright.faults.search.matching import assign
from romwright.recognition.dump import Dump

LIKE = 0.25  # correlation from which a data line follows one of the image
RELIABLE = 0.85  # share of right bytes in which a line is as is said of it
FEWEST_LOOSE, LEAST_CHANGING = 32, 0.1  # bytes, and the share of them in which a line is high, or low, to be loose
BETTER = 0.05  # share of bytes by which a data line must be explained better if it is stuck or joined


def match_data(found: np.ndarray, expected: np.ndarray, dump: Dump) -> tuple[tuple[Line, ...], tuple[int, ...]]:
    """Match the data lines of a dump with those of an image, from bytes of both that should be the same.

    Returns the lines, and which of them is loose: its levels have nothing to do with the image, in which it is often
    high and often low. One is that only where all others run straight: through crossed lines seven of eight may be
    like those of another image.
    """
    seen, due = (np.unpackbits(part[:, None], axis=1, bitorder="little") * 2.0 - 1 for part in (found, expected))
    agree = (seen.T @ due / len(found) + 1) / 2  # share, by data line of the dump and of the image
    centred = [part - part.mean(axis=0) for part in (seen, due)]
    norms = [np.maximum(np.sqrt((part**2).sum(axis=0)), 1e-6) for part in centred]
    along = centred[0].T @ centred[1] / np.outer(*norms)  # correlation: whatever the share of ones
    alike = np.abs(along)
    along += (alike < LIKE) * (agree - 0.5)
    chosen, high = assign(-(alike + np.eye(8) * 1e-3).T), (seen > 0).mean(axis=0)
    unlike = alike[range(8), chosen] < max(LIKE, 3 / np.sqrt(len(found)))
    lines = []
    for plane, line in enumerate(chosen.tolist()):
        share, still = agree[plane, line], max(high[plane], 1 - high[plane])
        if unlike[plane] and still > max(share, 1 - share) + BETTER:
            lines.append(Line.stuck(int(high[plane] > 0.5)))
        else:
            lines.append(Line.follows(line) if along[plane, line] >= 0 else Line.inverted(line))
    wild = np.flatnonzero(unlike & (reliable(tuple(lines), ~unlike, found, expected) < RELIABLE)).tolist()
    straight = all(n in wild or line == Line.follows(n) for n, line in enumerate(lines))
    changing = len(wild) == 1 and LEAST_CHANGING < (due[:, wild[0]] > 0).mean() < 1 - LEAST_CHANGING
    loose = wild if straight and changing and len(found) >= FEWEST_LOOSE else []
    for plane in wild:
        if plane in loose or lines[plane].state is State.STUCK:
            lines[plane] = Line.follows(plane if plane in loose else int(chosen[plane]))
    for a, b in dump.alike:
        of = sorted(chosen[[a, b]].tolist())
        plain = min(max(agree[p, q], 1 - agree[p, q]) for p, q in ((a, chosen[a]), (b, chosen[b])))
        for law, joined in ((Law.AND, np.minimum), (Law.OR, np.maximum)):
            share = float((joined(due[:, of[0]], due[:, of[1]]) == seen[:, a]).mean())
            if share > plain + BETTER:
                lines[a] = lines[b] = Line.joined(law, of)
                plain = share
    return tuple(lines), tuple(plane for plane in loose if lines[plane].law is None)


def reliable(lines: tuple[Line, ...], sure: np.ndarray, found: np.ndarray, expected: np.ndarray) -> np.ndarray:
    """Return for each line in which share of the bytes it is right, of those that are right by all sure lines.

    Without such bytes it is in all.
    """
    wrong = found ^ byte_table(lines)[expected]
    wrong = wrong[wrong & np.packbits(sure, bitorder="little") == 0]
    return 1 - np.unpackbits(wrong[:, None], axis=1, bitorder="little").sum(axis=0) / max(len(wrong), 1)
