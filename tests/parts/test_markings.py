"""What is printed on chips: markings lead to a page, or are refused with their meanings."""

import inspect
import re
from pathlib import Path

import pytest

from romwright.errors import DataFileError, SeveralMeaningsError, UnknownNameError
from romwright.findings import Severity
from romwright.parts import markings, reading
from romwright.parts.library import part_names, read_all, read_marking, require_part

BAD = Path(__file__).parents[2] / "fixtures" / "bad" / "markings"
INVENTED = {"27A": ["QX27A", "27X"], "27B": ["27X"], "27D": []}  # the pages that the bad files are about
INVENTED_GRADES = {"27A": (150, 200), "27B": (), "27D": ()}
PARTS = read_all()
PAGES = {part.name: part.aliases for part in PARTS}
GRADES = {part.name: part.times.access_ns if part.times else () for part in PARTS}


@pytest.mark.parametrize("word, page, speed_ns", [
    # the speeds: Intel 27128A data sheet, October 1990, p. 5-31; Atmel AT28C256 0006M and AT28C64B 0270L data sheets;
    # Texas Instruments TMS 2564-45 JL data sheet, May 1982; kicad-symbols 6.0.10, CY62256-70PC
    ("M27C256B-12F1", "27C256", 120), ("27128A-2", "27128A", 200), ("27128A-1", "27128A", 150),
    ("AT28C256-15PI", "28C256", 150), ("at28c256-35", "28C256", 350), ("AT28C64B-15", "28C64B", 150),
    ("TMS2564-45JL", "2564", 450), ("CY62256-70PC", "62256", 70), ("M27C1001-12F1", "27C010", 120),
    # no rule with a source: unknown
    ("AT28C256-90", "28C256", None), ("M27C1001-15F1", "27C010", None), ("TMS27C256-12JL", "27C256", None),
    ("27C256-12", "27C256", None), ("27128A-20", "27128A", None), ("27128A", "27128A", None),
    # letters: maker's prefixes that the page does not list, package letters of one maker
    ("Am27256", "27256", None), ("KM62256CLP-7", "62256", None), ("HM62256BLP", "62256", None),
    ("TMS27C128JL", "27C128", None), ("HM-7603-5", "prom-82s123", None), ("\u00b5PD23128", "rom-23128-style-b", None),
    ("27C256 12F1", "27C256", None), ("MX27C1000-15", "27C010", None),
])  # fmt: skip
def test_marking(word, page, speed_ns):
    found = read_marking(word)
    assert (found.page, found.speed_ns) == (page, speed_ns)
    assert require_part(word).name == page


def test_what_is_from_memory_says_so():
    fast, slow = read_marking("AT28C256-15"), read_marking("M27C256B-12F1")
    with pytest.raises(SeveralMeaningsError, match="from memory, unchecked: the NMC27C32 without B"):
        read_marking("NMC27C32")
    assert fast.speeds.source and not fast.speeds.unchecked
    assert "last digit" in slow.speeds.unchecked
    assert read_marking("D27128A-2").maker.unchecked
    assert read_marking("M27C256B-12F1").maker.maker.startswith("STMicroelectronics")


@pytest.mark.parametrize("word, how, suffix", [
    ("27c256", "name", ""), ("M27C256B", "listed", ""), ("M27C256B-12F1", "listed", "12F1"),
    ("27C256-12", "name", "12"), ("Am27256-2", "number", "2"), ("TMS27C256JL-12", "listed", "JL-12"),
])  # fmt: skip
def test_how_it_was_read(word, how, suffix):
    found = read_marking(word)
    assert (found.how, found.suffix) == (how, suffix)


@pytest.mark.parametrize("word", ["27128B", "2732C", "27C256BF1", "TMS27C256P", "QQ27C256", "2716X-45", "", "-12", "M"])
def test_a_letter_that_no_rule_knows_is_never_skipped(word):
    with pytest.raises(UnknownNameError):
        read_marking(word)


