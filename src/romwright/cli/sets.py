"""`romwright wire --chips` and `--second`: several chips in place of one, and one in place of two."""

from __future__ import annotations

import click

from romwright.errors import OptionError


def split(original, chip, count: int) -> list:
    """Return what each of `count` chips takes over: half of a word if the chips are half as wide, else of the words."""
    from romwright.fit.sets import split_lanes, split_words

    if original.bits == 2 * chip.bits:
        if count != 2:
            raise OptionError(f"{count} chips of {chip.bits} bits for {original.bits} data lines", expected="--chips 2")
        return split_lanes(original)
    return split_words(original, count)


def ordered(part, polarity: dict, option: str):
    """Return a part with every polarity stated. Raises OptionError if one is open."""
    open_pins = [pin for pin in part.choices() if pin not in polarity]
    if open_pins:
        pins = ",".join(f"{pin}=L" for pin in part.choices())
        raise OptionError(
            f"the polarity of pin {', '.join(map(str, open_pins))} of {part.name} is not stated",
            expected=f"{option} {pins}, or H, as the ROM was ordered",
        )
    return part.ordered_as(part.polarities(polarity)[0])


def examine_chips(original, chip, count: int, polarity: dict, chip_polarity: dict, prefer: tuple, banks: tuple) -> list:
    """Return the title and the verdict of each of several chips."""
    from romwright.fit.verdict import examine_fit

    shares = split(ordered(original, polarity, "--polarity"), chip, count)
    return [(share.title, examine_fit(share.part, chip, {}, chip_polarity, prefer, banks)) for share in shares]


def plan_joined(first, second, chip, prefer: tuple):
    """Return the plan of one chip in place of two originals, their polarities stated, and its proof."""
    from romwright.fit.sets import join_sockets
    from romwright.fit.verdict import prove_plan
    from romwright.fit.wiring import plan_wiring

    part, beyond = join_sockets(first, second)
    plan = plan_wiring(part, chip, prefer, ("first", "second"), beyond)
    return plan, prove_plan(plan)


def joined_json(plan, proof, second) -> dict:
    """Return the answer about one chip in place of two under the documented JSON keys."""
    return {
        "from": plan.original.name, "second": second.name, "to": plan.chip.name, "banks": list(plan.banks),
        "rows": [row.as_json() for row in plan.rows], "gates": [gate.as_json() for gate in plan.gates],
        "work": [{"what": what, "count": count, "points": points} for what, count, points in plan.work],
        "delay_ns": plan.delay_ns, "findings": [], "wired": plan.wired.as_json(), "proof": proof.as_json(),
    }  # fmt: skip


def print_joined(plan, proof) -> None:
    """Print the plan of one chip in place of two."""
    from romwright.cli.plans import print_plan
    from romwright.cli.prove import print_proof
    from romwright.cli.wire import heading

    click.echo(f"{plan.chip.name} in the first of two sockets, in place of {plan.original.name}")
    click.echo(
        "  Taken as one line at both sockets: every address line, every data line, every enable but the select. Leave\n"
        "  the second socket empty, and check with a meter that these lines are joined."
    )
    print_plan(plan)
    heading("Proof")
    print_proof(plan, proof, False)
