"""A line map as other programs read it, and the proof that what is said reproduces the dump.

The proof reads the statement, not the map, and works it out line by line: it shares no code with the search.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from romwright.errors import RomwrightError
from romwright.faults.lines import Line, LineMap, State


def state_lines(lines: Sequence[Line], letter: str) -> list[dict[str, object]]:
    """Return lines under the documented JSON keys.

    >>> state_lines([Line.follows(1), Line.stuck(1)], "A")
    [{'line': 'A0', 'state': 'follows', 'of': 'A1'}, {'line': 'A1', 'state': 'stuck', 'level': 1}]
    """
    return [state_line(lines, number, letter) for number in range(len(lines))]


def state_line(lines: Sequence[Line], number: int, letter: str) -> dict[str, object]:
    """Return one line under the documented JSON keys; `with` is the other line that carries the same."""
    line = lines[number]
    said: dict[str, object] = {"line": f"{letter}{number}", "state": str(line.state)}
    if line.state is State.STUCK:
        return said | {"level": line.level}
    if line.law is None:
        return said | {"of": f"{letter}{line.of[0]}"}
    partners = [f"{letter}{n}" for n, other in enumerate(lines) if other == line and n != number]
    partner = partners[0] if len(partners) == 1 else partners
    return said | {"with": partner, "law": str(line.law), "of": [f"{letter}{source}" for source in line.of]}


def state_map(lines: LineMap) -> dict[str, object]:
    """Return a whole map under the documented JSON keys."""
    said: dict[str, object] = {
        "address_lines": state_lines(lines.address, "A"),
        "data_lines": state_lines(lines.data, "D"),
    }
    if lines.start or lines.beyond is not None:
        said |= {"start": lines.start, "beyond": None if lines.beyond is None else f"{lines.beyond:02X}"}
    return said


def prove_statement(
    said: Mapping, reference: np.ndarray, dump: np.ndarray, wrong: tuple[np.ndarray, np.ndarray]
) -> None:
    """Read the reference through a statement, turn the bits that it calls wrong, and compare with the dump.

    `wrong` has addresses and the bits that are wrong there. Raises RomwrightError unless all bytes are equal.
    """
    addresses = np.arange(len(dump))
    cell = np.zeros(len(dump), np.int64)
    for number, line in enumerate(said["address_lines"]):
        cell |= level_of(line, addresses) << number
    cell = addresses + said["start"] if "start" in said else cell
    seen = reference[cell % len(reference)]
    if said.get("beyond") is not None:
        seen[(cell < 0) | (cell >= len(reference))] = int(said["beyond"], 16)
    byte = np.zeros(len(dump), np.uint8)
    for number, line in enumerate(said["data_lines"]):
        byte |= level_of(line, seen) << np.uint8(number)
    byte[wrong[0]] ^= wrong[1]
    if not np.array_equal(byte, dump):
        first = int(np.flatnonzero(byte != dump)[0])
        raise RomwrightError(
            "the explanation found does not reproduce the dump, so it is not printed",
            where=f"address {first:04X} of the dump", expected=f"{byte[first]:02X}, not {dump[first]:02X}",
            help="this is a fault of romwright: please report it with both files",
        )  # fmt: skip


def level_of(line: Mapping, levels: np.ndarray) -> np.ndarray:
    """Return the level of a stated line where the lines that it carries have those of the bits of a number."""
    if line["state"] == "stuck":
        return np.full_like(levels, line["level"])
    sources = [line["of"]] if isinstance(line["of"], str) else line["of"]
    value = (levels >> int(sources[0][1:])) & 1
    for source in sources[1:]:
        other = (levels >> int(source[1:])) & 1
        value = value & other if line["law"] == "and" else value | other
    return 1 - value if line["state"] == "inverted" else value
