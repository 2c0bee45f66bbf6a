"""Judge dumps without a reference: how often a fault is found, and how often one is seen that is none.

Run: python tests/benchmarks/bench_alone.py [TRIALS] [CUTS]. TRIALS reads of every image with every fault of
`tests/alone_faults.py`, with none and with 0.1 % of the bits turned besides; every image as it is; and CUTS pieces of
2-64 KiB of whatever files are on this machine. Found means: one of the codes that belong to the fault, with its lines.
Bars: 95 % of the line faults found, 85 % of the others; no caution or fault on an image as it is; less than 1 % on the
cuts. Exit status 1 if one is missed.

Images: Debian packages seabios, vgabios, ipxe-qemu (and cbios, if it is there), and fixtures/tern; those of no power of
two are filled with FF for the faults. A program of under 4 KiB tells too little of drop-outs: these count apart.
"""

import os
import random
import sys
import time
from collections import Counter
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command does

import numpy as np  # noqa: E402

sys.path.insert(0, str(Path(__file__).parents[1]))
from alone_faults import CODES, SPOIL, two_roms  # noqa: E402
from line_faults import load, turned  # noqa: E402

from romwright.faults.alone.checks import find_signs  # noqa: E402
from romwright.findings import Severity  # noqa: E402
from romwright.images.image import Image  # noqa: E402

ROOT = Path(__file__).parents[2]
PLACES = ("/usr/share/seabios/*.bin", "/usr/share/vgabios/*.bin", "/usr/lib/ipxe/qemu/*.rom", "/usr/share/cbios/*.rom")
TOPS = ("/usr/bin", "/usr/lib", "/usr/share")
LINES_BAR, OTHERS_BAR, CUTS_BAR = 95.0, 85.0, 1.0
SMALL = 4096
NOISE = (0.0, 0.001)


def images():
    """Return all ROM images that are there, by path, each once."""
    found = {}
    paths = [path for place in PLACES for path in Path("/").glob(place[1:])] + [*(ROOT / "fixtures/tern").glob("*.bin")]
    for path in sorted(paths):
        data = path.read_bytes()
        if data and data not in found.values():
            found[str(path)] = data
    return found


def program_bytes(data):
    """Count the bytes that are neither FF nor 00."""
    return int(np.count_nonzero((data != 0xFF) & (data != 0)))


def signs(data):
    """Return what is found in a dump."""
    return find_signs(Image.from_bytes(np.asarray(data, np.uint8).tobytes()))


def alarms(data):
    """Return the codes of severity caution or worse."""
    return [s.finding.code.name for s in signs(data) if s.finding.severity in (Severity.FAULT, Severity.CAUTION)]


def measure_found(roms, trials, rng):
    """Print how often each fault is found; return whether the bars are kept."""
    kept = True
    by_fault = {**SPOIL, "two ROMs": None}
    print(f"{'fault':22}" + "".join(f"{f'bits turned {rate:.1%}':>20}" for rate in NOISE) + f"{'under 4 KiB':>14}")
    for fault, spoil in by_fault.items():
        counts = Counter()
        for data in roms.values():
            small = program_bytes(data) < SMALL
            for _ in range(trials if spoil else 5 * trials):
                other = list(roms.values())[rng.integers(len(roms))]
                for rate in NOISE:
                    seen, lines = (spoil or two_roms(other))(rng, data)
                    if not spoil and not two_programs(seen, data, other):
                        continue
                    found = signs(turned(rng, seen, rate))
                    named = [set(s.facts.get("lines", ())) for s in found if s.finding.code.name in CODES[fault]]
                    good = any(lines <= names for names in named)
                    counts["small" if small else rate, good] += 1
        row = [(counts[key, True], counts[key, True] + counts[key, False]) for key in (*NOISE, "small")]
        columns = [f"{found} of {tried}" for found, tried in row]
        print(f"{fault:22}{columns[0]:>20}{columns[1]:>20}{columns[2]:>14}")
        bar = LINES_BAR if fault.split()[0] in ("address", "data") else OTHERS_BAR
        kept &= 100 * row[0][0] >= bar * row[0][1]
    return kept


def two_programs(seen, *roms):
    """Whether two different programs met, over most of the image: not one of them and the padding of the other."""
    return program_bytes(seen) >= SMALL and all((seen == rom[: len(seen)]).mean() < 0.35 for rom in roms)


def measure_alarms(roms, count):
    """Print what is said of good images and of any other files; return whether the bars are kept."""
    false = {path: found for path, data in roms.items() if (found := alarms(np.frombuffer(data, np.uint8)))}
    print(f"good images with a caution or fault: {len(false)} of {len(roms)} {false or ''}")
    rng = random.Random(6)
    files = [path for top in TOPS for path in sorted(Path(top).rglob("*")) if path.is_file() and not path.is_symlink()]
    codes, done, wrong = Counter(), 0, 0
    while done < count:
        path, size = rng.choice(files), 1 << rng.randrange(11, 17)
        if (room := path.stat().st_size - size) < 0:
            continue
        with open(path, "rb") as file:
            file.seek(rng.randrange(room // 256 + 1) * 256)
            found = alarms(np.frombuffer(file.read(size), np.uint8))
        done, wrong = done + 1, wrong + bool(found)
        codes.update(found)
    print(f"cuts of other files with a caution or fault: {wrong} of {done}: {dict(codes)}")
    return not false and 100 * wrong < CUTS_BAR * done


def main(trials, cuts):
    """Print both; return whether all bars are kept."""
    begin, roms = time.perf_counter(), images()
    whole = load([(path, 0, None) for path in roms])
    found, quiet = measure_found(whole, trials, np.random.default_rng(6)), measure_alarms(roms, cuts)
    print(f"bars: {'kept' if found and quiet else 'MISSED'}; {time.perf_counter() - begin:.0f} s")
    return found and quiet


if __name__ == "__main__":
    sys.exit(0 if main(*(int(word) for word in [*sys.argv[1:], *("1", "2000")[len(sys.argv) - 1 :]])) else 1)
