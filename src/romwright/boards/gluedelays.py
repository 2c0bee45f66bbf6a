"""How long glue takes: the largest delays of gates, decoders, latches and buffers, from pinmaps/delays.toml."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from msgspec import Struct

from romwright.datafiles import data_folder, read_data_file


class Glue(Struct, frozen=True, forbid_unknown_fields=True):
    """A glue chip. `delay_ns`: from its inputs (of a decoder the selects); `enable_ns`: from its enables.

    `kinds` are the kinds of gates that it holds, as boards name them; empty for a latch or a transceiver.
    """

    part: str
    delay_ns: float
    conditions: str
    source: str
    kinds: tuple[str, ...] = ()
    enable_ns: float | None = None

    @property
    def unchecked(self) -> bool:
        """Whether nobody has checked it."""
        return "unchecked" in self.source

    @property
    def basis(self) -> str:
        """Where it stands, and for which load."""
        return f"{self.source} ({self.conditions})" if self.conditions else self.source


class Glues(Struct, frozen=True, forbid_unknown_fields=True):
    """All glue chips whose delays were read."""

    chips: tuple[Glue, ...]


def find_glue_faults(page: Glues):
    """Yield what is wrong: every chip once, with a source and delays of ordinary size."""
    seen: set[str] = set()
    for chip in page.chips:
        if chip.part in seen:
            yield f"chips: {chip.part} stands there twice [glue-twice]"
        seen.add(chip.part)
        if not chip.source.strip():
            yield f"chips, {chip.part}: no source [glue-source]"
        if not all(0 < each < 1000 for each in (chip.delay_ns, chip.enable_ns or chip.delay_ns)):
            yield f"chips, {chip.part}: expected nanoseconds above 0 and below 1000 [glue-delay]"


def read_glue(path: Path) -> dict[str, Glue]:
    """Read a file of glue chips, by their numbers; raises DataFileError with all faults."""
    return {chip.part: chip for chip in read_data_file(path, Glues, [find_glue_faults]).chips}


@cache
def glue() -> dict[str, Glue]:
    """Return the shipped glue chips."""
    return read_glue(data_folder("pinmaps") / "delays.toml")


def find_glue(number: str) -> Glue | None:
    """Return a glue chip by its number, in any case of letters; None if its delays were not read."""
    return {part.casefold(): chip for part, chip in glue().items()}.get(number.strip().casefold())
