"""The labels of a job's chips, all on the same sheets."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import msgspec
from msgspec import Struct

from romwright.findings import Finding
from romwright.jobs.chips import Chip
from romwright.jobs.labels import labels_of, notes_on, size_from, stock_from
from romwright.jobs.model import Job
from romwright.parts.bodies import judge_size
from romwright.parts.model import Part
from romwright.sheets.labels import Label, build_labels_pdf, draw_label, judge_label, on_stock
from romwright.sheets.stock import Stock


class Labels(Struct, frozen=True):
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
