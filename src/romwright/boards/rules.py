"""What must hold for a board's file. Each rule yields one line per fault: key, what, the rule's name."""

from __future__ import annotations

import difflib
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import msgspec

from romwright.boards.gates import PINS
from romwright.boards.model import NOBODY, UNCONNECTED, Board, Cpu, Socket, expand, parse_span
from romwright.boards.spaces import port_widths, space_of
from romwright.errors import RomwrightError
from romwright.parts.library import require_part
from romwright.parts.model import Part

ROW_PITCHES_MM = (7.62, 10.16, 15.24, 22.86)
NOMINAL = (5, 12, -5, -12)  # of the supplies of the chips; a rail as it was measured is within a tenth of one


class Draft:
    """A board that was read, with its CPU: what the rules look at."""

    def __init__(self, board: Board, cpu: Cpu) -> None:
        self.board, self.cpu = board, cpu
        self.sources = dict.fromkeys(cpu.outputs, "the CPU") | board.signals
        self.answering = {*(thing.name for thing in (*board.devices, *board.sockets)), NOBODY}
        self.places = {socket.place(n) for socket in board.sockets for n in socket.nodes}


def check_rails(draft: Draft) -> Iterator[str]:
    """There is a rail of 0 V and one of more."""
    volts = draft.board.rails.values()
    for name in (name for name, each in draft.board.rails.items() if not -50 < each < 50):
        yield f"rails.{name}: {draft.board.rails[name]:g} V, expected a supply of less than 50 V [rail-volts]"
    for name, each in draft.board.rails.items():
        if meant := [volts for volts in NOMINAL if 0 < abs(each - volts) <= abs(volts) / 10]:
            rail = f"rails.{name}: {each:g} V"
            yield f"{rail}, expected the nominal voltage, {meant[0]:g}, not a measured one [rail-volts]"
    if 0 not in volts or not any(v > 0 for v in volts):
        yield 'rails: expected one of 0 V and a positive one, such as { "+5V" = 5, GND = 0 } [rails]'
    for name in sorted(draft.board.rails.keys() & {*draft.cpu.outputs, *draft.cpu.data_lines}):
        yield f"rails: {name} is a line of the {draft.cpu.name} [rail-name]"


def check_signals(draft: Draft) -> Iterator[str]:
    """A line that something else drives has a name of its own, and it is said what drives it."""
    taken = {*draft.cpu.outputs, *draft.cpu.data_lines, *draft.board.rails, *draft.places}
    for name, driver in draft.board.signals.items():
        if name in taken or len(name.split()) != 1 or name[1:].isdigit():
            yield f"signals: {name!r}, expected a word that is no rail or line of the {draft.cpu.name} [signal-name]"
        if not driver.strip():
            yield f"signals.{name}: empty; say what drives it, such as U12, a latch [signal-name]"


def check_names(draft: Draft) -> Iterator[str]:
    """Sockets, links, gates, devices and resistors have names of their own."""
    board = draft.board
    things = [t.name for t in (*board.sockets, *board.links, *board.gates, *board.devices, *board.resistors)]
    for name, count in Counter(things).items():
        if count > 1:
            yield f"{name}: {count} things have this name [name-twice]"
        if not name.strip() or any(c in name for c in "=, ."):
            yield f"{name!r}: a name has no blank, comma, dot or equals sign [thing-name]"


def check_sockets(draft: Draft) -> Iterator[str]:
    """Both columns of a socket have as many positions, as many as a package has, and stand as far apart as one's."""
    for socket in draft.board.sockets:
        left, right = len(socket.left.split()), len(socket.right.split())
        if left != right or not 4 <= left <= 24:
            yield f"sockets.{socket.name}: {left} and {right} positions, as many in each column [position-count]"
        if socket.row_pitch_mm not in ROW_PITCHES_MM:
            pitches = " or ".join(f"{pitch:g}" for pitch in ROW_PITCHES_MM)
            yield f"sockets.{socket.name}.row_pitch_mm: {socket.row_pitch_mm:g}, expected {pitches} [row-pitch]"
    if not draft.board.sockets:
        yield "sockets: there is none [no-socket]"


