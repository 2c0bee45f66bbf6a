"""`romwright boards`: the library of boards."""

from __future__ import annotations

import click

from romwright.cli import draft
from romwright.cli.options import ALSO, AS_JSON, OVERWRITE, read_polarity
from romwright.cli.wire import heading
from romwright.errors import OptionError


@click.group("boards", short_help="Look up computer boards: sockets, links, decoder, memory map.")
def command() -> None:
    """Look up computer boards. pinmaps/README.md teaches how to write a board of your own from its schematic.

    \b
    Example: romwright boards show tern-tl-1
    """


command.add_command(draft.command)


@command.command("list", short_help="List the boards that are shipped.")
@AS_JSON
def list_(as_json: bool) -> None:
    """List the boards that are shipped, with their CPU, sockets and links.

    \b
    Example: romwright boards list
    """
    from romwright.boards.library import board_names, require_board
    from romwright.cli.render import print_json, print_table

    boards = [require_board(name) for name in board_names()]
    if as_json:
        print_json([summary(board) for board in boards])
        return
    rows = [[b.name, b.cpu, " ".join(s.name for s in b.sockets), len(b.links), b.title] for b in boards]
    print_table(("board", "CPU", "sockets", "links", "title"), rows, right=(3,))


def summary(board) -> dict:
    """Return a board in a few words, under the documented JSON keys."""
    return {
        "name": board.name, "title": board.title, "cpu": board.cpu, "source": board.source,
        "sockets": [{"name": s.name, "title": s.title, "pins": s.pin_count} for s in board.sockets],
        "links": {name: list(positions) for name, positions in board.settings()},
        "unchecked": list(board.unchecked),
    }  # fmt: skip


@command.command(short_help="Show a board: sockets, links and their positions, memory map, who drives the bus.")
@click.argument("board", metavar="BOARD")
@click.option("--now", metavar="LINK=POSITION,…", help="The present setting: draw the jumpers in place.")
@click.option("--svg", metavar="OUT.svg", help="Write the drawing of sockets and links, for printers without colours.")
@OVERWRITE
@AS_JSON
def show(board: str, now: str | None, svg: str | None, overwrite: bool, as_json: bool) -> None:
    """Show BOARD: a shipped one, or a board file (.toml) of your own, which is checked by every rule.

    Sockets are seen from above. Below the pads of a link, each position has a line with the pads that it joins.

    \b
    Example: romwright boards show tern-tl-1 --now LK1=1-2,LK2=2-3 --svg tern.svg
    """
    from romwright.boards.library import board_json, require_board, require_cpu
    from romwright.cli.render import inert, print_json
    from romwright.jobs.sockets import parse_setting
    from romwright.timing.onboard import pace_of

    page = require_board(board)
    cpu = require_cpu(page.cpu)
    setting = parse_setting(page, now) if now else None
    pace_of(page)  # raises if its file names a grade that its CPU does not have
    if svg:
        write_svg(svg, page, setting, overwrite)
    if as_json:
        print_json(board_json(page, cpu) | ({"now": setting} if setting else {}))
        return
    click.echo(f"{page.title} ({page.name})\nCPU {page.cpu}; source: {page.source}")
    if page.timing:
        print_clock(page.timing)
    if page.unchecked:
        heading("UNCHECKED: do not rely on these", fg="yellow")
        click.echo("\n".join(f"  {entry}" for entry in page.unchecked))
    print_drawings(page, setting)
    print_logic(page)
    print_map(page)
    print_cycles(cpu)
    if cpu.unchecked:
        heading(f"UNCHECKED, of the {cpu.name}: do not rely on these", fg="yellow")
        click.echo("\n".join(f"  {entry}" for entry in cpu.unchecked))
    if svg:
        click.echo(f"\ndrawing written to {inert(svg)}")


def print_clock(timing) -> None:
    """Print what the board's file says of time."""
    clock = "not stated" if timing.clock_mhz is None else f"{timing.clock_mhz:g} MHz"
    click.echo(f"clock {clock}; grade of the CPU: {timing.cpu_grade or 'not stated'}")
    for wait in timing.waits:
        added = [f"{wait.clocks} clocks"] * bool(wait.clocks) + [f"{wait.stretch_ns:g} ns held"] * bool(wait.stretch_ns)
        click.echo(f"waits in {wait.cycle or 'every read'} of {wait.range or 'all memory'}: {', '.join(added)}")
    for buffer in timing.buffers:
        known = f"{buffer.delay_ns:g} ns" if buffer.delay_ns is not None else buffer.chip or "unknown"
        click.echo(f"in line with {buffer.lines}: {known}")
    if timing.steady:
        click.echo(f"stand still in every read: {timing.steady}")


def write_svg(path: str, page, setting: dict[str, str] | None, overwrite: bool) -> None:
    """Write the drawing of a board. Raises OptionError for a name that is not of an SVG, OutputError."""
    from romwright.images.formats import write_bytes
    from romwright.sheets.board import build_board_svg

    if not path.lower().endswith(".svg"):
        raise OptionError(f"{path} is no SVG", where="--svg", expected="a name that ends in .svg")
    write_bytes(path, build_board_svg(page, setting), overwrite)