@pytest.mark.parametrize("word, page, speed_ns", [
    ("2764 A", "2764A", None), ("27128-A", "27128A", None), ("2732 A", "2732A", None), ("27128 A-2", "27128A", 200),
    ("TMS-2716", "TMS2716", None), ("TMS 2716-45", "TMS2716", None), ("TMS 2732 A", "2732A", None),
    ("M 27C256 B - 12F1", "27C256", 120), ("27C64 - 15", "27C64", None),
])  # fmt: skip
def test_a_letter_behind_a_blank_or_dash_belongs_to_the_number(word, page, speed_ns):
    """21 V destroys a 2764A, 25 V a 2732A; a TMS2716 has -5 V and +12 V where a 2716 has VPP and A10."""
    assert (read_marking(word).page, read_marking(word).speed_ns) == (page, speed_ns)


@pytest.mark.parametrize("word", ["2716 TMS", "2716-45 TMS", "2732-AF", "2764 A15", "27128 X", "2716 JL", "TI 2716"])
def test_letters_behind_a_number_with_several_meanings_are_refused(word):
    with pytest.raises(SeveralMeaningsError, match=f"'{word}'"):
        read_marking(word)


def test_a_speed_behind_a_dash_never_makes_another_page():
    rules, told = markings.read_markings(), {page: {page} for page in PAGES}
    for several in rules.meanings:
        for page in several.parts:
            told.setdefault(page, set()).update(several.parts)
    for page in PAGES:
        for digits in ("0", "1", "2", "4", "10", "12", "15", "25", "45", "70", "90", "150", "200", "250", "450"):
            try:
                assert reading.decode(f"{page}-{digits}", PAGES, rules).page == page
            except SeveralMeaningsError as error:
                assert error.meanings.keys() <= told[page]


@pytest.mark.parametrize("word, page, maker", [
    ("Intel 2716", "2716", "Intel"), ("TMS 2564-45 JL", "2564", "Texas"), ("N82S123N", "prom-82s123", "Signetics"),
    ("SN74S287N", "prom-82s129", "Texas"), ("NMC27C64Q", "27C64", "Fairchild"), ("P2764A", "2764A", "Intel"),
    ("TC571000D-20", "27C010", "Toshiba"), ("HN613128", "rom-23128-style-a", "Hitachi"), ("２７Ｃ２５６", "27C256", ""),
    ("national semiconductor NMC27C32BQ", "27C32", "Fairchild"), ("NEC D27128", "27128", "Intel, or NEC"),
    ("Texas Instruments  TMS2532", "2532", "Texas"), ("SGS-Thomson M2764A", "2764A", "STM"),
])  # fmt: skip
def test_everyday_markings(word, page, maker):
    found = read_marking(word)
    assert found.page == page and (found.maker.maker.startswith(maker) if maker else found.maker is None)


@pytest.mark.parametrize("word, trap", [
    ("2704", "three supplies"), ("D2704", "three supplies"), ("87C64", "ALE"), ("Intel 87C64", "ALE"),
    ("2316A", "rom-2316e"), ("2316", "rom-2316e"), ("DS1220Y-150", "battery"), ("2532 A", "21 V"),
])  # fmt: skip
def test_a_number_without_a_page_tells_its_trap(word, trap):
    with pytest.raises(UnknownNameError) as caught:
        read_marking(word)
    assert trap in caught.value.help and trap in str(caught.value)


def test_near_misses():
    with pytest.raises(UnknownNameError) as caught:
        read_marking("M27C265B")
    assert "M27C256B" in caught.value.near


