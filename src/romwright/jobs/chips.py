"""The chips of a job: which contents go into which of them, and several on one board, which must agree on its links."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path

from msgspec import Struct, structs
from msgspec.structs import replace

from romwright.electric.supply import find_of_all
from romwright.errors import OptionError
from romwright.fit.plans.rows import How
from romwright.fit.plans.work import points
from romwright.jobs.burning import prepare_contents, prove_burning
from romwright.jobs.fitting import Burning, Fitted, Pages, fit_chips
from romwright.jobs.inputs import Inputs
from romwright.jobs.model import Contents, Fit, Job
from romwright.jobs.sockets import parse_setting
from romwright.parts.model import Part

PASSES = 3  # over the chips of a board, until none of them moves a link that another has set


class Chip(Struct, frozen=True):
    """A chip of a job: `name` tells it from the others ("" if it is the only one), `title` says what it takes over."""

    name: str
    title: str
    fit: Fit
    fitted: Fitted
    contents: Contents | None = None
    lane: int = 0  # which of the chips that the contents are split to
    burning: Burning | None = None

    @property
    def words(self) -> str:
        """What the chip is called on the sheet."""
        name = self.name if self.fit.label and self.name.startswith(self.fit.label) else f"Chip {self.name}"
        return f"{name} ({self.title})" if self.title else name

    def job(self, job: Job) -> Job:
        """Return the job as if this were its only chip."""
        return structs.replace(job, fit=self.fit, contents=self.contents)

    def burned(self, inputs: Inputs) -> Chip:
        """Return the chip with the bytes to burn, if the job has contents for it, and the plan proved with them."""
        if not self.contents:
            return self
        burning = prepare_contents(self.contents, self.fitted, inputs, self.lane)
        return replace(self, burning=burning, fitted=prove_burning(self.fitted, burning))


def chips_of(job: Job, folder: Path) -> list[Chip]:
    """Plan all chips of a job. Raises what `fit_chips` raises, and OptionError if two need a link set differently."""
    found: list[Chip] = []
    for fit, plans in zip(job.fits, plan_all(job.fits, Pages(folder)), strict=True):
        label = fit.label if len(job.fits) > 1 else ""
        for contents, lane, number in places(job, fit):
            for part, fitted in enumerate(plans, 1):
                numbers = [label, number, str(part) if len(plans) > 1 else ""]
                title = fitted.share.title if fitted.share else ""
                found.append(Chip("-".join(filter(None, numbers)), title, fit, fitted, contents, lane))
    return found


def places(job: Job, fit: Fit) -> Iterator[tuple[Contents | None, int, str]]:
    """Yield for each place that a fit stands for its contents, which of their lanes, and its number if there are more.

    Bytes that are split go to one fit each, or to places all alike if there is one fit.
    """
    contents = next((each for each in job.all_contents if fit.label in each.into or not each.into), None)
    if not contents or not contents.split:
        yield contents, 0, ""
        return
    into = contents.into or tuple(each.label for each in job.fits)
    if len(into) > 1:
        yield contents, into.index(fit.label), ""
    else:
        yield from ((contents, lane, str(lane)) for lane in range(contents.split))


def plan_all(fits: tuple[Fit, ...], pages: Pages) -> list[list[Fitted]]:
    """Plan every fit; those on one board together."""
    made = [fit_chips(fit, pages) for fit in fits]
    boards: dict[str, list[int]] = {}
    for number, fit in enumerate(fits):
        if fit.board:
            boards.setdefault(made[number][0].board.name, []).append(number)
    for numbers in boards.values():
        if len(numbers) > 1:
            agreed = plan_together([fits[number] for number in numbers], [made[n][0] for n in numbers], pages)
            together = tuple(find_of_all(fitted.electric.supply for fitted in agreed))
            for number, fitted in zip(numbers, agreed, strict=True):
                made[number] = [replace(fitted, findings=(*fitted.findings, *together))]
    return made


def plan_together(fits: list[Fit], made: list[Fitted], pages: Pages) -> list[Fitted]:
    """Plan chips on one board so that one setting of its links serves them all, with the least work that is found.

    Tried is from two sides: each beside what the board's file has in the other sockets, and each beside the other chips
    simply plugged in. Raises OptionError if neither comes to a setting.
    """
    stated = next((fit.now for fit in fits if fit.now), "")
    now = parse_setting(made[0].board, stated) if stated else None
    seated = {fitted.socket.name: fitted.plan.chip for fitted in made}
    others = [{name: chip for name, chip in seated.items() if name != fitted.socket.name} for fitted in made]
    plugged_in = [fit_chips(fit, pages, beside)[0] for fit, beside in zip(fits, others, strict=True)]
    found = [agreed for start in (plugged_in, made) if (agreed := agree(fits, start, pages))]
    if not found:
        names = " and ".join(fit.socket for fit in fits)
        raise OptionError(
            f"{names} of {made[0].board.name} want its links set in different ways", where="fit",
            expected="chips that work with one setting of the links",
            help="fit other chips, or make two jobs and see with `romwright links` what each setting does",
        )  # fmt: skip
    return min(([restated(fitted, now) for fitted in each] for each in found), key=lambda each: work_of(each, fits))


def agree(fits: list[Fit], made: list[Fitted], pages: Pages) -> list[Fitted] | None:
    """Plan chips again until none of them moves a link that another has set; None if they come to no end."""
    made, links = list(made), dict(made[0].onboard.links)
    for _ in range(PASSES):
        settled = True
        for number, fit in enumerate(fits):
            setting = ",".join(f"{link}={position}" for link, position in links.items())
            made[number] = fit_chips(structs.replace(fit, now=setting), pages, straight_in(made, number))[0]
            settled = settled and not made[number].onboard.moved
            links = dict(made[number].onboard.links)
        if settled:
            return made
    return None


def straight_in(made: list[Fitted], number: int) -> Mapping[str, Part]:
    """Return the other chips that go straight in; one that is wired does what the original did, and stands for it."""
    others = [fitted for other, fitted in enumerate(made) if other != number]
    return {
        each.socket.name: each.plan.chip for each in others
        if not each.plan.gates and all(row.how in (How.STRAIGHT, How.OPEN) for row in each.plan.rows)
    }  # fmt: skip


def restated(fitted: Fitted, now: dict[str, str] | None) -> Fitted:
    """Return a fit with the links to move from the present setting."""
    links = fitted.onboard.links
    moved = {link: position for link, position in links.items() if now and now[link] != position}
    return replace(fitted, now=now, onboard=replace(fitted.onboard, moved=moved))


def work_of(made: list[Fitted], fits: list[Fit]) -> tuple[int, int]:
    """Return what to choose by: how many chips do not work so, and the points of the work, links moved once."""
    moves = len(made[0].onboard.moved) * points(fits[0].prefer).link
    return sum(not fitted.works for fitted in made), sum(fitted.plan.points for fitted in made) + moves
