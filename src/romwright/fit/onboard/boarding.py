"""A plan for a board's socket: links and wiring with the least work, judged on the whole board."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from msgspec import Struct
from msgspec.structs import replace

from romwright.boards import model
from romwright.boards.model import UNCONNECTED, Board, Cpu, Socket
from romwright.errors import OptionError
from romwright.findings import Severity
from romwright.fit.onboard.mounted import pin_node
from romwright.fit.onboard.ranking import WORKS
from romwright.fit.onboard.settings import Judged, Study
from romwright.fit.onboard.site import Site, Surroundings
from romwright.fit.pins import PART_SHOWN
from romwright.fit.plans.glue import DECODER, PlacedGate, Tap
from romwright.fit.plans.rows import How
from romwright.fit.plans.wiring import Plan, plan_wiring
from romwright.fit.plans.work import gate_parts, points
from romwright.parts.model import Level, Part

JUDGED = 32  # drafts of a plan, cheapest first, that are judged on the whole board
KINDS = {"diodes": "and"}  # of a plan's gates, as a board's file has them


class BoardPlan(Struct, frozen=True):
    """A plan for a board's socket: `links` is the setting that it is for, `moved` those to move, `points` the work."""

    links: dict[str, str]
    moved: dict[str, str]
    plan: Plan
    points: int
    judged: Judged


def plan_board(
    board: Board, cpu: Cpu, socket: Socket, chip: Part, now: Mapping[str, str] | None = None,
    prefer: tuple[str, ...] = (), banks: tuple[str, ...] = (), also: Mapping[str, Part] | None = None,
) -> BoardPlan:  # fmt: skip
    """Plan the least work with which a chip, its polarities stated, serves a board's socket.

    Any link may be moved; `now` is the present setting, without which moving links costs nothing. Of the cheapest plans
    the first is taken with which the whole board works, the other sockets included. Raises OptionError if no setting
    and no node of the board lets a chip know when to answer, or brings all lines to the socket.
    """
    around = Surroundings(board, cpu, socket, also)
    first: BoardPlan | None = None
    best: tuple[int, BoardPlan] | None = None
    for extra in reaches(around):
        if best and best[0] <= points(prefer).point:
            break  # any wire to a point of the board costs as much
        drafts = sorted(draft_plans(around, chip, now, prefer, banks, extra), key=lambda draft: draft[0])
        for rank, site, plan, moved, work in drafts[:JUDGED]:
            lacking, inexact, worth, *_ = rank
            if best and (lacking or inexact or worth >= best[0]):
                break
            made = BoardPlan(site.links, moved, plan, work, judge_plan(board, cpu, socket, site, plan, also))
            first = first or made
            if made.judged.verdict == WORKS:
                best = worth, made
                break
        if chip.words < around.words or chip.bits < around.bits:
            break  # no wire makes it larger
    first = best[1] if best else first
    if first is None:
        raise OptionError(
            f"nothing at {socket.name} of {board.name} tells when the chip is to answer, or a line does not reach it",
            help="check the board's file: which node is the select of that socket?",
        )
    return first


def reaches(around: Surroundings) -> Iterator[tuple[str, ...]]:
    """Yield the nodes beyond the socket that are let in: none, then each by itself."""
    yield ()
    yield from ((node,) for node in around.nodes())


def draft_plans(
    around: Surroundings, chip: Part, now: Mapping[str, str] | None, prefer: tuple[str, ...], banks: tuple[str, ...],
    extra: Sequence[str],
) -> Iterator[tuple[tuple, Site, Plan, dict[str, str], int]]:  # fmt: skip
    """Yield for every setting of the links what to sort by, the site, the plan, the links moved and the points."""
    cost, known = points(prefer), {}  # many settings bring the same to the socket
    for sites in around.sites(extra, now):
        part, beyond = sites[0].part, sites[0].beyond
        key = (part.left, part.right, repr(part.drives), repr(beyond))
        if key not in known:
            known[key] = plan_wiring(part, chip, prefer, banks, beyond)
        plan = replace(known[key], original=part)
        points_of_plan = plan.points
        for site in sites:
            moved = {link: position for link, position in site.links.items() if now and now[link] != position}
            work = points_of_plan + len(moved) * cost.link
            lacking = len(site.lacking)
            worth = work + cost.fight * site.fights
            yield (
                (lacking, not plan.wired.equal, worth, len(moved), tuple(site.links.values())),
                site,
                plan,
                moved,
                work,
            )


