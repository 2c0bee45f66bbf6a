"""A chip of a job in its socket: links, plan and proof."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

from msgspec import Struct
from msgspec.structs import replace

from romwright.boards.library import require_board, require_cpu
from romwright.boards.model import Board, Cpu, Socket
from romwright.electric.socketed import Electric, examine_on_board
from romwright.errors import OptionError
from romwright.findings import Finding, Severity, blocks
from romwright.fit import kinds, pins, selects, writes
from romwright.fit.onboard.boarding import BoardPlan, plan_board
from romwright.fit.plans.proof import Proof
from romwright.fit.plans.sets import Share, join_sockets, share_out
from romwright.fit.plans.wiring import Plan, plan_wiring
from romwright.fit.standins import unchecked_pins, unfed
from romwright.fit.verdict import Verdict, examine_fit, prove_plan
from romwright.jobs.model import Fit, is_page
from romwright.jobs.sockets import fit_others, ordered, parse_also, parse_setting, require_thing, unchecked_of
from romwright.parts.library import Reading, require_marked, to_burn
from romwright.parts.model import Part
from romwright.parts.notation import parse_polarity
from romwright.timing.chip import require_grade_ns
from romwright.timing.judgement import Answer
from romwright.timing.onboard import judge_planned

LASTING = {  # of the findings about a chip that is simply plugged in: those that no wire changes
    kinds.SIZE, kinds.WIDTH, kinds.VOLATILE, kinds.NOT_WRITTEN, kinds.SLOW_WRITE, kinds.OUTPUT_KIND, kinds.LATCHED,
    kinds.SLOWER, kinds.TIME_UNKNOWN,
}  # fmt: skip
NOT_EXACT = {selects.STILL_LOST, selects.ENABLE_LOST}  # true of a wired chip too that drives otherwise
WRITTEN = {writes.WRITE, writes.WRITE_STATES}  # true of one too that is written where the original is not


class Fitted(Struct, frozen=True):
    """A chip in a socket as it is planned; `plugged_in` are the findings if it simply goes in, of a socket alone.

    `pages` are those of its two parts, None for one that no shipped file has. `whole` is the original in whose place
    several chips go, and `share` what this one takes of its contents.
    """

    plan: Plan
    proof: Proof
    findings: tuple[Finding, ...]
    reading: Reading
    unchecked: dict[str, list[str]]
    pages: tuple[Part | None, Part | None]
    plugged_in: tuple[Finding, ...] = ()
    board: Board | None = None
    cpu: Cpu | None = None
    socket: Socket | None = None
    onboard: BoardPlan | None = None
    now: dict[str, str] | None = None
    also: dict[str, Part] | None = None  # the chips in the board's other sockets
    whole: Part | None = None
    share: Share | None = None
    electric: Electric | None = None  # of a chip on a board
    voltage: tuple[Finding, ...] = ()  # the stop of a chip that would be burnt at what kills its look-alikes
    timing: Answer | None = None  # of a chip on a board of whose CPU the read timing is known

    @property
    def works(self) -> bool:
        """Whether the chip, wired as planned, does what the original did and nothing more."""
        proof = self.proof
        return proof.equal and proof.drive_equal and proof.power_up_safe and not blocks(self.findings)

    @property
    def stops(self) -> list[Finding]:
        """What says: do not power up."""
        return [finding for finding in self.findings if finding.severity is Severity.STOP]


class Burning(Struct, frozen=True):
    """What the socket must show in each bank, what is burnt into the chip for that, and how it was made."""

    banks: Mapping[str, bytes]  # by the names of the plan's banks, by "" if it has none
    burnt: bytes
    steps: tuple[str, ...]
    findings: tuple[Finding, ...]

    @property
    def wanted(self) -> bytes:
        """What the socket must show; of several banks the first."""
        return next(iter(self.banks.values()))


class Pages:
    """The pages that a job names: shipped ones by name, the user's from the folder of the job's file."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def path(self, name: str) -> str:
        """Return a name, or where its file is."""
        return str(self.folder / name) if is_page(name) else name

    def part(self, name: str) -> tuple[Part, Reading]:
        """Return a part and how its name was read. Raises what `require_marked` raises."""
        return require_marked(self.path(name))

    def board(self, name: str) -> Board:
        """Return a board. Raises what `require_board` raises."""
        return require_board(self.path(name))


def shipped(part: Part, reading: Reading) -> Part | None:
    """Return a page that ships, None for one of the user's: a plan's file then holds it."""
    return None if reading.how == "file" else part


def fit_chips(fit: Fit, pages: Pages, others: Mapping[str, Part] | None = None) -> list[Fitted]:
    """Plan the way of a fit's chip, or of each of its chips, into the socket, and prove it.

    `others` are chips that the job puts into other sockets of the board. Raises OptionError, UnknownNameError,
    DataFileError.
    """
    part, reading = pages.part(fit.chip)
    voltage = to_burn(part, reading, fit.confirmed).voltage
    return [replace(fitted, voltage=voltage) for fitted in plan_chips(fit, part, reading, pages, others or {})]


def plan_chips(fit: Fit, part: Part, reading: Reading, pages: Pages, others: Mapping[str, Part]) -> list[Fitted]:
    """Plan a chip or its shares as the fit says."""
    stated = parse_polarity(fit.chip_polarity, "fit.chip_polarity")
    if fit.board:
        return [fit_on_board(fit, part, reading, stated, pages, others)]
    if fit.second:
        return [fit_for_two(fit, part, reading, stated, pages)]
    return fit_shares(fit, part, reading, stated, pages) if fit.chips > 1 else [
        fit_in_socket(fit, part, reading, stated, pages)
    ]  # fmt: skip


