"""Predicted bits against a RAM test that is run cell by cell through the fight, for every law."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from romwright.boards.library import require_board, require_cpu
from romwright.boards.model import Area, Board, Device, Gate, Socket
from romwright.errors import OptionError
from romwright.fit.settings import Study
from romwright.fit.symptoms import Law, contents_of, find_symptoms, predict
from romwright.parts.library import require_part

TERN = require_board("tern-tl-1")
LAWS = {
    Law.LOW: lambda a, b: {a & b}, Law.HIGH: lambda a, b: {a | b}, Law.UNKNOWN: lambda a, b: {a & b, a | b, a ^ 255},
}  # fmt: skip


def fight(chip, lk2="1-2"):
    study = Study(TERN, require_cpu("6502"), TERN.sockets[0], require_part(chip))
    mounted = study.mount(study.nets({"LK1": "2-3", "LK2": lk2}))
    return mounted, study.cases(mounted)


@settings(max_examples=20, deadline=None)
@given(st.binary(min_size=256, max_size=256), st.sampled_from(list(Law)))
def test_bits_and_addresses_are_those_of_a_ram_test(page, law):
    """Write every byte of a pair that has each bit at both levels, read it back through the law, compare."""
    mounted, cases = fight("27128")
    rom = contents_of(page, require_part("27128"))
    found = {s.device.name: s for s in find_symptoms(mounted, cases, rom, law)}
    assert set(found) == {"DRAM", "U8", "U9"}
    for name, first, count in (("DRAM", 0, 0x4000), ("U8", 0x8000, 0x2000)):
        wrong = dict.fromkeys(range(8), 0)
        for address in range(first, first + 256):
            bad = 0
            for written in (0x55, 0xAA):
                for read in LAWS[law](written, rom[address & 0x3FFF]):
                    bad |= read ^ written
            for bit in range(8):
                wrong[bit] += bad >> bit & 1
        assert found[name].wrong == {f"D{bit}": n * (count // 256) for bit, n in wrong.items()}
        assert found[name].addresses == count


def fight_of_two(**links):
    """Two mask ROMs of the 2532's arrangement on the Dunlin; one whose link is set for a 2732 drives in every read."""
    board = require_board("dunlin-dl-2")
    chip = require_part("rom-2332-a11-pin18").ordered_as({20: "L", 21: "H"})
    study = Study(board, require_cpu("Z80"), board.sockets[0], chip)
    mounted = study.mount(study.nets({"LK3": "2532"} | links))
    return mounted, study.cases(mounted)


@settings(max_examples=20, deadline=None)
@given(st.binary(min_size=64, max_size=64), st.binary(min_size=64, max_size=64), st.sampled_from(list(Law)))
def test_reads_of_the_other_rom_are_spoilt(lower, upper, law):
    """U7's A11 is at its select, high in other reads: bit by bit at each address of U8 against what U7 holds there."""
    contents = lower * 32 + upper * 32
    mounted, cases = fight_of_two(LK1="2732", LK2="2532")
    found = {s.device.name: s for s in find_symptoms(mounted, cases, contents, law)}
    assert set(found) == {"U8", "DRAM", "U11"} and all(s.known and s.by == "U7" for s in found.values())
    wrong = dict.fromkeys(range(8), 0)
    for address in range(0x1000, 0x2000):
        other = contents[address & 0x7FF | 0x800]
        bad = {read ^ byte for byte in (0x55, 0xAA) for read in LAWS[law](byte, other)}
        for bit in wrong:
            wrong[bit] += any(each >> bit & 1 for each in bad)
    assert found["U8"].wrong == {f"D{bit}": count for bit, count in wrong.items()}
    case = next(c for c in cases if c.access.expected == "U8")
    assert case.drives == ("U7", "U8") and predict(case, law, list(found.values()))["words"] == found["U8"].words


def test_reads_of_the_other_rom_in_words():
    mounted, cases = fight_of_two(LK1="2732", LK2="2532")
    of = {s.device.name: s.words for s in find_symptoms(mounted, cases, b"\xfe" * 4096, Law.LOW)}
    assert of["U8"] == "reads of U8 (table ROM, 1000-1FFF) at 1000-1FFF are wrong in D0"
    assert of["DRAM"] == "a RAM test of 4000-7FFF would report U20 bad; nothing is wrong with it"


def test_what_the_other_rom_holds_is_not_known():
    mounted, cases = fight_of_two(LK1="2532", LK2="2732")
    found = {s.device.name: s for s in find_symptoms(mounted, cases, bytes(4096), Law.LOW)}
    assert set(found) == {"U7", "DRAM", "U11"} and all(s.by == "U8" and not s.known for s in found.values())
    said = "(nobody has said what U8 holds)"
    assert found["U7"].words == f"reads of U7 (program ROM, 0000-0FFF) at 0000-0FFF may be wrong in D0-D7 {said}"
    chips = "may report all eight chips U20-U27 bad; nothing is wrong with them"
    assert found["DRAM"].words == f"a RAM test of 4000-7FFF {chips} {said}"
    assert found["DRAM"].wrong == {f"D{bit}": 0x4000 for bit in range(8)}


