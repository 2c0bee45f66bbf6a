"""The power-up sheet of a board: what is measured before anything on it is judged, in the order in which it is done.

All values come from the board's file; where it has none, the sheet leaves room and says so.
"""

from __future__ import annotations

from collections.abc import Iterator

from romwright.boards.model import Board
from romwright.electric.readings import PRACTICE, BenchCheck, judge_readings
from romwright.images.words import listed
from romwright.jobs.measurements import LOGIC, clock_mhz, draw, range_or, without_limits
from romwright.parts.cautions import POWER_OFF, SOURCES, measuring_cautions
from romwright.sheets.document import Block, Facts, Section, Sheet, Table, Tick, Ticks, Words

WHY = "What to measure before a memory of this board is judged."
SHORT = f"A rail of a few ohms is shorted: do not switch on ({PRACTICE})."
NO_CURRENT = "not stated"
OUT = "Switch off at once if a rail is out, a current is above its window, or a chip gets hot."


def build_power_up(board: Board, date: str = "") -> Sheet:
    """Write the power-up sheet of a board; the date is the user's."""
    rails, found = [name for name, volts in board.rails.items() if volts], judge_readings(board, {}, {})
    sections = [
        Section("Before you start", tuple(before())),
        Section("With the power off", tuple(power_off(board, rails)), whole=True),
        Section("Power on, sockets empty", tuple(supplies(board, rails)), whole=True),
        Section("At the empty sockets", tuple(positions(board)), whole=True),
        Section("Chips in", tuple(loaded(board, rails)), whole=True),
        Section("What may be trusted", tuple(trust(found)), whole=True),
    ]
    return Sheet(f"Power-up: {board.title}", WHY, date, tuple(sections), tuple(found.unchecked))


def before() -> Iterator[Block]:
    """Yield the cautions."""
    first, *others = measuring_cautions()
    yield Words(first, loud=True)
    yield Ticks(tuple(map(Tick, (POWER_OFF, *others))))
    yield Words(f"Sources: {SOURCES[POWER_OFF]}; else {PRACTICE}.")


def power_off(board: Board, rails: list[str]) -> Iterator[Block]:
    """Yield what is done before the first switching on."""
    sockets = listed([socket.name for socket in board.sockets])
    empty = Tick(f"chips out of {sockets}, each marked with its socket and the place of its pin 1")
    yield Ticks((empty, *(Tick(f"resistance from {name} to 0 V", "ohm", "steady, no short") for name in rails)))
    yield Words(SHORT)


def supplies(board: Board, rails: list[str]) -> Iterator[Block]:
    """Yield the rails: where to probe, what to expect, and the current with empty sockets."""
    items = []
    for name in rails:
        limits = board.limits.get(name)
        place = limits.probe if limits else "the board's file does not say where"
        items.append(Tick(f"{name}: {place}", "V", range_or(board, name, board.rails[name])))
    items += [Tick(f"current from {name}, sockets empty", "mA", "less than with chips in") for name in rails]
    yield Ticks(tuple(items))
    yield Words(OUT, loud=True)
    if bare := without_limits(board):
        yield Words(f"The board's file states no limits for {bare}: write down what you measure.")


def positions(board: Board) -> Iterator[Block]:
    """Yield the supplies at each socket of the board."""
    for socket in board.sockets:
        grounds = [at for at, node in socket.nodes.items() if board.rails.get(node) == 0]
        against = f" against {grounds[0]}" if grounds else ""
        items = [
            Tick(f"{socket.name} position {at} ({node}){against}", "V", range_or(board, node, volts))
            for at, node in sorted(socket.nodes.items())
            if (volts := board.rails.get(node))
        ]
        yield Ticks((*items, Tick(f"{socket.name}, every other position: the one furthest off", "V", LOGIC)))


def loaded(board: Board, rails: list[str]) -> Iterator[Block]:
    """Yield what is measured with every chip in."""
    items = [Tick("switched off, chips in as they were marked, switched on")]
    items += [Tick(f"{name} once more", "V", range_or(board, name, board.rails[name])) for name in rails]
    for name in rails:
        limits = board.limits.get(name)
        most = f"; its supply gives {limits.most_ma:g} mA" if limits and limits.most_ma is not None else ""
        items.append(Tick(f"current from {name}", "mA", f"{draw(board, name) or NO_CURRENT}{most}"))
    if mhz := clock_mhz(board):
        items.append(Tick(f"clock of the {board.cpu}", "MHz", f"{mhz:g} MHz"))
    yield Ticks(tuple(items))


def trust(found: BenchCheck) -> Iterator[Block]:
    """Yield what counts before all rails are known to be in, and how the readings are judged."""
    words = {"yes": "yes", "unknown": "not before every rail is in"}
    yield Table(("what", "trust it?", "why"), tuple((each.what, words[each.trust], each.why) for each in found.trust))
    readings = ",".join(f"{each.rail.removeprefix('+')}=VOLTS" for each in found.rails)
    yield Words(f"romwright bench check {found.board.name} --measured {readings} judges what you read.")
    yield Facts((("limits", found.board.source), ("what may be trusted", PRACTICE)))