def fit_on_board(
    fit: Fit, part: Part, reading: Reading, stated: dict, pages: Pages, others: Mapping[str, Part]
) -> Fitted:
    """Plan for a board's socket, its links included."""
    board = pages.board(fit.board)
    cpu = require_cpu(board.cpu)
    socket = require_thing("socket", fit.socket, {each.name: each for each in board.sockets}, board.name)
    chip = ordered(part, stated, "fit.chip_polarity")
    now = parse_setting(board, fit.now) if fit.now else None
    said = [(place, pages.path(name), polarity) for place, name, polarity in parse_also(fit.also, "fit.also")]
    also = {name: other.chip for name, other in fit_others(board, socket, said).items()} | dict(others)
    found = plan_board(board, cpu, socket, chip, now, fit.prefer, fit.banks, also)
    electric = examine_on_board(board, socket, found.plan.original, chip)
    grade = require_grade_ns(chip, fit.grade_ns, reading.speed_ns, "grade_ns under fit of the job")
    timing = judge_planned(board, cpu, socket, found, grade, also)
    added = (*electric.findings, *(timing.findings if timing else ()))
    known = [finding for finding in added if finding.severity is not Severity.NOTE]
    findings = (*reading.findings, *found.judged.findings, *known)
    return Fitted(
        found.plan, prove_plan(found.plan), findings, reading, unchecked_of(board, cpu, chip),
        (None, shipped(part, reading)), (), board, cpu, socket, found, now, also, electric=electric, timing=timing,
    )  # fmt: skip


def fit_in_socket(fit: Fit, part: Part, reading: Reading, stated: dict, pages: Pages) -> Fitted:
    """Plan for a socket that was laid out for a part; every polarity must be stated."""
    original, its_reading = pages.part(fit.original)
    verdict = examine_fit(original, part, parse_polarity(fit.polarity, "fit.polarity"), stated, fit.prefer, fit.banks)
    kept = shipped(original, its_reading), shipped(part, reading)
    return fitted_as(verdict, its_reading, reading, verdict.pages, kept)


def fit_shares(fit: Fit, part: Part, reading: Reading, stated: dict, pages: Pages) -> list[Fitted]:
    """Plan for several chips in place of one original: each has half of each word, or a part of the words."""
    original, its_reading = pages.part(fit.original)
    whole = ordered(original, parse_polarity(fit.polarity, "fit.polarity"), "fit.polarity")
    made = []
    for share in share_out(whole, part, fit.chips):
        verdict = examine_fit(share.part, part, {}, stated, fit.prefer, fit.banks)
        kept = None, shipped(part, reading)
        made.append(replace(fitted_as(verdict, its_reading, reading, [original, part], kept), whole=whole, share=share))
    return made


def fitted_as(
    verdict: Verdict,
    its_reading: Reading,
    reading: Reading,
    pages: Iterable[Part],
    kept: tuple[Part | None, Part | None],
) -> Fitted:
    """Return what the only fit of a verdict comes to. Raises OptionError while a polarity is open."""
    require_stated(verdict)
    first = verdict.fits[0]
    findings = (*its_reading.findings, *reading.findings, *lasting_of(verdict))
    return Fitted(first.plan, first.proof, findings, reading, unread(pages), kept, verdict.findings)


def fit_for_two(fit: Fit, part: Part, reading: Reading, stated: dict, pages: Pages) -> Fitted:
    """Plan for one chip in place of two originals of one size."""
    (first, its_reading), (second, third) = pages.part(fit.original), pages.part(fit.second)
    chip = ordered(part, stated, "fit.chip_polarity")
    original, beyond = join_sockets(
        ordered(first, parse_polarity(fit.polarity, "fit.polarity"), "fit.polarity"),
        ordered(second, parse_polarity(fit.second_polarity, "fit.second_polarity"), "fit.second_polarity"),
    )
    plan = plan_wiring(original, chip, fit.prefer, fit.all_banks, beyond)
    findings = *(f for each in (its_reading, third, reading) for f in each.findings), *unfed_of(plan)
    kept = None, shipped(part, reading)
    return Fitted(plan, prove_plan(plan), findings, reading, unread([first, second, part]), kept)


def require_stated(verdict: Verdict) -> None:
    """Raise OptionError while a polarity is open."""
    if verdict.open_pins:
        raise OptionError(
            f"polarity not stated for pin {', '.join(verdict.open_pins)}: there is more than one wiring",
            where="fit.polarity", expected="every polarity, such as 20=L,27=H; that of the chip under chip_polarity",
        )  # fmt: skip


def lasting_of(verdict: Verdict) -> list[Finding]:
    """Return the findings of a chip simply plugged in that are true of it wired too, and what no wire feeds."""
    first = verdict.fits[0]
    lasting = LASTING | (set() if first.plan.wired.equal else NOT_EXACT)
    lasting |= WRITTEN if first.proof.states_written else set()
    return [*(finding for finding in verdict.findings if finding.code in lasting), *unfed_of(first.plan)]


def unfed_of(plan: Plan) -> Iterator[Finding]:
    """Yield what is wrong with each supply pin that no wire of the plan can feed."""
    for row in unfed(plan):
        volts = plan.chip.supplies[row.function]
        title = f"{row.function} of the chip ({volts:g} V) does not meet its rail"
        do = f"take another chip, or bring {volts:+g} V from elsewhere to that pin, and to no other"
        yield Finding(pins.SUPPLY, title, f"pin {row.chip} is left open: the socket has no {volts:+g} V", do)


def unread(pages: Iterable[Part]) -> dict[str, list[str]]:
    """Return what nobody has read about the pins and levels of parts, by page."""
    return {page.name: unchecked_pins(page) for page in pages if unchecked_pins(page)}
