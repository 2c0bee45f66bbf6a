"""Every part and gate package that KiCad's library has too, pin by pin (Debian package kicad-symbols, 6.0.10)."""

import re
from functools import cache
from pathlib import Path

import pytest

from romwright.fit.work import gate_parts
from romwright.parts.library import part_names, require_part

FOLDER = Path("/usr/share/kicad/symbols")
# Symbols of another arrangement: a surface-mount package with pins of its own.
OTHER_PACKAGE = {"27C512PLCC", "29F010-TSOP-SP"}
# Parts without a symbol whose documents say that they are arranged as one that has it (each page names that source).
ARRANGED_AS = {
    "29F010": "SST39SF010",
    "29F040": "SST39SF040",
    "DS1230": "28C256",
    "SST27SF256": "27C256",
    "SST27SF512": "27C512",
    "W27C512": "27C512",
    "W27E257": "27C256",
}
# KiCad 6.0.10 drew the flash from the EPROM and left out the bars; data sheet S71147-02, Table 4, has CE#, OE#, WE#.
FLASH = ("29F010", "29F040", "SST39SF010A", "SST39SF020A", "SST39SF040")
FLASH_PINS = {22: ("/CE", "CE"), 24: ("/OE", "OE"), 31: ("/WE", "PGM")}
EXPLAINED = {
    # KiCad shows only the read function of a pin that programs too
    ("27512", 22): ("/OE|VPP", "/OE"),
    ("27C512", 22): ("/OE|VPP", "/OE"),
    ("SST27SF512", 22): ("/OE|VPP", "/OE"),
    ("W27C512", 22): ("/OE|VPP", "/OE"),
    ("27C040", 22): ("/CE|/PGM", "/CE"),
    ("27C080", 24): ("/OE|VPP", "/OE"),
    **{(name, pin): pair for name in FLASH for pin, pair in FLASH_PINS.items()},
}


def parse(text):
    """S-expressions to nested lists of strings."""
    stack = [[]]
    for token in re.findall(r'"(?:[^"\\]|\\.)*"|[()]|[^\s()"]+', text):
        if token == "(":
            stack.append([])
        elif token == ")":
            done = stack.pop()
            stack[-1].append(done)
        else:
            stack[-1].append(token.strip('"'))
    return stack[0]


@cache
def symbols():
    """Pins by number of every memory symbol; an `extends` symbol has those of its parent."""
    found, parents = {}, {}
    for path in sorted(FOLDER.glob("Memory_*.kicad_sym")):
        for symbol in (e for e in parse(path.read_text("utf-8"))[0] if e[0] == "symbol"):
            name = symbol[1]
            extends = [e[1] for e in symbol if e[0] == "extends"]
            if extends:
                parents[name] = extends[0]
            pins = [e for unit in symbol if unit[0] == "symbol" for e in unit if e[0] == "pin"]
            found[name] = {
                int(next(e[1] for e in pin if e[0] == "number")): next(e[1] for e in pin if e[0] == "name")
                for pin in pins
                if next(e[1] for e in pin if e[0] == "number").isdigit()
            }
    return {name: found[parents.get(name, name)] for name in found}


def plain(name):
    """KiCad's ~{CE} and our /CE to one spelling, VSS to GND; a bar that is missing stays missing."""
    name = re.sub(r"~\{?(\w+)\}?", r"/\1", name)
    name = {"/CS": "/CE", "VSS": "GND"}.get(name, name)
    return re.sub(r"^(?:DQ|Q|IO|I/O|O)(\d+)$", r"D\1", name)


def require_kicad():
    if not FOLDER.is_dir() or not list(FOLDER.glob("Memory_*.kicad_sym")):
        pytest.skip("needs the Debian package kicad-symbols")


@cache
def shared_pairs():
    """Pairs of a part and a symbol that is named after it or after one of its other markings, or is arranged alike."""
    own = {
        (part.name, symbol)
        for part in map(require_part, part_names())
        for symbol in symbols().keys() - OTHER_PACKAGE
        for marking in (part.name, *part.aliases)
        if symbol.casefold().startswith(marking.casefold())
    }
    return own | set(ARRANGED_AS.items())


