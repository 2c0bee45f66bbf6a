"""Combine 200 reads of 512 KiB, against a plain majority with numpy, and time a whole process.

Run: python tests/benchmarks/bench_settle.py [READS] [SEED]. Each read has so many of its bits turned: none, one in
100,000, one in 1,000 (at random, from a seed). The reference adds up the unpacked bits of one read after the other and
takes the majority: the plainest way with numpy (a median over all reads would hold them all unpacked). Both must
settle the same bytes, and name as many unstable bits; ours also looks for reads that do not agree, and lists each
unstable bit with its counts. Bars: 8 times as long as the reference; a whole process with one bit in 100,000 turned
under 3 s (the shortest of three), and at most 100 MiB besides the reads themselves. Exit status 1 if one is missed.
"""

import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from romwright.faults.repeats.settling import settle
from romwright.images.formats import Loaded
from romwright.images.image import Image

SIZE = 512 << 10
RATES = (0.0, 1e-5, 1e-3)
RATIO_BAR, SECONDS_BAR, MEMORY_BAR = 8.0, 3.0, 100.0
# Linux counts a child's peak from its fork on, so the command is begun by a process that is small.
CHILD = """
import resource, subprocess, sys, time
begin, command = time.perf_counter(), [sys.executable, "-m", "romwright", "settle", *sys.argv[1:]]
status = subprocess.run(command, stdout=subprocess.DEVNULL).returncode
print(status, time.perf_counter() - begin, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024)
"""


def reads_with(rate, count, rng):
    """Return so many reads of one random chip, each with its own share of the bits turned."""
    chip, reads = rng.integers(0, 256, SIZE).astype(np.uint8), []
    for _ in range(count):
        read = chip.copy()
        at = rng.choice(8 * SIZE, round(8 * SIZE * rate), replace=False)
        np.bitwise_xor.at(read, at >> 3, (1 << (at & 7)).astype(np.uint8))
        reads.append(read)
    return reads


def plain_majority(reads):
    """Return the majority of each bit, and how many bits are not the same in all reads."""
    ones = np.zeros(8 * SIZE, np.uint16)
    for read in reads:
        ones += np.unpackbits(read)
    return np.packbits(2 * ones > len(reads)), int(((ones > 0) & (ones < len(reads))).sum())


def timed(work):
    """Return the seconds that some work takes, and its result."""
    begin = time.perf_counter()
    result = work()
    return time.perf_counter() - begin, result


def measure(rate, reads):
    """Print how long both take; return whether they agree and the bar is kept."""
    loaded = [Loaded(f"{n}.bin", "raw", Image.from_bytes(read.tobytes())) for n, read in enumerate(reads)]
    reference, (majority, unstable) = timed(lambda: plain_majority(reads))
    ours, found = timed(lambda: settle(loaded))
    agree = np.array_equal(found.votes.settled, majority) and found.unstable == unstable
    print(f"{len(reads)} reads of {SIZE >> 10} KiB, {rate:.3%} of the bits turned, {unstable:,} bits unstable")
    ratio = ours / reference
    print(f"  {ours:.2f} s, {ratio:.2f} x numpy's {reference:.2f} s (bar {RATIO_BAR})" + "; DIFFERENT" * (not agree))
    return agree and ours <= RATIO_BAR * reference


def measure_process(reads):
    """Print time and memory of a whole process; return whether the bars are kept."""
    with tempfile.TemporaryDirectory() as folder:
        files = [Path(folder) / f"{n:03}.bin" for n in range(len(reads))]
        for file, read in zip(files, reads):
            file.write_bytes(read.tobytes())
        command = [sys.executable, "-c", CHILD, *files]
        runs = [subprocess.run(command, capture_output=True, text=True, check=True).stdout.split() for _ in range(3)]
    status, seconds, memory = min(tuple(map(float, run)) for run in runs)
    besides = memory - len(reads) * SIZE / (1 << 20)
    print(f"whole process: {seconds:.2f} s (bar {SECONDS_BAR}), {memory:.0f} MiB, {besides:.0f} besides the reads "
          f"(bar {MEMORY_BAR:.0f})")  # fmt: skip
    return status < 2 and seconds <= SECONDS_BAR and besides <= MEMORY_BAR


def main():
    """Run all measurements."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    kept = []
    for number, rate in enumerate(RATES):
        reads = reads_with(rate, count, np.random.default_rng([seed, number]))
        kept.append(measure(rate, reads))
        if number == 1:
            kept.append(measure_process(reads))
    sys.exit(not all(kept))


if __name__ == "__main__":
    main()
