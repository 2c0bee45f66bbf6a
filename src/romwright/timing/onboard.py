"""A chip in a socket of a board, for one setting of the links: the paths as the schematic has them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from romwright.boards.model import Board, Cpu, Socket, expand, parse_span
from romwright.fit.onboard.accesses import Access
from romwright.fit.onboard.boarding import BoardPlan, study_plan
from romwright.fit.onboard.mounted import Mounted
from romwright.parts.model import Part, Role
from romwright.timing.arrivals import LOOP, Arrivals, Ways, data_delay
from romwright.timing.chip import ACCESS, FLOAT, Grade, address_words, key_of, time_of
from romwright.timing.judgement import Answer
from romwright.timing.library import find_timing, require_grade
from romwright.timing.paths import BUFFER_ON, Path, merged
from romwright.timing.quantity import Quantity, latest, unknown
from romwright.timing.windows import Pace, pace


def judge_on_board(mounted: Mounted, fitted: Grade) -> Answer | None:
    """Judge a chip as it is mounted on a board; None where no timing page of the CPU ships.

    Raises UnknownNameError if the board's file names a grade that the CPU's page does not have.
    """
    at = pace_of(mounted.board)
    return None if at is None else BoardTiming(mounted, at, fitted).judge()


def judge_planned(
    board: Board, cpu: Cpu, socket: Socket, found: BoardPlan, fitted: Grade, also: Mapping[str, Part] | None = None
) -> Answer | None:
    """Judge a chip as a plan wires it into a board's socket, the plan's gates included, as judge_on_board does."""
    study = study_plan(board, cpu, socket, found.plan, also)
    return judge_on_board(study.mount(study.nets(found.links)), fitted)


def pace_of(board: Board) -> Pace | None:
    """Return what the CPU of a board runs at, as far as its file says; None if nothing is known of the CPU's timing."""
    page, said = find_timing(board.cpu), board.timing
    if page is None:
        return None
    where = f"timing.cpu_grade of the board {board.name}"
    grade = require_grade(page, said.cpu_grade, where) if said and said.cpu_grade else None
    return pace(page, said.clock_mhz if said else None, grade)


