"""Find the line map of spoilt reads of real images: how often it is found exactly, and how long that takes.

Run: python tests/benchmarks/bench_compare.py [TRIALS] [SEED]. All lines are crossed at random, with none, one or two
faults (address line stuck; two address lines joined; data line stuck or inverted; two data lines joined) and none,
0.1 % or 0.5 % of the bits turned at random. Exact means: what is read through the map found is, byte for byte, what is
read through the true map. Bars: 98 % exact for none, one and two faults; every whole process under 1 s; with crossed
lines alone at most 20 times as long as applying that map, known, with numpy. Exit status 1 if one is missed.

Images: Debian packages seabios, vgabios, ipxe-qemu, whole or cut to 8-256 KiB, those of no power of two filled with FF.
"""

import os
import resource
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command does

import numpy as np  # noqa: E402

sys.path.insert(0, str(Path(__file__).parents[1]))
from line_faults import FAULTS, IMAGES, load, random_map, turned  # noqa: E402

from romwright.faults.comparison import compare  # noqa: E402
from romwright.images.image import Image  # noqa: E402

EXACT_BAR, SECONDS_BAR, RATIO_BAR = 98.0, 1.0, 20.0
RATES = (0.0, 0.001, 0.005)
PROCESSES = 24


def apply_known(data, address, wires):
    """Read an image through a known map of crossed lines: the plainest way with numpy."""
    addresses = np.arange(len(data))
    cells = np.zeros(len(data), np.int64)
    for rom, line in enumerate(address):
        cells |= (addresses >> line & 1) << rom
    seen, byte = data[cells], np.zeros(len(data), np.uint8)
    for reader, line in enumerate(wires):
        byte |= (seen >> line & 1) << reader
    return byte


def best_of(times, work):
    """Return the shortest of some times in seconds of one processor, so that a busy machine does not decide."""
    took = []
    for _ in range(times):
        begin = time.process_time()
        work()
        took.append(time.process_time() - begin)
    return min(took)


def measure_accuracy(images, trials, seed):
    """Print how often the map is exact, by faults, rates and sizes; return whether the bar is kept."""
    counts = defaultdict(lambda: [0, 0])
    slowest = 0.0
    for trial in range(trials):
        rng = np.random.default_rng([seed, trial])
        name = list(images)[trial % len(images)]
        data, rate = images[name], float(rng.choice(RATES))
        kinds = [str(kind) for kind in rng.choice(FAULTS, int(rng.integers(3)))]
        true = random_map(rng, len(data).bit_length() - 1, kinds)
        clean = true.apply(data, len(data))
        dump = turned(rng, clean, rate)
        begin = time.process_time()
        found = compare(Image.from_bytes(data.tobytes()), Image.from_bytes(dump.tobytes()))
        slowest = max(slowest, time.process_time() - begin)
        exact = np.array_equal(found.best.lines.apply(data, len(data)), clean)
        if not exact:
            print(f"  missed: trial {trial}, {name}, {', '.join(kinds) or 'no fault'}, {rate:.1%} of the bits turned")
        for key in (
            f"{len(kinds)} faults",
            f"{rate:.1%} of the bits turned",
            f"{len(data) >> 10} KiB",
            *([" + ".join(sorted(kinds))] if kinds else []),
        ):
            counts[key][0] += 1
            counts[key][1] += exact
    kept = True
    for key, (total, exact) in sorted(counts.items()):
        share = 100 * exact / total
        print(f"{key:45} {exact:5} of {total:5} exact, {share:6.2f} %")
        kept &= not key.endswith("faults") or share >= EXACT_BAR
    print(f"slowest comparison {slowest:.2f} s of processor time")
    return kept


def measure_processes(images, seed):
    """Print how long whole processes take with two faults and 0.5 % wrong bits; return whether the bar is kept."""
    took = []
    with tempfile.TemporaryDirectory() as folder:
        reference, dump = Path(folder, "reference.bin"), Path(folder, "dump.bin")
        for trial in range(PROCESSES):
            rng = np.random.default_rng([seed, trial, 1])
            data = images[list(images)[trial % len(images)]]
            true = random_map(rng, len(data).bit_length() - 1, rng.choice(FAULTS, 2))
            reference.write_bytes(data.tobytes())
            dump.write_bytes(turned(rng, true.apply(data, len(data)), RATES[-1]).tobytes())
            command = [sys.executable, "-m", "romwright", "compare", "--json", str(reference), str(dump)]
            begin = time.perf_counter()
            done = subprocess.run(command, stdout=subprocess.DEVNULL)
            took.append(time.perf_counter() - begin)
            assert done.returncode == 1
    middle = sorted(took)[len(took) // 2]
    print(f"whole process, two faults: median {middle:.2f} s, slowest {max(took):.2f} s (bar {SECONDS_BAR} s)")
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    print(f"  of which processor time, on average, {(used.ru_utime + used.ru_stime) / len(took):.2f} s")
    return max(took) < SECONDS_BAR


def measure_ratio(images, seed):
    """Print how much longer the search takes than applying the map that it finds; return whether the bar is kept."""
    worst = 0.0
    for number, (name, data) in enumerate(images.items()):
        rng = np.random.default_rng([seed, number, 2])
        true = random_map(rng, len(data).bit_length() - 1, [])
        address, wires = ([line.of[0] for line in lines] for lines in (true.address, true.data))
        dump = apply_known(data, address, wires)
        reference, read = Image.from_bytes(data.tobytes()), Image.from_bytes(dump.tobytes())
        assert compare(reference, read).best.residual == 0
        known = best_of(15, lambda data=data, address=address, wires=wires: apply_known(data, address, wires))
        search = best_of(15, lambda reference=reference, read=read: compare(reference, read).as_json())
        worst = max(worst, search / known)
        words = f"known map {1e3 * known:6.2f} ms, search and proof {1e3 * search:6.2f} ms"
        print(f"{name:40} {words}, {search / known:5.1f} x")
    print(f"worst {worst:.1f} x (bar {RATIO_BAR} x)")
    return worst <= RATIO_BAR


def main(trials, seed):
    """Run all three; return whether all bars are kept."""
    images = load(IMAGES)
    if not images:
        sys.exit("needs the Debian packages seabios vgabios ipxe-qemu")
    return all([measure_accuracy(images, trials, seed), measure_processes(images, seed), measure_ratio(images, seed)])


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:]]
    sys.exit(not main(*numbers, *(400, 1)[len(numbers) :]))
