"""`romwright parts stand-ins`: which parts can replace a ROM."""

from __future__ import annotations

from collections.abc import Iterator

import click

from romwright.cli.options import AS_JSON, read_polarity
from romwright.errors import InputError


@click.command("stand-ins", short_help="Rank the parts that can replace a ROM.")
@click.argument("rom", metavar="ROM")
@click.option(
    "--polarity", callback=read_polarity, metavar="PIN=L,…", help="Polarities of ROM that the factory chose."
)
@click.option("--have", metavar="FILE", help="Only parts in this drawer list: one part a line, with a count.")
@click.option("--all", "everything", is_flag=True, help="Those that cannot replace it too, with the reason.")
@AS_JSON
def stand_ins(rom: str, polarity: dict, have: str | None, everything: bool, as_json: bool) -> int:
    """Rank the parts that can replace ROM in its socket: exact ones first, then by the work that it takes.

    drop-in; with links only (lines of the socket change places, as a board with links for both does it); with bent
    pins (tied or left open); with wires; with a gate. A part that is not exact loses an enable of ROM, and drives the
    bus in states in which ROM is off. The fit is that of `romwright wire`. Polarities that are not stated are taken as
    the first choice of ROM's page. Exit status 1 if nothing can replace it.

    \b
    Example: romwright parts stand-ins rom-23128-style-a --have drawer.txt
    """
    from romwright.cli.page import bullet, caution_lines
    from romwright.cli.render import inert, print_json
    from romwright.fit.kinds import access_ns
    from romwright.fit.standins import Way, rank_stand_ins, unchecked_pins
    from romwright.parts.library import read_all, require_marked

    original, reading = require_marked(rom)
    drawer = read_drawer(have) if have is not None else None
    parts = [held.part for held in drawer.values()] if drawer is not None else read_all()
    offered = [p for p in parts if p.family != "mask ROM" and (drawer is not None or p.name != original.name)]
    left_out = [p.name for p in parts if p.family == "mask ROM"] if drawer is not None else []
    found = rank_stand_ins(original, offered, polarity)
    able = [stand_in for stand_in in found if stand_in.way is not Way.NOT]
    assumed = {pin: choice for pin, choice in original.polarities(polarity)[0].items() if pin not in polarity}
    held = drawer or {}
    shown = found if everything else able
    if as_json:
        answer = {"rom": original.name, "assumed": {str(pin): choice for pin, choice in assumed.items()}}
        answer |= {"findings": [finding.as_json() for finding in reading.findings]}
        answer |= {"unchecked": unchecked_pins(original), "access_ns": list(access_ns(original)), "left_out": left_out}
        print_json(answer | {"stand_ins": [one.as_json() | held_json(held.get(one.part.name)) for one in shown]})
        return int(not able)
    click.echo(f"In place of {inert(original.name)} ({original.family}, {original.words:,} x {original.bits}):")
    click.echo("".join(f"{line}\n" for line in caution_lines(reading)), nl=False)
    if unchecked := unchecked_pins(original):
        click.secho("\n".join(bullet(f"UNCHECKED in its page: {'; '.join(unchecked)}")), fg="yellow", bold=True)
    if assumed:
        stated = ",".join(f"{pin}={choice}" for pin, choice in assumed.items())
        click.echo(f"polarity taken as {stated}; state it with --polarity")
    if not access_ns(original):
        click.echo("its page has no access time: compare the chip's with what the board allows")
    click.echo("".join(f"{line}\n" for line in ranking(shown, held)), nl=False)
    exact = sum(one.exact for one in able)
    counts = f": {exact} exact, {len(able) - exact} with a lost enable" if able else ""
    click.echo(f"\n{len(able)} of {len(found)} parts can replace it{counts}")
    if left_out:
        click.echo("\n".join(bullet(f"left out, as nobody can write a mask ROM: {', '.join(left_out)}")))
    if able:
        stated = ",".join(f"{pin}={choice}" for pin, choice in polarity.items())
        option = f" --polarity {stated}" if stated else ""
        socket = rom if reading.how == "file" else original.name
        click.echo(f"next: romwright wire {inert(socket)} {inert(able[0].part.name)}{option}")
    return int(not able)


def ranking(shown: list, held: dict) -> Iterator[str]:
    """Yield the lines of the table, below each row what there is to say about it."""
    from romwright.cli.page import aligned, bullet
    from romwright.cli.render import inert
    from romwright.fit.standins import Way

    if not shown:
        return
    rows = [("part", "have", "way", "exact", "changes", "burn at")]
    for one in shown:
        count = str(held[one.part.name].count) if held else ""
        exact = "-" if one.way is Way.NOT else "yes" if one.exact else "no"
        rows.append((inert(one.part.name), count, one.way, exact, str(one.changes), f"{one.burn_at:04X}"))
    columns = range(6) if held else (0, 2, 3, 4, 5)
    heads, *lines = aligned([[row[i] for i in columns] for row in rows], right=[len(columns) - 2])
    yield ""
    yield click.style(heads, bold=True)
    for one, line in zip(shown, lines):
        yield line
        yield from (wrapped for text in details(one, held) for wrapped in bullet(text))


def details(stand_in, held: dict) -> Iterator[str]:
    """Yield the work, what must not be done, and what stays different or is not known."""
    from romwright.fit.standins import unchecked_pins

    yield stand_in.reason
    if stand_in.stops:
        yield f"STOP if simply plugged in: {'; '.join(stand_in.stops)}"
    named = held[stand_in.part.name].findings if held else ()
    yield from (f"CAUTION: {caution}" for caution in (*stand_in.cautions, *(finding.title for finding in named)))
    if unchecked := unchecked_pins(stand_in.part):
        yield f"UNCHECKED in its page: {'; '.join(unchecked)}"


def held_json(held) -> dict:
    """Return the keys of a part that lies in a drawer: how many, and what its lines there could mean too."""
    if held is None:
        return {}
    return {"have": held.count, "findings": [finding.as_json() for finding in held.findings]}


def read_drawer(file: str) -> dict:
    """Read a drawer list. Raises InputError for a file that cannot be read or holds nothing."""
    from romwright.images.formats import unreadable
    from romwright.parts.drawer import LINE, parse_drawer

    try:
        with open(file, encoding="utf-8-sig") as stream:
            drawer = parse_drawer(stream.read(), file)
    except UnicodeDecodeError:
        raise InputError("this is no text", where=file, expected=f"on each line {LINE}") from None
    except IsADirectoryError:
        raise InputError("this is a folder, not a file", where=file, expected="a drawer list") from None
    except OSError as error:
        raise unreadable(file, error) from None
    if not drawer:
        raise InputError("the drawer list names no part that is there", where=file, expected=f"on each line {LINE}")
    return drawer
