"""Run the two ROM programs of the Tern TL-1 on a 6502 model, on sound and on faulty boards.

The witness is py65, an independent model of the 6502 (instructions, flags, cycles). The board around it
(memory map, lamps, gauge, tick, faults) is modelled here after fixtures/tern/README.md.
"""

import importlib.util
import math
import re
import shutil
from itertools import pairwise
from pathlib import Path

import pytest

mpu6502 = pytest.importorskip("py65.devices.mpu6502")

TERN = Path(__file__).parents[2] / "fixtures" / "tern"
LOGGER = (TERN / "logger.bin").read_bytes()
ROTTEN = (TERN / "logger-rotten.bin").read_bytes()
DIAGNOSTIC = (TERN / "diagnostic.bin").read_bytes()

SPIN = {0xCA: "x", 0x88: "y"}  # DEX or DEY, then BNE back to it: the waiting loops
TICKS, BUSY, LISTING = 0x03, 0x19, 0x23  # page zero of the logger, as in logger.s
IDLE = 0xC000 + LOGGER.index(bytes([0xA5, TICKS, 0xD0]))  # where the logger waits for one: LDA ticks, BNE


def plain(address: int, value: int) -> int:
    """Read a RAM that has no fault."""
    return value


class Bus:
    """The TL-1's memory map. `dram_map` and `dram_read`, `bat_read` are the places for faults."""

    def __init__(self, rom: bytes, battery: bytes = bytes(0x2000)):
        self.rom = rom
        self.dram = bytearray(b"\x99" * 0x4000)
        self.battery = bytearray(battery)
        self.dram_map = self.bat_map = lambda address: address
        self.dram_read = self.bat_read = plain
        self.lamps: list[int] = []
        self.low_accesses = 0
        self.gauge = 0
        self.latch = False
        self.on_lamps = lambda value: None

    def __getitem__(self, address: int) -> int:
        if address >= 0xC000:
            return self.rom[address - 0xC000]
        if address < 0x4000:
            self.low_accesses += 1
            return self.dram_read(address, self.dram[self.dram_map(address)])
        if 0x8000 <= address < 0xA000:
            return self.bat_read(address - 0x8000, self.battery[self.bat_map(address - 0x8000)])
        assert address == 0xA000, f"read at {address:04X}, where nothing is"
        self.latch = False
        return self.gauge

    def __setitem__(self, address: int, value: int) -> None:
        if address < 0x4000:
            self.low_accesses += 1
            self.dram[self.dram_map(address)] = value
        elif 0x8000 <= address < 0xA000:
            self.battery[self.bat_map(address - 0x8000)] = value
        else:
            assert address == 0xA000, f"write at {address:04X}, where no RAM is"
            self.lamps.append(value)
            self.on_lamps(value)


class OpenPin(Bus):
    """U15, the chip of D5, does not feel the address pin that carries A3 and A10 in turn: it takes both for 1."""

    FELT = 1 << 3 | 1 << 10

    def __getitem__(self, address: int) -> int:
        value = super().__getitem__(address)
        return value & 0xDF | self.dram[address | self.FELT] & 0x20 if address < 0x4000 else value

    def __setitem__(self, address: int, value: int) -> None:
        super().__setitem__(address, value)
        if address < 0x4000:
            cell = address | self.FELT
            self.dram[cell] = self.dram[cell] & 0xDF | value & 0x20


class Forgetful(Bus):
    """Bit 7 of one cell runs down to 0 within 0.6 s: a row that nobody refreshes."""

    CELL, HOLDS = 0x3FFF, 600_000  # cycles of 1 us

    def __init__(self, rom: bytes, **bus):
        super().__init__(rom, **bus)
        self.clock = lambda: 0
        self.written = 0

    def __getitem__(self, address: int) -> int:
        value = super().__getitem__(address)
        return value & 0x7F if address == self.CELL and self.clock() - self.written > self.HOLDS else value

    def __setitem__(self, address: int, value: int) -> None:
        super().__setitem__(address, value)
        if address == self.CELL:
            self.written = self.clock()


