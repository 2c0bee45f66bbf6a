"""Every rule for a part's page has a bad file that breaks it, and all faults of a file are told at once."""

import inspect
import re
from pathlib import Path

import pytest

from romwright import datafiles
from romwright.errors import DataFileError
from romwright.parts import library, rules

BAD = sorted((Path(__file__).parents[2] / "fixtures" / "bad" / "parts").glob("*.toml"))


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.stem)
def test_bad_file_breaks_its_rule_alone(path):
    with pytest.raises(DataFileError) as caught:
        library.read_part(path)
    assert {fault.rsplit("[")[-1] for fault in caught.value.faults} == {f"{path.stem}]"}, caught.value.faults
    assert caught.value.file == str(path)


def test_every_rule_has_a_bad_file():
    source = "".join(inspect.getsource(module) for module in (rules, library, datafiles))
    named = set(re.findall(r"\[([a-z]+(?:-[a-z]+)*)\]\"", source)) | {"address-lines", "data-lines"}
    assert named == {path.stem for path in BAD}


def test_the_page_behind_the_bad_files_is_good(tmp_path):
    good = (BAD[0].parent / "package.toml").read_text("utf-8").replace("SO-18", "DIP-18")
    page = tmp_path / "package.toml"
    page.write_text(good, "utf-8")
    assert library.read_part(page).words == 32


def test_all_faults_at_once_with_near_misses(tmp_path):
    page = tmp_path / "package.toml"
    text = (BAD[0].parent / "package.toml").read_text("utf-8")
    page.write_text(
        text.replace("bits = 8", 'bits = "8"').replace("read_levels", "read_level").replace("words = 32\n", ""), "utf-8"
    )
    with pytest.raises(DataFileError) as caught:
        library.read_part(page)
    faults = "\n".join(caught.value.faults)
    assert len(caught.value.faults) == 3
    assert "bits:" in faults and "words: missing" in faults and "did you mean read_levels?" in faults


def test_faults_of_the_rules_are_collected_too(tmp_path):
    page = tmp_path / "package.toml"
    text = (BAD[0].parent / "package.toml").read_text("utf-8").replace("SO-18", "DIP-18")
    page.write_text(
        text.replace("A4 A3", "A5 A3").replace("GND = 0", "GND = 1").replace('["erased"]', '["eraser"]'), "utf-8"
    )
    with pytest.raises(DataFileError) as caught:
        library.read_part(page)
    assert {fault.rsplit("[")[-1] for fault in caught.value.faults} == {"address-lines]", "ground]", "unchecked]"}


@pytest.fixture
def faults_of(tmp_path):
    """The rules that a page breaks once the good page behind the bad files has been changed."""

    def change(*changes: tuple[str, str], end: str = "") -> set[str]:
        text = (BAD[0].parent / "package.toml").read_text("utf-8").replace("SO-18", "DIP-18") + end
        for old, new in changes:
            assert old in text
            text = text.replace(old, new)
        (tmp_path / "package.toml").write_text(text, "utf-8")
        with pytest.raises(DataFileError) as caught:
            library.read_part(tmp_path / "package.toml")
        return {fault.rsplit("[")[-1].rstrip("]") for fault in caught.value.faults}

    return change


def test_neither_an_unknown_key_nor_a_wrong_number_of_pins_hides_other_faults(faults_of):
    no_pin, no_ground, wrong_mark = (" A1 A0", " A1"), ("GND = 0", "GND = 1"), ('["erased"]', '["eraser"]')
    assert faults_of(("family", "colour = 3\nfamily"), no_ground, wrong_mark) == {"unknown-key", "ground", "unchecked"}
    assert faults_of(no_pin, no_ground, wrong_mark, ("times\"", "tmies\"")) == {
        "pin-count", "ground", "unchecked", "source-covers", "unsourced"
    }  # fmt: skip
    assert faults_of(("name = ", "nmae = "), no_ground) == {"unknown-key", "missing-key", "ground"}


@pytest.mark.parametrize("old, new, rule", [
    *(("VCC = 5", f"VCC = {volts}", "supply-volts") for volts in ("inf", "nan", "16", "-inf, VBB = 5")),
    *(("bits = 8", f"bits = 8\nrow_pitch_mm = {pitch}", "row-pitch") for pitch in ("-3", "nan", "inf", "15", "0")),
    *(("[200, 250]", f"[{times}]", "quantity") for times in ("0, 100", "-5, 100", "nan, 100", "100, inf", "1e9")),
    *(('"EPROM"', f'"{family}"', "family") for family in ("", "eprom", "ROM")),
    ("access_ns = [200, 250]", "", "empty-table"), ("access_ns = [200, 250]", "access_ns = []", "empty-table"),
])  # fmt: skip
def test_absurd_values_are_refused(faults_of, old, new, rule):
    assert rule in faults_of((old, new))