@command.command(short_help="Print a board, a setting of its links and a chip as Verilog.")
@click.argument("board", metavar="BOARD")
@click.argument("socket", metavar="SOCKET")
@click.argument("part", metavar="PART")
@click.option("--now", metavar="LINK=POSITION,…", default="", help="The setting of the links.")
@click.option("--polarity", callback=read_polarity, metavar="PIN=L,…", help="Polarities that the factory chose.")
@ALSO
@AS_JSON
def verilog(board: str, socket: str, part: str, now: str, polarity: dict, also, as_json: bool) -> None:
    """Print BOARD with PART in SOCKET as Verilog (IEEE 1364): a simulator of your choice resolves the data bus.

    Every trace, closed link and seated pin is a tran; every memory drives a number of its own. x on the bus is a
    contention, z an open bus.

    \b
    Example: romwright boards verilog tern-tl-1 U7 27C512 --now LK1=2-3,LK2=1-2
    """
    from romwright.boards.library import require_board, require_cpu
    from romwright.cli.render import print_json
    from romwright.fit.onboard.verilog import build_verilog
    from romwright.jobs.sockets import fit_others, parse_setting, require_thing
    from romwright.parts.library import require_part

    page = require_board(board)
    place = require_thing("socket", socket, {each.name: each for each in page.sockets}, page.name)
    chip = require_part(part)
    stated = chip.polarities(polarity)
    if len(stated) > 1:
        pins = ", ".join(str(pin) for pin in chip.choices() if pin not in polarity)
        raise OptionError(f"the polarity of pin {pins} of {chip.name} is not stated", expected="--polarity PIN=L,...")
    others = fit_others(page, place, also)
    chips = {name: other.chip for name, other in others.items()}
    setting = parse_setting(page, now)
    text = build_verilog(page, require_cpu(page.cpu), setting, place, chip.ordered_as(stated[0]), chips)
    if as_json:
        held = {name: other.as_json() for name, other in others.items()}
        print_json({"board": page.name, "socket": place.name, "part": chip.name, "also": held, "verilog": text})
    else:
        click.echo(text, nl=False)


def print_drawings(page, setting: dict[str, str] | None) -> None:
    """Print every socket with the node at each position, and the pads of every link with what each position joins."""
    from romwright.cli.render import inert
    from romwright.sheets.board import LINKS, draw_socket
    from romwright.sheets.links import draw_link

    for socket in page.sockets:
        heading(inert(f"{socket.name}  {socket.title}".rstrip()) + ", from above, with the node at each position")
        click.echo("\n".join(map(inert, draw_socket(page, socket, setting))))
    if page.links:
        heading(LINKS)
    for link in page.links:
        click.echo("\n".join(["", *map(inert, draw_link(link, setting and setting[link.name]))]))


def print_logic(page) -> None:
    """Print glue gates, resistors and the other devices on the bus."""
    from romwright.cli.render import print_table

    if page.gates:
        heading("Glue")
        rows = [(gate.name, gate.kind, gate.inputs, gate.outputs) for gate in page.gates]
        print_table(("gate", "kind", "inputs", "outputs"), rows)
    if page.signals:
        heading("Driven by something else, to either level")
        print_table(("line", "what drives it"), list(page.signals.items()))
    if page.resistors:
        heading("Resistors")
        print_table(("name", "ohms", "between"), [(r.name, f"{r.ohms:g}", r.nodes) for r in page.resistors])
    if page.devices:
        heading("On the data bus")
        print_table(
            ("device", "what", "drives at", "is written at"),
            [(d.name, d.title, in_words(d.drives), in_words(d.writes)) for d in page.devices],
        )


def in_words(rows) -> str:
    """Write rows of levels: `/RD L, /CS L`."""
    return " or ".join(", ".join(f"{node} {level}" for node, level in row.items()) for row in rows) or "never"


def print_map(page) -> None:
    """Print the memory map."""
    from romwright.cli.render import print_table

    heading("Map")
    print_table(
        ("addresses", "space", "device", "programs may"), [(a.range, a.space, a.device, a.access) for a in page.map]
    )


def print_cycles(cpu) -> None:
    """Print the bus cycles of the CPU."""
    from romwright.cli.render import print_table

    heading(f"Bus cycles of the {cpu.name}")
    rows = []
    for cycle in cpu.cycles:
        levels = [" or ".join(dict.fromkeys(row.get(signal, "-") for row in cycle.rows)) for signal in cpu.controls]
        who = f"CPU: {cycle.cpu_drives}" if cycle.cpu_drives else "a device" if cycle.access == "read" else "-"
        rows.append((cycle.name, *levels, who, cycle.source))
    print_table(("cycle", *cpu.controls, "data lines driven by", "source"), rows)
