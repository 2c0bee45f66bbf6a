"""The line finder: of all single and double faults of a chip, how many are read back exactly, and how fast?

    python tests/benchmarks/bench_pattern.py [ADDRESS_LINES BITS [EVERY]]

EVERY: one in so many of the double faults. The dump is made by the line map of `faults/lines.py`.
"""

import sys
import time
from collections import Counter

import numpy as np

from romwright.faults.lines import Line, gather
from romwright.faults.patterns.codebook import read_through
from romwright.faults.patterns.doubles import double_faults, single_faults
from romwright.faults.patterns.image import LineFinder
from romwright.faults.patterns.readout import Readout


def main(lines: int = 11, bits: int = 8, every: int = 20) -> None:
    finder = LineFinder(lines, bits)
    straight = [tuple(map(Line.follows, range(count))) for count in (lines, bits)]
    singles = 1 + len(single_faults(lines)) + len(single_faults(bits))
    code = np.arange(1 << bits)
    counts, slowest = Counter(), 0.0
    for number, way in enumerate(double_faults(*straight)):
        if number >= singles and number % every:
            continue
        dump = np.array(read_through(way[1], code.tolist()), np.uint16)[finder.words[gather(way[0], 1 << lines)]]
        begun = time.perf_counter()
        readout = Readout(finder, dump)
        slowest = max(slowest, time.perf_counter() - begun)
        ways = [(each.address, each.data) for each in (readout.best, *readout.others)]
        counts["single" if number < singles else "double", "exact" if ways == [way] else
               "with equals" if way in ways else "not found" if not readout.explained else "wrong"] += 1  # fmt: skip
    for (kind, result), count in sorted(counts.items()):
        print(f"{lines} x {bits}: {kind} faults, {result}: {count:,}")
    print(f"slowest {slowest:.2f} s")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