@pytest.mark.parametrize("word, parts", [
    *((word, {"27C010", "27C301", "27C100"}) for word in ("27C1000", "27C1001", "uPD27C1001A", "27C1000-15")),
    ("2332A", {"rom-2332-a11-pin18", "rom-2332-a11-pin21"}), ("2332B", {"rom-2332-a11-pin18", "rom-2332-a11-pin21"}),
    *((word, {"rom-1m-28", "rom-1m-32-jedec", "rom-1m-32-a16-pin24"}) for word in ("23C1000", "23C1001", "23C1010")),
    ("NMC27C32", {"27C32", "2732"}), ("M5M27C128", {"27C128", "27128"}),
    ("Am27C1000", {"27C010", "27C301", "27C100"}),
    ("23128", {f"rom-23128-style-{letter}" for letter in "abc"}), ("2364", {"rom-2364-24", "rom-2364-28"}),
    ("MK38000", {"rom-23256-a14-pin1", "rom-23256-a14-pin27"}), ("23C4000", {"rom-4m-32-jedec", "rom-4m-40-x16"}),
])  # fmt: skip
def test_several_meanings_are_refused_and_told(word, parts):
    with pytest.raises(SeveralMeaningsError) as caught:
        read_marking(word)
    assert set(caught.value.meanings) == parts
    assert all(len(tell) > 10 and tell in str(caught.value) for tell in caught.value.meanings.values())
    with pytest.raises(SeveralMeaningsError):
        require_part(word)


@pytest.mark.parametrize("word, page, others", [
    ("2716", "2716", {"2516", "TMS2716"}), ("TMS2716", "TMS2716", {"2716", "2516"}), ("2716-45", "2716", {"TMS2716"}),
    ("Am2716", "2716", {"TMS2716"}), ("2732", "2732", {"2732A", "27C32"}), ("2764", "2764", {"2764A"}),
    ("27128", "27128", {"27128A"}), ("27C301", "27C301", {"27C010"}), ("27C100", "27C100", {"27C010"}),
    ("2816", "2816", {"28C16"}), ("27C32", "27C32", {"2732"}), ("27C128", "27C128", {"27128"}),
])  # fmt: skip
def test_a_page_of_an_ambiguous_name_is_taken_with_a_caution(word, page, others):
    found = read_marking(word)
    assert found.page == page
    (finding,) = found.findings
    assert finding.code is reading.SEVERAL_MEANINGS and finding.severity is Severity.CAUTION
    assert all(other in finding.title and f"{other}: " in finding.evidence for other in others)


@pytest.mark.parametrize("word", ["27C256", "M2716", "28C256", "27C010", "2732A", "NMC27C32B", "TMS27C128"])
def test_no_caution_without_a_cause(word):
    assert read_marking(word).findings == []


@pytest.mark.parametrize("page", part_names())
def test_every_name_and_alias_leads_to_its_page_or_is_refused_with_it(page):
    rules = markings.read_markings()
    assert reading.decode(page, PAGES, rules).page == page
    for alias in PAGES[page]:
        try:
            assert reading.decode(alias, PAGES, rules).page == page
        except SeveralMeaningsError as error:
            assert page in error.meanings


def test_the_rules_agree_with_the_pages():
    assert list(markings.find_strangers(markings.read_markings(), PAGES, GRADES)) == []


BAD_FILES = sorted(BAD.glob("*.toml"))


def faults_of(path):
    """The faults of the file alone, else those against the invented pages."""
    try:
        return list(markings.find_strangers(markings.read_markings(path), INVENTED, INVENTED_GRADES))
    except DataFileError as error:
        return error.faults


@pytest.mark.parametrize("path", BAD_FILES, ids=lambda path: path.stem)
def test_bad_file_breaks_its_rule_alone(path):
    assert [fault.rsplit("[")[-1] for fault in faults_of(path)] == [f"{path.stem}]"]


def test_every_rule_has_a_bad_file():
    named = set(re.findall(r"\[([a-z]+(?:-[a-z]+)+|untold)\]\"", inspect.getsource(markings)))
    assert {path.stem for path in BAD_FILES} == named | {"unknown-key"}


def test_the_file_behind_the_bad_ones_is_good(tmp_path):
    good = tmp_path / "markings.toml"
    good.write_text((BAD / "no-page.toml").read_text("utf-8").replace(', 27C = "32 pins"', ""), "utf-8")
    assert faults_of(good) == []