class BoardTiming:
    """The paths of one chip on a board."""

    def __init__(self, mounted: Mounted, at: Pace, fitted: Grade) -> None:
        self.mounted, self.at, self.fitted, self.grade_ns = mounted, at, fitted, fitted.ns
        self.chip, self.board = mounted.chip, mounted.board
        self.arrivals = Arrivals(mounted.nets)
        self.back = self.way_back()
        data = mounted.nets.wiring.data_lines[mounted.socket.name]
        self.is_buffered = self.board.buffered or bool(data & self.arrivals.buffers.keys())

    def judge(self) -> Answer:
        """Return the margins of all paths in all reads of the socket's areas."""
        paths = [path for access in self.reads() for path in self.paths(access)]
        return Answer(self.chip, self.grade_ns, self.at, tuple(merged(paths)), self.board.cpu, self.fitted.assumed)

    def reads(self) -> Iterator[Access]:
        """Yield the reads that the chip is to answer."""
        for access in self.mounted.accesses.all:
            if access.expected == self.mounted.socket.name and access.cycle.space == "memory":
                yield access

    def way_back(self) -> Quantity:
        """Return the delay of the data lines; unknown where a data pin is not on a line of the CPU."""
        nets = self.mounted.nets
        for pin in (pin for pin in self.chip.pins if pin.role is Role.DATA):
            sources = nets.sources(self.mounted.node(pin))
            if sources and not any(source.data for source in sources):
                return unknown(f"the delay of what lies behind {pin.function} of {self.chip.name}")
        return data_delay(self.board, nets.wiring.data_lines[self.mounted.socket.name])

    def paths(self, access: Access) -> Iterator[Path]:
        """Yield the paths of one access: of all address pins together, of each enable, and of letting go."""
        pins = [pin for pin in self.chip.pins if pin.role is Role.ADDRESS]
        every = [self.arrivals.ways(self.mounted.node(pin)) for pin in pins]
        together: dict[str, list[Quantity]] = {}
        for line, delay in ((line, delay) for ways in every for line, delay in ways.items()):
            together.setdefault(line, []).append(delay)
        words = address_words(self.chip)
        yield from self.to(access, words, ACCESS, {line: latest(delays) for line, delays in together.items()})
        nodes = {name: self.mounted.node(self.chip.by_function[name]) for name in self.chip.enables}
        enables = {name: self.arrivals.ways(node) for name, node in nodes.items()}
        for name, ways in enables.items():
            yield from self.to(access, name, key_of(name), ways)
        yield from self.releases(access, list(enables.values()))

    def to(self, access: Access, pins: str, key: str, ways: Ways) -> Iterator[Path]:
        """Yield the paths that end at some pins, one for each window that their lines have, the slowest way of each."""
        cycle, back = access.cycle.name, self.back
        need = time_of(self.chip, key, self.grade_ns)
        by_window: dict[int, list[Quantity]] = {}
        windows = self.at.page.windows_of(cycle)
        for line, delay in ways.items():
            place = next((n for n, window in enumerate(windows) if line in window.names), None)
            held = delay + self.latch(line) + back
            if place is None:
                yield Path(cycle, line, pins, key, self.unread(line), held, need)
            else:
                by_window.setdefault(place, []).append(held)
        for place, delays in sorted(by_window.items()):
            window = windows[place]
            waits, stretch_ns = self.waits(access)
            span, basis = self.at.window(window, waits, stretch_ns), window.basis(waits)
            taken = "; ".join(filter(None, (window.assumes, BUFFER_ON * self.is_buffered)))
            yield Path(cycle, window.label, pins, key, span, latest(delays), need, basis, taken)

    def unread(self, line: str) -> Quantity:
        """Return the window of a line of which nobody has read when it is good."""
        if line in self.board.signals:
            drives = self.board.signals[line]
            return unknown(f"when {line} ({drives}) is good in a read: name it in timing.steady if it stands still")
        whose = "" if line == LOOP else f" of the {self.board.cpu}"
        return unknown(f"when {line}{whose} is good in a read")

    def latch(self, line: str) -> Quantity:
        """Return the delay of the latch of a multiplexed line: unknown unless the board's file tells of it."""
        if line in expand(self.at.page.multiplexed) and line not in self.arrivals.buffers:
            return unknown(f"the latch that holds {self.at.page.multiplexed} of the {self.board.cpu}")
        return latest(())

    def waits(self, access: Access) -> tuple[int, float]:
        """Return the waits of an access in clocks, and for how many nanoseconds the clock is held."""
        said = self.board.timing.waits if self.board.timing else ()
        mine = [wait for wait in said if wait.cycle in ("", access.cycle.name) and covers(wait.range, access)]
        return sum(wait.clocks for wait in mine), sum(wait.stretch_ns for wait in mine)

    def releases(self, access: Access, enables: list[Ways]) -> Iterator[Path]:
        """Yield how the chip lets go: as soon as the first of its enables that the line reaches goes off."""
        cycle, need = access.cycle.name, time_of(self.chip, FLOAT, self.grade_ns)
        found = [each for each in self.at.page.releases if cycle in each.cycles]
        for each in found:
            ends = [ways[line] for ways in enables for line in expand(each.lines) if line in ways]
            never = unknown(f"how {self.chip.name} lets go: no enable of it follows {each.lines}")
            delay = min(ends, key=lambda end: (not end.is_known, end.high_ns or 0), default=never)
            span = self.at.release(each)
            yield Path(cycle, f"end of {each.lines}", "floating", FLOAT, span, delay, need, each.source)
        if not found:
            unread = unknown(f"when the {self.board.cpu} lets another driver on the data lines after a read")
            yield Path(cycle, "end of the read", "floating", FLOAT, unread, latest(()), need)


def covers(span: str, access: Access) -> bool:
    """Tell whether a range of addresses, or everything, takes in an access."""
    both = parse_span(span) if span else None
    return both is None or both[0] <= access.span[0] and access.span[1] <= both[1]
