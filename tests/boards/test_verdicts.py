"""The boards with two ROMs, judged by hand: which setting is right for which chips, and what a careless select does."""

import pytest
from msgspec.structs import replace

from romwright.boards.library import fitted_chips, require_board, require_cpu
from romwright.fit.ranking import verdict_of
from romwright.fit.settings import Study
from romwright.parts.library import require_part

DUNLIN, KITTIWAKE = require_board("dunlin-dl-2"), require_board("kittiwake-kw-68")


def part(name, **polarity):
    return require_part(name).ordered_as({int(pin[1:]): level for pin, level in polarity.items()})


OLD = part("rom-2332-a11-pin18", p20="L", p21="H")  # A11 on pin 18, a select on pin 20 and one on pin 21: as a 2532
NEW = part("rom-2332-a11-pin21", p18="L", p20="L")  # A11 on pin 21, selects on pins 18 and 20: as a 2732
ALIKE_2532, ALIKE_2732 = (OLD, part("2532")), (NEW, part("2732"), part("2732A"), part("27C32"))


def study(board, chip, also=None):
    return Study(board, require_cpu(board.cpu), board.sockets[0], chip, also=also)


def working(board, chip, also=None):
    """The settings that work, as the positions in order of the links."""
    return {positions for positions, codes in study(board, chip, also).rank() if verdict_of(codes) == "works"}


def outcomes(study, setting, outcome):
    """The cycles and devices of the cases with that outcome."""
    cases = study.judge(dict(zip((link.name for link in study.board.links), setting))).cases
    return {(case.access.name, case.drives) for case in cases if str(case.outcome) == outcome}


def test_what_the_boards_left_the_works_with():
    assert fitted_chips(DUNLIN) == {"U7": OLD, "U8": OLD}
    assert fitted_chips(KITTIWAKE) == {"U3": ROM, "U4": ROM}
    either = {(lk1, "1-2", lk3) for lk1 in ("1-2", "2-3") for lk3 in ("1-2", "2-3")}
    for board, right in ((DUNLIN, {("2532", "2532", "2532")}), (KITTIWAKE, either)):
        for socket in board.sockets:
            ranked = Study(board, require_cpu(board.cpu), socket, fitted_chips(board)[socket.name]).rank()
            assert {positions for positions, codes in ranked if verdict_of(codes) == "works"} == right


@pytest.mark.parametrize("also", ALIKE_2532, ids=lambda chip: chip.name)
def test_two_of_the_2532_kind(also):
    for chip in ALIKE_2532:
        assert working(DUNLIN, chip, {"U8": also}) == {("2532", "2532", "2532")}


@pytest.mark.parametrize("also", ALIKE_2732, ids=lambda chip: chip.name)
def test_two_of_the_2732_kind(also):
    for chip in ALIKE_2732:
        assert working(DUNLIN, chip, {"U8": also}) == {("2732", "2732", "2732")}


def test_two_kinds_do_not_go_together():
    """Pin 21 of both sockets is one net: A11 for the one kind, +5 V for the other."""
    for old in ALIKE_2532:
        for new in ALIKE_2732:
            assert not working(DUNLIN, new, {"U8": old}) and not working(DUNLIN, old, {"U8": new})


def test_with_the_other_socket_empty_its_link_does_not_matter():
    every = ("2732", "2532", "off")
    assert working(DUNLIN, NEW, {}) == {("2732", position, "2732") for position in every}
    assert working(DUNLIN, OLD, {}) == {("2532", position, "2532") for position in every}


def test_a_chip_whose_link_is_open_is_held_off_the_bus():
    for setting in (("off", "2732", "2732"), ("off", "off", "2732")):
        judged = study(DUNLIN, NEW, {"U8": NEW}).judge(dict(zip(("LK1", "LK2", "LK3"), setting)))
        assert {f.code.name for f in judged.findings} == {"open-bus"}
        assert not any("U7" in case.drives for case in judged.cases)