def check_chips(draft: Draft) -> Iterator[str]:
    """What sits in a socket is a part with a page, can be plugged in, and has every polarity stated."""
    for socket in draft.board.sockets:
        where = f"sockets.{socket.name}"
        if not socket.part:
            if socket.polarity:
                yield f"{where}.polarity: say which part it belongs to [polarity-alone]"
            continue
        try:
            part = find_part(socket.part)
        except RomwrightError as error:
            yield f"{where}.part: {'; '.join(filter(None, [error.found, error.help]))} [socket-part]"
            continue
        if not part.drives:
            yield f"{where}.part: nobody has read when {part.name} drives its outputs; leave it out [part-unread]"
            continue
        if part.pin_count > socket.pin_count:
            yield f"{where}.part: {part.name} has {part.pin_count} pins, the socket {socket.pin_count} [part-size]"
        if part.row_pitch_mm != socket.row_pitch_mm:
            rows = f"{part.row_pitch_mm:g} mm apart, those of the socket {socket.row_pitch_mm:g} mm"
            yield f"{where}.part: the rows of {part.name} stand {rows} (row_pitch_mm) [part-pitch]"
        yield from find_polarity_faults(f"{where}.polarity", socket, part)


def find_part(name: str) -> Part:
    """Return a part that is shipped; raises RomwrightError."""
    if Path(name).suffix == ".toml" or Path(name).name != name:
        raise RomwrightError(f"{name!r} is a file", help="name a part that is shipped; links takes a file with --also")
    return require_part(name)


def find_polarity_faults(where: str, socket: Socket, part: Part) -> Iterator[str]:
    """Yield what is wrong with the polarities of a part."""
    free = {str(pin): choices for pin, choices in part.choices().items()}
    for pin, choice in socket.polarity.items():
        if choice not in free.get(pin, ()):
            allowed = ", ".join(f"{pin} = {' or '.join(choices)}" for pin, choices in free.items()) or "none"
            yield f"{where}: {pin} = {choice}; polarities that {part.name} leaves open: {allowed} [polarity-choice]"
    if missing := [pin for pin in free if pin not in socket.polarity]:
        example = ", ".join(f'{pin} = "{free[pin][0]}"' for pin in missing)
        pins = f"what did the factory choose for pin {', '.join(missing)}?"
        yield f"{where}: {pins} Write it, such as {{ {example} }} [polarity-missing]"


def check_links(draft: Draft) -> Iterator[str]:
    """A link has two positions or more, and each joins groups of two nodes or more."""
    for link in draft.board.links:
        if len(link.positions) < 2:
            yield f"links.{link.name}: {len(link.positions)} position; a link has two or more [positions]"
        for name in link.positions:
            if any(c in name for c in "=, "):
                yield f"links.{link.name}: position {name!r} has a blank, comma or equals sign [position-name]"
            for group in link.groups(name):
                if len(set(group)) < 2:
                    yield f"links.{link.name}.{name}: {' '.join(group)!r} joins nothing; write two nodes [joins]"


def check_pairs(draft: Draft) -> Iterator[str]:
    """A resistor and a wire have two ends."""
    for resistor in draft.board.resistors:
        if len(set(resistor.nodes.split())) != 2 or resistor.ohms <= 0:
            yield f"resistors.{resistor.name}: expected two nodes and a value in ohms [resistor]"
    for wire in draft.board.wires:
        if len(set(wire.split())) != 2:
            yield f"wires: {wire!r}: expected two nodes [wire]"


