"""The byte-wide sites, pin by pin, and the families outside them.

Source: the arrangement of JEDEC Standard 21-C as it stands in the Intel 27128A data sheet, 230849-009, October 1990,
Figure 2 ("universal site": 2716, 2732A, 2764A/27C64, 27256/27C256, 27512/27C512 side by side), and for 32 pins in the
Fairchild NM27C256 data sheet DS010833, July 1998 (27C010 to 27C080 side by side); the standard itself was not read.
EEPROM, flash and static RAM follow their own data sheets, as their pages say, on the pins that vary.
"""

import re

import pytest

from romwright.parts.library import read_all, require_part

# the 28-pin site: what is the same on every chip, and what each chip has on the pins that vary
LEFT = "? A12 A7 A6 A5 A4 A3 A2 A1 A0 D0 D1 D2 GND"
RIGHT = "VCC ? ? A8 A9 A11 /OE A10 /CE D7 D6 D5 D4 D3"  # pins 28 down to 15
SITE_28 = dict(enumerate([*LEFT.split(), *reversed(RIGHT.split())], 1))
VARYING = {  # pins 1, 26, 27
    "2764": ("VPP", "NC", "/PGM"),
    "2764A": ("VPP", "NC", "/PGM"),
    "27C64": ("VPP", "NC", "/PGM"),
    "27128": ("VPP", "A13", "/PGM"),
    "27128A": ("VPP", "A13", "/PGM"),
    "27C128": ("VPP", "A13", "/PGM"),
    "27256": ("VPP", "A13", "A14"),
    "27C256": ("VPP", "A13", "A14"),
    "27512": ("A15", "A13", "A14"),
    "27C512": ("A15", "A13", "A14"),
    "28C64": ("RDY", "NC", "/WE"),
    "28C256": ("A14", "A13", "/WE"),
    "28C64B": ("NC", "NC", "/WE"),
    "W27C512": ("A15", "A13", "A14"),
    "SST27SF512": ("A15", "A13", "A14"),
    "W27E257": ("VPP", "A13", "A14"),
    "SST27SF256": ("VPP", "A13", "A14"),
    "62256": ("A14", "A13", "/WE"),
    "6264": ("NC", "CE2", "/WE"),
    "DS1225": ("NC", "NC", "/WE"),
    "DS1230": ("A14", "A13", "/WE"),
}
LEFT = "? ? ? A12 A7 A6 A5 A4 A3 A2 A1 A0 D0 D1 D2 GND"
RIGHT = "VCC ? ? A14 A13 A8 A9 A11 /OE A10 /CE D7 D6 D5 D4 D3"  # pins 32 down to 17
SITE_32 = dict(enumerate([*LEFT.split(), *reversed(RIGHT.split())], 1))
VARYING_32 = {  # pins 1, 2, 3, 30, 31
    "27C010": ("VPP", "A16", "A15", "NC", "/PGM"),
    "27C020": ("VPP", "A16", "A15", "A17", "/PGM"),
    "27C040": ("VPP", "A16", "A15", "A17", "A18"),
    "27C080": ("A19", "A16", "A15", "A17", "A18"),
    "28C010": ("NC", "A16", "A15", "NC", "/WE"),
    "28F512": ("VPP", "NC", "A15", "NC", "/WE"),
    "28F010": ("VPP", "A16", "A15", "NC", "/WE"),
    "29F010": ("NC", "A16", "A15", "NC", "/WE"),
    "29F040": ("A18", "A16", "A15", "A17", "/WE"),
    "SST39SF010A": ("NC", "A16", "A15", "NC", "/WE"),
    "SST39SF020A": ("NC", "A16", "A15", "A17", "/WE"),
    "SST39SF040": ("A18", "A16", "A15", "A17", "/WE"),
}
LEFT = "A7 A6 A5 A4 A3 A2 A1 A0 D0 D1 D2 GND"
RIGHT = "VCC A8 A9 ? /OE A10 /CE D7 D6 D5 D4 D3"  # pins 24 down to 13
SITE_24 = dict(enumerate([*LEFT.split(), *reversed(RIGHT.split())], 1))
VARYING_24 = {  # pin 21
    "2716": "VPP",
    "2516": "VPP",
    "2732": "A11",
    "2732A": "A11",
    "27C32": "A11",
    "2816": "VPP",
    "28C16": "/WE",
    "6116": "/WE",
}


