"""romwright compare: what is wrong with a read, line by line and bit by bit."""

from __future__ import annotations

import os

import click

from romwright.cli.action import after_read, print_next
from romwright.cli.comparepictures import picture_options, print_lines, print_written, require_pictures, write_pictures
from romwright.cli.options import AS_JSON, READ_AS
from romwright.cli.render import inert, print_findings, print_json, print_result
from romwright.images.words import listed

SHOWN = 6  # other explanations that are listed on paper; --json has all
WRONG_SHOWN = 8  # wrong bytes that are


@click.command("compare", short_help="Say exactly what is wrong with a read.")
@click.argument("reference", metavar="REFERENCE")
@click.argument("dump", metavar="DUMP")
@READ_AS
@picture_options
@AS_JSON
def command(reference, dump, read_as, picture, svg, overwrite, as_json) -> int:
    """Say exactly how DUMP differs from REFERENCE, a good image of the same ROM.

    Found are lines crossed in any order with up to three address lines stuck or joined, more of these where the other
    address lines run straight, and any lines inverted, and data lines stuck or joined. What they leave unexplained is
    said bit by bit: where, which way the bits went, what that suggests. The two may differ in size; both count from
    their first byte, and what one of them does not define is not compared. Exit status 0 if they are equal, 1 if not.

    \b
    Example: romwright compare reference/tern-logger.bin dump-U7.bin
    """
    # Matrices here are small: threads that wait for each other would take longer than one.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from romwright.faults.comparison import compare
    from romwright.findings import blocks
    from romwright.images import formats

    require_pictures(picture, svg, (reference, dump))
    loaded = [formats.read(file, read_as) for file in (reference, dump)]
    of_files = [finding for one in loaded for finding in one.findings]
    comparison = compare(*(one.image for one in loaded))
    answer = comparison.as_json()  # proves what is said, too
    action = after_read(comparison.findings)
    files = write_pictures(comparison, picture, svg, overwrite, (reference, dump))
    if as_json:
        found = [finding.as_json() for finding in of_files] + answer["findings"]
        print_json(answer | {"findings": found} | ({"files": files} if files else {}) | {"next": action})
    else:
        click.echo(click.style(f"{inert(dump)} against {inert(reference)}", bold=True))
        print_findings(of_files)
        report(comparison, answer)
        print_lines(comparison)
        print_written(files)
        print_next(action)
    return int(not comparison.identical or blocks(of_files))


def report(comparison, answer: dict) -> None:
    """Print what is wrong, how sure that is, and what cannot be told."""
    from romwright.images.words import in_bytes

    if comparison.identical:
        print_result(f"identical: {in_bytes(len(comparison.dump))}")
        return
    from romwright.faults.causes import in_bits

    different, common = answer["bytes_different"], comparison.bytes_compared
    in_all = in_bits(answer["bits_different"])
    print_result(f"{different:,} of {common:,} bytes differ address by address ({in_all})")
    click.echo()
    print_findings(comparison.findings)
    if not comparison.blank and (comparison.explained or comparison.residue.telling):
        wrong_bytes(comparison.residue.rest)
    if not comparison.explained:
        return
    residual = answer["residual_bits"]
    rest = f"all but {in_bits(residual)} of it" if residual else "every bit of it"
    click.echo(f"\nWith this the reference gives the dump: {rest} (checked at every address).")
    confidence(comparison)
    if comparison.ambiguity.alike and comparison.certain:
        click.echo(f"Whichever way lines that are alike are connected: {percent(comparison.confidence_together)}.")
    for names in comparison.ambiguity.alike:
        click.echo(f"The contents cannot tell {listed(names)} apart: exchanged, every byte would be the same.")
    if comparison.ambiguity.idle:
        click.echo(
            f"{', '.join(comparison.ambiguity.idle)}: the contents do not change with it, so a fault would not show."
        )
    if comparison.ambiguity.constant:
        click.echo(f"{', '.join(comparison.ambiguity.constant)}: never changes, so whether it is stuck would not show.")
    others(comparison)


def wrong_bytes(residue) -> None:
    """Print the first wrong bytes that lie in no region."""
    if not residue.bits:
        return
    click.echo()
    for at in residue.addresses[:WRONG_SHOWN].tolist():
        due, seen = int(residue.expected[at]), int(residue.dump[at])
        lines = ", ".join(f"D{bit}" for bit in range(8) if (due ^ seen) >> bit & 1)
        click.echo(f"{at:04X}: {due:02X} expected, {seen:02X} read ({lines})")
    if len(residue.addresses) > WRONG_SHOWN:
        click.echo(f"and {len(residue.addresses) - WRONG_SHOWN:,} more (see --json)")


def confidence(comparison) -> None:
    """Print how sure it is, where it can be said, and among what."""
    if comparison.certain and comparison.confidence_together >= 0.5:
        click.echo(f"Confidence {percent(comparison.confidence)}, among the faults that are looked for (see --help).")
    elif not comparison.certain:
        click.echo("How sure that is cannot be said: more may be wrong with the lines than is looked for (--help).")


def others(comparison) -> None:
    """Print the other explanations, in what they differ from the best."""
    from romwright.faults.causes import in_bits

    if not comparison.others:
        return
    click.echo("\nOther explanations")
    for other, share in comparison.others[:SHOWN]:
        click.echo(
            f"  {percent(share)}: {difference(comparison.best.lines, other.lines)}; {in_bits(other.residual)} wrong"
        )
    if len(comparison.others) > SHOWN:
        click.echo(f"  and {len(comparison.others) - SHOWN} more (see --json)")


def difference(best, other) -> str:
    """Say in what another map differs from the best."""
    from romwright.faults.statement import state_lines

    said = [f"starts at {other.start:04X}" if other.start >= 0 else f"starts {-other.start:04X} before the reference"]
    said = said if best.start != other.start else []
    if best.beyond != other.beyond:
        said.append("repeats past its end" if other.beyond is None else f"reads {other.beyond:02X} past its end")
    for letter, mine, theirs in (("A", best.address, other.address), ("D", best.data, other.data)):
        for number, line in enumerate(state_lines(theirs, letter)):
            if mine[number] != theirs[number]:
                said.append(in_words(line))
    return ", ".join(said[:4]) + (f" and {len(said) - 4} lines more" if len(said) > 4 else "")


def in_words(line: dict) -> str:
    """Say what a stated line does."""
    name, state = line["line"], line["state"]
    if state == "stuck":
        return f"{name} stuck {'high' if line['level'] else 'low'}"
    if state == "joined":
        return f"{name} {line['law'].upper()} of {' and '.join(line['of'])}"
    if state == "follows" and line["of"] == name:
        return f"{name} straight"
    return f"{name} {state} {line['of']}" if state == "follows" else f"{name} inverted from {line['of']}"


def percent(share: float) -> str:
    """Write a probability so that neither certainty is claimed nor a small chance hidden."""
    if share > 0.9999:
        return "over 99.99%"
    return "under 0.01%" if share < 0.0001 else f"{100 * share:.2f}%"
