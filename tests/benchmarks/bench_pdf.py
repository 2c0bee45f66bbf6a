"""Time a whole process that prints the demo's sheet as PDF, and as HTML; the sheet itself is made beforehand.

Run: python tests/benchmarks/bench_pdf.py [RUNS]. Bars: PDF 500 ms, HTML 500 KB. Exit status 1 if one is missed.
"""

import pickle
import statistics
import subprocess
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

sys.path.insert(0, str(Path(__file__).parents[1]))

MOST_MS, MOST_BYTES = 500, 500_000
CALL = """
import pickle, sys
from pathlib import Path
from romwright.sheets.{module} import {function}
Path(sys.argv[2]).write_bytes({function}(pickle.loads(Path(sys.argv[1]).read_bytes())))
"""


def main(runs):
    """Print the median of each; return whether the bars are kept."""
    from sheet_model import samples

    kept = True
    with TemporaryDirectory() as folder:
        sheet, printed = Path(folder, "sheet"), Path(folder, "printed")
        sheet.write_bytes(pickle.dumps(samples()["tern"]))
        for module, function in (("pdf", "build_pdf"), ("page", "build_page")):
            call = [sys.executable, "-c", CALL.format(module=module, function=function), str(sheet), str(printed)]
            results = []
            for _ in range(runs + 1):
                begin = time.perf_counter()
                subprocess.run(call, check=True)
                results.append((time.perf_counter() - begin) * 1000)
            took, size = statistics.median(results[1:]), printed.stat().st_size  # the first fills the caches
            good = took <= MOST_MS if module == "pdf" else size <= MOST_BYTES
            print(f"{module:5} {took:6.0f} ms (median of {runs}), {size:,} bytes: {'kept' if good else 'MISSED'}")
            kept &= good
    return kept


if __name__ == "__main__":
    sys.exit(0 if main(int(sys.argv[1]) if len(sys.argv) > 1 else 20) else 1)
