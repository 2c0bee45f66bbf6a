"""Making a checksum come out: which bytes, put at a stated place, give a range the sum or CRC that is wanted.

A byte sum grows with every byte, and a CRC is linear over GF(2) in the bits of its message, so both are solved, not
searched for.
"""

from __future__ import annotations

from collections.abc import Callable

from msgspec import Struct

from romwright.errors import NotSolvableError, UnknownNameError
from romwright.images import checksums


class Kind(Struct, frozen=True):
    """A checksum that can be made to come out: its name, width in bits, and the function that computes it.

    `weights` are the factors by which the bytes of a range enter an additive sum, repeating from its first byte; a CRC
    or an XOR, linear over GF(2), has none.
    """

    name: str
    width: int
    compute: Callable[[bytes], int]
    weights: tuple[int, ...] = ()

    @property
    def size_bytes(self) -> int:
        """How many bytes its value takes."""
        return self.width // 8

    def text(self, value: int) -> str:
        """Return a value as hex digits of the full width."""
        return f"{value:0{self.width // 4}X}"


SUMS = {
    kind.name: kind
    for kind in (
        Kind("sum8", 8, lambda data: checksums.byte_sum(data) & 0xFF, (1,)),
        Kind("sum16", 16, lambda data: checksums.byte_sum(data) & 0xFFFF, (1,)),
        Kind("sum32", 32, lambda data: checksums.byte_sum(data) & 0xFFFFFFFF, (1,)),
        Kind("xor8", 8, checksums.byte_xor),
        Kind("words-big", 16, lambda data: checksums.word_sum(data, "big") & 0xFFFF, (256, 1)),
        Kind("words-little", 16, lambda data: checksums.word_sum(data, "little") & 0xFFFF, (1, 256)),
    )
}


def kind_named(name: str) -> Kind:
    """Find a kind of checksum: sum8, sum16, sum32, xor8, words-big, words-little, or a CRC of 8, 16 or 32 bits.

    Raises UnknownNameError.
    """
    if name in SUMS:
        return SUMS[name]
    try:
        name = checksums.crc_name(name)
        width = checksums.crc_width(name)
    except UnknownNameError:
        width = None
    if width not in (8, 16, 32):
        crcs = sorted(crc for crc, bits in checksums.crc_widths().items() if bits in (8, 16, 32))
        raise UnknownNameError("checksum", name, [*SUMS, *crcs])
    return Kind(name, width, checksums.crc_function(name))


def solve(data: bytes, kind: Kind, value: int, at: int, count: int) -> bytes:
    """Return `count` bytes which, put at `data[at : at + count]`, make the checksum of all of `data` come to `value`.

    Raises NotSolvableError if there are no such bytes.

    >>> solve(bytes(16), SUMS["sum8"], 0x42, at=15, count=1)
    b'B'
    """
    patch = (solve_sum if kind.weights else solve_crc)(data, kind, value, at, count)
    if patch is None:
        raise NotSolvableError(
            f"no {count} byte{'s' if count > 1 else ''} there make the {kind.name} come to {kind.text(value)}",
            expected=f"a place of at least {kind.size_bytes} bytes" if count < kind.size_bytes else "",
            help="give a larger place, as FIRST-LAST, or another value",
        )
    return patch


def solve_sum(data: bytes, kind: Kind, value: int, at: int, count: int) -> bytes | None:
    """Solve an additive sum: the heavy bytes take the high part, the others what is left."""
    blank = data[:at] + bytes(count) + data[at + count :]
    left = (value - kind.compute(blank)) % (1 << kind.width)
    weights = [kind.weights[(at + i) % len(kind.weights)] for i in range(count)]
    patch = bytearray(count)
    for weight in sorted(set(weights), reverse=True):
        for i in (i for i, w in enumerate(weights) if w == weight):
            patch[i] = min(left // weight, 255)
            left -= patch[i] * weight
    return None if left else bytes(patch)


def solve_crc(data: bytes, kind: Kind, value: int, at: int, count: int) -> bytes | None:
    """Solve a CRC: each bit of the place turns a fixed set of bits of the result; eliminate."""
    blank = data[:at] + bytes(count) + data[at + count :]
    start = kind.compute(blank)
    # rows: leading bit of the effect -> (effect on the CRC, the set of message bits that has it)
    rows: dict[int, tuple[int, int]] = {}
    for bit in range(8 * count):
        if len(rows) == kind.width:
            break  # every result can be had; the bits left over stay 0
        effect = kind.compute(data[:at] + (1 << bit).to_bytes(count, "big") + data[at + count :]) ^ start
        effect, bits = reduced(effect, 1 << bit, rows)
        if effect:
            rows[effect.bit_length()] = (effect, bits)
    left, bits = reduced(start ^ value, 0, rows)
    return None if left else bits.to_bytes(count, "big")


def reduced(effect: int, bits: int, rows: dict[int, tuple[int, int]]) -> tuple[int, int]:
    """Take from an effect every row whose leading bit it has, noting the message bits used."""
    for lead in sorted(rows, reverse=True):
        if effect >> (lead - 1) & 1:
            effect ^= rows[lead][0]
            bits ^= rows[lead][1]
    return effect, bits