def functions(name):
    """Pin functions by number; 6264 counts its enables, /CE1 stands where the others have /CE."""
    return {pin.number: pin.function.replace("/CE1", "/CE") for pin in require_part(name).pins}


@pytest.mark.parametrize("name", VARYING)
def test_28_pin_site(name):
    assert functions(name) == {**SITE_28, **dict(zip((1, 26, 27), VARYING[name]))}


@pytest.mark.parametrize("name", VARYING_32)
def test_32_pin_site(name):
    assert functions(name) == {**SITE_32, **dict(zip((1, 2, 3, 30, 31), VARYING_32[name]))}


@pytest.mark.parametrize("name", VARYING_24)
def test_24_pin_site(name):
    assert functions(name) == {**SITE_24, 21: VARYING_24[name]}


@pytest.mark.parametrize("small, large, different", [
    # position n of the smaller package is n + 2 of the next larger; large package's function on the right
    ("2716", "2764", {21: ("VPP", "A11"), 24: ("VCC", "NC")}),
    ("2732", "2764", {24: ("VCC", "NC")}),
    ("28C16", "28C64B", {21: ("/WE", "A11"), 24: ("VCC", "NC")}),
    ("6116", "6264", {21: ("/WE", "A11"), 24: ("VCC", "CE2")}),
    ("2532", "2564", {21: ("VPP", "A12")}),  # pins: Texas Instruments TMS 2564-45 JL data sheet, May 1982
    ("27C512", "27C010", {28: ("VCC", "NC")}),
    ("27C256", "27C010", {1: ("VPP", "A15"), 28: ("VCC", "NC")}),
    ("27C512", "27C080", {28: ("VCC", "A17")}),
    ("62256", "29F010", {1: ("A14", "A15"), 27: ("/WE", "A14"), 28: ("VCC", "NC")}),
    ("28C256", "28C010", {1: ("A14", "A15"), 27: ("/WE", "A14"), 28: ("VCC", "NC")}),
])  # fmt: skip
def test_a_smaller_part_sits_bottom_aligned(small, large, different):
    below, above = functions(small), functions(large)
    found = {n: (function, above[n + 2]) for n, function in below.items() if function != above[n + 2]}
    assert found == different


@pytest.mark.parametrize("name", ["27C301", "27C100"])
def test_the_mask_rom_layout_of_1_mbit_exchanges_two_pins(name):
    # Hitachi HN27C101AG/HN27C301AG data sheet, 1 December 1995 (pin 2 = /OE); A16 on 24: the other sources of the page
    jedec = functions("27C010")
    assert functions(name) == {**jedec, 2: jedec[24], 24: jedec[2]}


MASK_16K = {"rom-23128-style-a", "rom-23128-style-b", "rom-23128-style-c"}


@pytest.mark.parametrize("name", sorted(MASK_16K))
def test_mask_rom_styles_follow_the_site_except_for_their_controls(name):
    pins = {pin.number: pin.function for pin in require_part(name).pins}
    assert {n: f for n, f in pins.items() if n not in (1, 20, 22, 26, 27)} == {
        n: f for n, f in SITE_28.items() if n not in (1, 20, 22, 26, 27)
    }
    assert pins[1] == "NC" and pins[26] == "A13"


def test_where_each_style_takes_its_select():
    places = {name: require_part(name).by_function[require_part(name).select].number for name in MASK_16K}
    assert places == {"rom-23128-style-a": 20, "rom-23128-style-b": 27, "rom-23128-style-c": 22}


