"""The diagnostic on a board whose links are set in every way: what its lamps show is what `links` predicts.

Three witnesses of one board: the truth tables of fit (the prediction), the second model of tests/board_model.py (who
drives at each address), and py65, which runs the program on it. A low wins between two drivers: common practice,
no source.
"""

import pytest

py65 = pytest.importorskip("py65.devices.mpu6502")

from board_model import State  # noqa: E402
from tern.test_programs import DIAGNOSTIC, Board, Bus  # noqa: E402

from romwright.boards.library import require_board, require_cpu  # noqa: E402
from romwright.fit.settings import Study  # noqa: E402
from romwright.fit.symptoms import Law, contents_of, find_symptoms  # noqa: E402
from romwright.parts.library import require_part  # noqa: E402

TERN, CPU = require_board("tern-tl-1"), require_cpu("6502")
U7 = TERN.sockets[0]
LOW = {20: "L", 22: "L", 27: "L"}
CHIPS = {
    "rom-23128-style-a": LOW, "rom-23128-style-b": LOW, "27128": {}, "27C256": {}, "27C512": {}, "28C256": {},
}  # fmt: skip
GOOD = [0x55, 0xAA]
READ = {"R/W": "H", "PHI2": "H", "SYNC": "L"}


class LinkedBus(Bus):
    """Reads are the AND of what the second model says is driven; nothing driven reads FF."""

    def __init__(self, rom, setting, chip):
        super().__init__(DIAGNOSTIC)
        self.contents, self.blocks = rom, []
        for block in range(8):  # the decoder sees A13 to A15 only
            lines = {f"A{i}": "LH"[block << 13 >> i & 1] for i in range(16)} | READ
            state = State(TERN, CPU, setting, U7, chip, lines)
            self.blocks.append((state.drivers(), state.cell()))

    def __getitem__(self, address):
        drivers, upper = self.blocks[address >> 13]
        value = 0xFF
        if "U7" in drivers:
            value &= self.contents[upper | address & 0x1FFF]
        for device in drivers.keys() - {"U7"}:
            value &= self._device(device, address)
        return value

    def _device(self, device, address):
        if device == "DRAM":
            self.low_accesses += 1
            return self.dram[address & 0x3FFF]
        return self.battery[address & 0x1FFF] if device == "U8" else self.gauge


def lamps(rom, setting, chip):
    """Run the diagnostic until it has shown its result."""
    board = Board(DIAGNOSTIC, kind=lambda image: LinkedBus(rom, setting, chip))
    return board.result(2)


def predicted(rom, setting, chip):
    """What `links` says of the dynamic RAM's bits, and the whole verdict."""
    study = Study(TERN, CPU, U7, chip)
    mounted = study.mount(study.nets(setting))
    symptoms = find_symptoms(mounted, study.cases(mounted), rom, Law.LOW)
    bits = {s.device.name: sum(1 << int(line[1:]) for line in s.lines) for s in symptoms}
    return bits, study.judge(setting), {s.device.name: s for s in symptoms}


SHOWN = {}


@pytest.mark.parametrize("lk2", ["1-2", "2-3"])
@pytest.mark.parametrize("lk1", ["1-2", "2-3"])
@pytest.mark.parametrize("name", CHIPS)
def test_lamps_show_what_is_predicted(name, lk1, lk2):
    chip, setting = require_part(name).ordered_as(CHIPS[name]), {"LK1": lk1, "LK2": lk2}
    rom = contents_of(DIAGNOSTIC, chip)
    bits, judged, symptoms = predicted(rom, setting, chip)
    own = LinkedBus(rom, setting, chip).blocks[6:]
    if name == "28C256":  # its /WE is never at rest while it should be read: the CPU has no program to run
        assert judged.verdict == "stop" and not any("U7" in drivers for drivers, _ in own)
        assert any(f.code.name == "open-bus" for f in judged.findings)
        return
    drives = repr([sorted(d) for d, _ in LinkedBus(rom, setting, chip).blocks])
    shown = SHOWN.setdefault(drives, lamps(rom, setting, chip) if drives not in SHOWN else None)
    if judged.verdict == "works":
        assert shown == GOOD
    if bits:
        assert shown == [bits["DRAM"], 0] == [0xFF, 0]
        assert symptoms["DRAM"].words.startswith("a RAM test of 0000-3FFF would report all eight chips U10-U17 bad")
    else:
        assert shown == GOOD


@pytest.mark.parametrize("cells, bad", [
    ({}, []),
    ({0xE123: 3}, ["U13"]),
    ({0xE000: 0, 0xFFFF: 7}, ["U10", "U17"]),
    ({0xE000 + i * 0x101: i for i in range(7)}, [f"U1{i}" for i in range(7)]),
])  # fmt: skip
def test_only_the_predicted_bits_light(cells, bad):
    """A 27C512 with the select on pin 27, its A14: own reads show 8000-BFFF, every other read C000-FFFF, here FF but
    for single low bits. Only their chips are reported; without any, the board passes although the bus is contended."""
    chip, setting = require_part("27C512"), {"LK1": "2-3", "LK2": "1-2"}
    rom = bytearray(b"\xff" * 0x10000)
    rom[0x8000:0xC000] = DIAGNOSTIC
    for cell, bit in cells.items():
        rom[cell] ^= 1 << bit
    bits, judged, symptoms = predicted(bytes(rom), setting, chip)
    assert judged.verdict == "fault"
    wanted = sum(1 << bit for bit in set(cells.values()))
    assert bits["DRAM"] == wanted and bits["U8"] == 0
    assert symptoms["DRAM"].wrong == {f"D{i}": int(bool(wanted >> i & 1)) for i in range(8)}
    if bad:
        assert symptoms["DRAM"].words == (
            f"a RAM test of 0000-3FFF would report {', '.join(bad)} bad; nothing is wrong with "
            + ("them" if len(bad) > 1 else "it")
        )
    assert lamps(bytes(rom), setting, chip) == ([wanted, 0] if bad else GOOD)
