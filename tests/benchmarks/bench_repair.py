"""How long repair takes: two bits in 64 KiB by CRC-32, and byte sums counted, each against a plain reference.

The reference for two bits is a Python dictionary over zlib's CRC-32 of every single bit (one pass over all cells); for
sums it is the list of all pairs, gone through by numpy on 4 KiB. Both must find the same. Bars: 2 s, and no slower than
the reference. Run: python tests/benchmarks/bench_repair.py [SEED]
"""

import random
import sys
import time
import zlib
from functools import reduce

import numpy as np

from romwright.faults.repairs.corrections import Search
from romwright.faults.repairs.suspects import Decay, Suspects, turned
from romwright.faults.repairs.syndromes import Condition
from romwright.images.fixup import SUMS, kind_named

TABLE = [reduce(lambda value, _: value >> 1 ^ 0xEDB88320 * (value & 1), range(8), byte) for byte in range(256)]
SECONDS_BAR = 2.0


def pairs_by_dictionary(dump, value):
    """All single cells and pairs that may be 1 by mistake and after which the CRC-32 is as wanted."""
    left, seen, found = zlib.crc32(dump) ^ value, {}, set()
    tail = [zlib.crc32(bytes([1 << bit])) ^ zlib.crc32(b"\0") for bit in range(8)]
    for byte in reversed(range(len(dump))):
        for bit in range(8):
            if dump[byte] >> bit & 1:
                cell, effect = 8 * byte + bit, tail[bit]
                found |= {(cell,)} if effect == left else set()
                found |= {(cell, other) if cell < other else (other, cell) for other in seen.get(left ^ effect, ())}
                seen.setdefault(effect, []).append(cell)
        tail = [effect >> 8 ^ TABLE[effect & 0xFF] for effect in tail]
    return found


def pairs_by_looking(dump, excess):
    """How many pairs of ones weigh exactly `excess` together, modulo 2^16, each pair looked at."""
    ones = np.flatnonzero(np.unpackbits(np.frombuffer(dump, np.uint8), bitorder="little"))
    weights = (1 << (ones & 7)).astype(np.uint16)
    return sum(int((weights[at + 1 :] + weight == excess % 65536).sum()) for at, weight in enumerate(weights))


def timed(work):
    begin = time.perf_counter()
    answer = work()
    return answer, time.perf_counter() - begin


def rotten(rng, good, count):
    """The good image with so many zeros turned to ones."""
    zeros = [cell for cell in range(8 * len(good)) if not good[cell >> 3] >> (cell & 7) & 1]
    return turned(good, rng.sample(zeros, count))


def search(dump, condition):
    return Search(dump, 0, Suspects.of(dump, Decay.ROSE, np.ones(len(dump), bool)), [condition]).run(2, 100)


def main(seed=1):
    rng, kept = random.Random(seed), True
    good = rng.randbytes(65536)
    dump = rotten(rng, good, 2)
    condition = Condition(kind_named("crc-32"), (0, len(good)), None, zlib.crc32(good))
    found, ours = timed(lambda: search(dump, condition))
    expected, plain = timed(lambda: pairs_by_dictionary(dump, condition.value))
    assert {each.cells for each in found.candidates} == expected
    print(f"CRC-32, 2 bits in 64 KiB, {found.tried:,} corrections: {ours:.2f} s, {ours / plain:.2f} x a dictionary")
    kept &= ours < SECONDS_BAR and ours < plain
    for size in (4096, 65536):
        good = rng.randbytes(size)
        dump = rotten(rng, good, 2)
        condition = Condition(SUMS["sum16"], (0, size), None, sum(good) % 65536)
        found, ours = timed(lambda: search(dump, condition))  # noqa: B023 (called at once)
        words = f"{found.levels[1].count:,} pairs counted exactly"
        if size == 4096:
            count, plain = timed(lambda: pairs_by_looking(dump, sum(dump) - sum(good)))  # noqa: B023
            assert found.levels[1].count == count
            words += f", {ours / plain:.2f} x looking at each"
            kept &= ours < plain
        print(f"sum16, 2 bits in {size:,} bytes: {ours:.2f} s, {words}")
        kept &= ours < SECONDS_BAR
    return kept


if __name__ == "__main__":
    sys.exit(not main(*map(int, sys.argv[1:])))
