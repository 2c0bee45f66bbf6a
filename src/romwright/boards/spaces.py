"""An address space as the address lines show it: memory on all of them, a port on some of them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from msgspec import Struct

from romwright.boards.model import Board, Cpu, Ports


class Space(Struct, frozen=True):
    """Addresses up to `top`, written with `digits` in hex; `bits` has the bit that a line shows, `low` the lines at L.

    Lines that are in neither may be at any level; there are `free` of them, above the others.
    """

    top: int
    digits: int
    bits: dict[str, int]
    low: tuple[str, ...] = ()
    free: int = 0

    def shown(self, levels: dict[str, str]) -> dict[str, str]:
        """Return levels of the address lines as levels of A0, A1 ... for the bits of the address."""
        return {f"A{self.bits[line]}": level for line, level in levels.items() if line in self.bits}

    def on_lines(self, address: int) -> Iterator[int]:
        """Yield what the address lines show for an address, A0 as bit 0: once for each state of the free ones.

        The address may be an array of them.

        >>> [f"{lines:X}" for lines in Space(0xFF, 2, {f"A{i}": i % 8 for i in range(16)}).on_lines(0x12)]
        ['1212']
        """
        shown = moved_bits(address, [(bit, int(line[1:])) for line, bit in self.bits.items()])
        for upper in range(1 << self.free):
            yield shown | upper << self.digits * 4


def moved_bits(number: int, moves: Iterable[tuple[int, int]]) -> int:
    """Return a number made of bits of another, or of an array of them: each move is a bit, and where it goes.

    >>> bin(moved_bits(0b0110, [(1, 0), (2, 1), (3, 2), (2, 4)]))
    '0b10011'
    """
    found, steps = number & 0, {}
    for bit, to in moves:
        steps[to - bit] = steps.get(to - bit, 0) | 1 << bit
    for step, mask in steps.items():  # bits that move by as much move together
        found = found | ((number & mask) << step if step >= 0 else (number & mask) >> -step)
    return found


def space_of(kind: str, board: Board, cpu: Cpu) -> Space:
    """Return the memory or the I/O space of a CPU; `board` says whether the lines above a port matter to it."""
    lines, ports = cpu.address_lines, cpu.ports
    numbers = {line: int(line[1:]) for line in lines}
    if kind != "io" or ports is None or is_wide(board, ports):
        return Space(cpu.top, max(4, len(f"{cpu.top:X}")), numbers)
    count, above = ports.bits, lines[ports.bits :]
    bits = {line: number % count for line, number in numbers.items() if line not in above or ports.above == "copy"}
    low, free = (above, 0) if ports.above == "L" else ((), len(above) * (ports.above == "any"))
    return Space((1 << count) - 1, count // 4, bits, low, free)


def is_wide(board: Board, ports: Ports) -> bool:
    """Tell whether the map writes ports with all address lines, where it may choose: `0000-003F`, not `00-3F`."""
    return ports.above == "any" and any(width > ports.bits for width in port_widths(board))


def port_widths(board: Board) -> set[int]:
    """Return how many bits the map's I/O ranges are written with."""
    return {4 * len(end) for area in board.map if area.space == "io" for end in area.range.split("-")}
