"""Contents that go through a plan: what `prepare --plan` and `wire --image` burn, and what `prove` reads back."""

from __future__ import annotations

from pathlib import Path

from romwright.errors import OptionError


def read_plan(path: str):
    """Read a plan file. Raises PlanFileError with all its faults, OSError."""
    from romwright.fit.plans.planfile import parse_plan
    from romwright.parts.library import require_marked

    return parse_plan(Path(path).read_bytes(), path, lambda name: require_marked(name)[0])


def deal(plan, inputs: tuple[str, ...]) -> dict[str, tuple[str, ...]]:
    """Return the inputs of each bank: FILE@BANK names it; the only contents are keyed by "". Raises OptionError."""
    if plan is None or not plan.banks:
        return {"": inputs}
    found: dict[str, tuple[str, ...]] = {}
    for text in inputs:
        file, at, bank = text.rpartition("@")
        if not at or bank not in plan.banks:
            raise OptionError(
                f"{text}: no bank of the plan is named", expected=f"FILE@BANK, with BANK one of {', '.join(plan.banks)}"
            )
        found[bank] = (*found.get(bank, ()), file)
    if missing := [bank for bank in plan.banks if bank not in found]:
        raise OptionError(f"nothing is given for the bank {missing[0]}", expected=f"FILE@{missing[0]}")
    return found


def prepare_banks(dealt: dict[str, list], recipe):
    """Prepare the contents of each bank for the original; returns what was done, and the chips' bytes of each bank."""
    from romwright.images.preparation import Prepared, prepare

    done, contents = Prepared(), {}
    for bank, sources in dealt.items():
        prepared = prepare(sources, recipe)
        contents[bank] = prepared.chips
        done.steps += [f"{bank}: {step}" if bank else step for step in prepared.steps]
        done.findings += prepared.findings
    return done, contents


def prepare_planned(plan, dealt: dict[str, list], recipe):
    """Prepare the contents of each bank for the original, then push them through the plan; one chip."""
    from romwright.fit.plans.contents import burn

    done, contents = prepare_banks(dealt, recipe)
    done.chips = [burn(plan, {bank: chips[0] for bank, chips in contents.items()}, recipe.fill, recipe.repeat)]
    done.steps.append(pushed(plan, recipe.repeat))
    return done


def pushed(plan, repeat: bool) -> str:
    """Say how the plan lays the contents into the chip."""
    from romwright.fit.plans.contents import is_straight

    lines = "every line straight" if is_straight(plan) else "crossed lines undone"
    if plan.banks:
        return (
            f"laid {len(plan.banks)} banks into the {plan.chip.name} as the plan's address lines choose them, {lines}"
        )
    rest = ", repeated over the rest" if repeat and plan.chip.words > plan.original.words else ""
    return f"laid the contents into the {plan.chip.name} from {plan.burn_at:04X} on as the plan says, {lines}{rest}"
