"""The start of a board's file from a few answers: what the part's page and the CPU's lines tell, and what they do not.

Nothing is guessed about the glue. A control position of a socket stands for itself ("U7.20") until somebody has read
what drives it; the rows of other devices are those of a decoder without faults, and are listed as unchecked.
"""

from __future__ import annotations

import json
import re
import textwrap
import tomllib
from collections.abc import Iterator

import msgspec

from romwright.boards.answers import Answers, Other, Place, in_hex
from romwright.boards.decoding import Rows, cycle_rows, decode, joined
from romwright.boards.model import Board, Cpu
from romwright.boards.rules import find_faults
from romwright.errors import DataFileError
from romwright.parts.model import Pin, Role

WIDTH = 118  # columns of a comment
LABEL = 32  # where a remark behind a value begins


def build_draft(answers: Answers) -> str:
    """Return the text of a board's file that passes every rule.

    Raises OptionError if a socket and its range, data lines or rails do not agree; DataFileError with what else is
    wrong with the answers, such as a name that is there twice, or ranges that overlap.
    """
    answers.check()
    blocks = [
        *head(answers),
        *(line for place in answers.places for line in socket_block(answers, place)),
        *(line for place in answers.places for line in glue_block(answers, place)),
        *(line for other in answers.others for line in device_block(answers, other)),
        *map_block(answers),
    ]
    text = "\n".join(blocks).strip("\n") + "\n"
    if faults := find_faults(msgspec.convert(tomllib.loads(text), Board), answers.cpu):
        raise DataFileError(f"{answers.name}.toml, which was not written", faults)
    return text


def head(answers: Answers) -> Iterator[str]:
    """Yield the comment on top and the keys of the board itself."""
    cpu, first = answers.cpu, answers.places[0]
    yield from comment(answers.title)
    yield from comment(
        "Begun by romwright boards new from a few answers: what stands under unchecked is assumed, not read. "
        'pinmaps/README.md, "Boards", tells step by step how to complete it from the schematic. It is right when '
        f"romwright links {answers.name}.toml {first.name} {first.part.name} says ok for the links as they were set."
    )
    lines = f"lines {cpu.address} {cpu.data} {cpu.signals}"
    yield from ["", f"name = {quote(answers.name)}", f"title = {quote(answers.title)}"]
    yield from [beside(f"cpu = {quote(cpu.name)}", lines), f"source = {quote(answers.source)}", ""]
    yield f"rails = {{ {', '.join(f'{key(name)} = {volts:g}' for name, volts in answers.rails.items())} }}"
    yield from ["", "unchecked = [" + " " * (LABEL - 13) + "# strike an entry out when the schematic has told you"]
    assumed = [f"sockets.{place.name}: nodes as the pins of {place.part.name}" for place in answers.places]
    assumed += [f"devices.{other.name}: rows follow from the map and the {cpu.name}" for other in answers.others]
    yield from (f"  {quote(f'{entry}, no schematic was read')}," for entry in assumed)
    yield from ["]", ""]
    for space in ("memory", "io"):
        for access in ("read", "write"):
            if rows := cycle_rows(cpu, access, space, cpu.data_lines):
                word = "an I/O" if space == "io" else "a memory"
                yield from comment(f"The {cpu.name} shows {word} {access} by {in_words(rows)}.")
    yield ""


def socket_block(answers: Answers, place: Place) -> Iterator[str]:
    """Yield a socket, and what is to be found out about its control positions."""
    part = place.part
    nodes = [answers.node_of(place, pin) for pin in part.pins]
    half = part.pin_count // 2
    left, right = " ".join(nodes[:half]), " ".join(reversed(nodes[half:]))
    title = f"laid out for {part.name}"
    yield from ["[[sockets]]", f"name = {quote(place.name)}", f"title = {quote(title)}"]
    width = max(len(left), len(right)) + 2
    yield f"left  = {quote(left):{width}}    # positions 1 to {half}, downwards"
    yield f"right = {quote(right):{width}}    # positions {part.pin_count} to {half + 1}, downwards"
    asked = [(pin, words) for pin in part.pins if (words := question(answers.cpu, place, pin))]
    if asked:
        yield from comment(
            f"To be found out at {place.name}. Follow each line to the gate, link or rail that it comes from; write "
            "that node into the column in place of the position, or let a gate or link below name the position."
        )
    yield from (f"#   position {pin.number:>2}  {pin.name:<10} {words}" for pin, words in asked)
    yield ""


def question(cpu: Cpu, place: Place, pin: Pin) -> str:
    """Say what is to be found out about a position; nothing if the part's page and the CPU's lines tell all."""
    part = place.part
    if pin.role is Role.ADDRESS:
        if pin.index >= len(cpu.address_lines):
            return f"the {cpu.name} has no line for it: which level or latch does the board bring there?"
        line = cpu.address_lines[pin.index]
        return "" if place.moves(pin, cpu) else f"above the range: does the board bring {line} there, or a level?"
    if pin.role is Role.NC:
        return "not connected in this part: does the board bring a line there for a larger one?"
    if pin.role is Role.OUTPUT:
        return "an output of the part: where does it go?"
    if pin.role not in (Role.CONTROL, Role.VPP):
        return ""
    if pin.function in part.read_levels:
        return f"must be {part.read_levels[pin.function]} in read: which rail, link or resistor holds it there?"
    usual = " It takes the decoder's select on most boards." if pin.function == part.select else ""
    factory = " The factory chose its polarity." if pin.function.endswith("?") else ""
    return f"which gate or link drives it?{usual}{factory}"


