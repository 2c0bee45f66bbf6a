"""Time the reading of 8 MiB of Intel HEX, in a fresh process, against GNU objcopy on the same file.

Run: python tests/benchmarks/bench_hex.py [RUNS]. Needs objcopy (Debian: binutils) and a Unix. Bars: reading takes at most
5 times as long as objcopy, and at most 100 MiB of memory. Exit status 1 if a bar is missed.
"""

import os
import random
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

SIZE_BYTES = 8 << 20
RATIO_BAR, MEMORY_BAR = 5.0, 100 << 20
READ = """
import sys
from romwright.images.formats import read
loaded = read(sys.argv[1])
assert loaded.format == "intel-hex" and loaded.image.size_bytes == 8 << 20, loaded.image.size_bytes
"""
RSS_UNIT = 1 if sys.platform == "darwin" else 1024


def run(command):
    """Run a command; return the seconds it took and its peak memory in bytes."""
    begin = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    _, status, usage = os.wait4(process.pid, 0)
    seconds = time.perf_counter() - begin
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        sys.exit(f"{command} failed with status {process.returncode}")
    return seconds, usage.ru_maxrss * RSS_UNIT


def main(runs):
    """Print a row for each command; return whether the bars are kept."""
    with tempfile.TemporaryDirectory() as folder:
        image, hexfile, out = (str(Path(folder, name)) for name in ("image.bin", "image.hex", "out.bin"))
        Path(image).write_bytes(random.Random(8).randbytes(SIZE_BYTES))
        subprocess.run(["objcopy", "-I", "binary", "-O", "ihex", image, hexfile], check=True)
        commands = {
            "objcopy": ["objcopy", "-I", "ihex", "-O", "binary", hexfile, out],
            "read": [sys.executable, "-c", READ, hexfile],
            "inspect --json": [sys.executable, "-m", "romwright", "inspect", "--json", hexfile],
        }
        results = {name: [] for name in commands}
        for _ in range(runs):  # in turn, so that a busy moment meets all of them
            for name, command in commands.items():
                results[name].append(run(command))
        if Path(out).read_bytes() != Path(image).read_bytes():
            sys.exit("objcopy did not give the image back")
    seconds = {name: statistics.median(s for s, _ in result) for name, result in results.items()}
    memory = {name: max(m for _, m in result) for name, result in results.items()}
    kept = True
    print(f"8 MiB of Intel HEX, median of {runs} runs")
    for name in commands:
        ratio = seconds[name] / seconds["objcopy"]
        kept &= ratio <= RATIO_BAR and (name == "objcopy" or memory[name] <= MEMORY_BAR)
        print(f"{name:16} {seconds[name] * 1000:7.0f} ms  {ratio:5.2f} x objcopy  {memory[name] / (1 << 20):6.1f} MiB")
    print(f"bars: {RATIO_BAR} x objcopy, {MEMORY_BAR >> 20} MiB: {'kept' if kept else 'MISSED'}")
    return kept


if __name__ == "__main__":
    sys.exit(0 if main(int(sys.argv[1]) if len(sys.argv) > 1 else 7) else 1)
