"""The public API of romwright. Names load when they are first used, so importing the package costs nothing."""

from __future__ import annotations

import importlib

__version__ = "0.1.0"

_HOMES = {
    "Code": "findings",
    "Finding": "findings",
    "Image": "images.image",
    "Inspection": "recognition.inspection",
    "Part": "parts.model",
    "RomwrightError": "errors",
    "Segment": "images.image",
    "Severity": "findings",
    "Verdict": "fit.verdict",
    "build_picture": "images.picture",
    "examine_fit": "fit.verdict",
    "inspect_image": "recognition.inspection",
    "part_names": "parts.library",
    "plan_wiring": "fit.wiring",
    "read_every_address": "fit.proof",
    "require_part": "parts.library",
}

__all__ = sorted(_HOMES)


def __getattr__(name: str):
    if name not in _HOMES:
        raise AttributeError(f"module 'romwright' has no attribute {name!r}")
    return getattr(importlib.import_module(f"romwright.{_HOMES[name]}"), name)


def __dir__() -> list[str]:
    return [*__all__, "__version__"]