@pytest.mark.parametrize("name", part_names())
def test_shared_part_agrees(name):
    require_kicad()
    for _, symbol in (pair for pair in shared_pairs() if pair[0] == name):
        different = {}
        for pin in require_part(name).pins:
            theirs = plain(symbols()[symbol].get(pin.number, "NC"))  # KiCad may leave an unconnected pin out
            if pin.name != theirs:
                different[name, pin.number] = (pin.name, theirs)
        assert different == {key: pair for key, pair in EXPLAINED.items() if key[0] == name}, symbol


NAMED_ALIKE = {
    *("2764", "27C64", "27128", "27C128", "27256", "27C256", "27512", "27C512", "28C256"),
    *("27C010", "27C020", "27C040", "27C080", "SST39SF040"),
}
OTHER_NAMES = {
    ("62256", "KM62256CLP"),
    ("62256", "HM62256BLP"),
    ("62256", "CY62256-70PC"),
    ("SST39SF010A", "SST39SF010"),
    ("SST39SF020A", "SST39SF020"),
}


def test_the_shared_parts_are_really_compared():
    require_kicad()
    assert shared_pairs() == {(name, name) for name in NAMED_ALIKE} | OTHER_NAMES | set(ARRANGED_AS.items())


def test_a_missing_bar_is_seen():
    """A polarity error must not vanish in the spelling."""
    assert (plain("PGM"), plain("~{PGM}"), plain("~PGM")) == ("PGM", "/PGM", "/PGM")
    assert (plain("OE"), plain("~{CS}"), plain("DQ7"), plain("VSS")) == ("OE", "/CE", "D7", "GND")


# --- the gate packages of pinmaps/work.toml ---------------------------------------------------------------------------

AS_KICAD_CALLS_IT = {"74HCT08": "74LS08"}  # the same pins; 6.0.10 has no 74HCT08
DECODER_INPUTS = ("A0", "A1", "A2", "E3", "E1", "E2")  # KiCad's names of A B C, G1, /G2A, /G2B in that order


def gate_symbol(name):
    """The pins of a symbol by its units: number, kind and name of each. A second drawing of a unit repeats its pins."""
    (symbol,) = (e for e in parse((FOLDER / "74xx.kicad_sym").read_text("utf-8"))[0] if e[:2] == ["symbol", name])
    units = {}
    for unit in (e for e in symbol if e[0] == "symbol"):
        number = unit[1].rsplit("_", 2)[1]
        for pin in (e for e in unit if e[0] == "pin"):
            words = {e[0]: e[1] for e in pin if isinstance(e, list)}
            units.setdefault(number, set()).add((int(words["number"]), pin[1], words["name"]))
    return list(units.values())


@pytest.mark.parametrize("kind", [kind for kind, part in gate_parts().items() if part.outputs])
def test_gate_packages_have_kicad_s_pins(kind):
    require_kicad()
    ours = gate_parts()[kind]
    units = gate_symbol(AS_KICAD_CALLS_IT.get(ours.part, ours.part))
    theirs = {number: (use, name) for unit in units for number, use, name in unit}
    assert {name: number for number, (use, name) in theirs.items() if use == "power_in"} == {"VCC": ours.vcc, "GND": ours.gnd}
    inputs = {number for number, (use, _) in theirs.items() if use == "input"}
    assert inputs == {pin for gate in ours.inputs for pin in gate}
    assert {number for number, (use, _) in theirs.items() if use == "output"} == set(ours.outputs)
    if kind == "3-to-8":
        assert tuple(theirs[pin][1] for pin in ours.inputs[0]) == DECODER_INPUTS
        assert [theirs[pin][1] for pin in ours.outputs] == [f"O{number}" for number in range(8)]
    else:  # each unit is one gate: its inputs go with its output
        for pins, output in zip(ours.inputs, ours.outputs):
            assert {(pin, "input", "~") for pin in pins} | {(output, "output", "~")} in units