# Where a 32-pin site has each line (27C080, Fairchild NM27C256 data sheet); smaller packages sit at its bottom.
LOW = {f"A{n}": 12 - n for n in range(8)} | {"A8": 27, "A9": 26, "A10": 23, "A11": 25, "A12": 4, "A13": 28, "A14": 29}
LINES = LOW | {"A15": 3, "A16": 2, "A17": 30, "A18": 31, "A19": 1}
LINES |= {"D0": 13, "D1": 14, "D2": 15, "D3": 17, "D4": 18, "D5": 19, "D6": 20, "D7": 21, "GND": 16}
TMS2532 = "the arrangement of the TMS2532, in which pin 20 is the only enable"
MASK_1M = "the 28-pin 1-Mbit mask ROMs gave up their output enable for A16"
WRITABLE = "/WE stands where the ROM of this size has its highest line, which moves to the free pin 1"
OWN = "a layout of its own, older than the site or made for 16-bit boards"
EXCEPTIONS = {  # part: the lines that stand elsewhere in its own package, and why
    "2532": ({"A11": 18}, TMS2532),
    "2564": ({"A11": 20, "A12": 23}, TMS2532),
    "rom-2332-a11-pin18": ({"A11": 18}, TMS2532),
    "rom-2364-24": ({"A11": 18, "A12": 21}, TMS2532),
    "rom-68364": ({"A11": 18, "A12": 21}, TMS2532),
    "rom-mk36000": ({"A11": 18, "A12": 21}, TMS2532),
    "TMS2716": ({"A10": 20}, "three supplies: pin 19 is +12 V"),
    "prom-82s191": ({"A10": 21}, "bipolar: pins 18 to 20 are enables"),
    "rom-1m-28": ({"A16": 22}, MASK_1M),
    "rom-1m-32-a16-pin24": ({"A16": 24}, MASK_1M),
    "27C301": ({"A16": 24}, MASK_1M),
    "27C100": ({"A16": 24}, MASK_1M),
    "rom-4m-32-a17-pin1": ({"A16": 24, "A17": 1, "A18": 2}, MASK_1M),
    "28C256": ({"A14": 1}, WRITABLE),
    "62256": ({"A14": 1}, WRITABLE),
    "DS1230": ({"A14": 1}, WRITABLE),
    "29F040": ({"A18": 1}, WRITABLE),
    "SST39SF040": ({"A18": 1}, WRITABLE),
    "rom-23256-a14-pin1": ({"A14": 1}, "pin 27 is a select, as a 28C256 has /WE there"),
    "rom-4m-32-hn62304": (None, OWN),
    "rom-6540": (None, OWN),
    "rom-6830": (None, OWN),
}
BYTE_WIDE = [part for part in read_all() if part.bits == 8 and part.pin_count in (24, 28, 32)]


@pytest.mark.parametrize("part", BYTE_WIDE, ids=lambda part: part.name)
def test_every_byte_wide_part_has_its_lines_where_the_site_has_them(part):
    up = (32 - part.pin_count) // 2
    elsewhere = {p.function: p.number for p in part.pins if p.function in LINES and p.number + up != LINES[p.function]}
    lines, _ = EXCEPTIONS.get(part.name, ({}, ""))
    assert len(elsewhere) > 10 if lines is None else elsewhere == lines


def test_the_families_are_all_there():
    assert {part.family for part in BYTE_WIDE} == {"EPROM", "EEPROM", "flash", "SRAM", "mask ROM", "bipolar PROM"}
    assert {part.name for part in BYTE_WIDE} >= EXCEPTIONS.keys() and len(BYTE_WIDE) > 60


# --- families outside the byte-wide sites ----------------------------------------------------------------------


def lines_of(name):
    """Address, data and supply pins by number: what a family keeps while its controls change."""
    return {
        pin.number: pin.function for pin in require_part(name).pins if re.fullmatch(r"[AD]\d+|VCC|GND", pin.function)
    }


