"""`romwright wire --board`: a chip for a board's socket, by links and wires."""

from __future__ import annotations

import click

from romwright.cli.planfiles import Made, write_plans


def wire_board(board: str, socket: str, part, reading, options: dict, outputs: dict, as_json: bool) -> int:
    """Answer about a chip in a board's socket: the links and the wiring with the least work."""
    from romwright.boards.library import require_board, require_cpu
    from romwright.cli.action import after_boarding, after_timing, before_burning, print_next
    from romwright.cli.render import print_files, print_json
    from romwright.electric.socketed import examine_on_board
    from romwright.findings import blocks
    from romwright.fit.onboard.boarding import plan_board
    from romwright.fit.verdict import prove_plan
    from romwright.jobs.sockets import fit_others, ordered, parse_setting, require_thing, unchecked_of
    from romwright.parts.cautions import fitting_cautions
    from romwright.timing.chip import require_grade_ns
    from romwright.timing.onboard import judge_planned

    page = require_board(board)
    place = require_thing("socket", socket, {each.name: each for each in page.sockets}, page.name)
    chip = ordered(part, options["chip_polarity"], "--chip-polarity")
    now = parse_setting(page, options["now"]) if options["now"] else None
    others = {name: other.chip for name, other in fit_others(page, place, options["also"]).items()}
    cpu = require_cpu(page.cpu)
    found = plan_board(page, cpu, place, chip, now, options["prefer"], options["banks"], others)
    proof = prove_plan(found.plan)
    grade = require_grade_ns(chip, options["grade"], reading.speed_ns)
    timing = judge_planned(page, cpu, place, found, grade, others)
    files = write_plans([Made(found.plan, proof, (None, part))], **outputs)
    fitting = after_timing(timing, place.name) or after_boarding(found, proof, place.name, now)
    electric = examine_on_board(page, place, found.plan.original, chip)
    first = next((finding.remedy for finding in electric.findings if blocks([finding])), "")
    action = before_burning(reading) or first or fitting
    added = (*electric.findings, *(timing.findings if timing else ()))
    ok = found.judged.verdict == "works" and proof.equal and not blocks((*reading.findings, *added))
    if as_json:
        print_json({
            "from": place.name, "board": page.name, "to": chip.name, "links": found.links, "move": found.moved,
            **found.plan.as_json(), "verdict": found.judged.verdict,
            "findings": [finding.as_json() for finding in (*reading.findings, *found.judged.findings, *added)],
            "electric": electric.as_json(), "timing": timing and timing.as_json(),
            "wired": found.plan.wired.as_json(), "proof": proof.as_json(), "files": files,
            "unchecked": unchecked_of(page, cpu, chip), "cautions": fitting_cautions(),
            "next": action,
        })  # fmt: skip
    else:
        print_board(page, cpu, place, found, proof, now, reading, electric, timing)
        print_files(files)
        print_next(action)
    return int(not ok)


def print_board(page, cpu, place, found, proof, now, reading, electric, timing) -> None:
    """Print the links, the plan, levels and supply, whether the chip is in time, and the proof."""
    from romwright.cli.electric import print_electric
    from romwright.cli.page import caution_lines
    from romwright.cli.plans import print_plan
    from romwright.cli.prove import print_proof
    from romwright.cli.render import print_cautions, print_findings, print_unchecked
    from romwright.cli.timing import print_timing
    from romwright.cli.wire import heading
    from romwright.jobs.sockets import unchecked_of
    from romwright.parts.cautions import fitting_cautions

    click.echo(f"{found.plan.chip.name} in {place.name} of {page.title}")
    if lines := list(caution_lines(reading)):
        click.echo("\n".join(lines))
    if found.links:
        heading("Links")
        for link, position in found.links.items():
            moved = f"move from {now[link]} to {position}" if link in found.moved else position
            click.echo(f"  {link}: {moved}")
    print_plan(found.plan)
    heading(f"On the whole board, wired so: {found.judged.verdict}")
    if found.judged.findings:
        print_findings(found.judged.findings)
    else:
        click.echo("  in every bus cycle just the right device drives the data bus")
    print_electric(electric)
    print_timing(timing, page)
    heading("Proof")
    print_proof(found.plan, proof)
    unread = {"levels": electric.unchecked, "timing": timing.unchecked if timing else []}
    print_unchecked(unchecked_of(page, cpu, found.plan.chip) | unread)
    click.echo()
    print_cautions(fitting_cautions())
