"""Every part that KiCad's symbol library has too, compared pin by pin (Debian package kicad-symbols, 6.0.10)."""

import re
from functools import cache
from pathlib import Path

import pytest

from romwright.parts.library import part_names, require_part

FOLDER = Path("/usr/share/kicad/symbols")
OTHER_NAME = {"62256": "KM62256CLP"}  # shipped part -> its symbol, where they are not named alike
EXPLAINED = {
    # KiCad 6.0.10 shows only the read function of a pin that is also the programming supply
    ("27512", 22): ("/OE|VPP", "/OE"),
    ("27C512", 22): ("/OE|VPP", "/OE"),
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
    """KiCad's ~{CE} and our /CE to one spelling; the supply and program pins to the data sheets' names."""
    name = re.sub(r"~\{?(\w+)\}?", r"/\1", name)
    name = {"/CS": "/CE", "VSS": "GND", "/PGM": "/PGM", "PGM": "/PGM"}.get(name, name)
    return re.sub(r"^(?:DQ|Q|IO|I/O|O)(\d+)$", r"D\1", name)


def require_kicad():
    if not FOLDER.is_dir() or not list(FOLDER.glob("Memory_*.kicad_sym")):
        pytest.skip("needs the Debian package kicad-symbols")


@pytest.mark.parametrize("name", part_names())
def test_shared_part_agrees(name):
    require_kicad()
    symbol = symbols().get(OTHER_NAME.get(name, name))
    part = require_part(name)
    if symbol is None:
        assert name not in SHARED
        return
    ours = {pin.number: pin.name for pin in part.pins}
    different = {}
    for number, named in ours.items():
        theirs = plain(symbol.get(number, "NC"))  # KiCad may leave an unconnected pin out
        if named != theirs:
            different[name, number] = (named, theirs)
    assert different == {key: pair for key, pair in EXPLAINED.items() if key[0] == name}


SHARED = {"2764", "27C64", "27128", "27C128", "27256", "27C256", "27512", "27C512", "28C256", "62256"}


def test_the_shared_parts_are_really_compared():
    require_kicad()
    assert {name for name in part_names() if OTHER_NAME.get(name, name) in symbols()} == SHARED
