"""What a sheet rests on and no document was read for: of the board, its CPU, the chips and the page of the socket."""

from __future__ import annotations

from collections.abc import Iterator

from romwright.fit.standins import unchecked_pins
from romwright.jobs.fitting import Fitted

# Of the chip the sheet shows these too: how it is burnt and erased, its size, its current, its output levels.
BURNT = ("programming", "erased", "currents.active_ma", "levels", "row_pitch_mm", "package", "words", "bits", "select")


def unchecked(fitted: Fitted | None) -> Iterator[str]:
    """Yield each thing once, with the page that says so."""
    if not fitted:
        return
    found = {name: list(entries) for name, entries in fitted.unchecked.items()}
    chip = fitted.plan.chip
    found.setdefault(chip.name, []).extend(chip.unchecked_about(*BURNT))
    for name, part in (fitted.also or {}).items():
        found.setdefault(f"{part.name} in {name}", []).extend(unchecked_pins(part))
    if fitted.cpu and fitted.cpu.free_run:
        found.setdefault(fitted.cpu.name, []).extend(f"free run: {each}" for each in fitted.cpu.free_run.unchecked)
    for name, entries in found.items():
        yield from (f"{name}: {entry}" for entry in dict.fromkeys(entries))
