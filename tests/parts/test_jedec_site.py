"""The byte-wide sites, pin by pin.

Source: the arrangement of JEDEC Standard 21-C as it stands in the Intel 27128A data sheet, 230849-009, October 1990,
Figure 2 ("universal site": 2716, 2732A, 2764A/27C64, 27256/27C256, 27512/27C512 side by side); the standard itself
was not read. 28C64 and 28C256 follow their own data sheets (Atmel 0001H and 0006M) on pins 1, 26 and 27.
"""

import pytest

from romwright.parts.library import require_part

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
    "62256": ("A14", "A13", "/WE"),
}


@pytest.mark.parametrize("name", VARYING)
def test_28_pin_site(name):
    expected = {**SITE_28, **dict(zip((1, 26, 27), VARYING[name]))}
    assert {pin.number: pin.function for pin in require_part(name).pins} == expected


@pytest.mark.parametrize("name, differences", [
    # 24-pin position n is 28-pin position n + 2; 2764 columns on the right
    ("2716", {18: ("/CE", "/CE"), 20: ("/OE", "/OE"), 21: ("VPP", "A11"), 24: ("VCC", "NC")}),
    ("2732", {21: ("A11", "A11"), 24: ("VCC", "NC")}),
])  # fmt: skip
def test_24_pins_sit_bottom_aligned_in_28(name, differences):
    small, large = require_part(name), require_part("2764")
    for pin in small.pins:
        here, there = differences.get(pin.number, (pin.function, pin.function))
        assert pin.function == here
        assert large.pins[pin.number + 2 - 1].function == there


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
