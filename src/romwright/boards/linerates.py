"""A free run: a CPU that reads one word everywhere, does nothing, and counts through its addresses.

The lowest line turns over each time that the CPU goes on by a word, every other at half the rate of the one below it.
"""

from __future__ import annotations

import re
from fractions import Fraction

from msgspec import Struct

from romwright.boards.freerun import FreeRun
from romwright.boards.model import Cpu, expand
from romwright.errors import OptionError

UNITS = {"": 1, "k": 1000, "m": 10**6, "g": 10**9}
FASTEST_HZ = 10**9


class LineRate(Struct, frozen=True):
    """What one address line does: `hz` of the square wave that it is, `counter_hz` what a frequency counter shows.

    `counter_hz` is None where that is not known; `steady` is false where the line does not count.
    """

    line: str
    hz: Fraction
    counter_hz: Fraction | None
    steady: bool
    note: str

    @property
    def period_s(self) -> Fraction:
        """Seconds from one rise to the next."""
        return 1 / self.hz


def parse_clock(text: str, where: str = "--clock") -> Fraction:
    """Read a frequency such as 1MHz, 3.579545 MHz or 14.31818MHz/3, exactly. Raises OptionError.

    >>> parse_clock("6 MHz/4"), parse_clock("32768")
    (Fraction(1500000, 1), Fraction(32768, 1))
    """
    match = re.fullmatch(r"\s*(\d{1,12}(?:\.\d{1,12})?)\s*([kmg]?)(?:hz)?\s*(?:/\s*(\d{1,6}))?\s*", text, re.IGNORECASE)
    divisor = int(match[3] or 1) if match else 0
    hertz = Fraction(match[1]) * UNITS[match[2].lower()] / divisor if match and divisor else Fraction(0)
    if not 0 < hertz <= FASTEST_HZ:
        raise OptionError(
            f"{text!r} is no clock frequency", where=where,
            expected="a number with Hz, kHz or MHz, divided if you like: 1MHz, 3.579545MHz, 14.31818MHz/3",
        )  # fmt: skip
    return hertz


def require_free_run(cpu: Cpu) -> FreeRun:
    """Return how a CPU free-runs. Raises OptionError if its file does not say."""
    if cpu.free_run is None:
        raise OptionError(
            f"the file of the {cpu.name} does not say how it free-runs", where="--cpu",
            expected="a CPU whose file in pinmaps/cycles has a table free_run",
        )  # fmt: skip
    return cpu.free_run


def line_rates(cpu: Cpu, clock: Fraction) -> list[LineRate]:
    """Return what each address line does at a clock, the lowest line first."""
    run = require_free_run(cpu)
    counting = expand(run.window) or cpu.address_lines
    notes = {line: note for lines, note in run.probe.items() for line in expand(lines)}
    trusted, chopped = expand(run.counted) or cpu.address_lines, expand(run.chopped)
    first = clock / (2 * run.clocks)
    rates = []
    for place, line in enumerate(cpu.address_lines):
        turns = min(place, len(counting) - 1)  # a line that does not count pulses once in each round
        hertz = first / (1 << turns)
        counter = hertz if line in trusted else None
        if line in chopped:  # one pulse for each word while the line is high, which it is half of the time
            counter = clock / (2 * run.clocks)
        rates.append(LineRate(line, hertz, counter, line in counting, notes.get(line, "")))
    return rates


def free_run_bytes(cpu: Cpu, words: int, bits: int) -> bytes:
    """Return the contents of a chip for a free run, the low byte of a word first.

    A chip narrower than the data lines holds the byte that is the same in each of its places. Raises OptionError for
    a chip that is not as wide as one or several bytes of the data lines.
    """
    run = require_free_run(cpu)
    word = bytes.fromhex(run.word)[::-1]
    if bits % 8 or bits // 8 > len(word):
        raise OptionError(
            f"a chip of {bits} bits does not go on the {8 * len(word)} data lines of the {cpu.name}",
            where="--for", expected=f"a chip of 8{' or 16' if len(word) == 2 else ''} bits",
        )  # fmt: skip
    if len(set(word)) > 1 and bits // 8 < len(word):
        raise OptionError(
            f"the {cpu.name} needs {run.word}, whose bytes differ, so two 8-bit chips would differ",
            where="--for", expected="a chip as wide as the data lines",
        )  # fmt: skip
    return word[: bits // 8] * words
