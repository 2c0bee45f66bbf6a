"""The public API of romwright. Names load when they are first used, so importing the package costs nothing."""

from __future__ import annotations

import importlib

__version__ = "0.1.0"

# Where each public name lives: module, or module:name where the name differs there.
_HOMES = {
    "Board": "boards.model",
    "Checksums": "images.checksums",
    "Code": "findings",
    "Comparison": "faults.comparison",
    "Condition": "faults.repairs.syndromes",
    "CorrectionSearch": "faults.repairs.corrections:Search",
    "Corrections": "faults.repairs.corrections",
    "Finding": "findings",
    "Identification": "recognition.verdicts",
    "Identifier": "recognition.identification",
    "Image": "images.image",
    "Inspection": "recognition.inspection",
    "Label": "sheets.labels",
    "Loaded": "images.formats",
    "Part": "parts.model",
    "Plan": "fit.plans.wiring",
    "Recipe": "images.preparation",
    "Restoration": "faults.repairs.restoration",
    "RomwrightError": "errors",
    "Segment": "images.image",
    "Settlement": "faults.repeats.settling",
    "Severity": "findings",
    "Source": "images.preparation",
    "Store": "recognition.reference",
    "Study": "fit.onboard.settings",
    "Sum": "images.sums",
    "Suspects": "faults.repairs.suspects",
    "TimingAnswer": "timing.judgement:Answer",
    "Verdict": "fit.verdict",
    "all_codes": "codes",
    "build_labels_pdf": "sheets.labels",
    "build_labels_svg": "sheets.labels",
    "build_picture": "images.picture",
    "build_plan": "fit.plans.planfile",
    "burn": "fit.plans.contents",
    "compare": "faults.comparison",
    "examine_fit": "fit.verdict",
    "inspect_image": "recognition.inspection",
    "judge_on_board": "timing.onboard",
    "judge_planned": "timing.onboard",
    "judge_quickly": "timing.quick",
    "measure": "images.checksums",
    "parse_plan": "fit.plans.planfile",
    "part_names": "parts.library",
    "plan_board": "fit.onboard.boarding",
    "plan_wiring": "fit.plans.wiring",
    "prepare": "images.preparation",
    "prove_plan": "fit.verdict",
    "rank_stand_ins": "fit.standins",
    "read_every_address": "fit.plans.proof",
    "read_image": "images.formats:read",
    "read_marking": "parts.library",
    "require_board": "boards.library",
    "require_code": "codes",
    "require_cpu": "boards.library",
    "require_part": "parts.library",
    "require_timing": "timing.library",
    "settle": "faults.repeats.settling",
    "write_files": "images.formats",
}

__all__ = sorted(_HOMES)


def __getattr__(name: str):
    if name not in _HOMES:
        raise AttributeError(f"module 'romwright' has no attribute {name!r}")
    module, _, local = _HOMES[name].partition(":")
    return getattr(importlib.import_module(f"romwright.{module}"), local or name)


def __dir__() -> list[str]:
    return [*__all__, "__version__"]
