"""Address latches: on boards that take the address away early a chip needs one, elsewhere its select must pulse.

Outside references: Intel 8085AH sheet 231718-001, pp. 1-12, 1-20 (AD0-AD7 carry the address in T1 only); a cctech list
post on U33 of the IBM 5150 (MK36000 takes its address in as /CE falls), and the museum page IBM 5150, part 6, of
wolfgangrobel.de: static 8K EPROMs work in place of it there.
"""

import pytest

from romwright.boards.library import read_board, require_cpu
from romwright.fit.onboard.settings import Study
from romwright.parts.library import require_part

BOARD = """
name = "b"
title = "a board of one 24-pin socket"
cpu = "{cpu}"
source = "invented for this test"
rails = {{ "+5V" = 5, GND = 0 }}

[[sockets]]
name = "U1"
left = "{low} D0 D1 D2 GND"
right = "+5V A8 A9 A12 /CE A10 A11 D7 D6 D5 D4 D3"

[[gates]]
name = "U2"
kind = "3-to-8"
inputs = "A13 A14 A15 +5V {enables}"
outputs = "/CE NC NC NC NC NC NC NC"
{more}
[[map]]
range = "{span}"
device = "U1"
access = "read"
"""
STRAIGHT = "A7 A6 A5 A4 A3 A2 A1 A0"
SHARED = "D7 D6 D5 D4 D3 D2 D1 D0"
GATE = """
[[gates]]
name = "U3"
kind = "{kind}"
inputs = "A0 {other}"
outputs = "A0X"
"""
INVERTER = """
[[gates]]
name = "U4"
kind = "inverter"
inputs = "PHI2"
outputs = "/PHI2"
"""
LATCHED, STATIC, UNREAD = "rom-mk36000", "rom-2364-24", "rom-68364"
CODES = {"address-gone", "latch-unread", "latch-edge", "select-stays", "address-line"}


def found(tmp_path, part, cpu="6502", low=STRAIGHT, enables="/PHI2 GND", more=INVERTER, span="0000-1FFF", extra=""):
    """Return the findings of a chip about its address and latch, by code."""
    path = tmp_path / "b.toml"
    text = BOARD.format(cpu=cpu, low=low, enables=enables, more=more, span=span)
    path.write_text(text.replace("rails =", f"{extra}\nrails ="), "utf-8")
    board = read_board(path)
    chip = require_part(part)
    chip = chip.ordered_as(dict.fromkeys(chip.choices(), "L"))
    judged = Study(board, require_cpu(cpu), board.sockets[0], chip).judge({})
    return {finding.code.name: finding for finding in judged.findings if finding.code.name in CODES}


def test_a_multiplexed_bus_without_a_latch_wants_one_in_the_chip(tmp_path):
    board = {"cpu": "8085", "low": SHARED, "enables": "/RD IO//M", "more": ""}
    assert set(found(tmp_path, LATCHED, **board)) == {"latch-edge"}
    assert set(found(tmp_path, UNREAD, **board)) == {"latch-unread"}
    (fault,) = found(tmp_path, STATIC, **board).values()
    assert (fault.code.name, fault.severity) == ("address-gone", "fault")
    assert "D0 has A0 in T1 of an opcode fetch only, and carries data at the end of the opcode fetch" in fault.evidence


def test_an_eprom_of_which_no_page_tells_of_a_latch_has_none(tmp_path):
    """The stand-ins of the drawer: a fault with its witness, not a caution, and what it rests on is said."""
    board = {"cpu": "8085", "low": SHARED, "enables": "/RD IO//M", "more": ""}
    (fault,) = found(tmp_path, "2532", **board).values()
    assert (fault.code.name, fault.severity) == ("address-gone", "fault")
    assert "D0 has A0 in T1" in fault.evidence and "common practice, no source" in fault.evidence


def test_a_buffered_multiplexed_bus_never_has_the_address(tmp_path):
    board = {"cpu": "8085", "low": SHARED, "enables": "/RD IO//M", "more": "", "extra": "buffered = true"}
    for part in (LATCHED, STATIC):
        assert set(found(tmp_path, part, **board)) == {"address-line"}


def test_glue_that_takes_the_address_away(tmp_path):
    """A0 OR PHI2: right in the first half of a cycle, stuck at H when the data are taken."""
    board = {"low": "A7 A6 A5 A4 A3 A2 A1 A0X", "more": INVERTER + GATE.format(kind="or", other="PHI2")}
    assert set(found(tmp_path, LATCHED, **board)) == {"latch-edge"}
    (fault,) = found(tmp_path, STATIC, **board).values()
    assert fault.code.name == "address-gone" and "it has A0 in first half of a read" in fault.evidence
    assert "A0=L" in fault.evidence and "PHI2=H" in fault.evidence


def test_glue_that_never_gives_the_address_early_is_another_fault(tmp_path):
    """A0 AND PHI2: stuck at L in the first half."""
    board = {"low": "A7 A6 A5 A4 A3 A2 A1 A0X", "more": INVERTER + GATE.format(kind="and", other="PHI2")}
    for part in (LATCHED, STATIC):
        assert set(found(tmp_path, part, **board)) == {"address-line"}


@pytest.mark.parametrize("part", [LATCHED, STATIC, UNREAD])
def test_where_the_address_stays_and_the_select_pulses_every_chip_is_fine(tmp_path, part):
    assert not found(tmp_path, part)


@pytest.mark.parametrize("part", [LATCHED, STATIC])
def test_the_ibm_5150_takes_both(tmp_path, part):
    assert not found(tmp_path, part, cpu="8088-max", enables="/MRDC GND", more="")


def test_a_select_from_the_address_alone_gives_a_latched_chip_no_edge(tmp_path):
    board = {"enables": "GND GND", "more": ""}
    (fault,) = found(tmp_path, LATCHED, **board).values()
    assert (fault.code.name, fault.severity) == ("select-stays", "fault")
    assert "is on in first half of a read already" in fault.evidence and "A13=L" in fault.evidence
    assert not found(tmp_path, STATIC, **board)


@pytest.mark.parametrize("cpu, strobe, other", [
    ("Z80", "/MREQ GND", "GND GND"), ("8085", "/RD IO//M", "IO//M GND"), ("8088", "/RD IO//M", "IO//M GND"),
    ("8080", "/MEMR GND", "GND GND"), ("68000", "/AS GND", "GND GND"),
])  # fmt: skip
def test_a_strobe_in_the_select_is_what_a_latched_chip_needs(tmp_path, cpu, strobe, other):
    low = STRAIGHT if cpu != "68000" else "A7 A6 A5 A4 A3 A2 A1 A16"
    assert "select-stays" not in found(tmp_path, LATCHED, cpu=cpu, low=low, enables=strobe, more="")
    assert "select-stays" in found(tmp_path, LATCHED, cpu=cpu, low=low, enables=other, more="")
