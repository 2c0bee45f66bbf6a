"""Programming facts: voltages by marking, doses, erase cycles, protection; the numbers entered once more by hand."""

import inspect
import re
from pathlib import Path

import pytest

from romwright import datafiles
from romwright.errors import DataFileError
from romwright.parts import programming
from romwright.parts.library import read_all, require_marked, require_part, to_burn

BAD = sorted((Path(__file__).parents[2] / "fixtures" / "bad" / "programming").glob("*.toml"))
PAGES = {part.name: part for part in read_all()}


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.stem)
def test_bad_facts_break_their_rule_alone(path):
    try:
        faults = [*programming.find_strangers(programming.read_facts(path), PAGES)]
    except DataFileError as error:
        faults = error.faults
    assert {fault.rsplit("[")[-1] for fault in faults} == {f"{path.stem}]"}, faults


@pytest.mark.parametrize("number", ["nan", "inf", "-inf", "-1", "0"])
@pytest.mark.parametrize("place", ["27128A = 12.5", "dose_ws_cm2 = [15, 30]", "minutes = [15, 35]", "_mw_cm2 = 12"])
def test_no_number_is_infinite_negative_or_none(tmp_path, place, number):
    text = (BAD[0].parents[3] / "pinmaps" / "programming.toml").read_text("utf-8")
    key, _, value = place.partition(" = ")
    assert place in text
    page = tmp_path / "facts.toml"
    page.write_text(text.replace(place, f"{key} = {f'[15, {number}]' if value[0] == '[' else number}"), "utf-8")
    with pytest.raises(DataFileError):
        programming.read_facts(page)


def test_every_rule_has_a_bad_file():
    source = "".join(inspect.getsource(module) for module in (programming, datafiles))
    assert set(re.findall(r"\[([a-z]+(?:-[a-z]+)*)\]['\"]", source)) == {path.stem for path in BAD}


def test_the_shipped_facts_agree_with_the_pages():
    assert not [*programming.find_strangers(programming.read_facts(), PAGES)]


@pytest.mark.parametrize(
    ("word", "volts"),
    [  # classiccmp message: 2732 25 V, 2732A 21 V, 2732B 12.5 V; Intel 27128A sheet p. 5-34: 12.5 V
        ("2732", 25), ("2732A", 21), ("2732B", 12.5), ("27128A", 12.5),
    ],
)  # fmt: skip
def test_voltages_by_marking(word, volts):
    assert [r.vpp_v[word] for r in programming.read_facts().look_alikes if word in r.vpp_v] == [volts]


@pytest.mark.parametrize(
    ("page", "marking", "stops"),
    [
        ("2732", "", True), ("2732", "2732", False), ("2732", "D2732-4", False), ("2732", "M5L2732K", False),
        ("2732", "D2732A", True), ("2732", "2732B", True), ("2732", "2732Q", True), ("2732", "EPROM", True),
        ("2732", "27C32", True), ("2764", "2764", False), ("2764", "M2764A-2F1", True), ("27128", "P27128A", True),
        ("27128", "27128", False), ("2716", "MM2716", False), ("2716", "27C16B", True), ("2532", "", True),
        ("2732A", "", True), ("2732A", "TMS2732A-25JL", False), ("2764A", "", False),
        ("27128A", "", False), ("27C256", "", False), ("28C256", "", False),
        ("2816", "", True), ("2816", "2816", False), ("2816", "X2816A", True), ("2816", "AT28C16-15", True),
        ("28C16", "", False),
        # a number that is part of another's: the TMS2716 has three supplies (TI MOS Memory Data Book 1980, p. 137)
        ("2716", "TMS2716", True), ("2716", "TMS2716 8212", True), ("2716", "MCM TMS2716", True),
        ("2732", "27321", True), ("2732", "2732_A", True), ("2732", "2732?", True), ("2732", "d2732 a", True),
        # a maker's or a country's name behind the number is no letter of it
        ("2732", "2732 Intel", False), ("2732", "2732 A Intel", True), ("2732", "2732 AB", True),
        ("2732", "2732A INTEL", True), ("2732", "INTEL 2732-30 JAPAN", False),
        ("2732", "NMC27C32BQ200", True), ("27128", "HN4827128AG-25", True), ("27128", "MBM27128-25 8412", False),
        # the voltage printed beside the number settles letters that nobody has read, and overrules the number
        ("27128", "HN4827128G-25", True), ("27128", "HN4827128G-25 VPP 21V", False), ("2764", "2764 VPP=12.5V", True),
        ("2764", "MBM2764-25 12,5 V", True), ("2732", "2732 21V", True), ("2732", "TMM2732D 25 Volt", False),
    ],
)  # fmt: skip
def test_a_voltage_that_kills_look_alikes_is_a_stop_until_the_marking_is_read(page, marking, stops):
    part, reading = require_marked(page)
    found = to_burn(part, reading, marking).voltage
    assert [each.code.name for each in found] == (["voltage-unconfirmed"] if stops else [])
    assert all(str(each.severity) == "stop" for each in found)


