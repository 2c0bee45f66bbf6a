"""Times of `lists add` and `identify` beside those of sha256sum: python tests/benchmarks/bench_identify.py

Prints the bars of the project and what was measured: the least of several whole processes, and the most memory of one.
"""

from __future__ import annotations

import os
import random
import subprocess
import sys
import tempfile
import time
from pathlib import Path

FILES, FILE_BYTES, ROWS, MANY_ROWS = 2000, 32 << 10, 100_000, 1_000_000
TOOL = [sys.executable, "-m", "romwright"]


def run(command: list[str], repeats: int) -> tuple[float, float]:
    """Return the least seconds of some runs, and the most MiB of memory of any process of them."""
    least, most = float("inf"), 0.0
    for _ in range(repeats):
        begun = time.perf_counter()
        process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
        _, _, usage = os.wait4(process.pid, 0)
        least, most = min(least, time.perf_counter() - begun), max(most, usage.ru_maxrss / 1024)
    return least, most


def write_lines(path: Path, rows: int, source: random.Random, also: str = "") -> None:
    with open(path, "w") as out:
        out.writelines(f"{source.randbytes(32).hex()}  folder/rom-{i:07}.bin\n" for i in range(rows))
        out.write(also)


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder, source = Path(name), random.Random(1984)
        (folder / "dumps").mkdir()
        for i in range(FILES):
            (folder / "dumps" / f"{i:04}.bin").write_bytes(source.randbytes(FILE_BYTES))
        dumps = sorted(map(str, (folder / "dumps").iterdir()))
        sums = subprocess.run(["sha256sum", *dumps], capture_output=True, text=True, check=True).stdout
        write_lines(folder / "hit.txt", ROWS - FILES, source, also=sums)
        write_lines(folder / "miss.txt", ROWS, source)
        write_lines(folder / "many.txt", MANY_ROWS, source)
        for case in ("hit", "miss"):
            run([*TOOL, "lists", "add", "x", str(folder / f"{case}.txt"), "--lists", str(folder / case)], 1)
        base, _ = run(["sha256sum", *dumps], 7)
        print(f"sha256sum, {FILES:,} files of {FILE_BYTES:,} bytes: {base:.3f} s")
        for case, words in (("hit", "all known"), ("miss", "none known")):
            took, memory = run([*TOOL, "identify", str(folder / "dumps"), "--lists", str(folder / case)], 7)
            figures = f"{took:.3f} s, {took / base:.2f} x (bar 1.20), {memory:.0f} MiB (bar 150)"
            print(f"identify, {ROWS:,} rows, {words}: {figures}")
        for dump in dumps:  # real dumps end in fill, which leaves more to try
            Path(dump).write_bytes(source.randbytes(FILE_BYTES * 5 // 8) + b"\xff" * (FILE_BYTES * 3 // 8))
        took, _ = run([*TOOL, "identify", str(folder / "dumps"), "--lists", str(folder / "miss")], 7)
        print(f"identify, {ROWS:,} rows, none known, three eighths of each file fill: {took:.3f} s, {took / base:.2f} x")
        took, memory = run([*TOOL, "lists", "add", "x", str(folder / "many.txt"), "--lists", str(folder / "many")], 1)
        print(f"lists add, {MANY_ROWS:,} lines: {took:.1f} s (bar 20), {memory:.0f} MiB")


if __name__ == "__main__":
    main()
