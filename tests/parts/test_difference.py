"""Two parts position by position, which parts are wanted, and the function table."""

import pytest

from romwright.parts.difference import list_positions
from romwright.parts.library import read_all, require_part
from romwright.parts.page import function_table, page_json
from romwright.parts.selection import Wanted, size_bytes

PARTS = read_all()


def differing(first, second):
    places = list_positions(require_part(first), require_part(second))
    return {p.number: (p.first and p.first.name, p.second and p.second.name, p.kind) for p in places if not p.same}


def test_a_part_does_not_differ_from_itself():
    for part in PARTS:
        assert all(place.same for place in list_positions(part, part))


def test_exchanged_parts_differ_alike():
    for first, second in zip(PARTS, PARTS[1:]):
        there, back = list_positions(first, second), list_positions(second, first)
        assert [(p.number, p.first, p.second, p.kind) for p in there] == [
            (p.number, p.second, p.first, p.kind) for p in back
        ]


def test_the_same_package():
    # Intel 27128A data sheet, October 1990, Figure 2 (universal site): 27128A and 27256 differ in pin 27 alone
    assert differing("27128A", "27256") == {27: ("/PGM", "A14", "function")}
    # STMicroelectronics M27C512 data sheet, 2004, against Intel's figure: VPP moved to /OE
    assert differing("27256", "27512") == {1: ("VPP", "A15", "function"), 22: ("/OE", "/OE|VPP", "programming")}


def test_a_smaller_package_sits_at_the_bottom():
    # as in tests/parts/test_jedec_site.py: Intel's and Fairchild's side columns
    assert differing("2716", "2764A") == {
        1: (None, "VPP", "no pin"), 2: (None, "A12", "no pin"), 27: (None, "/PGM", "no pin"),
        28: (None, "VCC", "no pin"), 20: ("/CE|PGM", "/CE", "programming"), 23: ("VPP", "A11", "function"),
        26: ("VCC", "NC", "supply"),
    }  # fmt: skip


def test_kinds():
    # 0cjs/sedoc, EE/periph/memory.md on the TMS2716 data sheet: 19 = +12 V, 20 = A10, 21 = -5 V
    found = differing("2716", "TMS2716")
    assert {n: kind for n, (_, _, kind) in found.items()} == {
        18: "control", 19: "supply", 20: "function", 21: "supply", 24: "programming"
    }  # fmt: skip
    assert differing("rom-23512", "27C512")[20] == ("CE?", "/CE", "polarity")


@pytest.mark.parametrize("wanted, names", [
    (Wanted(family="EPROM", size_bytes=8192, pins=28), {"2564", "2764", "2764A", "27C64"}),
    (Wanted(organisation=(256, 4)), {"prom-82s126", "prom-82s129"}),
    (Wanted(size_bytes=128, family="bipolar PROM"), {"prom-82s126", "prom-82s129"}),
    (Wanted(organisation=(1 << 19, 8), package="DIP-40"), {"27C400", "rom-4m-40-x16"}),  # their byte mode
    (Wanted(volts=-5), {"2708", "TMS2716", "rom-2308-three-supply"}),
    (Wanted(volts=21), {"2732A", "27128", "2764", "2816"}),
    (Wanted(volts=12.6, pins=28, family="EPROM"), {"27128A", "27C256", "27C512", "27C64"}),  # within the range of their pages
    (Wanted(pins=14), set()),
])  # fmt: skip
def test_selection(wanted, names):
    assert {part.name for part in PARTS if wanted(part)} == names


def test_everything_is_wanted_by_default_and_holds_its_bits():
    assert all(Wanted()(part) for part in PARTS)
    assert all(size_bytes(part) * 8 == part.words * part.bits for part in PARTS)


@pytest.mark.parametrize("part", PARTS, ids=lambda part: part.name)
def test_function_table_has_every_row_and_says_no_more(part):
    rows = function_table(part)
    reads = [row for row in rows if row.mode == "read"]
    assert [row.mode for row in rows].count("write") == len(part.writes)
    assert [row.mode for row in rows].count("standby") == len(part.standby)
    assert len(reads) == len(part.drives)
    for row, drive in zip(reads, part.drives):
        held = {name: level.split("/")[0] for name, level in row.levels.items() if level != "-"}
        assert held == {**part.read_levels, **drive}
    for row, levels in zip((row for row in rows if row.mode == "standby"), part.standby):
        assert {name: level for name, level in row.levels.items() if level != "-"} == levels


def test_json_has_everything_of_the_page():
    import tomllib

    from romwright.datafiles import data_folder

    for part in PARTS:
        file = tomllib.loads((data_folder("parts") / f"{part.name}.toml").read_text("utf-8"))
        found = page_json(part)
        assert has(found, {key: value for key, value in file.items() if key != "pins"})
        assert [pin["name"] for pin in found["pins"][: part.pin_count // 2]] == part.left.split()


def has(found, wanted):
    """Whether every value of a table stands in the other."""
    if isinstance(wanted, dict):
        return all(key in found and has(found[key], value) for key, value in wanted.items())
    if isinstance(wanted, list):
        return len(found) == len(wanted) and all(map(has, found, wanted))
    return found == wanted
