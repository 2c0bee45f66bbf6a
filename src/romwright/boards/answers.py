"""What somebody knows of a board before its schematic was read, and whether it holds together."""

from __future__ import annotations

from collections.abc import Iterable

from msgspec import Struct

from romwright.boards.decoding import Span, decode, decoder_lines
from romwright.boards.model import UNCONNECTED, Cpu
from romwright.errors import OptionError
from romwright.parts.model import Part, Pin, Role


class Place(Struct, frozen=True):
    """A socket: the part that it was laid out for, its addresses, and the CPU's data lines that it has."""

    name: str
    span: Span
    part: Part
    lines: tuple[str, ...]

    def moves(self, pin: Pin, cpu: Cpu) -> bool:
        """Tell whether an address pin takes both levels within the socket's range."""
        lines = cpu.address_lines
        return pin.index < len(lines) and (self.span[0] ^ self.span[1]) >> int(lines[pin.index][1:]) > 0


class Other(Struct, frozen=True):
    """Another device on the data bus; `kind` is RAM, ROM or port."""

    name: str
    span: Span
    kind: str
    lines: tuple[str, ...]
    space: str = "memory"


class Answers(Struct, frozen=True):
    """A board in a few words."""

    name: str
    title: str
    cpu: Cpu
    source: str
    rails: dict[str, float]
    places: tuple[Place, ...]
    others: tuple[Other, ...] = ()

    def check(self) -> None:
        """Raise OptionError if a range does not fit the CPU or the socket's part, or data lines are not its number."""
        for place in self.places:
            check_place(place, self.cpu)
        for other in self.others:
            check_span(other.span, self.cpu, f"device {other.name}")

    def node_of(self, place: Place, pin: Pin) -> str:
        """Return the node at a pin's position. Raises OptionError if no rail has the voltage of a supply pin."""
        lines, part = self.cpu.address_lines, place.part
        if pin.role is Role.SUPPLY:
            volts = part.supplies[pin.function]
            rail = next((name for name, v in self.rails.items() if v == volts), None)
            if rail is None:
                raise OptionError(
                    f"pin {pin.number} ({pin.name}) of {part.name} needs {volts:+g} V, and no rail has that",
                    where=f"socket {place.name}", expected=f"a rail of {volts:g} V: --rail NAME={volts:g}",
                )  # fmt: skip
            return rail
        if pin.role is Role.DATA:
            return place.lines[pin.index]
        if pin.role is Role.ADDRESS and pin.index < len(lines):
            return lines[pin.index]
        return UNCONNECTED if pin.role is Role.NC else f"{place.name}.{pin.number}"

    def select_lines(self, space: str) -> tuple[str, ...]:
        """Return the address lines, highest first, that tell all devices and sockets of a space apart."""
        spans = [other.span for other in self.others if other.space == space]
        spans += [place.span for place in self.places if space == "memory"]
        return decoder_lines(self.cpu, spans, space)

    def clashing(self, other: Other) -> list[str]:
        """List the devices whose rows match together with those of another: the decoder cannot tell them apart."""
        lines = self.select_lines(other.space)
        rows = decode(other.span, lines)
        return [
            each.name
            for each in self.others
            if each is not other and each.space == other.space and set(each.lines) & set(other.lines)
            if any(
                all(b.get(name, level) == level for name, level in a.items())
                for a in rows
                for b in decode(each.span, lines)
            )
        ]


def rails_for(parts: Iterable[Part]) -> dict[str, float]:
    """Return a rail for every voltage that the parts need, under the usual names.

    >>> from romwright.parts.library import require_part
    >>> rails_for([require_part("2708")])
    {'+12V': 12.0, '+5V': 5, '-5V': -5.0, 'GND': 0}
    """
    volts = {0, 5, *(v for part in parts for v in part.supplies.values())}
    return {f"{v:+g}V" if v else "GND": v for v in sorted(volts, key=lambda v: (v == 0, -v))}


def lines_for(part: Part, cpu: Cpu) -> tuple[str, ...]:
    """Return the lowest data lines of the CPU, as many as the part has data pins. Raises OptionError if it has more."""
    if part.bits > len(cpu.data_lines):
        raise OptionError(
            f"{part.name} has {part.bits} data pins, the {cpu.name} {len(cpu.data_lines)} data lines",
            expected=f"a part of {len(cpu.data_lines)} bits at most",
        )
    return cpu.data_lines[: part.bits]


def check_place(place: Place, cpu: Cpu) -> None:
    """Raise OptionError if the range is not for the CPU, larger than the part, or the data lines are not its number."""
    bus = len(cpu.data_lines) // 8  # bytes that one cycle moves
    first, last = place.span
    where, part = f"socket {place.name}", place.part
    check_span(place.span, cpu, where)
    if len(place.lines) != part.bits or not set(place.lines) <= set(cpu.data_lines):
        raise OptionError(
            f"{' '.join(place.lines)}: {len(place.lines)} data lines for {part.bits} data pins of {part.name}",
            where=where, expected=f"{part.bits} lines of {cpu.data}",
        )  # fmt: skip
    if first % bus or (last + 1) % bus:
        raise OptionError(
            f"the range {in_hex(place.span, cpu)} does not hold whole words", where=where,
            expected=f"an even first and an odd last address: the {cpu.name} moves {bus} bytes at once",
        )  # fmt: skip
    asked, held = (last + 1 - first) // bus, part.words
    if asked > held:
        fits = in_hex((first, min(first + held * bus - 1, cpu.top)), cpu)
        raise OptionError(
            f"the range {in_hex(place.span, cpu)} is {asked:,} words of the CPU, {part.name} holds {held:,}",
            where=where, expected=f"a range of {held * bus:,} addresses at most, such as {fits}",
            help="of a part that shows more than once, give the range once",
        )  # fmt: skip


def check_span(span: Span, cpu: Cpu, where: str) -> None:
    """Raise OptionError if a range lies beyond the CPU's highest address."""
    if span[1] > cpu.top:
        raise OptionError(
            f"address {span[1]:X} is beyond the {cpu.name}", where=where, expected=f"addresses up to {cpu.top:X}"
        )


def in_hex(span: Span, cpu: Cpu) -> str:
    """Write a range with the digits of the CPU: `C000-FFFF`."""
    digits = max(4, len(f"{cpu.top:X}"))
    first, last = (f"{end:0{digits}X}" for end in span)
    return first if first == last else f"{first}-{last}"