def check_gates(draft: Draft) -> Iterator[str]:
    """A gate is of a known kind, with as many inputs and outputs as that has."""
    for gate in draft.board.gates:
        where = f"gates.{gate.name}"
        if gate.kind not in PINS:
            near = difflib.get_close_matches(gate.kind, PINS, n=1)
            hint = f"; did you mean {near[0]}?" if near else ""
            yield f"{where}.kind: {gate.kind!r} is none of {', '.join(PINS)}{hint} [gate-kind]"
            continue
        pins, outputs = PINS[gate.kind]
        inputs, given = gate.inputs.split(), len(gate.outputs.split())
        if (pins and len(inputs) != len(pins)) or not inputs or UNCONNECTED in inputs:
            asked = f"{len(pins)}: {' '.join(pins)}" if pins else "one or more"
            yield f"{where}.inputs: {len(inputs)} nodes, none of them {UNCONNECTED}; expected {asked} [gate-inputs]"
        if given != outputs:
            yield f"{where}.outputs: {given} nodes, expected {outputs} (NC for one that is not used) [gate-outputs]"
        if bool(gate.rows) != (gate.kind == "table") or {name for row in gate.rows for name in row} - set(inputs):
            yield f"{where}.rows: rows of levels of the inputs, for the kind table and no other [gate-rows]"


def check_drivers(draft: Draft) -> Iterator[str]:
    """No two outputs drive one node by name, and none drives a rail, a CPU signal or a data line."""
    board, taken = draft.board, {**draft.sources, **dict.fromkeys(draft.board.rails, "a rail")}
    taken.update((line, "the data bus") for line in draft.cpu.data_lines)
    for gate in board.gates:
        for node in gate.outputs.split():
            if node in taken and not (gate.open_collector or gate.kind == "three-state buffer"):
                yield f"gates.{gate.name}.outputs: {node} is driven by {taken[node]} already [driven-twice]"
            elif node != UNCONNECTED:
                taken[node] = gate.name


def check_nodes(draft: Draft) -> Iterator[str]:
    """A node is a CPU line, a rail, a gate's output or a pad, and then stands in two places; else it is a slip."""
    board, cpu = draft.board, draft.cpu
    known = {*cpu.outputs, *cpu.data_lines, *board.rails, *board.signals, *draft.places}
    uses = list(board.uses())
    count = Counter(node for _, node in uses)
    for where, node in uses:
        if node not in known and count[node] == 1:
            near = difflib.get_close_matches(node, {*known, *count} - {node}, n=1)
            hint = f"did you mean {near[0]}?" if near else f"write {UNCONNECTED} for what is not used"
            said = f"{node} stands nowhere else; {hint}"
            if node == UNCONNECTED:
                said = f'{UNCONNECTED} is no node; a position of a link that joins nothing is ""'
            yield f"{where}: {said} [lonely-node]"


def check_devices(draft: Draft) -> Iterator[str]:
    """A device has rows in which it drives, data lines of the CPU, and as many chips as lines if they are named."""
    lines = draft.cpu.data_lines
    for device in draft.board.devices:
        where, data = f"devices.{device.name}", expand(device.data) or lines
        if device.kind != "port" and not device.drives:
            yield f"{where}.drives: no row of levels in which it drives the data bus [device-drives]"
        if set(data) - set(lines):
            yield f"{where}.data: {device.data}, expected lines of {draft.cpu.data} [device-data]"
        if device.chips and len(device.chips.split()) != len(data):
            yield f"{where}.chips: {len(device.chips.split())} chips for {len(data)} data lines [device-chips]"


def slip_in(span: str) -> str:
    """Say which slip keeps a span from being one, as far as that can be told."""
    first, _, last = span.partition("-")
    if parse_span(span.upper()):
        return "; its letters are capitals"
    return "; the lower address first" if parse_span(f"{last}-{first}") else ""


