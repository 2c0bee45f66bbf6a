"""A whole job from its file: check the inputs, know the dumps, plan and prove the fit, make the bytes, write it all.

Every output is a function of the job's file and its inputs, so a second run gives the same bytes; what is already there
and equal is left alone. Each output is written as soon as it is made: where a later step fails, the earlier ones stay.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import msgspec

from romwright.findings import blocks
from romwright.images.formats import format_named, write_files
from romwright.images.image import Image
from romwright.jobs.briefing import brief
from romwright.jobs.dumps import Examined, examine_dump
from romwright.jobs.finished import build_record, without_record
from romwright.jobs.fitting import Burning, Fitted, fit_chip, prepare_contents, prove_burning
from romwright.jobs.inputs import Inputs
from romwright.jobs.manifest import NAME, build_manifest, up_from
from romwright.jobs.model import KINDS, Job
from romwright.sheets.document import Sheet

FIT_KINDS = ("plan", "drawing", "table", "netlist")  # outputs that need a plan


@dataclass
class Run:
    """A job being run: what was found so far, and what was written (`kept`: it was there already, equal)."""

    job: Job
    folder: Path  # of the job's file
    overwrite: bool = False
    source: bytes = b""  # the job's file, byte for byte
    inputs: Inputs | None = None
    dumps: tuple[Examined, ...] = ()
    fitted: Fitted | None = None
    burning: Burning | None = None
    written: dict[str, bytes] = field(default_factory=dict)
    kept: list[str] = field(default_factory=list)

    @property
    def target(self) -> Path:
        """The folder of the outputs."""
        return self.folder / self.job.outputs.folder

    @property
    def ok(self) -> bool:
        """Whether nothing is wrong: with the dumps, with the fit."""
        wrong = any(blocks(dump.findings) for dump in self.dumps)
        return not wrong and (self.fitted is None or self.fitted.works)

    def steps(self) -> Iterator[tuple[str, Callable[[], None]]]:
        """Yield the steps in order: what each does, and the work."""
        yield from self.questions()
        for kind in self.job.outputs.kinds:
            if self.has(kind):
                yield f"write {self.name(kind)}", lambda kind=kind: self.write(self.name(kind), self.build(kind))
        yield f"write {NAME}", self.write_manifest

    def find_out(self) -> None:
        """Take all steps that write nothing."""
        for _, work in self.questions():
            work()

    def questions(self) -> Iterator[tuple[str, Callable[[], None]]]:
        """Yield the steps that write nothing."""
        job = self.job
        yield "check the inputs", self.read_inputs
        for dump in job.dumps:
            yield f"look at {', '.join(dump.files)}", lambda dump=dump: self.look(examine_dump(job, dump, self.inputs))
        if job.fit:
            yield "plan the fit and prove it", self.plan
        if job.fit and job.contents:
            yield "make the bytes to burn, and prove them", self.burn

    def read_inputs(self) -> None:
        """Read all inputs and hold them against what is recorded."""
        self.inputs = Inputs(self.job, self.folder)

    def look(self, dump: Examined) -> None:
        """Keep what is known of a dump."""
        self.dumps = (*self.dumps, dump)

    def plan(self) -> None:
        """Plan the fit."""
        self.fitted = fit_chip(self.job.fit)

    def burn(self) -> None:
        """Make the bytes to burn, and prove the plan with them."""
        self.burning = prepare_contents(self.job.contents, self.fitted, self.inputs)
        self.fitted = prove_burning(self.fitted, self.burning)

    def has(self, kind: str) -> bool:
        """Tell whether the job has what an output of that kind needs."""
        if kind in FIT_KINDS:
            return self.job.fit is not None
        return kind not in ("burn", "labels") or bool(self.job.fit and self.job.contents)

    def name(self, kind: str) -> str:
        """Return the name of an output in its folder."""
        endings = {"intel-hex": ".hex", "s-record": ".s19"} if kind == "burn" else {}
        return self.job.outputs.name + endings.get(self.job.outputs.write_as, KINDS[kind])

    def build(self, kind: str, paper: str | None = None) -> bytes:
        """Return the bytes of an output; a PDF is for the paper that the job says, or for another."""
        if kind == "burn":
            return format_named(self.job.outputs.write_as).build(Image.from_bytes(self.burning.burnt))
        if kind in FIT_KINDS:
            return self.build_fit(kind)
        if kind == "labels":
            return self.build_labels()
        if kind == "text":
            from romwright.sheets.text import build_text

            return build_text(self.sheet).encode("utf-8", "replace")
        if kind == "page":
            from romwright.sheets.page import build_page

            return build_page(self.sheet)
        from romwright.sheets.pdf import build_pdf

        return build_pdf(self.sheet, paper or self.job.outputs.paper)

    def build_fit(self, kind: str) -> bytes:
        """Return the bytes of an output that shows the plan."""
        fitted = self.fitted
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

    def build_labels(self) -> bytes:
        """Return the labels of the chip."""
        from romwright.jobs import labels as made
        from romwright.sheets.labels import build_labels_pdf

        job, part, wishes = self.job, self.fitted.plan.chip, msgspec.to_builtins(self.job.label)
        size = made.size_from(wishes, part)
        stock = made.stock_from(wishes, job.outputs.paper, size)
        contents = [(job.label.name or job.outputs.name, self.burning.burnt)]
        how = {"size": size, "date": job.date, "code": job.label.code, "copies": job.label.copies}
        labels = made.labels_of(part, contents, **how)
        return build_labels_pdf(labels, stock, job.label.first, made.notes_on(part))

    @property
    def sheet(self) -> Sheet:
        """The bench sheet."""
        file = self.name("burn") if "burn" in self.job.outputs.kinds else ""
        return brief(self.job, self.dumps, self.fitted, self.burning, self.inputs.unrecorded, file)

    def write(self, name: str, data: bytes, overwrite: bool = False) -> None:
        """Write an output unless it is there, equal. Raises OutputError if another is there."""
        path = self.target / name
        if path.is_file() and path.read_bytes() == data:
            self.kept.append(name)
        else:
            self.target.mkdir(parents=True, exist_ok=True)
            write_files({str(path): data}, overwrite or self.overwrite)
        self.written[name] = data

    def write_manifest(self) -> None:
        """Write what ties the outputs to the inputs and the job's file; one that only another program made goes."""
        up, record, path = up_from(self.target, self.folder), "", self.target / NAME
        if self.source and not self.job.own_pages:
            record = build_record(self.source, self.ok)
        data = build_manifest(self.job.title, self.inputs.digests(), dict(self.written), up, record)
        same = path.is_file() and without_record(path.read_bytes()) == without_record(data)
        self.write(NAME, data, overwrite=same)
