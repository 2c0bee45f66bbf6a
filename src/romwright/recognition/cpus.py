"""Which CPU an image was written for, from its reset and interrupt vectors and the first instructions after a reset.

The score is evidence in bits against chance: every clue is a bet, placed before looking, that pays what the clue is
unlikely in random bytes and costs its stake where it is missing. So of 2^n images of random bytes at most about one
scores n or more for a CPU. Bytes that are not random (text, tables) are kept out by counting every instruction and
every target once, by asking for a vector or place *and* code, and by taking no text for code.

Where each CPU starts: facts/bus-and-bench.md 3.1 (Zilog, Intel, Motorola and W65C02S documents named there).
"""

from __future__ import annotations

from collections.abc import Callable
from math import log2

from msgspec import Struct, field

from romwright.recognition.opcodes import BIG_ENDIAN, Z80_ONLY, Instruction, instructions
from romwright.recognition.structures import DATE, ENTRIES, whole_rom

NEEDED = 20.0  # bits to name a CPU: less than one random image in a million
CODE_NEEDED = 5.0  # bits of them that must come from instructions
MARGIN = 10.0  # bits: a CPU a thousand times less likely than the best is not named beside it
STEPS = 48  # instructions followed at most
GOES_ON = 7 / 8  # stake on the next instruction being one of the table
SPLIT = "a program for a 16-bit CPU may be split over an even and an odd chip: join the two first"
TEXT = frozenset([*range(0x20, 0x7F), 0x09, 0x0A, 0x0D])
DATE_CHANCE = (10 / 256) ** 6 / 256**2

VECTORS = {  # distance from the end of memory (10000); reset first
    "6502": {"reset": 4, "NMI": 6, "IRQ": 2},
    "6800": {"reset": 2, "IRQ": 8, "SWI": 6, "NMI": 4},
    "6809": {"reset": 2, "IRQ": 8, "SWI": 6, "NMI": 4, "FIRQ": 10, "SWI2": 12, "SWI3": 14},
}


class Judgement(Struct, frozen=True):
    """A CPU, or "unknown"; the score in bits, and the evidence in words."""

    cpu: str
    score: float
    evidence: tuple[str, ...]

    def as_json(self) -> dict[str, object]:
        """The judgement under the documented JSON keys."""
        return {"cpu": self.cpu, "score": self.score, "evidence": list(self.evidence)}


class Case(Struct):
    """The case for one CPU: the image as that CPU would see it, and the bits collected."""

    cpu: str
    data: bytes
    base: int  # the address of the first byte
    space: int  # bytes that the CPU can address
    score: float = 0.0
    code: float = 0.0
    evidence: list[str] = field(default_factory=list)
    targets: set[int] = field(default_factory=set)
    met: set[bytes] = field(default_factory=set)  # instructions, by their code
    been: set[int] = field(default_factory=set)  # offsets of instructions

    @property
    def order(self) -> str:
        return "big" if self.cpu in BIG_ENDIAN else "little"

    def number(self, offset: int, size: int) -> int:
        """Read a number at an offset, in the CPU's byte order."""
        return int.from_bytes(self.data[offset : offset + size], self.order)

    def bet(self, stake: float, chance: float, won: bool) -> None:
        """Settle a bet of `stake` (0 to 1) on a clue that random bytes show with `chance`."""
        if chance < 1:
            self.score += log2(stake / chance) if won else log2((1 - stake) / (1 - chance))

    def aims_inside(self, address: int, stake: float) -> bool:
        """Bet that an address lies inside the image; an address met before counts nothing."""
        inside = 0 <= address - self.base < len(self.data)
        if address not in self.targets:
            self.targets.add(address)
            self.bet(stake, min(len(self.data) / self.space, 1), inside)
        return inside

    def follow(self, address: int, what: str = "code") -> None:
        """Follow the code at an address, as far as it is of instructions that programs start with."""
        before, names, path = self.score, [], bytearray()
        offset, stop = address - self.base, len(self.been) + STEPS
        while len(self.been) < stop and 0 <= offset < len(self.data) and offset not in self.been:
            self.been.add(offset)
            found = self.instruction_at(offset)
            if found is None:
                self.score += log2(1 - GOES_ON)
                break
            path += self.data[offset : offset + found.length]
            if found.code not in self.met:
                self.met.add(found.code)
                names.append(found.name)
                self.score += log2(GOES_ON * found.likelihood * 256 ** len(found.code))
            target = self.target(found, offset)
            if target is not None and found.operands[0][0] != "r":
                self.aims_inside(target, 0.9 if found.flow == "goto" else 0.7)
            if found.flow == "end":
                break
            offset = target - self.base if found.flow == "goto" and target is not None else offset + found.length
        if not names or TEXT.issuperset(path):
            self.score = min(self.score, before)
            return
        self.code += self.score - before
        shown = ", ".join(names[:12]) + (", ..." if len(names) > 12 else "")
        count = f"{len(names)} instruction{'s' * (len(names) > 1)} as programs have there, each counted once"
        self.evidence.append(f"{what} at {address:04X}: {shown} ({count})")

    def instruction_at(self, offset: int) -> Instruction | None:
        """Return the instruction of the table at an offset, if there is one and it is whole."""
        for one in instructions(self.cpu):
            if self.data.startswith(one.code, offset) and offset + one.length <= len(self.data):
                return one
        return None

    def target(self, one: Instruction, offset: int) -> int | None:
        """Return the address that an instruction goes to or calls."""
        if one.flow not in ("goto", "call"):
            return None
        (letter, size), at = one.operands[0], offset + len(one.code)
        value = self.number(at, size)
        if letter == "s":  # segment over offset
            return ((value >> 16) << 4) + (value & 0xFFFF)
        if letter == "a":
            return value
        # A 68000 counts from the word after the opcode, the others from the next instruction.
        origin = offset + (2 if self.cpu == "68000" else one.length)
        return self.base + origin + value - ((value >> (8 * size - 1)) << (8 * size))