def glue_block(answers: Answers, place: Place) -> Iterator[str]:
    """Yield an example of gates and a link for a socket's select and read strobe, as comments to be put right."""
    part, cpu = place.part, answers.cpu
    enables = [name for name in part.enables if part.by_function[name].role is Role.CONTROL]
    if not enables:
        return
    select = part.select if part.select in enables else enables[0]
    strobe = next((name for name in enables if name != select), None)
    at = {name: f"{place.name}.{part.by_function[name].number}" for name in enables}
    reads = cycle_rows(cpu, "read", "memory", place.lines)
    rows = decode(place.span, answers.select_lines("memory"))
    chosen = f"/{place.name}SEL"
    yield from comment(
        f"An example for {place.name}, of a decoder without faults. Take the # away, and put right what the schematic "
        "has otherwise: the real gates (kinds: inverter, nand, 2-to-4, 3-to-8, ...), the links and their positions."
    )
    levels = {name: "H" if "L" not in part.enables[name] and "?" not in part.enables[name] else "L" for name in enables}
    gates = [(f"{place.name}SEL", rows if strobe else joined(rows, reads), chosen, levels[select])]
    gates += [(f"{place.name}RD", reads, at[strobe], levels[strobe])] if strobe else []
    for name, its_rows, output, level in gates:
        inputs = dict.fromkeys(node for row in its_rows for node in row)
        yield from ["#", "# [[gates]]", f"# name = {quote(name)}", '# kind = "table"']
        yield f"# inputs = {quote(' '.join(inputs) or 'GND')}"
        yield f"# outputs = {quote(output)}"
        yield "# rows = " + rows_text(its_rows if inputs else [{"GND": "L"}]).replace("\n", "\n# ")
        yield f'# gives = "{level}"'
    away = next((name for name, v in answers.rails.items() if v == (0 if levels[select] == "H" else 5)), "GND")
    yield from ["#", "# [[links]]", '# name = "LK-' + place.name + '"']
    yield f"# title = {quote(f'to position {part.by_function[select].number} of {place.name}')}"
    positions = {"1-2": f"{chosen} {at[select]}", "2-3": f"{at[select]} {away}"}
    yield f"# positions = {{ {', '.join(f'{quote(name)} = {quote(nodes)}' for name, nodes in positions.items())} }}"
    yield ""


def device_block(answers: Answers, other: Other) -> Iterator[str]:
    """Yield another device, with rows as a decoder without faults would give them."""
    cpu = answers.cpu
    rows = decode(other.span, answers.select_lines(other.space))
    yield from ["[[devices]]", f"name = {quote(other.name)}"]
    yield f"title = {quote(f'{other.kind} at {in_hex(other.span, cpu)}')}"
    yield f"kind = {quote(other.kind)}"
    if set(other.lines) != set(cpu.data_lines):
        yield f"data = {quote(' '.join(other.lines))}"
    if shares := answers.clashing(other):
        yield from comment(f"The rows do not tell it from {' and '.join(shares)}: add the lines that do.")
    yield "# which select and which strobe does the schematic have at its enables? Write these nodes here:"
    yield f"drives = {rows_text(joined(rows, cycle_rows(cpu, 'read', other.space, other.lines)))}"
    if other.kind != "ROM":
        yield f"writes = {rows_text(joined(rows, cycle_rows(cpu, 'write', other.space, other.lines)))}"
    yield ""


def map_block(answers: Answers) -> Iterator[str]:
    """Yield the map, in order of addresses."""
    areas = [(place.span, place.name, "memory", "read") for place in answers.places]
    areas += [
        (other.span, other.name, other.space, "read" if other.kind == "ROM" else "read write")
        for other in answers.others
    ]
    yield from comment('What is to answer where. Add what is missing; where nothing may answer, write device = "none".')
    for span, device, space, access in sorted(areas, key=lambda area: (area[2] != "memory", area)):
        yield from ["[[map]]", f"range = {quote(in_hex(span, answers.cpu))}", f"device = {quote(device)}"]
        yield from [f'access = "{access}"'] * (access != "read write")
        yield from [f'space = "{space}"', ""] if space != "memory" else [""]


def rows_text(rows: Rows) -> str:
    """Write rows of levels as TOML, each on its own line if there are several."""
    each = ["{ " + ", ".join(f'{quote(name)} = "{level}"' for name, level in row.items()) + " }" for row in rows]
    return f"[{each[0]}]" if len(each) == 1 else "[" + "".join(f"\n  {row}," for row in each) + "\n]"


def in_words(rows: Rows) -> str:
    """Write rows of levels: `/MREQ L, /RD L`."""
    return " or ".join(", ".join(f"{name} {level}" for name, level in row.items()) for row in rows)


def comment(text: str) -> list[str]:
    """Wrap a text as a comment."""
    return textwrap.wrap(text, WIDTH, initial_indent="# ", subsequent_indent="# ", break_on_hyphens=False)


def beside(text: str, remark: str) -> str:
    """Put a remark behind a value."""
    return f"{text:<{LABEL}}# {remark}"


def key(text: str) -> str:
    """Write a TOML key, bare where that is allowed."""
    return text if re.fullmatch(r"\w+", text, re.ASCII) else quote(text)


def quote(text: str) -> str:
    """Write a TOML string; it must be printable."""
    return json.dumps(text, ensure_ascii=False)
