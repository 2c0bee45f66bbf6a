"""The boards and CPUs that are shipped, and files of your own."""

from __future__ import annotations

from pathlib import Path

import msgspec

from romwright.boards.clockrules import find_clock_faults
from romwright.boards.cyclerules import find_cpu_faults
from romwright.boards.model import Board, Cpu
from romwright.boards.power import find_power_faults
from romwright.boards.rules import find_faults
from romwright.datafiles import data_folder, read_data_file
from romwright.errors import DataFileError, UnknownNameError
from romwright.parts.library import require_part
from romwright.parts.model import Part


def board_names(folder: Path | None = None) -> list[str]:
    """List the names of all shipped boards."""
    return sorted(path.stem for path in (folder or data_folder("boards")).glob("*.toml"))


def cpu_names() -> list[str]:
    """List the CPUs whose bus cycles are known."""
    return sorted(path.stem for path in data_folder("cycles").glob("*.toml"))


def read_cpu(path: Path) -> Cpu:
    """Read the bus cycles of a CPU; raises DataFileError with all faults."""
    cpu = read_data_file(path, Cpu, [find_cpu_faults])
    require_own_name(path, cpu.name)
    return cpu


def require_cpu(name: str) -> Cpu:
    """Return the CPU of that name, in any case of letters; raises UnknownNameError with near names."""
    return read_cpu(data_folder("cycles") / f"{require_name('CPU', name, cpu_names())}.toml")


def read_board(path: Path) -> Board:
    """Read a board; raises DataFileError with all its faults."""
    board = read_data_file(path, Board)
    require_own_name(path, board.name)
    try:
        cpu = require_cpu(board.cpu)
    except UnknownNameError as error:
        raise DataFileError(str(path), [f"cpu: {board.cpu!r}, {error.expected} [cpu]"]) from None
    power_faults = find_power_faults(board.rails, board.limits, board.bus)
    if faults := [*find_faults(board, cpu), *power_faults, *find_clock_faults(board, cpu)]:
        raise DataFileError(str(path), faults)
    return board


def require_board(name: str) -> Board:
    """Return the shipped board of that name; a path, or a name with .toml, is read from there.

    Raises UnknownNameError with near names, DataFileError with all faults of the file, OSError if there is none.
    """
    path = Path(name)
    if path.suffix == ".toml" or path.name != name:
        return read_board(path)
    return read_board(data_folder("boards") / f"{require_name('board', name, board_names())}.toml")


def fitted_chips(board: Board) -> dict[str, Part]:
    """Return the chip that the board's file puts in each socket, its polarities stated; none for an empty socket."""
    return {each.name: require_part(each.part).ordered_as(each.stated) for each in board.sockets if each.part}


def board_json(board: Board, cpu: Cpu) -> dict:
    """Return every key of a board's file, and the cycles of its CPU with what is unchecked of them, as plain values."""
    of_cpu = {"cycles": cpu.cycles, "ports": cpu.ports, "cycles_unchecked": cpu.unchecked}
    return msgspec.to_builtins(board) | msgspec.to_builtins(of_cpu)


def require_name(kind: str, name: str, known: list[str]) -> str:
    """Return the known name that is meant, in any case of letters; raises UnknownNameError."""
    folded = {each.casefold(): each for each in known}
    if name.strip().casefold() not in folded:
        raise UnknownNameError(kind, name, known)
    return folded[name.strip().casefold()]


def require_own_name(path: Path, name: str) -> None:
    """Raise DataFileError unless a file is named after what it describes."""
    if name != path.stem:
        raise DataFileError(str(path), [f"name: {name!r}, but the file is named {path.stem!r} [name]"])