def judge_cpus(data: bytes, start: int = 0) -> list[Judgement]:
    """Name the CPU that an image was written for: the likeliest first, or one judgement "unknown".

    `start` is the image's address if a file says one; 0 counts as not known, and then the image is taken to end where
    memory ends (6502, 6800, 6809, 8086) or to start at 0 (Z80/8080, 68000).

    >>> program = bytes.fromhex("78D8A2FF9AA9008D00A020008060").ljust(0x7FFA, b"\\xEA") + bytes.fromhex("008000800080")
    >>> [(v.cpu, v.evidence[0]) for v in judge_cpus(program)]
    [('6502', 'reset vector 8000 at FFFC lies inside the image')]
    """
    used = _used(data)
    cases = [case for make in MAKERS for case in make(used, start)]
    for case in cases:
        if len(used) < len(data):
            case.evidence.append(f"only the first {len(used):,} bytes were looked at: the rest is blank")
    named = [case for case in cases if case.score >= NEEDED and case.code >= CODE_NEEDED]
    named.sort(key=lambda case: -case.score)
    if named:
        best = named[0].score
        return [Judgement(c.cpu, round(c.score, 1), tuple(c.evidence)) for c in named if c.score >= best - MARGIN]
    nearest = max(cases, key=lambda case: case.score, default=None)
    if nearest is None or nearest.score <= 0:
        words = "neither vectors nor start-up code of a known CPU"
    else:
        words = (
            f"nearest is the {nearest.cpu} with a score of {nearest.score:.1f}; {NEEDED:.0f} are needed, "
            f"{CODE_NEEDED:.0f} of them from code ({nearest.code:.1f})"
        )
    return [Judgement("unknown", round(max(nearest.score, 0), 1) if nearest else 0.0, (words, SPLIT))]


