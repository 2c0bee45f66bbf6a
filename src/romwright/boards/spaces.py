"""An address space as the address lines show it: memory on all of them, a port on some of them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from romwright.boards.model import Board, Cpu, Ports


@dataclass(frozen=True, slots=True)
class Space:
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

        >>> [f"{lines:X}" for lines in Space(0xFF, 2, {f"A{i}": i % 8 for i in range(16)}).on_lines(0x12)]
        ['1212']
        """
        shown = sum((address >> bit & 1) << int(line[1:]) for line, bit in self.bits.items())
        for upper in range(1 << self.free):
            yield shown | upper << self.digits * 4


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