def check_map(draft: Draft) -> Iterator[str]:
    """Areas lie in the address space, name what is there, and those of one device's lines do not overlap."""
    seen: list[tuple] = []
    for number, area in enumerate(draft.board.map, 1):
        where, span = f"map, number {number}", parse_span(area.range)
        if area.space == "io" and draft.cpu.ports is None:
            yield f"{where}: the {draft.cpu.name} has no I/O space; leave `space` out [no-io]"
            continue
        top = space_of(area.space, draft.board, draft.cpu).top
        if span is None or span[1] > top:
            hint = "" if span else slip_in(area.range)
            yield f"{where}: range {area.range!r}, expected FIRST-LAST in hex, up to {top:X}{hint} [range]"
            continue
        if area.device not in draft.answering:
            near = difflib.get_close_matches(area.device, draft.answering, n=1)
            hint = f"; did you mean {near[0]}?" if near else ""
            yield f"{where}: {area.device} is no device or socket of this board, nor {NOBODY}{hint} [map-device]"
            continue
        lines = draft.board.lines_of(area.device, draft.cpu)
        for other, its_span, its_lines, space in seen:
            if space == area.space and lines & its_lines and span[0] <= its_span[1] and its_span[0] <= span[1]:
                yield f"{where}: {area.range} overlaps {other} on the same data lines [overlap]"
        seen.append((area.range, span, lines, area.space))


def check_ports(draft: Draft) -> Iterator[str]:
    """I/O ranges are all written as ports, or all with every address line: the lines above a port matter or not."""
    ports, widths = draft.cpu.ports, {width > 8 for width in port_widths(draft.board)}
    if ports and ports.above == "any" and len(widths) > 1:
        yield (
            f"map: I/O ranges with two digits, where {draft.cpu.address_lines[ports.bits]} and above do not matter, "
            "beside others with four, where they do; write all of them alike [port-digits]"
        )


def check_unread(draft: Draft) -> Iterator[str]:
    """No line of the CPU is used whose levels nobody has read, unless the board makes a node of that name itself."""
    unread = {*expand(draft.cpu.unread)} - {node for gate in draft.board.gates for node in gate.outputs.split()}
    for where, node in draft.board.uses():
        if node in unread:
            why = f"nobody has read when {node} of the {draft.cpu.name} is at H or L"
            yield f"{where}: {why}; use another line, or rename the node if it is not the CPU's [unread-line]"


def check_words(draft: Draft) -> Iterator[str]:
    """Nothing in the file would move the cursor, change a colour or turn the writing round when it is printed."""

    def find(value: object, where: str) -> Iterator[str]:
        if isinstance(value, str) and not value.isprintable():
            yield f"{where}: {value!r} has characters that cannot be printed [unprintable]"
        elif isinstance(value, dict):
            for key, each in value.items():
                yield from find(key, where)
                yield from find(each, f"{where}.{key}" if key.isprintable() else where)
        elif isinstance(value, list | tuple):
            for number, each in enumerate(value, 1):
                yield from find(each, f"{where}[{number}]")

    for key, value in msgspec.to_builtins(draft.board).items():
        yield from find(value, key)


def check_source(draft: Draft) -> Iterator[str]:
    """A board says where it was read, and its unchecked entries name a key."""
    if not draft.board.source.strip():
        yield "source: empty; say which schematic was read, or that the board was traced [source]"
    for entry in draft.board.unchecked:
        if entry.split(":")[0].split(".")[0] not in Board.__struct_fields__:
            yield f"unchecked: {entry!r} does not begin with a key of this file [unchecked]"


RULES = (
    check_rails, check_signals, check_names, check_sockets, check_chips, check_links, check_pairs, check_gates,
    check_drivers,
    check_nodes, check_devices, check_map, check_ports, check_unread, check_source, check_words,
)  # fmt: skip


def find_faults(board: Board, cpu: Cpu) -> list[str]:
    """Return the faults that every rule finds."""
    draft = Draft(board, cpu)
    return [fault for rule in RULES for fault in rule(draft)]
