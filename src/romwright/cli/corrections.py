"""What repair found without a reference, as JSON and on paper."""

from __future__ import annotations

import click

from romwright.cli.conditions import promised
from romwright.cli.repair import byte_change


def state_sum(condition, data: bytes, start: int) -> dict:
    """Return a checksum under the documented JSON keys."""
    stored = condition.at and condition.at[0] + start
    return {
        "kind": condition.kind.name, "first": condition.over[0] + start, "last": condition.over[1] + start - 1,
        "at": stored, "order": condition.order if condition.at else None, "origin": condition.origin,
        "computed": condition.kind.text(condition.computed(data)),
        "wanted": condition.kind.text(condition.wanted(data)), "holds": condition.holds(data),
    }  # fmt: skip


def state_search(corrections, data: bytes, start: int) -> dict:
    """Return what was tried and found under the documented JSON keys."""
    if corrections is None:
        return {"tried": 0, "width": None, "by_chance": None, "count": 0, "levels": [], "candidates": []}
    return {
        "tried": corrections.tried, "width": corrections.width, "by_chance": corrections.by_chance,
        "count": corrections.count,
        "levels": [
            {"bits": level.bits, "tried": level.tried, "count": level.count, "ranked": level.ranked}
            for level in corrections.levels
        ],
        "candidates": [
            {"candidate": number, "bits": len(each.cells), "weak": each.weak, "lines_apart": each.lines_apart,
             "changes": [
                 {"address": at + start, "reads": f"{reads:02X}", "becomes": f"{becomes:02X}"}
                 for at, reads, becomes in each.changes(data)
             ]}
            for number, each in enumerate(corrections.candidates, 1)
        ],
    }  # fmt: skip


def report(file: str, answer: dict, corrections, findings: list, conditions: list, data: bytes, start: int) -> None:
    """Print what holds, what was tried, and the candidates."""
    from romwright.cli import render
    from romwright.faults.repairs.outcome import counted
    from romwright.faults.repairs.suspects import Decay
    from romwright.images.words import in_bytes

    click.echo(click.style(f"{render.inert(file)}, {in_bytes(answer['size'])}", bold=True))
    for each in answer["sums"]:
        if each["holds"]:
            where = f"{each['kind']} over {each['first']:04X}-{each['last']:04X}"
            click.echo(f"the {where} is {each['computed']}, as it should be")
    for each in answer["digests"]:
        if each["holds"]:
            click.echo(f"the {each['name']} of the whole dump is as it should be")
    if answer["holds"]:
        render.print_result("Every checksum holds: nothing to repair that they show.")
    render.print_findings(findings)
    if corrections is None:
        return
    click.echo(
        f"\nTried: every correction that {Decay(answer['decay']).words}, of up to {corrections.most} "
        f"bit{'s' * (corrections.most > 1)} in {answer['cells']:,} cells.\nNothing beyond these bounds was tried."
    )
    rows = [(level.bits, counted(level.tried), counted(level.count)) for level in corrections.levels]
    render.print_table(("bits", "corrections tried", "make all checksums hold"), rows, right=(0, 1, 2))
    if corrections.candidates:
        print_candidates(corrections, conditions, data, start)
    elif corrections.count:
        click.echo("\nToo many to list: they are counted only.")


def print_candidates(corrections, conditions: list, data: bytes, start: int) -> None:
    """Print the best candidates, and what best means."""
    from romwright.cli import render
    from romwright.faults.repairs.outcome import counted

    weak = bool(corrections.suspects.weak.any())
    shown = len(corrections.candidates)
    first = "then most weak cells, " if weak else ""
    click.echo(
        f"\nCandidates, {shown:,} of {counted(corrections.count)}: fewest bits first, {first}then those whose cells "
        "lie closest\n(the fewest address and data lines tell them apart, as in one row or column of the chip)."
    )
    rows = []
    for number, each in enumerate(corrections.candidates, 1):
        changes = []
        for at, reads, becomes in each.changes(data):
            itself = any(begin <= at < end for begin, end in (c.own for c in conditions))
            changes.append(f"{at + start:04X}: {byte_change(reads, becomes)}" + ", in the stored checksum" * itself)
        rows.append((number, len(each.cells), each.weak, each.lines_apart, "; ".join(changes)))
    keep = (0, 1, 2, 3, 4) if weak else (0, 1, 3, 4)
    heads = ("no.", "bits", "weak", "lines apart", "changes")
    render.print_table(
        [heads[n] for n in keep], [[row[n] for n in keep] for row in rows], right=tuple(range(len(keep) - 1))
    )
    if not all(level.ranked for level in corrections.levels):
        click.echo("Too many to rank all: some in weak cells alone, or in one page of 256 bytes, stand for the rest.")
    click.echo("Which of them is true, if any, is not known. To write one: the same command with -o OUT --candidate N.")


def hint(data: bytes, start: int, conditions: list) -> None:
    """Say which byte sums the image's header promises beside those that were stated."""
    used = {(each.kind.name, each.over, each.value) for each in conditions}
    for each in promised(data):
        if ("sum8", each.over, 0) not in used:
            where = f"{each.over[0] + start:04X}-{each.over[1] + start - 1:04X}"
            click.echo(f"A header in the dump promises another one, not used here: --sum sum8=00:{where}")
