"""Every code that a finding may have, and one by its name.

A Code stands beside its check; MODULES lists where. They are imported only when codes are asked for.
"""

from __future__ import annotations

import importlib

from romwright.errors import UnknownNameError
from romwright.findings import Code

MODULES = (
    "images.formats.reading", "images.formats.intel", "images.formats.motorola", "images.preparation",
    "parts.bodies", "parts.programming", "parts.reading", "sheets.labels",
    "recognition.crossings", "recognition.overlap", "recognition.structures",
    "faults.causes", "faults.diagnosis", "faults.extent", "faults.patterns.linereport",
    "faults.alone.answers", "faults.alone.breaks", "faults.alone.crowd", "faults.alone.idle", "faults.alone.still",
    "faults.repairs.outcome", "faults.repairs.restoration", "faults.repeats.unsettled", "faults.repeats.wobble",
    "electric.loading", "electric.margins", "electric.readings", "electric.supply",
    "fit.kinds", "fit.pins", "fit.selects", "fit.writes",
    "fit.onboard.bus", "fit.onboard.joins", "fit.onboard.latches", "fit.onboard.meets", "fit.onboard.power_up",
    "timing.judgement",
)  # fmt: skip


def all_codes() -> list[Code]:
    """Return every code once, worst first, then by name."""
    modules = [importlib.import_module(f"romwright.{name}") for name in MODULES]
    codes = {value.name: value for module in modules for value in vars(module).values() if isinstance(value, Code)}
    return sorted(codes.values(), key=lambda code: (code.severity.rank, code.name))


def require_code(name: str) -> Code:
    """Return the code of a name, in whatever case, with the brackets in which it is printed or without them.

    Raises UnknownNameError, with near names.
    """
    codes = {code.name: code for code in all_codes()}
    wanted = "-".join(name.strip(" ():").casefold().replace("_", " ").split())
    if wanted not in codes:
        error = UnknownNameError("finding", name, codes)
        error.help = error.help or "romwright explain lists them all"
        raise error
    return codes[wanted]
