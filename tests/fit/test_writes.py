"""Parts that can be written, in the places of parts that cannot, and the other way round.

Alliance AS6C62256A: a RAM is written with /OE at either level; Atmel AT28C256, 0006M: an EEPROM only with /OE high.
"""

import pytest

from romwright.findings import Severity
from romwright.fit.verdict import examine_fit
from romwright.parts.library import require_part


def examine(socket, chip, polarity=None):
    return examine_fit(require_part(socket), require_part(chip), polarity)


def by_code(verdict):
    return {finding.code.name: finding for finding in verdict.findings}


def test_an_eeprom_in_a_ram_place_is_programmed_by_every_write():
    found = by_code(examine("62256", "28C256"))
    assert set(found) == {"slow-write", "slower"} and found["slow-write"].severity is Severity.FAULT


def test_a_ram_in_an_eeprom_place_forgets_and_is_written_in_one_state_more():
    verdict = examine("28C256", "62256")
    found = by_code(verdict)
    assert set(found) == {"volatile", "write-states"}
    assert "written at pin 20 L, pin 22 L, pin 27 L too" in found["write-states"].evidence
    assert "VCC" not in found["write-states"].remedy
    assert verdict.fits[0].proof.states_written == 1 and not verdict.fits[0].proof.equal


@pytest.mark.parametrize("socket", ["rom-23256-a14-pin1", "27256", "28C256"])
def test_a_ram_in_place_of_a_part_that_keeps_its_contents_is_volatile(socket):
    verdict = examine(socket, "62256")
    assert "volatile" in by_code(verdict)


def test_a_ram_with_a_battery_or_in_a_ram_place_is_not():
    assert "volatile" not in by_code(examine("2764", "DS1225"))
    assert "volatile" not in by_code(examine("6264", "6264"))


@pytest.mark.parametrize("socket, chip", [("28C64", "2764"), ("62256", "27C256")])
def test_a_rom_in_a_writable_place_cannot_be_written(socket, chip):
    """That is said as such, not as an enable that is lost."""
    found = by_code(examine(socket, chip))
    assert found["cannot-be-written"].severity is Severity.FAULT
    assert f"where {socket} is off" in found["cannot-be-written"].evidence
    assert not {"enable-lost", "wired-enable-lost", "gate-needed", "drives-unselected"} & set(found)


def test_the_board_s_own_strobe_writes_the_same_chip():
    for name in ("28C64", "62256", "28C256"):
        assert examine(name, name).findings == ()