def test_half_a_word_spoils_its_own_chips_only():
    """On a 16-bit bus a ROM of the even bytes fights on D8-D15: its bit 0 is D8, the RAM's first chip there."""
    board = require_board("kittiwake-kw-68")
    drives = ({"/RAM": "L", "R/W": "H"},)
    names = " ".join(f"E{line}" for line in range(16))
    devices = (Device("RAM", "64K RAM", "RAM", drives, chips=names), *board.devices[2:])
    areas = (*board.map[:2], Area("100000-10FFFF", "RAM"), board.map[-1])
    gates = (board.gates[0], Gate("U10A", "inverter", "R/W", "/RD"), Gate("U10B", "and", "/ROM /RAM", "/BOTH"))
    even, odd = board.sockets
    sockets = (replace(even, right=even.right.replace("/ROM", "/BOTH")), odd)
    board = replace(board, devices=devices, map=areas, gates=gates, sockets=sockets)
    study = Study(board, require_cpu("68000"), board.sockets[0], require_part("27C256"))
    mounted = study.mount(study.nets({"LK1": "1-2", "LK2": "1-2", "LK3": "1-2"}))
    (symptom,) = find_symptoms(mounted, study.cases(mounted), b"\xfe" * 32768, Law.LOW)
    assert symptom.words == "a RAM test of 100000-10FFFF would report E8 bad; nothing is wrong with it"
    assert symptom.wrong == {"D8": 0x8000} | {f"D{line}": 0 for line in range(9, 16)}


@settings(max_examples=10, deadline=None)
@given(st.binary(min_size=512, max_size=512), st.sampled_from(list(Law)))
def test_words_of_sixteen_bits_against_a_test_word_by_word(page, law):
    """A 27C400 with /OE at the read strobe, /CE at /AS; of each word of its file the low byte is first: D0-D7."""
    socket = Socket(
        "U1", "A18 A8 A7 A6 A5 A4 A3 A2 A1 /AS GND /RD D0 D8 D1 D9 D2 D10 D3 D11",
        "A9 A10 A11 A12 A13 A14 A15 A16 A17 +5V GND D15 D7 D14 D6 D13 D5 D12 D4 +5V",
    )  # fmt: skip
    gates = (
        Gate("G0", "3-to-8", "A21 A22 A23 +5V /AS GND", "NC /RAM NC NC NC NC NC NC"),
        Gate("G1", "inverter", "R/W", "/RD"),
    )
    ram = Device("RAM", "RAM", "RAM", ({"/RAM": "L", "/RD": "L"},))
    board = Board(
        name="wide", title="wide", cpu="68000", source="invented", rails={"+5V": 5, "GND": 0}, sockets=(socket,),
        map=(Area("000000-07FFFF", "U1", "read"), Area("200000-2003FF", "RAM")), gates=gates, devices=(ram,),
    )  # fmt: skip
    chip = require_part("27C400")
    study = Study(board, require_cpu("68000"), socket, chip.ordered_as(chip.polarities({})[0]))
    mounted = study.mount(study.nets({}))
    (found,) = find_symptoms(mounted, study.cases(mounted), contents_of(page, chip), law)
    wrong = dict.fromkeys(range(16), 0)
    for address in range(0x200000, 0x200400, 2):
        word = page[address % 512] | page[address % 512 + 1] << 8
        bad = {read ^ ram & 0xFFFF for ram in (0x5555, 0xAAAA) for read in LAWS[law](ram, word)}
        for bit in wrong:
            wrong[bit] += any(each >> bit & 1 for each in bad) or law is Law.UNKNOWN
    assert found.addresses == 512 and found.wrong == {f"D{bit}": count for bit, count in wrong.items()}


def test_law_is_said_to_be_a_model():
    mounted, cases = fight("27128")
    symptoms = find_symptoms(mounted, cases, bytes(16384), Law.LOW)
    case = next(case for case in cases if case.drives == ("DRAM", "U7"))
    answer = predict(case, Law.LOW, symptoms)
    assert answer["read"] == "DRAM AND U7" and "common practice, no source" in answer["said_of_law"]
    assert predict(case, Law.UNKNOWN, [])["read"] is None
    fine = next(case for case in cases if case.outcome == "fine")
    assert predict(fine, Law.LOW, symptoms) is None


def test_contents_fill_the_chip_a_whole_number_of_times():
    assert contents_of(b"ab", require_part("prom-82s123")) == b"ab" * 16
    for data in (b"", b"abc", bytes(64)):
        with pytest.raises(OptionError, match="do not fill"):
            contents_of(data, require_part("prom-82s123"))
    wide = require_part("27C1024")
    assert contents_of(b"ab", wide) == b"ab" * 65536
    for data in (b"a", bytes(262144)):
        with pytest.raises(OptionError, match="131,072 bytes of the chip"):
            contents_of(data, wide)
