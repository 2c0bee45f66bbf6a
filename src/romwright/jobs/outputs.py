"""The outputs of a job as bytes: those of each chip, the labels, the sheet."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import msgspec

from romwright.findings import Finding
from romwright.images.formats import format_named
from romwright.images.image import Image
from romwright.jobs.chips import Chip
from romwright.jobs.labels import labels_of, notes_on, size_from, stock_from
from romwright.jobs.model import KINDS, Job
from romwright.parts.bodies import judge_size
from romwright.parts.model import Part
from romwright.sheets.document import Sheet
from romwright.sheets.labels import Label, build_labels_pdf, draw_label, judge_label, on_stock
from romwright.sheets.stock import Stock

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


@dataclass(frozen=True)
class Labels:
    """The labels of a job's chips, all on the same sheets, whose places are as large as the largest."""

    labels: tuple[tuple[Part, Label], ...]
    stock: Stock
    first: int

    def build(self) -> bytes:
        """Return them as PDF. Raises OptionError if a code or words have no room, or there is no such place."""
        notes = dict.fromkeys(note for part, _ in self.labels for note in notes_on(part))
        return build_labels_pdf([label for _, label in self.labels], self.stock, self.first, list(notes))

    def findings(self) -> Iterator[Finding]:
        """Yield what is to be said of them, once for all copies of each."""
        for label, part in {label: part for part, label in self.labels}.items():
            fitting, _ = on_stock(label, self.stock)
            yield from judge_label(fitting, draw_label(fitting))
            yield from judge_size(part, fitting.width, fitting.height)


def lay_out_labels(job: Job, chips: Sequence[Chip]) -> Labels:
    """Return the labels of chips as a job wants them. Raises OptionError."""
    wishes, made = msgspec.to_builtins(job.label), []
    how = {"date": job.date, "code": job.label.code, "copies": job.label.copies}
    for chip in chips:
        part, name = chip.fitted.plan.chip, job.label.name or job.outputs.name
        words = " ".join(filter(None, [chip.name, name]))  # what tells them apart comes first: a long name is cut
        contents = [(words, chip.burning.burnt)]
        made += [(part, label) for label in labels_of(part, contents, size=size_from(wishes, part), **how)]
    largest = max(label.width for _, label in made), max(label.height for _, label in made)
    return Labels(tuple(made), stock_from(wishes, job.outputs.paper, largest), job.label.first)


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
