"""The shipped pages: all read, found by name and alias, true to what they say in words."""

from collections import defaultdict

import pytest
from msgspec.structs import replace

from romwright.datafiles import data_folder
from romwright.errors import DataFileError, OptionError, SeveralMeaningsError, UnknownNameError
from romwright.parts.library import part_names, require_part
from romwright.parts.model import Role

NAMES = part_names()
ASKED_FOR = {
    *("rom-23128-style-a", "rom-23128-style-b", "rom-23128-style-c", "rom-23256-a14-pin27", "rom-2364-24"),
    *("2716", "2732", "2532", "2764", "2764A", "27C64", "27128", "27128A", "27C128", "27256", "27C256"),
    *("27512", "27C512", "28C64", "28C256"),
}


def test_the_parts_of_the_job_are_there():
    assert set(NAMES) >= ASKED_FOR


@pytest.mark.parametrize("name", NAMES)
def test_page_reads(name):
    part = require_part(name)
    assert len(part.pins) == part.pin_count
    assert part.words == 1 << sum(pin.role is Role.ADDRESS for pin in part.pins)
    assert part.bits == sum(pin.role is Role.DATA for pin in part.pins)


@pytest.mark.parametrize("asked, found", [
    ("27C256", "27C256"), ("27c256", "27C256"), ("M27C256B", "27C256"), ("m27c256b", "27C256"), (" 28c256 ", "28C256"),
    ("uPD23128", "rom-23128-style-b"), ("HN613128P", "rom-23128-style-a"), ("TMS2532", "2532"),
])  # fmt: skip
def test_names_and_aliases(asked, found):
    assert require_part(asked).name == found


def test_unknown_name_offers_near_ones():
    with pytest.raises(UnknownNameError) as caught:
        require_part("27C265")
    assert "27C256" in caught.value.near


def test_a_marking_with_several_meanings_is_not_resolved_silently():
    with pytest.raises(SeveralMeaningsError, match="3 meanings") as caught:
        require_part("23128")
    assert "rom-23128-style-b" in caught.value.expected
    assert set(caught.value.meanings) == {f"rom-23128-style-{letter}" for letter in "abc"}


MEANINGS = {
    "23128",
    *("9316b", "2332", "2364", "23256", "mk38000"),  # two arrangements of one size
    *("23c4000", "23c8000"),  # 8 bits wide or 16
    *("27c1000", "upd27c1000", "upd27c1000a", "upd27c1001a"),  # /OE and A16 on pins 24 and 2, or the reverse
}


def test_no_alias_is_the_name_of_another_part():
    owners = defaultdict(set)
    for name in NAMES:
        for alias in require_part(name).aliases:
            owners[alias.casefold()].add(name)
    assert not {name.casefold() for name in NAMES} & owners.keys()
    assert {alias for alias, parts in owners.items() if len(parts) > 1} == MEANINGS


def test_one_part_is_read_without_the_others(monkeypatch):
    from romwright.parts import library

    read = []
    real = library.read_part
    monkeypatch.setattr(library, "read_part", lambda path: read.append(path.stem) or real(path))
    monkeypatch.setattr(library, "read_toml", lambda path: pytest.fail(f"{path} was parsed for its aliases"))
    require_part("27c256")
    assert read == ["27C256"]


def test_polarities():
    style = require_part("rom-23128-style-c")
    assert style.choices() == {27: ("H", "L", "NC")}
    assert style.polarities({}) == [{27: "H"}, {27: "L"}, {27: "NC"}]
    assert style.ordered_as({27: "H"}).drives == ({"/CE": "L", "/OE": "L", "CS": "H"},)
    without = style.ordered_as({27: "NC"})
    assert without.drives == ({"/CE": "L", "/OE": "L"},)
    assert without.pins[26].role is Role.NC
    assert len(require_part("rom-23128-style-a").polarities({20: "L"})) == 4
    with pytest.raises(OptionError, match="pin 26"):
        style.polarities({26: "L"})
    with pytest.raises(OptionError, match="cannot be NC"):
        require_part("rom-2364-24").polarities({20: "NC"})


def test_an_ordered_part_has_no_open_polarity():
    for part in (part for part in map(require_part, NAMES) if part.drives):
        for polarity in (part.polarities({})[0], part.polarities({})[-1]):
            ordered = part.ordered_as(polarity)
            controls = [pin.function for pin in ordered.pins if pin.role is Role.CONTROL]
            assert not any("?" in pin.name for pin in ordered.pins) and len(controls) == len(set(controls))
            assert all(level in "HL" for row in ordered.drives for level in row.values())


def test_nothing_is_planned_for_a_part_without_a_drive_row():
    part = require_part("rom-6540")
    assert part.drives == () and any("PHI2" in entry for entry in part.unchecked)
    with pytest.raises(OptionError, match="no drive row of rom-6540"):
        part.ordered_as({})


def test_a_path_is_read_from_there(tmp_path):
    """One's own page, outside the installed folder."""
    own = tmp_path / "my-rom.toml"
    page = (data_folder("parts") / "27C64.toml").read_text("utf-8")
    own.write_text(page.replace('name = "27C64"', 'name = "my-rom"'), "utf-8")
    assert require_part(str(own)).name == "my-rom"
    own.write_text(page, "utf-8")
    with pytest.raises(DataFileError, match="the file is named 'my-rom'"):
        require_part(str(own))
    with pytest.raises(FileNotFoundError):
        require_part("no-such-page.toml")


def test_strobes_and_enables_follow_from_the_rows():
    """/OE of an EEPROM is at another level in a write too, yet only /WE is asserted there."""
    assert require_part("28C256").strobes == require_part("62256").strobes == {"/WE": "H"}
    assert list(require_part("28C256").enables) == ["/CE", "/OE"]
    assert require_part("6264").enables == {"/CE1": {"L"}, "CE2": {"H"}, "/OE": {"L"}}
    assert require_part("27C256").strobes == {}


def test_what_is_unchecked_about_a_key_is_what_concerns_it():
    page = replace(require_part("27C256"), unchecked=("programming.vcc_v: exact", "times", "erased"))
    assert page.unchecked_about("programming") == ["programming.vcc_v: exact"]
    assert page.unchecked_about("programming.vpp_v") == []
    assert page.unchecked_about("times.access_ns") == ["times"]
    assert page.unchecked_about("time", "erase") == []
