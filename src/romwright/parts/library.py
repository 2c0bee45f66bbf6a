"""The parts that are shipped: find one by its name or by what is printed on the chip, list all."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from msgspec.structs import replace

from romwright.datafiles import data_folder, read_data_file, read_toml
from romwright.errors import SeveralMeaningsError, UnknownNameError
from romwright.parts.markings import meanings, read_markings
from romwright.parts.model import Part
from romwright.parts.reading import Reading, decode
from romwright.parts.rules import find_faults


def part_names(folder: Path | None = None) -> list[str]:
    """List the names of all shipped parts."""
    return sorted(path.stem for path in (folder or data_folder("parts")).glob("*.toml"))


def read_part(path: Path) -> Part:
    """Read one page; raises DataFileError with all its faults."""

    def check_name(part: Part) -> Iterator[str]:
        if part.name != path.stem:
            yield f"name: {part.name!r}, but the file is named {path.stem!r} [name]"

    return read_data_file(path, Part, [find_faults, check_name])


def require_part(name: str, folder: Path | None = None) -> Part:
    """Return the part of that name or alias, in any case of letters; a path, or a name with .toml, is read from there.

    Raises UnknownNameError with near names, SeveralMeaningsError if the marking has several, DataFileError with all
    faults of a page, OSError if there is no such file.

    >>> require_part("m27c256b").name
    '27C256'
    """
    return require_marked(name, folder)[0]


def to_burn(part: Part, reading: Reading, marking: str) -> Reading:
    """Return the reading of a part to burn, with the stop of a voltage that its `marking` does not confirm."""
    from romwright.parts.programming import find_voltage

    try:
        plain = Path(marking).name == marking and Path(marking).suffix != ".toml"  # a marking is no file
        read_as = require_marked(marking)[0].name if marking.strip() and plain else ""
    except (UnknownNameError, SeveralMeaningsError):
        read_as = ""  # what it says of the voltage is told by its number
    return replace(reading, voltage=tuple(find_voltage(part, marking, read_as, part_names())))


def require_marked(word: str, folder: Path | None = None) -> tuple[Part, Reading]:
    """Return the part as require_part does, and how the word was read, with the caution that belongs to it."""
    path = Path(word)
    if path.suffix == ".toml" or path.name != word:
        part = read_part(path)
        return part, Reading(word, part.name, "file")
    folder = folder or data_folder("parts")
    reading = read_marking(word, folder)
    return read_part(folder / f"{reading.page}.toml"), reading


def read_marking(word: str, folder: Path | None = None) -> Reading:
    """Read what is printed on a chip: the page that is meant, and maker and speed where their rules are known.

    Raises UnknownNameError with near names, SeveralMeaningsError if the word is no page's own and can mean several.

    >>> reading = read_marking("M27C256B-12F1")
    >>> reading.page, reading.speed_ns
    ('27C256', 120)
    """
    folder = folder or data_folder("parts")
    names, wanted = part_names(folder), word.strip().casefold()
    for name in names:
        if name.casefold() == wanted:  # the page's own name: no need to look into the others
            return Reading(word, name, meanings=meanings(name))
    pages = {name: read_toml(folder / f"{name}.toml").get("aliases", ()) for name in names}
    return decode(word, pages, read_markings())


def read_all(folder: Path | None = None) -> list[Part]:
    """Read every page, in order of names."""
    folder = folder or data_folder("parts")
    return [read_part(folder / f"{name}.toml") for name in part_names(folder)]
