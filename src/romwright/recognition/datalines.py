"""The data lines of a dump, matched with those of a known image."""

from __future__ import annotations

import numpy as np

from romwright.faults.lines import Law, Line
from romwright.faults.search.matching import assign
from romwright.recognition.dump import Dump

LIKE = 0.25  # correlation from which a data line follows one of the image
BETTER = 0.05  # share of bytes by which a data line must be explained better if it is stuck or joined


def match_data(found: np.ndarray, expected: np.ndarray, dump: Dump) -> tuple[Line, ...]:
    """Match the data lines of a dump with those of an image, from bytes of both that should be the same."""
    seen, due = (np.unpackbits(part[:, None], axis=1, bitorder="little") * 2.0 - 1 for part in (found, expected))
    agree = (seen.T @ due / len(found) + 1) / 2  # share, by data line of the dump and of the image
    centred = [part - part.mean(axis=0) for part in (seen, due)]
    norms = [np.maximum(np.sqrt((part**2).sum(axis=0)), 1e-6) for part in centred]
    along = centred[0].T @ centred[1] / np.outer(*norms)  # correlation: whatever the share of ones
    alike = np.abs(along)
    along += (alike < LIKE) * (agree - 0.5)
    chosen, high = assign(-(alike + np.eye(8) * 1e-3).T), (seen > 0).mean(axis=0)
    lines = []
    for plane, line in enumerate(chosen.tolist()):
        share, still = agree[plane, line], max(high[plane], 1 - high[plane])
        unlike = alike[plane, line] < max(LIKE, 3 / np.sqrt(len(found)))
        if unlike and still > max(share, 1 - share) + BETTER:
            lines.append(Line.stuck(int(high[plane] > 0.5)))
        else:
            lines.append(Line.follows(line) if along[plane, line] >= 0 else Line.inverted(line))
    for a, b in dump.alike:
        of = sorted(chosen[[a, b]].tolist())
        plain = min(max(agree[p, q], 1 - agree[p, q]) for p, q in ((a, chosen[a]), (b, chosen[b])))
        for law, joined in ((Law.AND, np.minimum), (Law.OR, np.maximum)):
            share = float((joined(due[:, of[0]], due[:, of[1]]) == seen[:, a]).mean())
            if share > plain + BETTER:
                lines[a] = lines[b] = Line.joined(law, of)
                plain = share
    return tuple(lines)