def test_a_stop_says_why_a_marking_does_not_do():
    part, reading = require_marked("2732")
    (letters,) = to_burn(part, reading, "HN462732G").voltage
    assert "nobody has read what G behind 2732 means" in letters.evidence
    (volts,) = to_burn(part, reading, "2732 VPP 21V").voltage
    assert "21 V is printed on the chip" in volts.evidence


def test_no_page_of_a_record_is_burnt_beyond_the_limit_of_another_without_a_stop():
    """A page without VPP is written with its 5 V supply: 6 V and more is beyond that."""
    for record in programming.read_facts().look_alikes:
        pages = [PAGES[word] for word in record.vpp_v if word in PAGES]
        for burnt in (page for page in pages if page.programming.vpp_v):
            highest = max(burnt.programming.vpp_v, *(burnt.programming.vpp_range_v or (0,)))
            for taker in pages:
                most = taker.programming.vpp_max_v or (None if taker.programming.vpp_v else 6)
                assert most is None or highest <= most or taker.name in programming.endangered(burnt)


def test_a_voltage_that_its_page_marks_unchecked_is_marked_among_the_look_alikes():
    for record in programming.read_facts().look_alikes:
        doubtful = {word for word in record.vpp_v if word in PAGES and PAGES[word].unchecked_about("programming.vpp_v")}
        assert doubtful <= set(record.unchecked)


def test_a_2732a_survives_no_more_than_its_page_says():
    """ST and NTE: at most 22 V; so the 25 V of a 2732 is above it."""
    assert require_part("2732A").programming.vpp_max_v == 22 < require_part("2732").programming.vpp_v


def test_a_marking_is_no_file():
    part, reading = require_marked("2732")
    assert to_burn(part, reading, "../2732A.toml").voltage


def test_uv_dose():
    """Intel 27128A, 230849-009, p. 5-34: 15 W s/cm2, 15 to 20 minutes at 12 mW/cm2; 7258 is one week of that light."""
    facts = require_part("27128A").programming
    assert facts.erase_dose_ws_cm2 == (15, 15) and facts.erase_minutes == (15, 20)
    minutes = facts.erase_dose_ws_cm2[0] / (facts.erase_intensity_mw_cm2 / 1000) / 60
    assert minutes == pytest.approx(20.8, abs=0.05)  # a little more than the sheet's own 20: both are printed
    assert facts.erase_intensity_mw_cm2 / 1000 * 7 * 24 * 3600 == pytest.approx(facts.erase_dose_max_ws_cm2, abs=1)
    assert require_part("27C010").programming.erase_dose_ws_cm2 == (15, 15)  # SGS-Thomson M27C1001, erasure page


def test_endurance_and_protection():
    """Atmel 0270L (AT28C64B) p. 10 and 0006M (AT28C256) p. 10."""
    small, large = (require_part(name).programming for name in ("28C64B", "28C256"))
    assert small.erase_cycles == (100_000, 100_000) and large.erase_cycles == (10_000, 100_000)
    assert small.protection.supplied == large.protection.supplied == "off"
    assert small.protection.enable == ("AA->1555", "55->0AAA", "A0->1555")
    assert large.protection.disable == ("AA->5555", "55->2AAA", "80->5555", "AA->5555", "55->2AAA", "20->5555")


@pytest.mark.parametrize("part", read_all(), ids=lambda part: part.name)
def test_what_nobody_has_read_is_said_to_be_unknown(part):
    said = dict(programming.list_facts(part))
    if part.family in ("EPROM", "EEPROM", "flash"):
        own = part.programming and part.programming.erase_cycles
        assert ("unknown" in said["erase cycles"]) == (own is None)
    if part.family == "EPROM":
        own = part.programming and part.programming.erase_dose_ws_cm2
        assert ("its page has none" in said["erased"]) == (own is None)
