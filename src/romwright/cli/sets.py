"""`romwright wire --chips` and `--second`: several chips in place of one, and one in place of two."""

from __future__ import annotations

import click

from romwright.cli.planfiles import Made, write_plans


def wire_chips(original, part, reading, options: dict, outputs: dict, as_json: bool) -> int:
    """Answer about several chips in place of one, half as wide each or with a part of the words."""
    from romwright.cli.action import after_plans, before_burning, print_next
    from romwright.cli.page import caution_lines
    from romwright.cli.render import print_cautions, print_files, print_json
    from romwright.cli.wire import print_verdict
    from romwright.findings import blocks
    from romwright.fit.plans.sets import share_out
    from romwright.fit.verdict import examine_fit
    from romwright.jobs.sockets import ordered
    from romwright.parts.cautions import fitting_cautions

    shares = share_out(ordered(original, options["polarity"], "--polarity"), part, options["chips"])
    chip_polarity, prefer, banks = options["chip_polarity"], options["prefer"], options["banks"]
    found = [(share, examine_fit(share.part, part, {}, chip_polarity, prefer, banks)) for share in shares]
    made = [Made(v.fits[0].plan, v.fits[0].proof, (None, part), ("", part.name), share.of) for share, v in found]
    files, action = write_plans(made, **outputs), before_burning(reading) or after_plans(made)
    if as_json:
        answers = [{"title": share.title, **verdict.as_json()} for share, verdict in found]
        found_of = [finding.as_json() for finding in reading.findings]
        print_json({
            "from": original.name, "to": part.name, "chips": answers, "findings": found_of,
            "cautions": fitting_cautions(), "files": files, "next": action,
        })  # fmt: skip
        return int(blocks(reading.findings) or any(blocks(verdict.findings) for _, verdict in found))
    click.echo("\n".join(caution_lines(reading)))
    for number, (share, verdict) in enumerate(found, 1):
        click.secho(f"{'' if number == 1 else chr(10)}Chip {number} of {len(found)}: {share.title}", bold=True)
        print_verdict(verdict)
    click.echo()
    print_cautions(fitting_cautions())
    print_files(files)
    print_next(action)
    return int(blocks(reading.findings) or any(blocks(verdict.findings) for _, verdict in found))


def wire_joined(first, second, part, reading, options: dict, outputs: dict, as_json: bool) -> int:
    """Answer about one chip in place of two originals."""
    from romwright.cli.action import after_plan, before_burning, print_next
    from romwright.cli.page import caution_lines
    from romwright.cli.render import print_cautions, print_files, print_json, print_unchecked
    from romwright.findings import blocks
    from romwright.fit.plans.sets import join_sockets
    from romwright.fit.plans.wiring import plan_wiring
    from romwright.fit.standins import unchecked_pins
    from romwright.fit.verdict import prove_plan
    from romwright.jobs.sockets import ordered
    from romwright.parts.cautions import fitting_cautions

    unchecked = {page.name: unchecked_pins(page) for page in (first, second, part) if unchecked_pins(page)}
    first = ordered(first, options["polarity"], "--polarity")
    second = ordered(second, options["second_polarity"], "--second-polarity")
    chip = ordered(part, options["chip_polarity"], "--chip-polarity")
    original, beyond = join_sockets(first, second)
    plan = plan_wiring(original, chip, options["prefer"], ("first", "second"), beyond)
    proof = prove_plan(plan)
    files = write_plans([Made(plan, proof, (None, part))], **outputs)
    action = before_burning(reading) or after_plan(plan, proof)
    if as_json:
        print_json({
            "from": first.name, "second": second.name, "to": chip.name, "banks": list(plan.banks),
            **plan.as_json(), "findings": [finding.as_json() for finding in reading.findings], "unchecked": unchecked,
            "cautions": fitting_cautions(), "wired": plan.wired.as_json(), "proof": proof.as_json(), "files": files,
            "next": action,
        })  # fmt: skip
    else:
        click.echo("\n".join(caution_lines(reading)))
        print_joined(plan, proof)
        print_unchecked(unchecked)
        click.echo()
        print_cautions(fitting_cautions())
        print_files(files)
        print_next(action)
    return int(blocks(reading.findings) or not (proof.equal and proof.drive_equal))


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
    print_proof(plan, proof)