def judge_plan(
    board: Board,
    cpu: Cpu,
    socket: Socket,
    site: Site,
    plan: Plan,
    also: Mapping[str, Part] | None = None,
) -> Judged:
    """Judge a board with the chip in the socket as a plan wires it, by the checks that `links` makes.

    With banks, the worst of the settings of the switches; where the contents lie is then for `prepare` to say.
    """
    found = []
    for bank in range(max(1, len(plan.banks))):
        judged = study_plan(board, cpu, socket, plan, also, bank).judge(site.links)
        kept = tuple(f for f in judged.findings if not plan.banks or f.code is not PART_SHOWN)
        found.append(replace(judged, findings=kept))
    return min(found, key=lambda judged: [Severity.STOP, Severity.FAULT, WORKS].index(judged.verdict))


def study_plan(
    board: Board, cpu: Cpu, socket: Socket, plan: Plan, also: Mapping[str, Part] | None = None, bank: int = 0
) -> Study:
    """Return the board with a plan's wires and gates in place, its switches set for a bank."""
    joined = wires(board, socket, plan, bank)
    return Study(with_gates(board, socket, plan), cpu, socket, plan.chip, also=also, wired=joined)


def with_gates(board: Board, socket: Socket, plan: Plan) -> Board:
    """Return the board with the gates of a plan."""
    return replace(board, gates=(*board.gates, *(gate_on(board, socket, gate) for gate in plan.gates)))


def gate_on(board: Board, socket: Socket, gate: PlacedGate) -> model.Gate:
    """Return a gate of a plan as a board's file has it."""
    outputs = [gate.name]
    if gate.kind == DECODER:
        outputs = [gate.name if pin == gate.output else UNCONNECTED for pin in gate_parts()[DECODER].outputs]
    inputs = [node_of(board, socket, tap) for tap in gate.taps]
    return model.Gate(gate.name, KINDS.get(gate.kind, gate.kind), " ".join(inputs), " ".join(outputs), chip=gate.part)


def node_of(board: Board, socket: Socket, tap: Tap) -> str:
    """Return the node that feeds an input."""
    if tap.gate or tap.point:
        return tap.gate or tap.point
    return socket.place(tap.position) if tap.position else rail(board, tap.level)


def rail(board: Board, level: Level) -> str:
    """Return the rail of a level. Raises OptionError if the board has none."""
    volts = 5 if level == "H" else 0
    for name, have in board.rails.items():
        if have == volts:
            return name
    raise OptionError(f"{board.name} has no rail of {volts} V", expected="rails = { ... } in the board's file")


def wires(board: Board, socket: Socket, plan: Plan, bank: int) -> list[tuple[str, str]]:
    """List the joins that a plan makes: node and chip pin. The switches are set for a bank."""
    found = []
    for row in plan.rows:
        if row.chip and row.how is not How.OPEN:
            strapped = "H" if row.strap and bank >> plan.straps.index(row.strap) & 1 else "L"
            node = {
                How.STRAIGHT: lambda row: socket.place(row.socket), How.WIRE: lambda row: socket.place(row.wire_to),
                How.VCC: lambda row: rail(board, "H"), How.GND: lambda row: rail(board, "L"),
                How.GATE: lambda row: row.gate, How.POINT: lambda row: row.point,
                How.STRAP: lambda row, level=strapped: rail(board, level),
            }[row.how](row)  # fmt: skip
            found.append((node, pin_node(socket, row.chip)))
    return found
