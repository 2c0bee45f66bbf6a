"""A plan as text: where the contents go, the wiring table, the gates with their pins, the work."""

from __future__ import annotations

import click


def print_plan(plan) -> None:
    """Print a plan for the bench."""
    from romwright.cli.render import print_table
    from romwright.cli.wire import heading

    heading("Wiring")
    for line in burn_lines(plan):
        click.echo(f"  {line}")
    print_table(
        ("socket", "signal", "chip", "function", "how", "detail"),
        [(r.socket or "-", r.signal, r.chip or "-", r.function, r.how, r.detail) for r in plan.rows],
        right=(0, 2),
    )
    if plan.gates:
        print_gates(plan)
    print_work(plan)


def burn_lines(plan) -> list[str]:
    """Say where in the chip the contents go."""
    from romwright.fit.contents import is_straight

    if plan.banks:
        which = "the selects choose" if plan.beyond.shares else f"{' and '.join(plan.straps)} choose"
        return [f"The chip holds {' and '.join(plan.banks)}: {which}; prepare --plan lays them out.", *plan.bank_lines]
    if not plan.is_whole:
        return []
    if not is_straight(plan):
        return ["Lines are crossed: only the image that prepare --plan makes reads right here."]
    if plan.chip.words == plan.original.words:
        return []
    burn = "Burn the contents" if plan.chip.programming or plan.chip.erased else "The contents must lie"
    where = f"{plan.burn_at:04X} of the chip"
    if plan.chip.bits > 8:
        where = f"word {plan.image_at:04X} of the chip, byte {plan.burn_at:04X} of its file"
    return [f"{burn} at {where} (or repeat them over it)."]


def print_gates(plan) -> None:
    """Print each gate with its pins, and what it costs in time."""
    from romwright.cli.render import indented, print_table, show
    from romwright.cli.wire import heading
    from romwright.fit.circuit import packages_of, spare_inputs
    from romwright.fit.work import gate_parts

    heading("Gates")
    rows = []
    for gate in plan.gates:
        inputs = ", ".join(f"{f'pin {tap.pin} ' if tap.pin else ''}to {feed(tap)}" for tap in gate.taps)
        to = [f"chip pin {row.chip}" for row in plan.rows if row.gate == gate.name]
        to += [other.package for other in plan.gates if gate.name in (tap.gate for tap in other.taps)]
        out = f"{f'pin {gate.output} ' if gate.output else ''}to {' and '.join(to)}"
        delay = "unknown" if gate.delay_ns is None else f"{gate.delay_ns:g} ns"
        rows.append((gate.package, gate.part, inputs, out, delay))
    print_table(("", "part", "inputs", "output", "delay"), rows)
    delay = plan.delay_ns
    click.echo(f"  The chip answers {'later by an unknown time' if delay is None else f'up to {delay:g} ns later'}.")
    for package, gates in packages_of(plan).items():
        part = gate_parts()[gates[0].kind]
        spare = ", ".join(map(str, spare_inputs(gates)))
        idle = f"; inputs not used to GND: {spare}" if spare else ""
        beside = "100 nF from one to the other, close by (common practice, no source)"
        show(indented(f"{package}: VCC on pin {part.vcc}, GND on pin {part.gnd}, {beside}{idle}"))
    for kind in dict.fromkeys(gate.kind for gate in plan.gates):
        part = gate_parts()[kind]
        show(indented(f"{part.part}: {part.source or f'UNCHECKED {part.unchecked}'}"))


def feed(tap) -> str:
    """Name what feeds an input of a gate."""
    if tap.gate:
        package, _, pin = tap.gate.partition(".")
        return f"{package} pin {pin}" if pin else package
    return tap.point or (f"socket {tap.position}" if tap.position else {"H": "VCC", "L": "GND"}[tap.level])


def print_work(plan) -> None:
    """Print what the work comes to."""
    from romwright.cli.render import indented, show

    if not plan.work:
        click.echo("  Nothing to do: every pin meets what it needs.")
        return
    what = ", ".join(f"{what} {count} ({points})" for what, count, points in plan.work)
    show(indented(f"Work: {plan.points} points (about a minute each, our own scale): {what}."))
