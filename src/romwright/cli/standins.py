"""`romwright parts stand-ins`: which parts can replace a ROM."""

from __future__ import annotations

import click

from romwright.cli.options import AS_JSON
from romwright.cli.wire import parse_polarity
from romwright.errors import InputError


@click.command("stand-ins", short_help="Rank the parts that can replace a ROM.")
@click.argument("rom", metavar="ROM")
@click.option(
    "--polarity", callback=parse_polarity, metavar="PIN=L,…", help="Polarities of ROM that the factory chose."
)
@click.option("--have", metavar="FILE", help="Only parts in this drawer list: one part a line, with a count.")
@click.option("--all", "everything", is_flag=True, help="Those that cannot replace it too, with the reason.")
@AS_JSON
def stand_ins(rom: str, polarity: dict, have: str | None, everything: bool, as_json: bool) -> int:
    """Rank the parts that can replace ROM in its socket, by the work that it takes.

    drop-in; with links only (lines of the socket change places, as a board with links for both does it); with bent
    pins (tied or left open); with wires; with a gate. The fit is that of `romwright wire`. Polarities that are not
    stated are taken as the first choice of ROM's page. Exit status 1 if nothing can replace it.

    \b
    Example: romwright parts stand-ins rom-23128-style-a --have drawer.txt
    """
    from romwright.cli.render import inert, print_json, print_table
    from romwright.fit.standins import Way, rank_stand_ins
    from romwright.parts.library import read_all, require_part

    original = require_part(rom)
    drawer = read_drawer(have) if have else None
    parts = [part for part, _ in drawer.values()] if drawer is not None else read_all()
    found = rank_stand_ins(original, [p for p in parts if p.name != original.name and p.family != "mask ROM"], polarity)
    able = [stand_in for stand_in in found if stand_in.way is not Way.NOT]
    assumed = {pin: choice for pin, choice in original.polarities(polarity)[0].items() if pin not in polarity}
    counts = {name: count for name, (_, count) in drawer.items()} if drawer is not None else {}
    shown = found if everything else able
    if as_json:
        rows = [one.as_json() | ({"have": counts[one.part.name]} if drawer is not None else {}) for one in shown]
        assumed = {str(pin): choice for pin, choice in assumed.items()}
        print_json({"rom": original.name, "assumed": assumed, "stand_ins": rows})
        return int(not able)
    click.echo(f"In place of {inert(original.name)} ({original.family}, {original.words:,} x {original.bits}):")
    if assumed:
        stated = ",".join(f"{pin}={choice}" for pin, choice in assumed.items())
        click.echo(f"polarity taken as {stated}; state it with --polarity")
    if shown:
        click.echo()
        heads = ("part", "have", "way", "changes", "what", "burn at")
        columns = [0, 2, 3, 4, 5] if drawer is None else range(6)
        rows = [
            (one.part.name, counts.get(one.part.name, ""), one.way, one.changes, what(one), f"{one.image_at:04X}")
            for one in shown
        ]
        print_table([heads[i] for i in columns], [[row[i] for i in columns] for row in rows])
    click.echo(f"\n{len(able)} of {len(found)} parts can replace it")
    if able:
        stated = ",".join(f"{pin}={choice}" for pin, choice in polarity.items())
        option = f" --polarity {stated}" if stated else ""
        click.echo(f"next: romwright wire {original.name} {able[0].part.name}{option}")
    return int(not able)


def what(stand_in) -> str:
    """Say the work and what stays different."""
    return "; ".join([stand_in.reason, *(f"CAUTION: {caution}" for caution in stand_in.cautions)])


def read_drawer(file: str) -> dict:
    """Read a drawer list. Raises InputError for a file that cannot be read or lists nothing."""
    from romwright.images.formats import unreadable
    from romwright.parts.drawer import parse_drawer

    try:
        with open(file, encoding="utf-8") as stream:
            drawer = parse_drawer(stream.read(), file)
    except UnicodeDecodeError:
        raise InputError("this is no text", where=file, expected="one part a line, with a count") from None
    except OSError as error:
        raise unreadable(file, error) from None
    if not drawer:
        raise InputError("the drawer list names no part", where=file, expected="one part a line, with a count")
    return drawer