class Board:
    """A CPU on the bus. Waiting loops of DEX or DEY and BNE are run in one go, with the same result and time."""

    def __init__(self, rom: bytes, kind: type[Bus] = Bus, **bus):
        self.bus = kind(rom, **bus)
        self.cpu = mpu6502.MPU(memory=self.bus, pc=None)
        self.cpu.p |= self.cpu.INTERRUPT
        self.spins = {
            0xC000 + at: SPIN[rom[at]]
            for at in range(0x3FF0)
            if rom[at] in SPIN and rom[at + 1 : at + 3] == b"\xd0\xfd"
        }

    def step(self) -> None:
        register = self.spins.get(self.cpu.pc)
        if register:
            rest = (getattr(self.cpu, register) - 1) & 0xFF  # all rounds but the last
            setattr(self.cpu, register, 1)
            self.cpu.processorCycles += 5 * rest
        self.cpu.step()

    def run(self, until, limit: int = 3_000_000) -> None:
        """Step until `until()` is true."""
        step = self.step
        for _ in range(limit):
            if until():
                return
            step()
        raise AssertionError(f"not reached in {limit} instructions, PC {self.cpu.pc:04X}, lamps {self.bus.lamps[-4:]}")

    def result(self, steps: int) -> list[int]:
        """Return the lamps' next `steps` patterns once the diagnostic has begun to show its result."""
        shown = self.bus.lamps
        self.run(lambda: len(shown) >= 10)  # all on, eight in turn, all out
        assert shown[:10] == [0xFF, 1, 2, 4, 8, 16, 32, 64, 128, 0]
        self.run(lambda: len(shown) >= 10 + 2 * steps)
        assert shown[10 : 10 + steps] == shown[10 + steps :], "the result is to repeat"
        return shown[10 : 10 + steps]


# ---- How the files were made