def test_the_other_rom_does_the_harm():
    """U8, of the 2532 kind on the link for a 2732: /RD is all that it heeds, so it is in every read but its own."""
    found = study(DUNLIN, OLD)
    setting = {"LK1": "2532", "LK2": "2732", "LK3": "2532"}
    fights = outcomes(found, setting.values(), "contention")
    assert ("memory read of 0000-0FFF", ("U7", "U8")) in fights
    assert ("memory read of 4000-7FFF", ("DRAM", "U8")) in fights
    assert ("I/O read of I/O 00-3F", ("U11", "U8")) in fights
    judged = found.judge(setting)
    fault = next(f for f in judged.findings if f.code.name == "bus-contention")
    assert fault.title == "U8 drives the data bus together with U7, DRAM and U11"
    assert fault.remedy.startswith("set the links so that the decoder's select reaches chip pin 20 (CS1) in U8")
    assert "U8: A11 of the chip does not meet its address line" in [f.title for f in judged.findings]


def test_the_other_chip_is_written():
    """A 6116 in U8 has /WE on pin 21: with LK3 for a 2732, A11 writes it."""
    judged = study(DUNLIN, NEW, {"U8": part("6116")}).judge({"LK1": "2732", "LK2": "2732", "LK3": "2732"})
    stops = [f.title for f in judged.findings if str(f.severity) == "stop"]
    assert judged.verdict == "stop" and stops == ["U8: the board writes the 6116"]


def test_a_select_without_the_read_strobe_fights_with_the_cpu_in_writes():
    """A 2532 has one enable: without /RD in its select it drives in writes too, and, alone, in refresh cycles."""
    link = replace(DUNLIN.links[0], positions=DUNLIN.links[0].positions | {"2532": "P18 A11, P20 /ROM0"})
    gates = tuple(replace(g, inputs="/ROM0 GND") if g.name == "U6A" else g for g in DUNLIN.gates)
    decoder = tuple(replace(g, inputs=g.inputs.replace("/RFSH", "+5V")) for g in gates[:1])
    careless = replace(DUNLIN, links=(link, *DUNLIN.links[1:]), gates=(*decoder, *gates[1:]))
    found, setting = study(careless, part("2532")), ("2532", "2532", "2532")
    judged = found.judge(dict(zip(("LK1", "LK2", "LK3"), setting)))
    assert {f.code.name for f in judged.findings} == {"write-contention"} and judged.verdict == "works"
    assert judged.findings[0].title == "U7 drives the data bus together with CPU"
    writes = {"memory write, before /WR of 0000-0FFF", "memory write of 0000-0FFF"}
    assert outcomes(found, setting, "contention") == {(name, ("CPU", "U7")) for name in writes}
    assert ("refresh of 0000-FFFF", ("U7",)) in outcomes(found, setting, "fine")
    assert not outcomes(study(DUNLIN, part("2532")), setting, "contention")


@pytest.mark.parametrize("chip, position", [("2532", "2532"), ("2732", "2732")])
def test_a_select_without_mreq_fights_in_io_reads(chip, position):
    """Without /MREQ the decoder takes the high half of an I/O address for a memory's; /RD is low in an I/O read too."""
    inputs = "A12 A13 A14 /RFSH GND A15"
    careless = replace(DUNLIN, gates=(replace(DUNLIN.gates[0], inputs=inputs), *DUNLIN.gates[1:]))
    found = study(careless, part(chip), {"U8": part(chip)})
    fights = outcomes(found, (position,) * 3, "contention")
    assert {name for name, _ in fights} == {"I/O read of I/O 00-3F"}
    assert {drives for _, drives in fights} == {("U11", "U7"), ("U11", "U8")}
    assert not outcomes(study(DUNLIN, part(chip), {"U8": part(chip)}), (position,) * 3, "contention")


ROM = part("rom-23256-a14-pin27", p20="L", p22="L")


