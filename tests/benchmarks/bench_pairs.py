"""Time the adapter: every part of the library in the socket of every other, planned and proved; and the largest proof.

Run: python tests/benchmarks/bench_pairs.py. Bars, of processor time: 60 s for all pairs (the cases of
tests/fit/test_all_pairs.py), 2 s for a proof of 512 KiB in every control state; exit status 1 if one is missed.
"""

import sys
import time

from romwright.fit.proof import read_every_address
from romwright.fit.wiring import plan_wiring
from romwright.parts.library import part_names, require_part

PAIRS_S, PROOF_S = 60.0, 2.0


def main() -> int:
    """Print the times; return the exit status."""
    parts = [part for name in part_names() if (part := require_part(name)).drives]
    ordered = [part.ordered_as(choices) for part in parts for choices in part.polarities({})]
    chips = [part.ordered_as(part.polarities({})[end]) for part in parts for end in (0, -1)]
    cases, begun = 0, time.process_time()
    for original in ordered:
        for chip in (chip for chip in chips if chip.words >= original.words and chip.bits == original.bits):
            plan = plan_wiring(original, chip)
            read_every_address(original, chip, plan.rows, plan.image_at, plan.gates)
            cases += 1
    pairs = time.process_time() - begun
    plan = plan_wiring(require_part("29F040"), require_part("29F040"))
    begun = time.process_time()
    proof = read_every_address(plan.original, plan.chip, plan.rows, plan.image_at, plan.gates)
    largest = time.process_time() - begun
    print(f"{cases:,} plans, each proved: {pairs:.1f} s")
    print(f"a proof of {proof.addresses:,} addresses in {proof.states} states: {largest * 1000:.0f} ms")
    return int(pairs > PAIRS_S or largest > PROOF_S)


if __name__ == "__main__":
    sys.exit(main())
