"""Which line of the socket each address and data pin of the chip gets, and what holds the others."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from romwright.errors import OptionError
from romwright.fit.feeds import move_points
from romwright.fit.socket import GND, Kind, Net, Socket, strap
from romwright.fit.work import Points
from romwright.parts.model import Part, Pin, Role

NOTHING = "-"  # what a pin stands for that no line of the original reaches


def feed_lines(
    chip: Part, socket: Socket, seats: Mapping[int, Net], points: Points, banks: Sequence[str] = ()
) -> dict[int, Net | None]:
    """Return the net of each address and data pin of the chip; None for a data pin that the socket has no line for.

    Address pins that the original does not have stay where they are at one level in every read, else go to GND; the
    lowest of them go to switches if there are banks. Raises OptionError if the chip has too few pins for the
    banks.
    """
    pins = chip.lines(Role.ADDRESS)
    address = spread(pins, socket.address, socket, seats, points)
    spare = [pin for pin in pins if pin.number not in address]
    straps = (len(banks) - 1).bit_length() if banks else 0
    if straps > len(spare):
        most = f"{1 << len(spare)} of the socket's size" if spare else "no second one"
        raise OptionError(
            f"{len(banks)} banks, but a {chip.name} has room for {most}", expected="a larger chip, or fewer banks"
        )
    held: dict[int, Net | None] = {pin.number: strap(f"S{number}") for number, pin in enumerate(spare[:straps], 1)}
    held |= {pin.number: rest(socket, seats[pin.number]) for pin in spare[straps:]}
    data = spread(chip.lines(Role.DATA), socket.data, socket, seats, points)
    return {**address, **held, **{pin.number: data.get(pin.number) for pin in chip.lines(Role.DATA)}}


def spread(
    pins: Sequence[Pin], lines: Sequence[str], socket: Socket, seats: Mapping[int, Net], points: Points
) -> dict[int, Net]:
    """Give every line of the socket a pin: each its own, or where lines may be crossed the pin that sits on it."""
    if not points.crossed:
        return {pin.number: socket.by_function[line] for pin, line in zip(pins, lines) if line in socket.by_function}
    found = {pin.number: seats[pin.number] for pin in pins if seats[pin.number].function in lines}
    taken = {net.function for net in found.values()}
    left = [line for line in lines if line in socket.by_function and line not in taken]
    free = sorted(
        (pin for pin in pins if pin.number not in found),
        key=lambda pin: (-move_points(rest(socket, seats[pin.number]), seats[pin.number], points), pin.index),
    )
    return found | {pin.number: socket.by_function[line] for pin, line in zip(free, left)}


def rest(socket: Socket, seat: Net) -> Net:
    """Return what keeps a pin at one level while the chip is read: its seat, or GND."""
    return seat if socket.read_level(seat) else GND


def carried(socket: Socket, chip: Part, nets: Mapping[int, Net | None]) -> tuple[str, ...]:
    """Return what each address pin of a chip, then each data pin, stands for in the image, lowest first."""
    found, pickers = [], 0
    for pin in chip.lines(Role.ADDRESS):
        net = nets[pin.number]
        line = socket.line_of(net) if net else None
        if net and net.kind is Kind.STRAP:
            found.append(net.label)
        elif net and (level := socket.read_level(net)):
            found.append(level)
        elif line is not None:
            found.append(socket.address[line])
        elif net and socket.beyond.shares and net.kind is Kind.SIGNAL:
            pickers += 1
            found.append(f"S{pickers}")
        else:
            found.append(NOTHING)
    for pin in chip.lines(Role.DATA):
        bit = socket.bit_of(nets[pin.number]) if nets[pin.number] else -1
        found.append(socket.data[bit] if bit >= 0 else NOTHING)
    return tuple(found)
