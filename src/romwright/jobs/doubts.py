"""What a sheet rests on and no document was read for: of the board, its CPU, the chips and the page of the socket."""

from __future__ import annotations

from collections.abc import Iterator

from romwright.fit.plans.work import gate_parts
from romwright.fit.standins import unchecked_pins
from romwright.jobs.fitting import Fitted
from romwright.sheets.drawing import SHOWN

BURNT = ("programming", "erased", "currents.active_ma", "levels.vol_max_v", "levels.voh_min_v")  # of the chip alone


def unchecked(fitted: Fitted | None) -> Iterator[str]:
    """Yield for each page what it says of itself, each thing once."""
    if not fitted:
        return
    found = {name: list(entries) for name, entries in fitted.unchecked.items()}
    for part in filter(None, fitted.pages):
        found.setdefault(part.name, []).extend(part.unchecked_about(*SHOWN))
    chip = fitted.plan.chip
    found.setdefault(chip.name, []).extend(chip.unchecked_about(*BURNT))
    for gate in fitted.plan.gates:
        if doubt := gate_parts()[gate.kind].unchecked:
            found.setdefault(gate.part, []).append(doubt)
    for name, part in (fitted.also or {}).items():
        found.setdefault(f"{part.name} in {name}", []).extend(unchecked_pins(part))
    if fitted.cpu and fitted.cpu.free_run:
        found.setdefault(fitted.cpu.name, []).extend(f"free run: {each}" for each in fitted.cpu.free_run.unchecked)
    if fitted.timing:
        found["in time?"] = fitted.timing.unchecked
    for name, entries in found.items():
        if entries:
            yield f"{name}: {'; '.join(dict.fromkeys(entries))}"
