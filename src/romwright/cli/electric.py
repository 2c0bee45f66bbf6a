"""Levels, loads and supply current for the terminal."""

from __future__ import annotations

from collections.abc import Iterable

import click


def print_electric(found) -> None:
    """Print what a chip in a socket is given and gives, electrically, with its findings and what it rests on."""
    from romwright.cli.render import print_findings
    from romwright.cli.wire import heading

    heading("Levels and supply")
    print_margins((*found.driven, *found.drives))
    for level, load in (found.loads or {}).items():
        unknown = f", not counting {', '.join(load.unknown)}, not read" if load.unknown else ""
        click.echo(f"  each data line asks for {load.words} at {level}{unknown}")
    print_supply(found.supply)
    print_findings(found.findings)


def print_margins(pairs: Iterable) -> None:
    """Print a row for each level of each pair."""
    from romwright.cli.render import print_table

    rows = [
        (each.driver.name, each.receiver.name, margin.level, volts(margin.given_v), volts(margin.asked_v),
         volts(margin.margin_v), margin.verdict)
        for each in pairs for margin in (each.high, each.low)
    ]  # fmt: skip
    if rows:
        print_table(("driver", "input", "level", "guaranteed", "asked for", "margin", "it"), rows)


def print_supply(change) -> None:
    """Print the currents of the old chip and the new one, and what the rail then has to give."""
    for each in dict.fromkeys((change.old, change.new)):
        rest = each.standby_ma if each.standby_cmos_ma is None else each.standby_cmos_ma
        click.echo(f"  {each.name} draws at most {milliamperes(each.active_ma)}, at rest {milliamperes(rest)}")
    if change.limits and change.total_ma[1] is not None:
        most = change.limits.most_ma
        gives = "" if most is None else f", which gives {most:g} mA"
        click.echo(f"  with it the board draws at most {change.total_ma[1]:g} mA from {change.rail}{gives}")
    elif change.rail:
        click.echo(f"  what the board then draws from {change.rail} is unknown")


def volts(span: tuple[float, float] | None) -> str:
    """Write volts, a range of them, or that nobody has read them."""
    from romwright.electric.terminals import spoken

    return spoken(span, "V") if span else "unknown"


def milliamperes(value: float | None) -> str:
    """Write a current, or that nobody has read it."""
    return "unknown" if value is None else f"{value:g} mA"


def count(span: tuple[int, int] | None) -> str:
    """Write how many, or a range of it."""
    return "unknown" if span is None else f"{span[0]}" if span[0] == span[1] else f"{span[0]} to {span[1]}"
