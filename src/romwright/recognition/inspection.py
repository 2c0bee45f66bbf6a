"""Inspection: everything that one image shows, gathered into one value."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import Struct
from msgspec.structs import asdict

from romwright.faults.alone.checks import find_signs
from romwright.faults.alone.signs import Check, Sign
from romwright.findings import Finding
from romwright.images.checksums import Checksums, crc, crc_name, crc_width, measure
from romwright.images.formats import Loaded
from romwright.images.image import Image
from romwright.images.traits import Trait, find_traits
from romwright.recognition.cpus import Judgement, judge_cpus
from romwright.recognition.crossings import find_crossings
from romwright.recognition.structures import Structure, find_header_faults, find_structures


class NamedCrc(Struct, frozen=True):
    """A CRC by its name: value in hex digits, width in bits."""

    name: str
    value: str
    width: int


class Inspection(Struct, frozen=True):
    """What an image shows; `image` is the one judged, with its gaps filled if a fill was chosen."""

    file: str
    format: str
    image: Image
    fill: int | None
    filled_bytes: int
    checksums: Checksums
    crcs: tuple[NamedCrc, ...]
    traits: tuple[Trait, ...]
    structures: tuple[Structure, ...]
    cpus: tuple[Judgement, ...]
    findings: tuple[Finding, ...]
    signs: tuple[Sign, ...] = ()

    def saying(self, trait: Trait) -> dict[str, str]:
        """Return the code of the finding that says all of a trait, as `finding`; empty if none does."""
        names = trait.names
        sign = next((sign for sign in self.signs if names and names <= sign.says), None)
        return {"finding": sign.finding.code.name} if sign else {}

    def as_json(self) -> dict[str, object]:
        """The inspection under the documented JSON keys (numbers are bytes or addresses, strings are hex digits)."""
        return {
            "file": self.file,
            "format": self.format,
            "size": self.image.size_bytes,
            "origin": self.image.start,
            "span": self.image.span_bytes,
            "gaps": [list(gap) for gap in self.image.gaps],
            "entry": self.image.entry,
            "fill": None if self.fill is None else f"{self.fill:02X}",
            "filled": self.filled_bytes,
            **asdict(self.checksums),
            "crcs": [asdict(one) for one in self.crcs],
            "traits": [trait.as_json() | self.saying(trait) for trait in self.traits],
            "signs": [sign.as_json() for sign in self.signs],
            "structures": [structure.as_json() for structure in self.structures],
            "cpus": [judgement.as_json() for judgement in self.cpus],
            "findings": [finding.as_json() for finding in self.findings],
        }


def inspect_image(
    loaded: Loaded | Image, fill: int | None = None, crcs: Sequence[str] = (), checks: Sequence[Check] = ()
) -> Inspection:
    """Inspect an image as it was read, or one that was made.

    Checksums are over the defined bytes in address order; with `fill`, gaps are filled first and count as defined.
    Headers and CPU are looked for in the bytes as the chip would hold them: gaps, if any, as FF. An erased image is for
    no CPU. Signs of a bad read are looked for by `faults.alone`, and by the caller's own `checks`, which may know more
    than the dump: each is given the `Dump` and yields a `Sign` for whatever it finds. Raises UnknownNameError for a CRC
    that is not known.
    """
    if isinstance(loaded, Image):
        loaded = Loaded("", "raw", loaded)
    crcs = [crc_name(name) for name in crcs]
    image = loaded.image
    filled = 0
    if fill is not None and image.gaps:
        filled = image.span_bytes - image.size_bytes
        image = Image((Image.from_bytes(image.flat(fill), image.start).segments[0],), image.entry)
    data, chip = image.defined(), image.flat(0xFF)
    traits, structures = find_traits(image), find_structures(chip)
    signs = find_signs(image, checks)
    erased = any(trait.kind == "erased" for trait in traits)
    cpus = () if erased else tuple(judge_cpus(chip, image.start))
    return Inspection(
        file=loaded.file,
        format=loaded.format,
        image=image,
        fill=fill,
        filled_bytes=filled,
        checksums=measure(data),
        crcs=tuple(_named_crc(name, data) for name in crcs),
        traits=tuple(traits),
        structures=tuple(structures),
        cpus=cpus,
        findings=(
            *loaded.findings,
            *find_header_faults(structures),
            *(sign.finding for sign in signs),
            *find_crossings(chip, image.start, cpus),
        ),  # fmt: skip
        signs=tuple(signs),
    )


def _named_crc(name: str, data: bytes) -> NamedCrc:
    width = crc_width(name)
    return NamedCrc(name, f"{crc(name, data):0{-(-width // 4)}X}", width)