def maker():
    """Import fixtures/tern/make.py."""
    spec = importlib.util.spec_from_file_location("tern_make", TERN / "make.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("name", ["logger", "diagnostic"])
def test_sources_assemble_to_the_committed_bytes(name, tmp_path):
    if not shutil.which("xa"):
        pytest.skip("xa65 is not installed")
    source = tmp_path / f"{name}.s"
    source.write_bytes((TERN / f"{name}.s").read_bytes())
    make = maker()
    assert make.seal(make.assemble(source)) == (TERN / f"{name}.bin").read_bytes()


@pytest.mark.parametrize("image", [LOGGER, DIAGNOSTIC], ids=["logger", "diagnostic"])
def test_the_stored_sum_is_the_sum_of_all_other_bytes(image):
    assert len(image) == 0x4000
    stored = image[0x3FF8] | image[0x3FF9] << 8
    assert stored == sum(image[:0x3FF8] + image[0x3FFA:]) & 0xFFFF


def test_rotten_bits_have_risen_and_are_those_in_the_readme():
    risen = [(0xC000 + at, bit) for at in range(0x4000) for bit in range(8) if (LOGGER[at] ^ ROTTEN[at]) >> bit & 1]
    assert len(risen) == 20 and all(ROTTEN[a - 0xC000] >> bit & 1 for a, bit in risen)
    assert len({address & ~0x7F for address, _ in risen}) == 4
    listed = [
        f"| {address:04X} | {bit} | {LOGGER[address - 0xC000]:02X} | {ROTTEN[address - 0xC000]:02X} |"
        for address, bit in risen
    ]
    readme = (TERN / "README.md").read_text(encoding="utf-8").splitlines()
    assert [line for line in readme if re.match(r"\| [0-9A-F]{4} \| \d \|", line)] == listed


def test_tables_of_the_logger_agree_with_arithmetic():
    cosine, gray, metres, centis = (LOGGER[at : at + 256] for at in range(0x1000, 0x1400, 0x100))
    assert [(c ^ 0x80) - 0x80 for c in cosine] == [round(127 * math.cos(math.tau * i / 256)) for i in range(256)]
    assert all(gray[n ^ n >> 1] == n for n in range(256))
    assert [f"{m}.{c:02X}" for m, c in zip(metres, centis, strict=True)] == [f"{2 * n / 100:.2f}" for n in range(256)]
    for at in range(0x1480, 0x1580, 32):
        mean, amplitudes = LOGGER[at + 16], LOGGER[at + 17 : at + 23]
        assert sum(amplitudes) <= 126 and sum(amplitudes) <= mean <= 254 - sum(amplitudes)


def test_table_of_the_diagnostic_follows_its_rule():
    wave, anti, ident = DIAGNOSTIC[0x3000:0x3140], DIAGNOSTIC[0x3140:0x3280], DIAGNOSTIC[0x3280:0x3380]
    assert wave[0] == 1
    for before, after in pairwise(wave):
        assert after == (before << 1) ^ (0x11D if before & 0x80 else 0)
    assert anti == bytes(255 - b for b in wave) and ident == bytes(range(256))


# ---- The diagnostic


@pytest.fixture(scope="module")
def proven():
    """Run the diagnostic until just before its first access to RAM; return the state of the CPU and the lamps.

    The lamp and ROM tests are the same on every board below, so they are run once.
    """
    board = Board(DIAGNOSTIC)
    names = ("pc", "a", "x", "y", "sp", "p", "processorCycles")
    while not board.bus.low_accesses:
        state = [getattr(board.cpu, name) for name in names]
        board.step()
    return dict(zip(names, state, strict=True)), list(board.bus.lamps)


@pytest.fixture
def bench(proven):
    """Return a function that gives a board whose diagnostic is about to test the RAM."""

    def make(**bus):
        board = Board(DIAGNOSTIC, **bus)
        state, lamps = proven
        for name, value in state.items():
            setattr(board.cpu, name, value)
        board.bus.lamps.extend(lamps)
        return board

    return make


STACK_USERS = {0x00, 0x08, 0x20, 0x28, 0x40, 0x48, 0x60, 0x68}  # BRK PHP JSR PLP RTI PHA RTS PLA
REACHES_RAM = {0xBD, 0x9D, 0x5D, 0xB5, 0x95, 0x55}  # LDA STA EOR, absolute,X and its zero page form


def test_good_board_needs_no_stack_and_keeps_the_battery_ram():
    battery = bytes(n * 7 + (n >> 8) & 0xFF for n in range(0x2000))
    board = Board(DIAGNOSTIC, battery=battery)
    bus, cpu, used, reached = board.bus, board.cpu, set(), set()

    def watch():
        opcode = DIAGNOSTIC[cpu.pc - 0xC000]
        used.add(opcode)
        if bus.low_accesses:
            reached.add(last[0])
            bus.low_accesses = 0
        last[0] = opcode
        return len(bus.lamps) >= 14

    last = [None]
    board.run(watch)
    assert board.result(2) == [0x55, 0xAA]
    assert bytes(bus.battery) == battery
    assert not used & STACK_USERS
    assert cpu.sp == 0xFF
    assert reached <= REACHES_RAM


@pytest.mark.parametrize("bit", range(8))
@pytest.mark.parametrize("level", [0, 1])
def test_stuck_bit_of_dynamic_ram_lights_its_own_lamp(bench, bit, level):
    board = bench()
    where = (0x0000, 0x00FF, 0x0100, 0x01FE, 0x1234, 0x2000, 0x3F00, 0x3FFF)[bit]
    mask = 1 << bit
    board.bus.dram_read = lambda a, v: (v | mask if level else v & ~mask) if a == where else v
    assert board.result(2) == [mask, 0]


def test_two_dead_chips_light_both_lamps(bench):
    board = bench()
    board.bus.dram_read = lambda a, v: v | 0x04 if a == 0x0777 else v & 0xBF
    assert board.result(2) == [0x44, 0]


def joined(address: int, one: int, other: int, law: str) -> int:
    """Return the address that is selected when two lines are joined."""
    a, b = address >> one & 1, address >> other & 1
    level = a & b if law == "and" else a | b
    return address & ~(1 << one | 1 << other) | level << one | level << other


@pytest.mark.parametrize("one, other, law", [(3, 4, "and"), (0, 8, "or"), (12, 13, "and")])
def test_joined_address_lines_of_dynamic_ram_fail_every_chip(bench, one, other, law):
    board = bench()
    board.bus.dram_map = lambda address: joined(address, one, other, law)
    assert board.result(2) == [0xFF, 0]


def test_open_address_pin_of_one_chip_lights_its_lamp(bench):
    assert bench(kind=OpenPin).result(2) == [0x20, 0]


def test_row_that_is_not_refreshed_lights_its_lamp(bench):
    board = bench(kind=Forgetful)
    board.bus.clock = lambda: board.cpu.processorCycles
    assert board.result(2) == [0x80, 0]


def test_rom_that_stays_on_the_bus_fails_the_bits_where_it_is_low(bench):
    board = bench()
    board.bus.dram_read = lambda a, v: v & DIAGNOSTIC[a]  # a low wins: common practice, no source
    battery = bytes(board.bus.battery)
    failing = 0
    for byte in DIAGNOSTIC:
        failing |= byte ^ 0xFF
    assert failing == 0xFF
    assert board.result(2) == [failing, 0]
    assert bytes(board.bus.battery) == battery, "battery RAM is left alone while there is nowhere to keep it"


def test_stuck_bit_of_battery_ram(bench):
    board = bench()
    board.bus.bat_read = lambda a, v: v & 0xDF if a == 0x1ABC else v
    assert board.result(3) == [0xF0, 0x0F, 0x20]


def test_battery_ram_that_does_not_take_its_contents_back(bench):
    board = bench()
    reads = []

    def fifth_read_fails(address: int, value: int) -> int:
        """Fail the last of the five reads: copy, three of the test, comparison."""
        if address != 0x0456:
            return value
        reads.append(value)
        return value ^ 0x08 if len(reads) == 5 else value

    board.bus.bat_read = fifth_read_fails
    assert board.result(3) == [0xF0, 0x0F, 0x08]


def test_joined_address_lines_of_battery_ram(bench):
    board = bench()
    board.bus.bat_map = lambda address: joined(address, 2, 11, "and")
    assert board.result(3) == [0xF0, 0x0F, 0xFF]


def test_diagnostic_with_a_rotten_bit_of_its_own():
    worn = bytearray(DIAGNOSTIC)
    worn[0x3130] ^= 0x10
    board = Board(bytes(worn))
    assert board.result(2) == [0xC3, 0x3C]
    assert not board.bus.low_accesses


# ---- The logger


class Station(Board):
    """A logger on its pier: a gauge that gives one level a tick, and a printer on lamp 7."""

    def __init__(self, rom: bytes, levels=None, **bus):
        super().__init__(rom, **bus)
        self.levels = levels or (lambda tick: 100)
        self.given = 0
        self.edges: list[tuple[int, int]] = []
        self.bus.on_lamps = lambda value: self.edges.append((self.cpu.processorCycles, value >> 7))

    def ticks(self, number: int) -> None:
        """Give so many ticks, each when the one before was dealt with, and wait until the last was."""
        bus, cpu = self.bus, self.cpu
        end = self.given + number

        def done():
            if bus.latch:
                cpu.irq()
            elif cpu.pc == IDLE and not bus.dram[TICKS]:
                if self.given == end:
                    return True
                count = self.levels(self.given)
                bus.gauge = count ^ count >> 1
                bus.latch = True
                self.given += 1
            return False

        self.run(done, limit=number * 2000 + 1_000_000)

    def boot(self) -> None:
        """Run until interrupts are on."""
        self.run(lambda: not self.cpu.p & self.cpu.INTERRUPT)

    def printed(self) -> str:
        """Return what the printer received: 1200 baud, 8 bits, 1 stop bit, lamp 7 lit for space."""
        bit, text, at, free = 1_000_000 / 1200, [], 0, 0.0
        edges = self.edges[1:]  # the first is the lamp test, a break on the line

        def level(when):
            nonlocal at
            while at + 1 < len(edges) and edges[at + 1][0] <= when:
                at += 1
            return edges[at][1]

        for start, (when, space) in enumerate(edges):
            if not space or when < free:
                continue
            at = start
            bits = [1 - level(when + bit * (n + 1.5)) for n in range(9)]
            assert bits[8] == 1, "no stop bit"
            text.append(chr(sum(b << n for n, b in enumerate(bits[:8]))))
            free = when + 9.5 * bit
        return "".join(text)

    def head(self) -> dict[str, int]:
        """Return the head of the battery RAM, its sum checked."""
        data = self.bus.battery
        assert data[:5] == b"TERN\x01"
        assert sum(data[:0x20]) & 0xFFFF == data[0x20] | data[0x21] << 8

        def word(at):
            return data[at] | data[at + 1] << 8

        words = {"slot": word(5), "count": word(7), "stamp": word(9)}
        return words | {"starts": data[11], "lost": data[12], "station": data[13]}

    def records(self) -> list[tuple[int, int]]:
        """Return (stamp, level) of every slot that is not empty, their checks proven."""
        ring = bytes(self.bus.battery[0x80:])
        four = [ring[n : n + 4] for n in range(0, len(ring), 4)]
        assert len(four) == 2016
        assert all(r[0] ^ r[1] ^ r[2] ^ r[3] == 0x5A for r in four if r != b"\xff" * 4)
        return [(r[0] | r[1] << 8, r[2]) for r in four if r != b"\xff" * 4]


WHEEL = [0, 0, 0, 1, 1, 1, 1, 0, 0, 0, -1, -1, -1, 0, 0, 0]
SPEEDS = [28.98410, 30.0, 28.43973, 15.04107, 13.94304, 57.96821]  # degrees an hour, as fixtures/tern/README.md


def smoothed(counts: list[int]) -> list[int]:
    """Return the level after each second, by the rules of fixtures/tern/README.md."""
    last, filtered, levels = [counts[0]] * 3, counts[0] * 256 + 128, []
    for count in counts:
        last = last[1:] + [count]
        filtered += (sorted(last)[1] * 256 + 128 - filtered) // 16
        whole = filtered >> 8
        levels.append(max(0, min(254, whole + WHEEL[whole >> 4])))
    return levels


def waves(tick: int) -> int:
    """A made-up sea: a swell of 12 s on a slow rise, a spike now and then."""
    return 255 if tick % 97 == 50 else round(60 + tick / 30 + 9 * math.sin(tick * math.tau / 12))


@pytest.fixture(scope="module")
def cold():
    """A logger started with an empty battery RAM, and 901 seconds of sea."""
    station = Station(LOGGER, levels=waves)
    station.boot()
    station.ticks(901)
    return station


def test_cold_start_files_a_record_every_five_minutes(cold):
    levels = smoothed([waves(n) for n in range(901)])
    assert cold.records() == [(n, levels[300 * n]) for n in range(4)]
    assert len({level for _, level in cold.records()}) == 4
    assert cold.head() == {"slot": 4, "count": 4, "stamp": 4, "starts": 0, "lost": 0, "station": 2}
    assert bytes(cold.bus.dram[0x2000 : 0x2000 + 901]) == bytes(waves(n) for n in range(901))


def test_lamps_show_the_level(cold):
    eighth = smoothed([waves(n) for n in range(901)])[-1] // 32
    assert {lamps & 0x7F for lamps in cold.bus.lamps[-2:]} <= {0, (1 << eighth) - 1}
    assert (1 << eighth) - 1 in {lamps & 0x7F for lamps in cold.bus.lamps[-2:]}


def expected_tide(phases: list[int], stamp: int) -> float:
    """Return the tide of MARRAM SOUND in counts, worked out in floating point."""
    tides = zip([47, 15, 9, 7, 6, 4], phases, SPEEDS, strict=True)
    return 118 + sum(a * math.cos(math.radians(phase * 360 / 256 + speed * stamp / 12)) for a, phase, speed in tides)


def test_cold_start_prints_who_and_where_and_the_hour(cold):
    name, start, station, hour = cold.printed().split("\r\n")[1:5]
    assert name == "TERN TL-1 TIDE GAUGE LOGGER, ISSUE 3"
    assert start == "COLD START, RECORDS WIPED"
    assert station == "STATION MARRAM SOUND    "
    metres = r"([+-]?\d\.\d\d) M"
    found = re.fullmatch(f"D000 00:00  LEVEL {metres}  TIDE {metres}  OFF {metres}  WAVES 0.00 M", hour)
    level, tide, off = (float(field) for field in found.groups())
    assert level == pytest.approx(smoothed([waves(0)])[0] * 0.02)
    assert tide == pytest.approx(0.02 * expected_tide([140, 171, 112, 201, 96, 24], 0), abs=0.04)
    assert off == pytest.approx(level - tide)


def test_warm_start_keeps_the_week_and_marks_the_gap(cold):
    battery = bytearray(cold.bus.battery)
    before = cold.records()
    battery[0x80 + 4 * 1 + 2] ^= 0x08  # the second record goes bad
    station = Station(LOGGER, battery=bytes(battery), levels=lambda tick: 200)
    station.boot()
    assert "WARM START, 0004 RECORDS, 0001 LOST\r\n" in station.printed()
    station.ticks(1)
    assert station.records() == [before[0], *before[2:], (4, 0xFF), (5, 199)]
    assert station.head() | {"slot": 6, "count": 6, "stamp": 6, "starts": 1, "lost": 1} == station.head()
    station.levels = lambda tick: 255
    station.ticks(10)
    station.run(lambda: station.cpu.pc == IDLE and not station.bus.dram[LISTING])
    listing = station.printed().split("TERN TL-1 TIDE GAUGE LOGGER\r\n")[1].split("\r\n")
    shown = [f"D000 00:{5 * stamp:02}  {level * 0.02:.2f} M" for stamp, level in before]
    shown[1] = "LOST"
    assert listing[-8:] == [*shown, "D000 00:20  POWER WAS OFF", "D000 00:25  3.98 M", "END OF LISTING", ""]


def sea(tick: int) -> int:
    """A made-up sea that makes and falls within the hour, with a chop of 7 s on it."""
    return round(120 + 60 * math.sin(tick * math.tau / 3000) + 4 * math.sin(tick * math.tau / 7))


def turns(levels: list[int]) -> list[str]:
    """Return the high and low waters of these records: it has turned when it is three counts back from its best."""
    best, at, rising, found = levels[0], 0, True, []
    for stamp, level in enumerate(levels):
        back = best - level if rising else level - best
        if back <= 0:
            best, at = level, stamp
        elif back >= 3:
            name = "HIGH" if rising else "LOW"
            found.append(f"{name} WATER D000 {at // 12:02}:{at % 12 * 5:02}  {best * 0.02:.2f} M")
            best, at, rising = level, stamp, not rising
    return found


def test_an_hour_of_sea_prints_high_and_low_water_and_the_waves():
    station = Station(LOGGER, levels=sea)
    station.boot()
    station.ticks(3601)
    smooth = smoothed([sea(n) for n in range(3601)])
    levels = [smooth[300 * n] for n in range(13)]
    assert station.records() == list(enumerate(levels))
    printed = station.printed().split("\r\n")
    assert len(turns(levels)) == 2 and [line for line in printed if "WATER" in line] == turns(levels)
    page = [sea(n) for n in range(3328, 3584)]  # the last 256 samples that fill a page
    assert printed[-2].startswith(f"D000 01:00  LEVEL {levels[12] * 0.02:.2f} M")
    assert printed[-2].endswith(f"WAVES {(max(page) - min(page)) * 0.02:.2f} M")


@pytest.mark.parametrize("count, off, blinks", [(81, 24, False), (82, 25, True), (34, -24, False), (33, -25, True)])
def test_lamps_blink_when_the_sea_is_half_a_metre_off_the_tide(count, off, blinks):
    station = Station(LOGGER, levels=lambda tick: count)
    station.boot()
    station.ticks(9)
    assert f"OFF {off * 0.02:+.2f} M" in station.printed()
    bar = (1 << count // 32) - 1
    last = [lamps & 0x7F for lamps in station.bus.lamps[-4:]]
    assert sorted(last) == ([0, 0, bar, bar] if blinks else [bar] * 4)


def test_power_failure_within_a_record_lets_it_finish(cold):
    station = Station(LOGGER, battery=bytes(cold.bus.battery))
    station.boot()
    station.bus.gauge, station.bus.latch = 100 ^ 50, True
    station.cpu.irq()
    station.run(lambda: station.bus.dram[BUSY])
    for _ in range(30):
        station.step()
    station.cpu.nmi()
    station.run(lambda: LOGGER[station.cpu.pc - 0xC000] == 0x4C and station.bus.lamps[-1] == 0)
    assert station.bus.dram[BUSY] == 0
    assert station.head()["count"] == 6 and station.records()[-1] == (5, 101)


def test_wild_run_into_a_brk_ends_on_the_rom_code():
    station = Station(LOGGER)
    station.boot()
    station.cpu.pc = 0xC000 + LOGGER.index(0)
    lit = len(station.bus.lamps)
    station.run(lambda: len(station.bus.lamps) >= lit + 2)
    assert station.bus.lamps[lit:] == [0xC3, 0x3C]


def test_power_failure_seals_the_head_and_goes_dark(cold):
    station = Station(LOGGER, battery=bytes(cold.bus.battery))
    station.boot()
    station.ticks(1)
    station.bus.battery[0x20] ^= 0xFF  # as if the head was never sealed
    station.cpu.nmi()
    station.run(lambda: station.bus.lamps[-1] == 0 and LOGGER[station.cpu.pc - 0xC000] == 0x4C)
    assert station.head()["count"] == 6


def test_week_wraps_and_tide_keeps_its_time(cold):
    battery = bytearray(cold.bus.battery)
    phases = [140, 171, 112, 201, 96, 24]
    stamp = 2015 + 2016  # the last slot of the second week
    battery[5:11] = bytes([2015 & 255, 2015 >> 8, 2016 & 255, 2016 >> 8, stamp & 255, stamp >> 8])
    for n, (phase, speed) in enumerate(zip(phases, SPEEDS, strict=True)):
        turned = round((phase / 256 + speed * stamp / 12 / 360) * 2**24) % 2**24
        battery[14 + 3 * n : 17 + 3 * n] = turned.to_bytes(3, "little")
    battery[0x20:0x22] = (sum(battery[:0x20]) & 0xFFFF).to_bytes(2, "little")
    station = Station(LOGGER, battery=bytes(battery))
    station.boot()  # the gap goes to slot 2015, the next record to slot 0
    station.ticks(1)
    assert station.head() | {"slot": 1, "count": 2016, "stamp": stamp + 2, "starts": 1} == station.head()
    assert station.records()[0] == (stamp + 1, 101) and station.records()[-1] == (stamp, 0xFF)
    assert "D014 00:00  LEVEL 2.02 M" in station.printed()
    tide = float(re.search(r"TIDE (\d\.\d\d)", station.printed())[1])
    assert tide == pytest.approx(0.02 * expected_tide(phases, stamp + 1), abs=0.05)


def test_rotten_logger_refuses_to_start():
    board = Board(ROTTEN, battery=b"\x77" * 0x2000)
    board.run(lambda: len(board.bus.lamps) >= 5)
    assert board.bus.lamps == [0xFF, 0xC3, 0x3C, 0xC3, 0x3C]
    assert bytes(board.bus.battery) == b"\x77" * 0x2000


def test_logger_on_a_bus_that_the_rom_never_leaves_reports_memory():
    board = Board(LOGGER)
    board.bus.dram_read = lambda a, v: v & LOGGER[a]
    board.run(lambda: len(board.bus.lamps) >= 5)
    assert board.bus.lamps == [0xFF, 0xFF, 0x00, 0xFF, 0x00]
