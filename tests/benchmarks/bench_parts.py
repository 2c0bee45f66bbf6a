"""Time `romwright parts list` against `romwright parts show 27C256`, and the reading of the whole library.

Run: python tests/benchmarks/bench_parts.py [RUNS]. Bars: the list takes at most 1.5 times as long as the start of show;
every page is read and checked in at most 100 ms. Exit status 1 if one is missed.
"""

import shutil
import statistics
import subprocess
import sys
import time
from pathlib import Path

from romwright.parts.library import read_all

RATIO_BAR, LIBRARY_BAR_MS = 1.5, 100


def run(command):
    """Run a command; return the seconds it took."""
    begin = time.perf_counter()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - begin


def read():
    """Read the library; return the seconds it took."""
    begin = time.perf_counter()
    assert len(read_all()) > 90
    return time.perf_counter() - begin


def main(runs):
    """Print the medians, the ratio and the bars; return whether they are kept."""
    script = shutil.which("romwright", path=str(Path(sys.executable).parent))
    if script is None:
        sys.exit(f"romwright is not installed for {sys.executable}")
    commands = {"parts show": [script, "parts", "show", "27C256"], "parts list": [script, "parts", "list"]}
    for command in commands.values():
        run(command)  # fills the caches of compiled modules
    seconds = {name: [] for name in (*commands, "library")}
    for _ in range(runs):  # in turn, so that a busy moment meets all
        for name, command in commands.items():
            seconds[name].append(run(command))
        seconds["library"].append(read())
    medians = {name: statistics.median(taken) for name, taken in seconds.items()}
    for name, taken in medians.items():
        print(f"{name:12} {taken * 1000:6.1f} ms  (median of {runs})")
    ratio, library_ms = medians["parts list"] / medians["parts show"], medians["library"] * 1000
    kept = ratio <= RATIO_BAR, library_ms <= LIBRARY_BAR_MS
    print(f"list / show {ratio:.2f}, bar {RATIO_BAR}: {'kept' if kept[0] else 'MISSED'}")
    print(f"library {library_ms:.0f} ms, bar {LIBRARY_BAR_MS} ms: {'kept' if kept[1] else 'MISSED'}")
    return all(kept)


if __name__ == "__main__":
    sys.exit(0 if main(int(sys.argv[1]) if len(sys.argv) > 1 else 20) else 1)