@pytest.mark.parametrize("one, other", [
    # the same part with open-collector and with three-state outputs: Signetics 82S23/82S123 specification, 11 November
    # 1986, p. 343; Texas Instruments bulletin DL-S 7512258, May 1975, for 256 x 4; PDP-11 boot PROM note for 512 x 4
    ("prom-82s23", "prom-82s123"), ("prom-82s126", "prom-82s129"), ("prom-82s130", "prom-82s131"),
    ("rom-32m-42-x16", "27C322"), ("rom-16m-42-x16", "27C160"),  # mask ROMs of the EPROMs' order (their pages)
])  # fmt: skip
def test_twins_have_the_same_lines(one, other):
    assert lines_of(one) == lines_of(other)


@pytest.mark.parametrize("small, large, added", [
    # 40 pins, word-wide: STMicroelectronics M27C1024 data sheet, September 1998, pp. 1-2; no source for 38 and 39
    ("27C1024", "27C2048", {38: "A16"}), ("27C2048", "27C4096", {39: "A17"}),
    # 42 pins: STMicroelectronics M27C160 data sheet, July 2001 (pin figure), and M27C322, April 2000, pp. 1-2
    ("27C800", "27C160", {42: "A19"}), ("27C160", "27C322", {32: "A20"}),
    ("prom-82s129", "prom-82s131", {14: "A8"}), ("prom-82s137", "prom-82s185", {8: "A10"}),
])  # fmt: skip
def test_the_larger_part_only_adds_lines(small, large, added):
    below, above = lines_of(small), lines_of(large)
    assert below | added == above and not below.keys() & added.keys()


def test_a_bipolar_prom_of_18_pins_has_those_of_16_at_its_top():
    """The order of 82S129 to 82S185 (IBM EGA schematic, symbol 24S41): two pins more, at the bottom."""
    small, large = lines_of("prom-82s129"), lines_of("prom-82s137")
    at_top = {n if n < 8 else n + 2: line for n, line in small.items() if line != "GND"}
    assert {n: large.get(n) for n in at_top} == at_top


def test_the_byte_wide_32_pin_part_follows_the_word_wide_order():
    """HN62304 (NESdev BBS topic 16494): the 40-pin 16-bit order without D8 to D14 and its top line, in bytes.

    Word line A(n) is byte line A(n+1), A-1 is A0, and the place of /BYTE has A18.
    """
    in_bytes = {f"A{n}": f"A{n + 1}" for n in range(17)} | {"D15": "A0", "/BYTE": "A18", "/CE": "EN1", "/OE": "EN2"}
    gone = {"A17", *(f"D{n}" for n in range(8, 15))}
    ring = [in_bytes.get(pin.function, pin.function) for pin in require_part("27C400").pins if pin.function not in gone]
    assert [pin.function.strip("?") for pin in require_part("rom-4m-32-hn62304").pins] == ring


SECOND_COPY = {  # lines of parts that resemble no other, written down a second time: a slip in a page shows here
    # Signetics 82S23/82S123 product specification, 11 November 1986, p. 343
    "prom-82s123": {"D": "1 2 3 4 5 6 7 9", "A": "10 11 12 13 14"},
    # amiga-stuff.com, hardware page 6540
    "rom-6540": {"D": "26 25 24 23 22 21 20 19", "A": "5 6 7 8 9 10 15 14 13 11 18"},
    # from memory, unchecked, as the page says: the list that it cites names only the two sides
    "rom-6830": {"D": "2 3 4 5 6 7 8 9", "A": "24 23 22 21 20 19 18 17 16 15"},
}


@pytest.mark.parametrize("name", SECOND_COPY)
def test_lines_of_parts_that_resemble_no_other(name):
    written = {f"{kind}{i}": int(n) for kind, run in SECOND_COPY[name].items() for i, n in enumerate(run.split())}
    by_line = {line: number for number, line in lines_of(name).items() if line[0] in "AD"}
    assert by_line == written
