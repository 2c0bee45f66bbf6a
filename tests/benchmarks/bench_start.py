"""Time `romwright --version` against `python -c "import click"`, with the same interpreter.

Run: python tests/benchmarks/bench_start.py [RUNS]. Bar: at most 1.5 times as long. Exit status 1 if it is missed.
"""

import shutil
import statistics
import subprocess
import sys
import time
from pathlib import Path

RATIO_BAR = 1.5


def run(command):
    """Run a command; return the seconds it took."""
    begin = time.perf_counter()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - begin


def main(runs):
    """Print both medians and their ratio; return whether the bar is kept."""
    script = shutil.which("romwright", path=str(Path(sys.executable).parent))
    if script is None:
        sys.exit(f"romwright is not installed for {sys.executable}")
    commands = {"import click": [sys.executable, "-c", "import click"], "romwright --version": [script, "--version"]}
    for command in commands.values():
        run(command)  # fills the caches of compiled modules
    results = {name: [] for name in commands}
    for _ in range(runs):  # in turn, so that a busy moment meets both
        for name, command in commands.items():
            results[name].append(run(command))
    seconds = {name: statistics.median(result) for name, result in results.items()}
    for name in commands:
        print(f"{name:20} {seconds[name] * 1000:6.1f} ms  (median of {runs})")
    ratio = seconds["romwright --version"] / seconds["import click"]
    print(f"ratio {ratio:.2f}, bar {RATIO_BAR}: {'kept' if ratio <= RATIO_BAR else 'MISSED'}")
    return ratio <= RATIO_BAR


if __name__ == "__main__":
    sys.exit(0 if main(int(sys.argv[1]) if len(sys.argv) > 1 else 40) else 1)
