"""Families: every rule has a bad file; the numbers are those of the documents, entered here once more by hand."""

import inspect
import re
from pathlib import Path

import pytest

from romwright import datafiles
from romwright.boards.library import cpu_names
from romwright.errors import DataFileError, UnknownNameError
from romwright.parts import families
from romwright.parts.library import part_names

BAD = sorted((Path(__file__).parents[2] / "fixtures" / "bad" / "families").glob("*.toml"))


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.stem)
def test_bad_family_breaks_its_rule_alone(path):
    with pytest.raises(DataFileError) as caught:
        families.read_family(path)
    assert {fault.rsplit("[")[-1] for fault in caught.value.faults} == {f"{path.stem}]"}, caught.value.faults


@pytest.mark.parametrize("number", ["nan", "inf", "-inf", "-1", "0"])
@pytest.mark.parametrize(
    ("name", "place"),
    [
        ("W65C02S", "below_vcc_v = 0.4"), ("W65C02S", "vih_min_of_vcc = 0.7"), ("W65C02S", "iol_ma = 1.6"),
        ("LS", "vih_min_v = 2.0"), ("LS", "max_v = 0.4"), ("LS", "min_v = 2.7"), ("LS", "ioh_ma = 0.4"),
        ("LS", "iil_ua = [200,"), ("LS", "iih_ua = [20,"), ("HCT", "at_vcc_v = [4.5,"),
    ],
)  # fmt: skip
def test_no_number_is_infinite_negative_or_none(tmp_path, name, place, number):
    text = (Path(families.__file__).parents[3] / "pinmaps" / "families" / f"{name}.toml").read_text("utf-8")
    key, _, value = place.partition(" = ")
    assert place in text
    page = tmp_path / f"{name}.toml"
    written = f"[{number}," if value[0] == "[" else number
    page.write_text(text.replace(place, f"{key} = {written}"), "utf-8")
    with pytest.raises(DataFileError):
        families.read_family(page)


def test_every_rule_has_a_bad_file():
    source = "".join(inspect.getsource(module) for module in (families, datafiles))
    assert set(re.findall(r"\[([a-z]+(?:-[a-z]+)*)\]['\"]", source)) == {path.stem for path in BAD}


def test_the_family_behind_the_bad_files_is_good(tmp_path):
    page = tmp_path / "confidence.toml"
    page.write_text((BAD[0].parent / "confidence.toml").read_text("utf-8").replace("quite sure", "document read"))
    assert families.read_family(page).vol[0].iol_ma == 4


# What the sheets print, entered by hand from them: VIL max, VIH min, (VOL max, IOL), (VOH min, IOH).
PRINTED = {
    "TTL": (0.8, 2.0, {(0.4, 16)}, {(2.4, 0.4)}),  # TI SDLS029C (7404), SDLS100 (7432)
    "LS": (0.8, 2.0, {(0.4, 4), (0.5, 8)}, {(2.7, 0.4)}),  # TI SDLS029C, SDLS100, SDLS014; Fairchild DS006439
    "HCT": (0.8, 2.0, {(0.33, 4)}, {(3.84, 4), (4.4, 0.02)}),  # TI SCLS064E, SCLS171E
    "NMOS": (0.8, 2.0, {(0.45, 2.1)}, {(2.4, 0.4)}),  # Intel 27128A, 230849-009, p. 5-31
    "Z80": (0.8, 2.0, {(0.4, 2)}, {(2.4, 0.25)}),  # Zilog Z8400/Z84C00, p. 39
    "6502": (0.8, 2.0, {(0.4, 1.6)}, {(2.4, 0.1)}),  # 6510: C64 Programmer's Reference Guide, Appendix L
    "8085": (0.8, 2.0, {(0.45, 2)}, {(2.4, 0.4)}),  # Intel 231718-001, p. 1-22
    "8088": (0.8, 2.0, {(0.45, 2)}, {(2.4, 0.4)}),  # Intel 231456-006, p. 16
    "8080": (0.8, 3.3, {(0.45, 1.9)}, {(3.7, 0.15)}),  # Intel 98-153B, p. 5-15
}


@pytest.mark.parametrize("name", PRINTED)
def test_levels_are_those_that_the_sheets_print(name):
    family = families.require_family(name)
    low, high = {(each.max_v, each.iol_ma) for each in family.vol}, {(each.min_v, each.ioh_ma) for each in family.voh}
    assert (family.vil_max_v, family.vih_min_v, low, high) == PRINTED[name]


def test_thresholds_as_parts_of_the_supply():
    wdc, cmos = families.require_family("W65C02S"), families.require_family("CMOS")  # WDC Table 6-2; TI SCEA043 figure
    hc = families.require_family("HC")  # TI SCLS181H, SCLS078H, SCLS108D print 3.15 V and 1.35 V at VCC 4.5 V
    assert (hc.vih_min_of_vcc * 4.5, hc.vil_max_of_vcc * 4.5) == pytest.approx((3.15, 1.35))
    assert [(each.max_v, each.iol_ma) for each in hc.vol] == [(0.33, 4)]
    assert [(each.min_v, each.ioh_ma) for each in hc.voh] == [(3.84, 4)]
    for family in (wdc, cmos):
        assert (family.vil_max_of_vcc, family.vih_min_of_vcc) == (0.3, 0.7)
    assert [(each.below_vcc_v, each.ioh_ma) for each in wdc.voh] == [(0.4, 0.7)]
    assert cmos.vol[0].iol_ma is None and cmos.iil_ua is None  # the figure names no currents


def test_a_family_stands_for_pages_and_cpus_that_there_are():
    known = {*part_names(), *cpu_names()}
    stood = [name for each in families.family_names() for name in families.require_family(each).stands_for]
    assert len(stood) == len(set(stood)) > 10 and set(stood) <= known


def test_near_names_are_offered():
    with pytest.raises(UnknownNameError) as caught:
        families.require_family("HTC")
    assert "HCT" in caught.value.near