@pytest.mark.parametrize("values, rule", [
    ("vpp_v = 25\nvpp_max_v = 14", "vpp-limit"), ("vpp_erase_v = 14.5\nvpp_max_v = 14", "vpp-limit"),
    ("vpp_range_v = [12, 15]\nvpp_max_v = 14", "vpp-limit"), ("vpp_range_v = [13, 12]", "range"),
    ("vpp_v = 25\nvpp_range_v = [12, 13]", "range"), ("vcc_v = 5\nvcc_range_v = [6, 6.5]", "range"),
    ("vpp_v = 125", "quantity"), ("vpp_max_v = inf", "quantity"), ("vcc_v = nan", "quantity"),
])  # fmt: skip
def test_programming_voltages_that_kill_are_refused(faults_of, values, rule):
    mark = ('["erased"]', '["erased", "programming"]')
    assert faults_of(mark, end=f"\n[programming]\n{values}\n") == {rule}


@pytest.mark.parametrize("choices", ["[]", '["L"]', '["H", "H"]', '["L", "H", "L"]'])
def test_a_choice_has_two_sides(faults_of, choices):
    chosen = (("/CE /OE A4", "/CE OE? A4"), ('"/OE" = "L"', '"OE?" = "?"'))
    assert faults_of(*chosen, ("bits = 8", f'bits = 8\noptions = {{ "OE?" = {choices} }}')) == {"choices"}


def test_nested_keys_are_checked(tmp_path):
    page = tmp_path / "package.toml"
    text = (BAD[0].parent / "package.toml").read_text("utf-8").replace("access_ns", "acces_ns")
    page.write_text(text, "utf-8")
    with pytest.raises(DataFileError, match="times.acces_ns: unknown key; did you mean access_ns"):
        library.read_part(page)


@pytest.mark.parametrize("content", [b"name = \n", b'name = "\xff"\n'], ids=["not TOML", "not UTF-8"])
def test_text_that_is_no_toml(tmp_path, content):
    page = tmp_path / "x.toml"
    page.write_bytes(content)
    with pytest.raises(DataFileError, match="not TOML|not UTF-8"):
        library.read_part(page)


UNREAD = 'unchecked = ["pins", "drives: no function table was read", "read_levels", "times"]'


@pytest.mark.parametrize("known, left_out", [
    ('drives = [{ "/CE" = "L", "/OE" = "L" }]', "drives = []"),
    ('sources = [{ covers = "pins drives read_levels times", text = "invented for this test" }]', "sources = []"),
])  # fmt: skip
def test_a_page_says_what_nobody_has_read(tmp_path, known, left_out):
    """No drive row or no source is a fault, unless the page says so under unchecked."""
    page = tmp_path / "package.toml"
    text = (BAD[0].parent / "package.toml").read_text("utf-8").replace("SO-18", "DIP-18")
    assert known in text
    text = text.replace(known, left_out).replace('select = "/CE"\n', "")
    page.write_text(text, "utf-8")
    with pytest.raises(DataFileError):
        library.read_part(page)
    text = text.replace("pins drives read_levels", "pins read_levels")  # a source of what is not there is a fault too
    page.write_text(text.replace('unchecked = ["erased"]', UNREAD), "utf-8")
    assert library.read_part(page).unchecked[1].startswith("drives: ")


@pytest.mark.parametrize("change, fault", [
    (("read_levels times", "times"), "read_levels: no source covers it"),
    (("read_levels times", "read_levels"), "times: no source covers it"),
    (("GND = 0 }", "GND = 0, VDD = 12 }"), "supplies: no source covers it"),
    (("times\"", "times writes\""), "covers writes, which this page does not have"),
    (("times\"", "times times.access_ns\""), "covers times.access_ns, which this page does not have"),
])  # fmt: skip
def test_what_a_source_must_cover(tmp_path, change, fault):
    """A source of the pins covers +5 V and 0 V too; another voltage, the read levels and the times need their own."""
    page = tmp_path / "package.toml"
    text = (BAD[0].parent / "package.toml").read_text("utf-8").replace("SO-18", "DIP-18")
    assert change[0] in text
    page.write_text(text.replace(*change), "utf-8")
    with pytest.raises(DataFileError) as caught:
        library.read_part(page)
    assert any(fault in line for line in caught.value.faults), caught.value.faults
