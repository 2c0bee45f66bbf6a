"""What is known of a dump: its checksums, which ROM it is, how it differs from its reference, how sure its bits are."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from msgspec import Struct

from romwright.findings import Finding
from romwright.images.checksums import Checksums, measure
from romwright.images.formats import Loaded, read
from romwright.images.image import Image
from romwright.jobs.inputs import Inputs
from romwright.jobs.model import Dump, Job
from romwright.recognition.verdicts import Identification

if TYPE_CHECKING:  # a job without dumps need not load these
    from romwright.faults.comparison import Comparison
    from romwright.faults.repeats.settling import Settlement


class Examined(Struct, frozen=True):
    """A dump, or several reads that were settled, and all that is known of it."""

    files: tuple[str, ...]
    image: Image
    sums: Checksums
    reference: str
    of_files: tuple[Finding, ...]
    identification: Identification | None
    comparison: Comparison | None
    settlement: Settlement | None
    alone: tuple[Finding, ...] = ()  # what it shows by itself, where nothing tells what it should be

    @property
    def findings(self) -> Iterator[Finding]:
        """Everything that is wrong or odd."""
        yield from self.of_files
        if self.settlement:
            yield from self.settlement.findings
        if self.comparison:
            yield from self.comparison.findings
        yield from self.alone


def examine_dump(job: Job, dump: Dump, inputs: Inputs) -> Examined:
    """Look at a dump in every way that the job allows. Raises InputError for files that cannot be read."""
    from romwright.faults.comparison import compare
    from romwright.faults.repeats.settling import settle

    loaded = [read(inputs.path(name)) for name in dump.files]
    settlement = settle(loaded) if len(loaded) > 1 else None
    image = settled(settlement) or loaded[0].image
    reference: Loaded | None = read(inputs.path(dump.reference)) if dump.reference else None
    of_files = [finding for one in (*loaded, *filter(None, [reference])) for finding in one.findings]
    identification = identify(job, dump.files[0], image, inputs) if job.lists else None
    told = reference or (identification and identification.known)
    return Examined(
        dump.files, image, measure(image.defined()), dump.reference, tuple(of_files), identification,
        compare(reference.image, image) if reference else None, settlement, () if told else inspect(image),
    )  # fmt: skip


def inspect(image: Image) -> tuple[Finding, ...]:
    """Return what `romwright inspect` finds in an image."""
    from romwright.recognition.inspection import inspect_image

    return inspect_image(image).findings


def settled(settlement: Settlement | None) -> Image | None:
    """Return the majority of several reads, whether it is sure or not: what is unsure is said beside it."""
    if settlement is None or settlement.votes is None:
        return None
    return settlement.votes.image


def identify(job: Job, name: str, image: Image, inputs: Inputs) -> Identification:
    """Return which ROM of the job's lists an image is."""
    from romwright.recognition.identification import Identifier
    from romwright.recognition.reference import Store
    from romwright.recognition.verdicts import Contents

    with Store(inputs.path(job.lists)) as lists:
        (found,) = Identifier(lists, thorough=True).identify([name], lambda _: Contents(image.flat(0xFF)))
    return found
