"""The outputs of a job as bytes: those of each chip, and the sheet."""

from __future__ import annotations

from romwright.images.formats import format_named
from romwright.images.image import Image
from romwright.jobs.chips import Chip
from romwright.jobs.model import KINDS
from romwright.sheets.document import Sheet

FIT_KINDS = ("plan", "drawing", "table", "netlist")  # outputs that need a plan
HEX_ENDINGS = {"intel-hex": ".hex", "s-record": ".s19"}


def ending(kind: str, write_as: str) -> str:
    """Return how the name of an output ends."""
    return HEX_ENDINGS.get(write_as, KINDS[kind]) if kind == "burn" else KINDS[kind]


def build_for_chip(kind: str, chip: Chip, write_as: str) -> bytes:
    """Return the bytes of an output that is about one chip."""
    fitted = chip.fitted
    if kind == "burn":
        return format_named(write_as).build(Image.from_bytes(chip.burning.burnt))
    if kind == "plan":
        from romwright.fit.plans.planfile import build_plan

        return build_plan(fitted.plan, *fitted.pages, "", "")
    if kind == "drawing":
        from romwright.sheets.wiring import build_wiring_svg, warning_about

        return build_wiring_svg(fitted.plan, warning_about(fitted.proof))
    if kind == "table":
        from romwright.fit.plans.plantable import build_csv

        return build_csv(fitted.plan)
    from romwright.fit.plans.netlist import build_netlist

    return build_netlist(fitted.plan)


def build_sheet(kind: str, sheet: Sheet, paper: str) -> bytes:
    """Return the sheet as text, page or PDF."""
    if kind == "text":
        from romwright.sheets.text import build_text

        return build_text(sheet).encode("utf-8", "replace")
    if kind == "page":
        from romwright.sheets.page import build_page

        return build_page(sheet)
    from romwright.sheets.pdf import build_pdf

    return build_pdf(sheet, paper)
