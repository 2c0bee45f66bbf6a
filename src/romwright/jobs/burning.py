"""The bytes to burn into a chip of a job, made as `prepare` makes them, and the proof that compares bytes."""

from __future__ import annotations

from msgspec.structs import replace

from romwright.fit.plans.bench import Burnt
from romwright.fit.plans.contents import burn, words_of
from romwright.fit.verdict import prove_plan
from romwright.images.preparation import Source
from romwright.jobs.fitting import Burning, Fitted
from romwright.jobs.inputs import Inputs
from romwright.jobs.keys import as_keys
from romwright.jobs.model import Contents
from romwright.jobs.planned import deal, prepare_banks, pushed
from romwright.jobs.recipes import accepted, read_input, recipe_from


def prepare_contents(contents: Contents, fitted: Fitted, inputs: Inputs, lane: int = 0) -> Burning:
    """Make the bytes to burn, as `prepare --plan` does; `lane`: which of the chips that `split` deals the bytes to.

    Raises what `prepare` raises.
    """
    plan, share = fitted.plan, fitted.share
    recipe = recipe_from(plan.chip, wishes(contents), fitted.whole or plan.original)
    dealt = {
        bank: [(name, *read_input(inputs.path(name), contents.read_as or None)) for name in names]
        for bank, names in deal(plan, contents.files).items()
    }
    findings = accepted([loaded for some in dealt.values() for _, loaded, _ in some], contents.accept)
    sources = {bank: [Source(name, one.image, at) for name, one, at in some] for bank, some in dealt.items()}
    done, chips = prepare_banks(sources, recipe)
    banks = {bank: share.of(each[lane]) if share else each[lane] for bank, each in chips.items()}
    steps = [*done.steps, *([f"of these this chip takes {share.title}"] if share else [])]
    steps += [lane_in_words(lane, contents.split)] if contents.split else []
    burnt = burn(plan, banks, recipe.fill, recipe.repeat)
    said = tuple(replace(each, remedy=as_keys(each.remedy)) for each in (*findings, *done.findings))
    return Burning(banks, burnt, (*steps, pushed(plan, recipe.repeat)), said)


def lane_in_words(lane: int, split: int) -> str:
    """Say which bytes a chip takes of what is dealt out.

    >>> lane_in_words(1, 2), lane_in_words(1, 4)
    ('of these this chip takes the odd bytes', 'of these this chip takes bytes 1, 5, 9, ...')
    """
    which = f"the {('even', 'odd')[lane]} bytes" if split == 2 else f"bytes {lane}, {lane + split}, {lane + 8}, ..."
    return f"of these this chip takes {which}"


def wishes(contents: Contents) -> dict[str, object]:
    """Return the keys of a job as `prepare` has them; what is not said is None."""
    said = {name: getattr(contents, name) or None for name in ("cut", "base", "fill", "order")}
    lists = {"store": contents.store, "fix": contents.fix}
    flags = {"join": contents.join, "invert": contents.invert, "repeat": contents.repeat}
    numbers = {name: str(getattr(contents, name)) if getattr(contents, name) else None for name in ("swap", "split")}
    return said | lists | flags | numbers


def prove_burning(fitted: Fitted, burning: Burning) -> Fitted:
    """Return the fit with a proof that compares bytes: what the socket shows in each bank, and what is burnt."""
    plan = fitted.plan
    shown = [words_of(burning.banks[bank], plan.original) for bank in plan.banks or ("",)]
    return replace(fitted, proof=prove_plan(plan, Burnt(words_of(burning.burnt, plan.chip), shown)))
