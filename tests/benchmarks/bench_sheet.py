"""Time `romwright sheet` on the demo's job, whole processes, against the tool's own start (`romwright --version`).

Run: python tests/benchmarks/bench_sheet.py [RUNS]. Bars: the text of a finished run at most 1.3 starts, a PDF that is
made anew at most 500 ms. Exit status 1 if one is missed. What a text costs before `run` has been is printed too.
Python keeps what it has compiled, as it does for users, in a folder that goes afterwards.
"""

import os
import shutil
import statistics
import subprocess
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

MOST_STARTS, MOST_MS = 1.3, 500
CALLS = {
    "start": ("--version",),
    "text": ("sheet", "tern.toml"),
    "pdf": ("sheet", "tern.toml", "--paper", "Letter", "-o", "new.pdf", "--overwrite"),
}


def took(folder, call):
    """Return the milliseconds of one process."""
    begin = time.perf_counter()
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    kept["PYTHONPYCACHEPREFIX"] = str(folder.parent / "compiled")
    subprocess.run([sys.executable, "-m", "romwright", *call], cwd=folder, stdout=subprocess.DEVNULL, env=kept)
    return (time.perf_counter() - begin) * 1000


def medians(folder, names, runs):
    """Return the median of each call; they take turns, so that a busy moment hits all alike."""
    rounds = [[took(folder, CALLS[name]) for name in names] for _ in range(runs + 1)][1:]  # the first fills the caches
    return [statistics.median(column) for column in zip(*rounds)]


def main(runs):
    """Print what each takes; return whether the bars are kept."""
    with TemporaryDirectory() as place:
        folder = Path(place, "tern")
        subprocess.run([sys.executable, "-m", "romwright", "demo", folder], stdout=subprocess.DEVNULL)
        start, text = medians(folder, ("start", "text"), runs)
        shutil.rmtree(folder / "out")
        again, anew, pdf = medians(folder, ("start", "text", "pdf"), runs)
    kept = text <= MOST_STARTS * start and pdf <= MOST_MS
    print(f"text of a finished run {text:.0f} ms, {text / start:.2f} starts of {start:.0f} ms; bar {MOST_STARTS}")
    print(f"text made anew {anew:.0f} ms, {anew / again:.2f} starts; PDF made anew {pdf:.0f} ms, bar {MOST_MS}")
    print("kept" if kept else "MISSED")
    return kept


if __name__ == "__main__":
    sys.exit(0 if main(int(sys.argv[1]) if len(sys.argv) > 1 else 15) else 1)
