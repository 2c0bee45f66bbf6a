"""A free run, on emulators: does the CPU really count through its addresses, and as fast as is said?

The witnesses are independent models of the instruction and its clocks: py65 (6502), z80 (Z80, 8080) and m68000-python
(68000). None of them shows what the bus does inside an instruction but by its reads; what the Z80 has on its address
lines during refresh is put together from its own R and I after the Zilog manual, pp. 8-9.
"""

from fractions import Fraction
from itertools import pairwise

import pytest

from romwright.boards.library import cpu_names, require_cpu
from romwright.boards.linerates import free_run_bytes, line_rates, parse_clock
from romwright.errors import OptionError

# bus-and-bench table 4.1 of the project's facts: CPU, clock, line, hertz; each worked out there from the documents
HAND = [
    ("Z80", "4MHz", "A0", 500_000), ("Z80", "4MHz", "A6", 7812.5), ("Z80", "4MHz", "A15", 15.2587890625),
    ("8080", "2MHz", "A0", 250_000), ("8085", "6MHz/2", "A0", 375_000), ("6502", "1MHz", "A0", 250_000),
    ("6502", "1MHz", "A1", 125_000), ("6502", "1MHz", "A15", 7.62939453125), ("6800", "1MHz", "A0", 250_000),
    ("6809", "4MHz/4", "A0", 250_000), ("8088", "4.77MHz", "A0", 596_250), ("68000", "8MHz", "A1", 1_000_000),
]  # fmt: skip


def rates(name, clock="1MHz"):
    return {rate.line: rate for rate in line_rates(require_cpu(name), parse_clock(clock))}


@pytest.mark.parametrize(("name", "clock", "line", "hertz"), HAND)
def test_hand_worked_frequencies(name, clock, line, hertz):
    assert rates(name, clock)[line].hz == Fraction(hertz)


@pytest.mark.parametrize("name", cpu_names())
def test_each_line_is_half_of_the_one_below(name):
    counting = [rate for rate in rates(name).values() if rate.steady]
    assert all(above.hz * 2 == below.hz for below, above in pairwise(counting))
    assert all(rate.period_s * rate.hz == 1 for rate in counting)


def rises(states, bit):
    """Count the rises of a line in a round of addresses that closes on itself."""
    return sum(not before >> bit & 1 and after >> bit & 1 for before, after in pairwise([*states, states[0]]))


def agrees(name, states, clocks, lines, seen="hz"):
    """Compare what the lines did in so many clocks of a 1 MHz clock with what is said."""
    said = rates(name)
    for line in lines:
        assert Fraction(rises(states, int(line[1:])), clocks) * 10**6 == getattr(said[line], seen), line


def test_6502():
    mpu6502 = pytest.importorskip("py65.devices.mpu6502")
    memory = list(free_run_bytes(require_cpu("6502"), 0x2000, 8)) * 8
    mpu = mpu6502.MPU(memory=memory)
    mpu.reset()
    mpu.pc = memory[0xFFFC] | memory[0xFFFD] << 8
    assert mpu.pc == 0xEAEA
    begun, states = mpu.processorCycles, []
    for _ in range(0x10000):
        states.append(mpu.pc)
        mpu.step()
    assert sorted(states) == list(range(0x10000))
    agrees("6502", states, mpu.processorCycles - begun, require_cpu("6502").address_lines)


@pytest.mark.parametrize(("name", "machine"), [("Z80", "Z80Machine"), ("8080", "I8080Machine")])
def test_z80_and_8080(name, machine):
    cpu = getattr(pytest.importorskip("z80"), machine)()
    cpu.set_memory_block(0, free_run_bytes(require_cpu(name), 0x10000, 8))
    fetches, bus = [], []
    for _ in range(0x10000):
        fetches.append(cpu.pc)
        if name == "Z80":
            bus += [cpu.pc, cpu.i << 8 | cpu.r]
        cpu.ticks_to_stop = 4  # no more than one fetch of four clocks
        cpu.run()
        assert cpu.pc == (fetches[-1] + 1) & 0xFFFF
    assert sorted(fetches) == list(range(0x10000))
    clocks = 4 * len(fetches)
    agrees(name, fetches, clocks, require_cpu(name).address_lines)
    if name == "Z80":  # with the refresh in the second half of each fetch: what a counter shows
        agrees(name, bus, clocks, require_cpu(name).address_lines, "counter_hz")


def run_68000(word, steps):
    """Run a 68000 that reads one word everywhere; return it, its reads and the clocks of the steps."""
    package = pytest.importorskip("m68000_python")
    reads = []

    def read_word(address):
        reads.append(address)
        return word

    def none(*_):
        raise AssertionError("a free run neither writes nor reads bytes")

    cpu = package.M68000CPU(lambda address: none(), read_word, none, none)
    cpu.reset()
    return cpu, reads, sum(cpu.step() for _ in range(steps))


def test_68000():
    contents = free_run_bytes(require_cpu("68000"), 4, 16)
    assert contents == bytes(8)
    steps = 0x4000
    cpu, reads, clocks = run_68000(0, steps)
    assert not cpu.halted
    fetches = reads[4:]  # after the stack pointer and the program counter, each two words
    assert fetches == list(range(0, 2 * len(fetches), 2))
    assert clocks == 8 * steps  # two words each
    agrees("68000", fetches[: 2 * steps], clocks, [f"A{n}" for n in range(1, 16)])


def test_the_nop_of_the_68000_is_a_trap():
    package = pytest.importorskip("m68000_python")
    cpu = package.M68000CPU(lambda a: 0x4E, lambda a: 0x4E71, lambda *_: None, lambda *_: None)
    cpu.reset()
    for _ in range(8):
        cpu.step()
    assert cpu.halted


def test_8088_round():
    """FFFF0 to FFFFF, then 00000 to 0FFEF: the linear address of CS FFFF and every IP, modulo 2^20 (facts, 4.2)."""
    states = [(0xFFFF0 + ip) & 0xFFFFF for ip in range(0x10000)]
    agrees("8088", states, 4 * len(states), require_cpu("8088").address_lines)


@pytest.mark.parametrize("text", ["", "MHz", "0", "1/0", "-1MHz", "1e6", "1MHz/", "5 GHz", "1,5MHz"])
def test_no_clock(text):
    with pytest.raises(OptionError):
        parse_clock(text)


def test_a_chip_that_does_not_fit():
    with pytest.raises(OptionError):
        free_run_bytes(require_cpu("Z80"), 256, 4)
    with pytest.raises(OptionError):
        free_run_bytes(require_cpu("Z80"), 256, 16)
    assert free_run_bytes(require_cpu("68000"), 8, 8) == bytes(8)
