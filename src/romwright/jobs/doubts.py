"""What a sheet rests on and no document was read for: of the board, its CPU, the chips and the page of the socket."""

from __future__ import annotations

from collections.abc import Iterator

from romwright.fit.plans.work import gate_parts
from romwright.fit.standins import unchecked_pins
from romwright.jobs.fitting import Fitted
from romwright.sheets.drawing import SHOWN

SAID = {  # the keys of a page, for whoever has a chip before him and no page
    "pins": "the pins", "supplies": "supply voltages", "package": "the package",
    "row_pitch_mm": "row spacing", "words": "how many words it holds", "bits": "how many data lines it has",
    "drives": "when it drives", "writes": "when it is written", "read_levels": "read levels",
    "read_either": "which read levels may be either", "select": "which pin is the select",
    "options": "what the factory may have chosen", "latched": "whether it latches the address",
    "output": "three-state or open-collector outputs", "byte_mode": "how it is set to bytes",
    "programming": "how it is programmed", "programming.vpp_v": "VPP",
    "programming.vpp_max_v": "highest VPP", "programming.vcc_v": "programming VCC",
    "programming.vpp_erase_v": "voltage that erases it", "erased": "erased byte",
    "currents": "the supply currents", "currents.active_ma": "the supply current", "levels": "the output levels",
    "levels.vol_max_v": "the output level L", "levels.voh_min_v": "the output level H", "cycles": "bus cycles",
    "cycles.levels": "levels in bus cycles", "sources": "what was read",
}  # fmt: skip
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
            yield f"{name}: {'; '.join(dict.fromkeys(map(in_words, entries)))}"


def in_words(entry: str) -> str:
    """Return what a page says is unchecked, its key in words.

    >>> in_words("erased"), in_words("pins: all but 18 to 21"), in_words("free run: the code")
    ('erased byte', 'the pins: all but 18 to 21', 'free run: the code')
    """
    key, colon, remark = entry.partition(":")
    return SAID.get(key, key) + colon + remark
