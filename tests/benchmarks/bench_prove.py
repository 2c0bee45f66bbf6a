"""Time the proof of a plan of 512 KiB in every control state against a plain gather of the same bytes in numpy.

Run: python tests/benchmarks/bench_prove.py. Bars: the proof, bytes compared, and `romwright prove` as a whole process
take at most 2 s each. The gather reads each address once in each state in which the original answers: the least that an
exhaustive proof can do. Exit status 1 if a bar is missed.
"""

import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from romwright.fit.bench import Burnt
from romwright.fit.contents import burn, lay_out, words_of
from romwright.fit.planfile import build_plan
from romwright.fit.verdict import prove_plan
from romwright.fit.wiring import plan_wiring
from romwright.parts.library import require_part

BAR_S, RUNS = 2.0, 5
PAIRS = (("27C040", "27C080", ("old", "new")), ("27C040", "29F040", ()), ("27C400", "27C800", ()))


def fastest(work):
    """Return the shortest of some runs, in seconds."""
    times = []
    for _ in range(RUNS):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def measure(socket, chip, banks, folder):
    """Time one plan; returns the slower of proof and process, in seconds."""
    original, page = (require_part(name) for name in (socket, chip))
    plan = plan_wiring(original, page, (), banks)
    names = banks or ("",)
    size = original.words * original.word_bytes
    contents = {name: np.random.default_rng(n).bytes(size) for n, name in enumerate(names)}
    held = burn(plan, contents, 0xFF)
    burnt = Burnt(words_of(held, plan.chip), [words_of(contents[name], original) for name in names])
    proof = prove_plan(plan, burnt)
    if not proof.equal or not proof.drive_equal:
        sys.exit(f"{chip} for {socket}: the plan does not prove: {proof}")
    layout, answering = lay_out(plan), proof.states
    shown = [np.flatnonzero((layout.address >= 0) & (layout.bank == bank)) for bank in range(len(names))]
    cells = [some[np.argsort(layout.address[some])] for some in shown]  # the cell of each address

    def gather():
        for _ in range(answering):
            for bank, some in enumerate(cells):
                if (burnt.chip[some] != burnt.wanted[bank]).any():
                    sys.exit("the gather reads other bytes: are the data lines crossed?")

    bare, proved = fastest(gather), fastest(lambda: prove_plan(plan, burnt))
    (folder / "p.plan").write_bytes(build_plan(plan, original, page))
    (folder / "burnt.bin").write_bytes(held)
    files = []
    for name, data in contents.items():
        (folder / f"{name or 'rom'}.bin").write_bytes(data)
        files.append(f"{name or 'rom'}.bin" + (f"@{name}" if name else ""))
    call = [sys.executable, "-m", "romwright", "prove", "p.plan", *files, "--burnt", "burnt.bin"]
    whole = fastest(lambda: subprocess.run(call, cwd=folder, check=True, capture_output=True))
    where = f"{chip} for {socket}, {size >> 10} KiB, {proof.states} states, {len(names)} of the contents"
    print(f"{where}: proof {proved * 1e3:.1f} ms, {proved / bare:.1f} x the gather; the whole process {whole:.2f} s")
    return max(proved, whole)


def main():
    """Measure every pair."""
    with tempfile.TemporaryDirectory() as folder:
        slowest = max(measure(*pair, Path(folder)) for pair in PAIRS)
    print(f"slowest {slowest:.2f} s (bar {BAR_S:g})")
    return int(slowest > BAR_S)


if __name__ == "__main__":
    sys.exit(main())
