"""The parts that are shipped: find one by name or alias, list all, suggest near names."""

from __future__ import annotations

from pathlib import Path

from romwright.datafiles import data_folder, read_data_file, read_toml
from romwright.errors import DataFileError, OptionError, UnknownNameError
from romwright.parts.model import Part
from romwright.parts.rules import find_faults


def part_names(folder: Path | None = None) -> list[str]:
    """List the names of all shipped parts."""
    return sorted(path.stem for path in (folder or data_folder("parts")).glob("*.toml"))


def read_part(path: Path) -> Part:
    """Read one page; raises DataFileError with all its faults."""
    part = read_data_file(path, Part, [find_faults])
    if part.name != path.stem:
        raise DataFileError(str(path), [f"name: {part.name!r}, but the file is named {path.stem!r} [name]"])
    return part


def require_part(name: str, folder: Path | None = None) -> Part:
    """Return the part of that name or alias, in any case of letters.

    Raises UnknownNameError with near names, OptionError if the marking has several meanings.

    >>> require_part("m27c256b").name
    '27C256'
    """
    folder = folder or data_folder("parts")
    names = part_names(folder)
    wanted = name.strip().casefold()
    for known in names:
        if known.casefold() == wanted:
            return read_part(folder / f"{known}.toml")
    aliases = {known: read_toml(folder / f"{known}.toml").get("aliases", ()) for known in names}
    meant = [known for known in names if wanted in (alias.casefold() for alias in aliases[known])]
    if len(meant) == 1:
        return read_part(folder / f"{meant[0]}.toml")
    if meant:
        raise OptionError(
            f"the marking {name!r} has {len(meant)} meanings",
            expected=f"one of: {', '.join(meant)}",
            help="the pages of these parts say how to tell them apart",
        )
    raise UnknownNameError("part", name, [*names, *(alias for known in names for alias in aliases[known])])
