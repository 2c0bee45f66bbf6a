"""A whole job from its file: check the inputs, know the dumps, plan and prove the fit, make the bytes, write it all.

Every output is a function of the job's file and its inputs, so a second run gives the same bytes; what is already there
and equal is left alone. Each output is written as soon as it is made: where a later step fails, the earlier ones stay.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

from msgspec import Struct, field
from msgspec.structs import replace

from romwright.errors import OutputError
from romwright.findings import Finding, blocks
from romwright.images.formats import write_files
from romwright.jobs.briefing import brief
from romwright.jobs.chips import Chip, chips_of
from romwright.jobs.dumps import Examined, examine_dump
from romwright.jobs.files import require_not_inputs
from romwright.jobs.finished import MANIFEST, build_record, digest, without_record
from romwright.jobs.inputs import Inputs
from romwright.jobs.keys import as_keys, in_keys
from romwright.jobs.manifest import build_manifest, up_from
from romwright.jobs.model import KINDS, Dump, Job
from romwright.jobs.outputs import FIT_KINDS, build_for_chip, build_sheet, ending
from romwright.sheets.document import Sheet
from romwright.sheets.merging import merge

Step = tuple[str, Callable[[], None]]  # what it does, and the work
NEEDS_BYTES = ("burn", "labels")  # outputs that need contents


class Output(Struct, frozen=True):
    """What a job writes: the name of its file, its kind, and the chip that it is about, None for all."""

    name: str
    kind: str
    chip: int | None = None


class Run(Struct):
    """A job being run: what was found so far, and what was written (`kept`: it was there already, equal)."""

    job: Job
    path: Path  # of the job's file
    overwrite: bool = False
    inputs: Inputs | None = None
    dumps: tuple[Examined, ...] = ()
    chips: list[Chip] = field(default_factory=list)
    of_labels: tuple[Finding, ...] = ()
    written: dict[str, bytes] = field(default_factory=dict)
    kept: list[str] = field(default_factory=list)

    @property
    def folder(self) -> Path:
        """The folder of the job's file."""
        return self.path.parent

    @property
    def target(self) -> Path:
        """The folder of the outputs."""
        return self.folder / self.job.outputs.folder

    @property
    def ok(self) -> bool:
        """Whether nothing is wrong: with the dumps, with the fit."""
        wrong = any(blocks(dump.findings) for dump in self.dumps)
        return not wrong and all(chip.fitted.works and not chip.fitted.voltage for chip in self.chips)

    @property
    def findings(self) -> list[Finding]:
        """All findings about dumps, fits, the bytes to burn and labels, each once."""
        of_dumps = [finding for dump in self.dumps for finding in dump.findings]
        fits = [f for c in self.chips for f in (*c.fitted.findings, *c.fitted.voltage)]
        of_chips = [*fits, *(f for c in self.chips if c.burning for f in c.burning.findings)]
        return list(dict.fromkeys((*of_dumps, *of_chips, *self.of_labels)))

    def steps(self) -> Iterator[Step]:
        """Yield the steps in order: what each does, and the work; those that write follow from what was found."""
        yield from self.questions()
        for output in self.outputs():
            yield f"write {output.name}", in_keys(lambda output=output: self.write(output.name, self.build(output)))
        yield f"write {MANIFEST}", self.write_manifest

    def find_out(self) -> None:
        """Take all steps that write nothing."""
        for _, work in self.questions():
            work()

    def questions(self) -> Iterator[Step]:
        """Yield the steps that write nothing."""
        job = self.job
        yield "check the inputs", self.read_inputs
        for dump in job.dumps:
            yield f"look at {', '.join(dump.files)}", in_keys(lambda dump=dump: self.look(dump))
        if job.fits:
            yield "plan the fit and prove it", in_keys(self.plan)
        if job.all_contents:
            yield "make the bytes to burn, and prove them", in_keys(self.burn)

    @property
    def count(self) -> int:
        """How many steps there are, as far as the chips are known yet."""
        return len(list(self.questions())) + len(list(self.outputs())) + 1

    def read_inputs(self) -> None:
        """Read all inputs and hold them against what is recorded."""
        self.inputs = Inputs(self.job, self.folder)

    def look(self, dump: Dump) -> None:
        """Find out what can be known of a dump."""
        self.dumps = (*self.dumps, examine_dump(self.job, dump, self.inputs))

    def plan(self) -> None:
        """Plan the fit of every chip."""
        self.chips = chips_of(self.job, self.folder)

    def burn(self) -> None:
        """Make the bytes to burn into each chip, and prove the plans with them."""
        self.chips = [chip.burned(self.inputs) for chip in self.chips]

    def outputs(self) -> Iterator[Output]:
        """Yield what is to be written, in order."""
        name, form = self.job.outputs.name, self.job.outputs.write_as
        for kind in self.job.outputs.kinds:
            chips = [number for number, chip in enumerate(self.chips) if chip.burning or kind not in NEEDS_BYTES]
            if kind not in (*FIT_KINDS, *NEEDS_BYTES) or (kind == "labels" and chips):
                yield Output(name + KINDS[kind], kind)
            elif kind != "labels":
                for number in chips:
                    chip = "-".join(filter(None, [name, self.chips[number].name]))
                    yield Output(chip + ending(kind, form), kind, number)

    def build(self, output: Output) -> bytes:
        """Return the bytes of an output."""
        if output.chip is not None:
            return build_for_chip(output.kind, self.chips[output.chip], self.job.outputs.write_as)
        if output.kind == "labels":
            from romwright.jobs.joblabels import lay_out_labels

            labels = lay_out_labels(self.job, [chip for chip in self.chips if chip.burning])
            self.of_labels = tuple(replace(each, remedy=as_keys(each.remedy)) for each in labels.findings())
            return labels.build()
        return self.build_sheet(output.kind)

    @property
    def sheet(self) -> Sheet:
        """The bench sheet: of several chips one, each step told for all of them."""
        said = [self.inputs.unrecorded, *[()] * len(self.chips)]  # once is enough
        if not self.chips:
            return brief(self.job, self.dumps, None, None, said[0])
        burnt = {output.chip: output.name for output in self.outputs() if output.kind == "burn"}
        return merge({
            chip.words: brief(
                chip.job(self.job), self.dumps, chip.fitted, chip.burning, said[number], burnt.get(number, "")
            )
            for number, chip in enumerate(self.chips)
        })  # fmt: skip

    def build_sheet(self, kind: str, paper: str | None = None) -> bytes:
        """Return the sheet as text, page or PDF, which is for the paper that the job says, or for another."""
        return build_sheet(kind, self.sheet, paper or self.job.outputs.paper)

    def write(self, name: str, data: bytes, overwrite: bool = False) -> None:
        """Write an output unless it is there, equal. Raises OutputError if another is, OptionError for an input."""
        path = self.target / name
        there, overwrite = path.read_bytes() if path.is_file() else None, overwrite or self.overwrite
        require_not_inputs([str(path)], [str(self.path), *(self.inputs.path(each) for each in self.job.inputs)])
        if there == data:
            self.kept.append(name)
        elif there is not None and not overwrite:
            raise OutputError(
                f"{name} is there already, other than the job makes it: its SHA-256 is {digest(there)}",
                where=str(path), expected=f"{digest(data)}, or no such file",
                help="move it away, or give --overwrite; another job needs a folder of its own, outputs.folder",
            )  # fmt: skip
        else:
            self.make_target()
            write_files({str(path): data}, overwrite)
        self.written[name] = data

    def make_target(self) -> None:
        """Make the folder of the outputs. Raises OutputError."""
        try:
            self.target.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise OutputError(
                f"the folder of the outputs cannot be made: {error.strerror}", where=str(self.target),
                expected="a folder that you may write to, and no file of that name",
            ) from None  # fmt: skip

    def write_manifest(self) -> None:
        """Write what ties the outputs to the inputs and the job's file; one that only another program made goes."""
        up, record, path = up_from(self.target, self.folder), "", self.target / MANIFEST
        if all(name.isprintable() and "\\" not in name for name in self.job.inputs):  # others are no plain lines
            record = build_record(self.path.read_bytes(), self.ok)
        data = build_manifest(self.job.title, self.inputs.digests(), dict(self.written), up, record)
        same = path.is_file() and without_record(path.read_bytes()) == without_record(data)
        self.write(MANIFEST, data, overwrite=same)
