"""Signs: what one dump, with no good image beside it, shows of the way it was read."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from functools import cached_property

import numpy as np
from msgspec import Struct, field

from romwright.findings import Finding
from romwright.images import runs
from romwright.images.image import Image
from romwright.images.view import View

BLANK = (0xFF, 0x00)
COMMON = 1 / 8  # share of the bytes from which a value is taken for padding: where it is, nothing is told
CHUNK = 1 << 18  # bytes counted at a time
UNSOURCED = "(common practice, no source)"


class Sign(Struct, frozen=True):
    """A finding, its numbers for programs, and the names of the traits that say the same (`Trait.names`)."""

    finding: Finding
    facts: Mapping[str, object]
    says: frozenset[tuple[str, ...]] = field(default_factory=frozenset)

    def as_json(self) -> dict[str, object]:
        """The sign under the documented JSON keys."""
        return {"code": self.finding.code.name, **self.facts}


Check = Callable[["Dump"], Iterable[Sign]]


class Dump(Struct, frozen=True, dict=True):
    """A dump as the checks look at it: its defined bytes, and what is counted over them."""

    image: Image

    @cached_property
    def view(self) -> View:
        """The defined bytes, with their addresses."""
        return View.of(self.image)

    @property
    def data(self) -> np.ndarray:
        """The defined bytes, one after the other."""
        return self.view.data

    @property
    def whole(self) -> bool:
        """Whether every address has its byte, so that address lines can be judged."""
        return len(self.image.segments) == 1

    @property
    def lines(self) -> int:
        """How many address lines the dump takes."""
        return (len(self.data) - 1).bit_length()

    @cached_property
    def counts(self) -> np.ndarray:
        """How often each byte value occurs."""
        data = self.data
        return sum(np.bincount(data[at : at + CHUNK], minlength=256) for at in range(0, len(data), CHUNK))

    @cached_property
    def blanks(self) -> np.ndarray:
        """The longer runs of FF and of 00, as rows (start, stop) among the bytes."""
        rows = runs.cut(runs.find_fills(self.data), self.view.offsets, runs.FILL_LEAST)
        return rows[np.isin(self.data[rows[:, 0]], BLANK)]

    @cached_property
    def told(self) -> np.ndarray:
        """How often each byte value occurs outside longer runs of FF and 00."""
        lengths, values = self.blanks[:, 1] - self.blanks[:, 0], self.data[self.blanks[:, 0]]
        return self.counts - np.bincount(values, weights=lengths, minlength=256).astype(np.int64)

    @cached_property
    def tells(self) -> np.ndarray:
        """For each byte value, whether it tells one place from another: no blank, and not what half the dump is."""
        rare = self.counts <= COMMON * self.counts.sum()
        rare[list(BLANK)] = False
        return rare


def all_lines() -> frozenset[tuple[str, ...]]:
    """Return what traits say of lines, halves and repeats: where nothing was read, no line tells anything."""
    lines = {(kind, f"{letter}{n}") for kind, letter in (("data bit", "D"), ("address line", "A")) for n in range(32)}
    return frozenset(lines | {("half", "both"), ("repeat", "1"), ("repeat", "256")})


def one_in(bits: float) -> str:
    """Return a probability of 2 to the minus `bits` in words.

    >>> one_in(10), one_in(300)
    ('1 in 1,024', '1 in 10^90')
    """
    return f"1 in {round(2**bits):,}" if bits < 20 else f"1 in 10^{bits * np.log10(2):.0f}"