def _used(data: bytes) -> bytes:
    """Leave out upper halves that hold one value only: a small program in a big chip."""
    while len(data) >= 512 and not len(data) % 2 and data.count(data[-1:], len(data) // 2) == len(data) // 2:
        data = data[: len(data) // 2]
    return data


def _from_the_top(data: bytes, start: int) -> list[Case]:
    """Make the cases of the CPUs whose vectors lie at the end of a 64K memory.

    Where a reset vector leaves the image, there is a second case: on a board that leaves out the upper address lines
    the image answers everywhere, so its program may be written for any multiple of its size.
    """
    data = data[-0x10000:]
    size, top = len(data), 0x10000 - len(data)
    mirrors = size.bit_count() == 1 and start % size == 0
    if size < 16 or not (start in (0, top) or mirrors):
        return []
    cases = []
    for cpu, vectors in VECTORS.items():
        case = Case(cpu, data, start or top, 0x10000)
        reset = case.number(size - vectors["reset"], 2)
        cases.append(_by_vectors(case, vectors))
        if mirrors and not start and reset < top:
            cases.append(_by_vectors(Case(cpu, data, reset & -size, 0x10000, targets={reset}), vectors))
    return cases


def _by_vectors(case: Case, vectors: dict[str, int]) -> Case:
    """Follow the vectors at the end of an image, the reset vector first: the others count only if that lies inside."""
    size = len(case.data)
    aims = {name: case.number(size - back, 2) for name, back in vectors.items()}
    reset = aims.pop("reset")
    if case.aims_inside(reset, 0.9):
        if case.base + size != 0x10000:
            place = f"{case.base:04X}-{case.base + size - 1:04X}"
            lines = f"A{size.bit_length() - 1} to A15" if size < 0x8000 else "A15"
            case.evidence.append(f"second look, at {place}: a board that leaves out {lines} shows the image there too")
        case.evidence.append(f"reset vector {reset:04X} at {0x10000 - vectors['reset']:04X} lies inside the image")
        inside = [name for name, address in aims.items() if case.aims_inside(address, 0.5)]
        if inside:
            words = ", ".join(f"{name} {aims[name]:04X}" for name in inside)
            case.evidence.append(f"{len(inside)} of {len(aims)} other vectors lie inside too: {words}")
        case.follow(reset)
        for name in inside:
            case.follow(aims[name], f"{name} code")
    return case


def _z80(data: bytes, start: int) -> list[Case]:
    """Make the case of a CPU that starts at 0000 and has its restarts at 0008 to 0038."""
    if start or len(data) < 0x40:
        return []
    case = Case("Z80/8080", data[:0x10000], 0, 0x10000)
    case.follow(0)
    jumps = []
    for at in range(8, 0x40, 8):
        target = case.number(at + 1, 2)
        if target in case.targets:
            continue
        jump = data[at] == 0xC3 and target < len(case.data)
        case.bet(1 / 8, len(case.data) / 0x10000 / 256, jump)
        if jump:
            case.targets.add(target)
            jumps.append(f"{at:04X}")
    if jumps:
        case.evidence.append(f"restarts at {', '.join(jumps)} jump into the image")
    if any(code[0] in Z80_ONLY for code in case.met):
        case.evidence.append("among the instructions are some that the Z80 has and the 8080 has not")
    return [case]


def _m68000(data: bytes, start: int) -> list[Case]:
    """Make the case of a CPU whose stack and program counter are the first two longs."""
    if start or len(data) < 16:
        return []
    case = Case("68000", data, 0, 1 << 24)
    stack, entry = case.number(0, 4), case.number(4, 4)
    if stack >> 24 or entry >> 24 or stack % 2 or entry % 2 or not stack or entry < 8 or stack == entry:
        return [case]
    case.bet(0.5, 1 / 65536 / 4, True)
    case.evidence.append(f"the first long, {stack:08X}, is even as a stack pointer must be")
    if entry < len(data):
        case.bet(0.5, len(data) / case.space, True)
    else:  # seen at 0 at reset only: the program lives at the address that the entry shows
        case.bet(0.5, len(data) / case.space, False)
        case.base = entry & -(1 << (len(data) - 1).bit_length())
    if 0 <= entry - case.base < len(data):
        case.evidence.append(f"the second long, {entry:08X}, is even and lies inside the image (from {case.base:X})")
        case.follow(entry)
    return [case]


def _i8086(data: bytes, start: int) -> list[Case]:
    """Make the cases of a CPU that starts 16 bytes below the end of 1 MiB, and of an expansion ROM at its start."""
    cases = []
    if len(data) >= 32 and (not start or start + len(data) == 1 << 20):
        case = Case("8086", data[-(1 << 20) :], (1 << 20) - min(len(data), 1 << 20), 1 << 20)
        entry, first = (1 << 20) - 16, data[-16]
        for opcode, stake in ((0xEA, 0.7), (0xE9, 0.1), (0xEB, 0.1)):
            if first == opcode:
                case.bet(stake, 1 / 256, True)
                case.code += case.score
                case.evidence.append(f"{first:02X}, a jump, stands where the CPU starts, 16 bytes before the end")
        if first not in (0xEA, 0xE9, 0xEB):
            case.bet(0.9, 3 / 256, False)
        dated = DATE.fullmatch(data[-11:-3])
        case.bet(0.25, DATE_CHANCE, bool(dated))
        if dated:
            case.evidence.append(f"a date, {dated[0].decode()}, follows it, as in a PC's system BIOS")
        case.follow(entry)
        cases.append(case)
    rom = b"" if start else whole_rom(data)
    if rom and rom[3] in ENTRIES:
        case = Case("8086", data, 0, 1 << 20, evidence=["55 AA at the start, as in a PC's expansion ROM"])
        case.bet(0.5, 2**-24 * 3 / 256, True)
        case.evidence.append(f"its {len(rom):,} bytes sum to 00, and {rom[3]:02X} (a jump or far return) is its entry")
        case.code += log2(256 / 3)
        cases.append(case)
    return cases


MAKERS: tuple[Callable[[bytes, int], list[Case]], ...] = (_from_the_top, _z80, _m68000, _i8086)
