"""The timing pages that are shipped, a CPU by the name of a grade, and what is in between: delays of gates."""

from __future__ import annotations

from pathlib import Path

from romwright.boards.library import require_cpu, require_name, require_own_name
from romwright.datafiles import check_data, data_folder, read_toml
from romwright.errors import DataFileError, UnknownNameError
from romwright.timing.model import Grade, Timing
from romwright.timing.rules import find_timing_faults


def timing_names() -> list[str]:
    """List the CPUs whose read timing is known."""
    return sorted(path.stem for path in data_folder("timing").glob("*.toml"))


def read_timing(path: Path) -> Timing:
    """Read the timing page of a CPU; raises DataFileError with all its faults."""
    page = check_data(read_toml(path), str(path), Timing)
    require_own_name(path, page.name)
    try:
        cpu = require_cpu(page.name)
    except UnknownNameError as error:
        raise DataFileError(str(path), [f"name: {page.name!r}, {error.expected} [timing-name]"]) from None
    if faults := list(find_timing_faults(page, cpu)):
        raise DataFileError(str(path), faults)
    return page


def find_timing(name: str) -> Timing | None:
    """Return the timing page of a CPU of that exact name, None if nobody has read one."""
    return read_timing(data_folder("timing") / f"{name}.toml") if name in timing_names() else None


def require_timing(word: str) -> tuple[Timing, Grade | None]:
    """Return the page of a CPU, and the grade that the word names: `Z80`, `Z80A`, in any case of letters.

    Raises UnknownNameError, with near names.
    """
    names = timing_names()
    if word.strip().casefold() in (name.casefold() for name in names):
        return find_timing(require_name("CPU", word, names)), None
    known = list(names)
    for name in names:
        page = find_timing(name)
        for grade in page.grades:
            if word.strip().casefold() in (each.casefold() for each in (grade.name, *grade.aliases)):
                return page, grade
            known += [grade.name, *grade.aliases]
    raise UnknownNameError("CPU with a timing page", word, list(dict.fromkeys(known)))


def require_grade(page: Timing, word: str, where: str = "") -> Grade:
    """Return the grade of that name or alias, in any case of letters; raises UnknownNameError."""
    for grade in page.grades:
        if word.strip().casefold() in (each.casefold() for each in (grade.name, *grade.aliases)):
            return grade
    known = [name for grade in page.grades for name in (grade.name, *grade.aliases)]
    raise UnknownNameError(f"grade of the {page.name}", word, list(dict.fromkeys(known)), where=where)
