"""The chip of a job in its socket: links, plan and proof, and the bytes to burn."""

from __future__ import annotations

from dataclasses import dataclass, replace

from romwright.boards.library import require_board, require_cpu
from romwright.boards.model import Board, Cpu, Socket
from romwright.errors import OptionError
from romwright.findings import Finding, Severity, blocks
from romwright.fit import kinds, selects
from romwright.fit.onboard.boarding import BoardPlan, plan_board
from romwright.fit.plans.bench import Burnt
from romwright.fit.plans.contents import words_of
from romwright.fit.plans.proof import Proof
from romwright.fit.plans.wiring import Plan
from romwright.fit.standins import unchecked_pins
from romwright.fit.verdict import examine_fit, prove_plan
from romwright.images.preparation import Source, prepare
from romwright.jobs.inputs import Inputs
from romwright.jobs.model import Contents, Fit
from romwright.jobs.planned import prepare_planned
from romwright.jobs.recipes import accepted, read_input, recipe_from
from romwright.jobs.sockets import fit_others, ordered, parse_also, parse_setting, require_thing, unchecked_of
from romwright.parts.library import Reading, require_marked
from romwright.parts.model import Part
from romwright.parts.notation import parse_polarity

LASTING = {  # of the findings about a chip that is simply plugged in: those that no wire changes
    kinds.SIZE, kinds.WIDTH, kinds.VOLATILE, kinds.NOT_WRITTEN, kinds.SLOW_WRITE, kinds.OUTPUT_KIND, kinds.LATCHED,
    kinds.SLOWER, kinds.TIME_UNKNOWN,
}  # fmt: skip
NOT_EXACT = {selects.STILL_LOST, selects.ENABLE_LOST}  # true of a wired chip too that drives otherwise


@dataclass(frozen=True)
class Fitted:
    """A chip in a socket as it is planned; `plugged_in` are the findings if it simply goes in, of a socket alone."""

    plan: Plan
    proof: Proof
    findings: tuple[Finding, ...]
    reading: Reading
    unchecked: dict[str, list[str]]
    pages: tuple[Part | None, Part]
    plugged_in: tuple[Finding, ...] = ()
    board: Board | None = None
    cpu: Cpu | None = None
    socket: Socket | None = None
    onboard: BoardPlan | None = None
    now: dict[str, str] | None = None
    also: dict[str, Part] | None = None  # the chips in the board's other sockets

    @property
    def works(self) -> bool:
        """Whether the chip, wired as planned, does what the original did and nothing more."""
        proof = self.proof
        return proof.equal and proof.drive_equal and proof.power_up_safe and not blocks(self.findings)

    @property
    def stops(self) -> list[Finding]:
        """What says: do not power up."""
        return [finding for finding in self.findings if finding.severity is Severity.STOP]


def fit_chip(fit: Fit) -> Fitted:
    """Plan the chip's way into the socket, and prove it. Raises OptionError, UnknownNameError, DataFileError."""
    if bool(fit.board) != bool(fit.socket) or bool(fit.board) == bool(fit.original):
        raise OptionError(
            "the job's fit names no socket, or two", where="fit",
            expected="board and socket, or from: the part that the socket was laid out for",
        )  # fmt: skip
    part, reading = require_marked(fit.chip)
    stated = parse_polarity(fit.chip_polarity, "fit.chip_polarity")
    return fit_on_board(fit, part, reading, stated) if fit.board else fit_in_socket(fit, part, reading, stated)


def fit_on_board(fit: Fit, part: Part, reading: Reading, stated: dict) -> Fitted:
    """Plan for a board's socket, its links included."""
    board = require_board(fit.board)
    cpu = require_cpu(board.cpu)
    socket = require_thing("socket", fit.socket, {each.name: each for each in board.sockets}, board.name)
    chip = ordered(part, stated, "fit.chip_polarity")
    now = parse_setting(board, fit.now) if fit.now else None
    others = fit_others(board, socket, parse_also(fit.also, "fit.also"))
    also = {name: other.chip for name, other in others.items()}
    found = plan_board(board, cpu, socket, chip, now, fit.prefer, (), also)
    findings = (*reading.findings, *found.judged.findings)
    return Fitted(
        found.plan, prove_plan(found.plan), findings, reading, unchecked_of(board, cpu, chip), (None, part), (),
        board, cpu, socket, found, now, also,
    )  # fmt: skip


def fit_in_socket(fit: Fit, part: Part, reading: Reading, stated: dict) -> Fitted:
    """Plan for a socket that was laid out for a part; every polarity must be stated."""
    original, its_reading = require_marked(fit.original)
    verdict = examine_fit(original, part, parse_polarity(fit.polarity, "fit.polarity"), stated, fit.prefer)
    if verdict.open_pins:
        raise OptionError(
            f"polarity not stated for pin {', '.join(verdict.open_pins)}: there is more than one wiring",
            where="fit.polarity", expected="every polarity, such as 20=L,27=H; that of the chip under chip_polarity",
        )  # fmt: skip
    (first,) = verdict.fits
    unchecked = {page.name: unchecked_pins(page) for page in verdict.pages if unchecked_pins(page)}
    lasting = LASTING | (set() if first.plan.wired.equal else NOT_EXACT)
    findings = (*its_reading.findings, *reading.findings, *(f for f in verdict.findings if f.code in lasting))
    return Fitted(first.plan, first.proof, findings, reading, unchecked, (original, part), verdict.findings)


@dataclass(frozen=True)
class Burning:
    """What the socket must show, what is burnt into the chip for that, and how it was made."""

    wanted: bytes
    burnt: bytes
    steps: tuple[str, ...]
    findings: tuple[Finding, ...]


def prepare_contents(contents: Contents, fitted: Fitted, inputs: Inputs) -> Burning:
    """Make the bytes to burn, as `prepare --plan` does. Raises what `prepare` raises."""
    plan = fitted.plan
    recipe = recipe_from(plan.chip, wishes(contents), plan.original)
    loaded = [read_input(inputs.path(text), contents.read_as or None) for text in contents.files]
    findings = accepted([one for one, _ in loaded], contents.accept)
    sources = [Source(name, one.image, at) for name, (one, at) in zip(contents.files, loaded)]
    done = prepare_planned(plan, {"": sources}, recipe)
    found = (*findings, *done.findings)
    return Burning(prepare(sources, recipe).chips[0], done.chips[0], tuple(done.steps), found)


def wishes(contents: Contents) -> dict[str, object]:
    """Return the keys of a job as `prepare` has them; what is not said is None."""
    said = {name: getattr(contents, name) or None for name in ("cut", "base", "fill", "order")}
    lists = {"store": contents.store, "fix": contents.fix}
    flags = {"join": contents.join, "invert": contents.invert, "repeat": contents.repeat}
    return said | lists | flags | {"swap": str(contents.swap) if contents.swap else None, "split": None}


def prove_burning(fitted: Fitted, burning: Burning) -> Fitted:
    """Return the fit with a proof that compares bytes: what the socket shows, and what is burnt."""
    plan = fitted.plan
    held = Burnt(words_of(burning.burnt, plan.chip), [words_of(burning.wanted, plan.original)])
    return replace(fitted, proof=prove_plan(plan, held))