@pytest.mark.parametrize("chip, right", [
    (ROM, {("1-2", "1-2"), ("2-3", "1-2")}),  # pin 1 is not connected
    (part("27256"), {("1-2", "1-2")}),  # VPP on pin 1
    (part("27C256"), {("1-2", "1-2")}),
    (part("27C512"), {("1-2", "1-2"), ("2-3", "1-2")}),  # A15 on pin 1, in reads of its area at one level
    (part("28C256"), set()),  # A14 on pin 1, /WE on pin 27
    (part("62256"), set()),
    (part("27128"), set()),  # half the size
])  # fmt: skip
def test_the_even_socket(chip, right):
    """LK3 says whether they heed the read strobe: without it they fight only where a program writes to ROM."""
    every = {(*positions, lk3) for positions in right for lk3 in ("1-2", "2-3")}
    assert working(KITTIWAKE, chip) == every
    assert working(KITTIWAKE, chip, {}) == every  # the odd ROM has the same nets, but for the data lines


def test_the_odd_and_the_even_rom_answer_each_for_its_half():
    found = study(KITTIWAKE, part("27C256"))
    cases = found.judge({"LK1": "1-2", "LK2": "1-2", "LK3": "1-2"}).cases
    words = [case for case in cases if case.access.name == "word read of 000000-00FFFF"]
    even, odd = (frozenset(f"D{line}" for line in lines) for lines in (range(8, 16), range(8)))
    assert {(case.lines, case.access.expected, case.drives) for case in words} == {
        (even, "U3", ("U3",)), (odd, "U4", ("U4",)),
    }  # fmt: skip


def test_the_first_issue_fights_with_the_cpu_in_writes():
    """Pin 22 on ground: the ROMs heed their select only, so both fight with the CPU where a program writes to ROM."""
    found = study(KITTIWAKE, part("27C256"))
    fights = outcomes(found, ("1-2", "1-2", "2-3"), "contention")
    writes = {"word write", "odd byte write", "even byte write", "write, before the strobes"}
    assert {name.split(" of ")[0] for name, _ in fights} == writes
    assert {drives for _, drives in fights} == {("CPU", "U3"), ("CPU", "U4")}
    judged = found.judge({"LK1": "1-2", "LK2": "1-2", "LK3": "2-3"})
    assert [f.code.name for f in judged.findings] == ["write-contention"] * 2 and judged.verdict == "works"


def test_a_chip_that_drives_in_writes_to_another_is_no_caution():
    """U4 as RAM that programs write: a ROM on its lines in those writes ruins what is stored."""
    areas = (*KITTIWAKE.map[:1], replace(KITTIWAKE.map[1], access="read write"), *KITTIWAKE.map[2:])
    judged = study(replace(KITTIWAKE, map=areas), ROM).judge({"LK1": "1-2", "LK2": "1-2", "LK3": "2-3"})
    assert [f.code.name for f in judged.findings][:2] == ["bus-contention", "write-contention"]
    assert judged.findings[0].title.startswith("U4 drives")


def test_an_eeprom_with_write_strobe_on_a15_is_a_stop():
    """LK2 at 1-2 takes A15 to /WE of a 28C256; ground on /OE (LK3 at 2-3) keeps it from being written."""
    verdicts = {p: verdict_of(codes) for p, codes in study(KITTIWAKE, part("28C256")).rank()}
    assert {p for p, verdict in verdicts.items() if verdict == "stop"} == {("1-2", "1-2", "1-2"), ("2-3", "1-2", "1-2")}


def test_the_rows_of_pins_are_as_far_apart_as_the_socket():
    narrow = replace(DUNLIN, sockets=(replace(DUNLIN.sockets[0], row_pitch_mm=7.62), DUNLIN.sockets[1]))
    codes = {verdict_of(codes): codes for _, codes in study(narrow, OLD).rank()}
    assert set(codes) == {"fault"} and all("row-pitch" in {c.name for c in some} for some in codes.values())
