"""Reads that are spoilt on purpose and judged without a reference: a function for each fault, and what must be said."""

import numpy as np
from line_faults import random_map

BUSES = ("FF", "00", "previous", "low", "high")


def bus_bytes(data, bus):
    """Return what an undriven bus would read in place of each byte."""
    at = np.arange(len(data))
    constant = {"FF": 0xFF, "00": 0}
    if bus in constant:
        return np.full(len(data), constant[bus], np.uint8)
    if bus == "previous":
        return np.concatenate((data[:1], data[:-1]))
    return (at & 0xFF if bus == "low" else at >> 8 & 0xFF).astype(np.uint8)


def line_fault(kind):
    """Return a fault of one line, all others straight, with the lines that it spoils."""

    def spoil(rng, data):
        lines = len(data).bit_length() - 1
        line_map = random_map(rng, lines, [kind], crossed=False)
        side = line_map.address if kind.startswith("address") else line_map.data
        letter = "A" if kind.startswith("address") else "D"
        spoilt = {f"{letter}{n}" for n, line in enumerate(side) if line.state != "follows"}
        return line_map.apply(data, len(data)), spoilt

    return spoil


def drops(bus, rate):
    """Return a chip that leaves the bus alone at this share of reads, at random."""

    def spoil(rng, data):
        gone = rng.random(len(data)) < rate
        seen, other = data.copy(), bus_bytes(data, bus)
        if bus != "previous":
            return np.where(gone, other, data), set()
        for at in np.flatnonzero(gone[1:]) + 1:
            seen[at] = seen[at - 1]
        return seen, set()

    return spoil


def silent(rng, data):
    """Return a chip that answers at one level of a low address line only, and that line."""
    line = int(rng.integers(0, 9))
    level = int(rng.integers(2))
    return np.where(np.arange(len(data)) >> line & 1 == level, np.uint8(0xFF), data), {f"A{line}"}


CODES = {  # what must be said of each fault: any of these codes
    "address stuck": {"line-reaches-nothing", "blocks-repeat", "image-repeats", "repeats-differ"},
    "address joined": {"line-joined"},
    "data stuck": {"line-stuck", "line-still", "seven-bit-text"},
    "data joined": {"line-joined"},
    "silent": {"silent-by-address", "blocks-blank"},
    "two ROMs": {"few-ones"},
}
SPOIL = {kind: line_fault(kind) for kind in ("address stuck", "address joined", "data stuck", "data joined")}
SPOIL["silent"] = silent
for _bus in BUSES:
    for _rate in (0.2 if _bus == "00" else 0.1, 0.3):  # programs have many 00 anyway
        SPOIL[f"drops {_bus} {_rate:.0%}"] = drops(_bus, _rate)
        CODES[f"drops {_bus} {_rate:.0%}"] = {"answers-now-and-then"}


def two_roms(other):
    """Return another ROM that answers at the same time, a low winning."""

    def spoil(rng, data):
        size = min(len(data), len(other))
        return data[:size] & other[:size], set()

    return spoil
