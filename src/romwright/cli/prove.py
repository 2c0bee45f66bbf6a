"""`romwright prove`: a simulated read of every address through a finished plan."""

from __future__ import annotations

import click

from romwright.cli.options import AS_JSON, READ_AS
from romwright.errors import OptionError


@click.command("prove", short_help="Read every address through a plan and compare with the original.")
@click.argument("plan", metavar="PLAN")
@click.argument("contents", metavar="[FILE[@BANK]...]", nargs=-1)
@click.option("--burnt", metavar="FILE", help="What the chip holds: compare byte by byte with the contents.")
@READ_AS
@AS_JSON
def command(plan: str, contents: tuple[str, ...], burnt: str | None, read_as: str | None, as_json: bool) -> int:
    """Prove PLAN, a file from `wire --plan`: every address, every state of the control lines, every bank.

    Without files each cell of the chip is taken to hold its own number, which proves the wiring for any contents. With
    FILE, what the socket must show, and --burnt, what was burnt or read back from the chip, the bytes are compared too.
    Nothing that made the plan is used. Exit status 1 if anything differs.

    \b
    Example: romwright prove U7.plan diagnostic.hex --burnt diagnostic-28C256.bin
    """
    from romwright.cli.action import after_proof, print_next
    from romwright.cli.quiet import aloud
    from romwright.cli.render import print_json
    from romwright.fit.verdict import prove_plan
    from romwright.jobs.planned import read_plan

    made = read_plan(plan)
    if bool(contents) != bool(burnt):
        raise OptionError(
            "contents and --burnt go together", expected="what the socket must show, and what the chip holds"
        )
    given = read_burnt(made, contents, burnt, read_as) if burnt else None
    proof = prove_plan(made, given)
    ok = proof.equal and proof.drive_equal and proof.power_up_safe
    action = after_proof(proof, plan, made.chip.name)
    if as_json:
        print_json({
            "plan": plan, "from": made.original.name, "to": made.chip.name, "banks": list(made.banks),
            "bytes_compared": burnt is not None, **proof.as_json(),
            "next": action,
        })  # fmt: skip
    else:
        click.echo(f"{made.chip.name} in a socket for {made.original.name}, as {plan} wires it")
        with aloud():
            print_proof(made, proof, burnt is not None)
        print_next(action)
    return int(not ok)


def read_burnt(plan, contents: tuple[str, ...], burnt: str, read_as: str | None):
    """Read what the socket must show and what the chip holds. Raises OptionError, NotFittingError, InputError."""
    from romwright.fit.plans.bench import Burnt
    from romwright.fit.plans.contents import words_of
    from romwright.images.formats import read
    from romwright.jobs.planned import deal

    dealt = deal(plan, contents)
    for bank, files in dealt.items():
        if len(files) > 1:
            raise OptionError(f"{len(files)} files for {bank or 'the contents'}", expected="one; prepare joins them")
    wanted = [words_of(read(dealt[bank][0], read_as).image.flat(), plan.original) for bank in plan.banks or ("",)]
    held = read(burnt, read_as).image.flat()
    room = plan.chip.words * plan.chip.word_bytes
    if len(held) != room:
        raise OptionError(f"{burnt} has {len(held):,} bytes", expected=f"the {room:,} bytes of a {plan.chip.name}")
    return Burnt(words_of(held, plan.chip), wanted)


def print_proof(plan, proof, bytes_compared: bool = False) -> None:
    """Print what the simulated read gave; with --quiet only what is wrong."""
    from romwright.cli.render import print_result
    from romwright.images.words import counted

    banks = f", each of {len(plan.banks)} banks" if plan.banks else ""
    states = f"each of {proof.states} states of the control lines"
    click.echo(f"  read {proof.addresses:,} addresses in {states}{banks}")
    if proof.equal:
        what = "the byte that the socket must show" if bytes_compared else "the cell that belongs there"
        click.echo(f"  every read that the original answers gives {what}")
    else:
        print_difference(proof.first_difference)
    if proof.states_written:
        where = counted(proof.states_written, "state")
        print_result(f"  the chip can be WRITTEN in {where} in which the original is not")
    if not proof.power_up_safe:
        print_result("  the chip can be WRITTEN while power comes up and no control line has its level yet")
    if proof.drive_equal:
        click.echo("  who drives the data bus is the same in every state")
    else:
        print_result(f"  who drives the data bus is NOT the same in {counted(proof.states_differ, 'state')}")


def print_difference(found: dict) -> None:
    """Print the first difference of a proof."""
    from romwright.cli.render import print_result

    said = ", ".join(f"{key} {value}" for key, value in found.items() if key != "levels")
    print_result(f"  NOT EQUAL: the first difference is: {said}")
    if levels := found.get("levels"):
        print_result(f"  at {', '.join(f'{name} {level}' for name, level in levels.items())}")
