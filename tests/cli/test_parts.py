"""`romwright parts`, run as a user runs it."""

import re

import pytest

from romwright.parts.library import part_names


def test_list_is_a_plain_table_of_at_most_80_columns(romwright):
    run = romwright("parts", "list")
    lines = run.out.splitlines()
    assert run.status == 0 and max(map(len, lines)) <= 80
    assert lines[0].split() == ["part", "family", "size", "pins", "VPP", "ns", "unchecked"]
    assert [line.split()[0] for line in lines[1:-2]] == part_names()
    assert lines[-1] == f"{len(part_names())} of {len(part_names())} parts"


def test_list_filters(romwright):
    run = romwright("parts", "list", "--family", "eprom", "--size", "8K", "--pins", "28", "--json")
    assert [part["name"] for part in run.json] == ["2564", "2764", "2764A", "27C64"]
    assert {"size": 8192, "words": 8192, "bits": 8, "package": "DIP-28", "pins": 28}.items() <= run.json[0].items()
    assert (
        romwright("parts", "list", "--size", "8kX8", "--package", "dip-24", "--json").json[0]["name"] == "rom-2364-24"
    )
    assert "2708" in romwright("parts", "list", "--volts", "-5").out
    none = romwright("parts", "list", "--pins", "16", "--family", "flash")
    assert none.status == 0 and "no part" in none.out
    assert romwright("parts", "list", "--pins", "16", "--family", "flash", "--json").json == []


@pytest.mark.parametrize("args, said", [
    (("list", "--size", "8 bytes"), "'8 bytes' is no size"),
    (("list", "--family", "eprm"), "did you mean EPROM"),
    (("list", "--package", "DIP28"), "did you mean DIP-28"),
    (("list", "--volts", "high"), "--volts"),
    *((("list", "--pins", pins), "one of: 16, 18, 24, 28, 32, 40, 42") for pins in ("3", "27", "-28", "14")),
    (("list", "--package", "28"), "did you mean DIP-28?"),
    *((("list", f"--{option}", ""), "") for option in ("family", "size", "package", "pins", "volts")),
    *((("list", "--volts", volts), "-30 to 30") for volts in ("nan", "inf", "500")),
    (("show", "27C265"), "did you mean 27C256"),
    (("show", "27C1000"), "27C301: as the mask ROMs"),
    (("show", "27128", "--svg", "x.png"), "ends in .svg"),
    (("show", "none.toml"), "none.toml"),
    (("show",), "PART"),
    (("differ", "27128"), "B"),
    (("differ", "27128", "23128"), "3 meanings"),
])  # fmt: skip
def test_bad_input(romwright, args, said):
    run = romwright("parts", *args)
    assert run.status == 2 and said in run.err and run.out == ""


@pytest.mark.parametrize("name", ["prom-82s129", "2716", "rom-23128-style-a", "28F010", "27C400", "27C322", "rom-6540"])
def test_show_fits_80_columns_and_has_its_chapters(romwright, name):
    run = romwright("parts", "show", name)
    assert run.status == 0 and max(map(len, run.out.splitlines())) <= 80
    for chapter in ("Function table", "Voltages", "Sources"):
        assert re.search(rf"(?m)^{chapter}", run.out)


def test_show_says_what_is_unchecked_loudly(romwright):
    out = romwright("parts", "show", "27C100").out
    assert "UNCHECKED: do not rely on these without a data sheet\n  - pins\n  - drives\n" in out
    assert "Function table  UNCHECKED: drives, read_levels, standby" in out
    assert "UNCHECKED" not in romwright("parts", "show", "27128A").out


def test_show_a_marking(romwright):
    out = " ".join(romwright("parts", "show", "M27C256B-12F1").out.split())
    assert out.startswith("27C256 32,768 x 8 EPROM") and "speed 120 ns" in out and "from memory, unchecked" in out
    marking = romwright("parts", "show", "AT28C256-15PI", "--json").json["marking"]
    assert (marking["page"], marking["speed_ns"], marking["suffix"]) == ("28C256", 150, "15PI")
    assert "unknown" in romwright("parts", "show", "27C256-12").out
    assert "its page does not list" in " ".join(romwright("parts", "show", "Am27256").out.split())


def test_show_an_ambiguous_name_loudly(romwright):
    out = " ".join(romwright("parts", "show", "2716").out.split())
    assert "CAUTION (several-meanings)" in out and "TMS2716: three supplies" in out
    assert out.index("CAUTION") < out.index("Function table")
    assert "from memory, unchecked: the page of the 2816" in " ".join(romwright("parts", "show", "2816").out.split())
    found = romwright("parts", "show", "2716", "--json").json
    assert [finding["code"] for finding in found["findings"]] == ["several-meanings"]
    assert set(found["marking"]["meanings"]) == {"2716", "2516", "TMS2716"}


def test_show_json_has_the_page_its_pins_and_its_table(romwright):
    found = romwright("parts", "show", "28c256", "--json").json
    assert found["name"] == "28C256" and found["findings"] == [] and found["traps"] and found["sources"]
    assert found["pins"][26] == {"number": 27, "name": "/WE", "function": "/WE", "role": "control"}
    assert found["function_table"][0] == {
        "mode": "read", "levels": {"/CE": "L", "/OE": "L", "/WE": "H"}, "data": "D0-D7 driven"
    }  # fmt: skip


@pytest.mark.parametrize("old, new", [
    ("[times]\naccess_ns = [250]", "[times]"), ('"/CE" = "L", "/OE" = "L"', '"/CE" = "?"'), ("supplies", "#"),
    ('package = "DIP-28"', 'package = "DIP-"'), ("vpp_v = 21", "vpp_v = nan"), ("words = 8192", "words = 0"),
])  # fmt: skip
def test_a_bad_page_of_ones_own_is_refused_without_a_traceback(romwright, tmp_path, old, new):
    from romwright.datafiles import data_folder

    text = (data_folder("parts") / "2764.toml").read_text("utf-8").replace('name = "2764"', 'name = "mine"')
    assert old in text
    (tmp_path / "mine.toml").write_text(text.replace(old, new), "utf-8")
    run = romwright("parts", "show", "mine.toml")
    assert run.status == 2 and "mine.toml" in run.err and "Traceback" not in run.err and run.out == ""


def test_show_writes_the_drawing_and_replaces_it_only_if_asked(romwright, tmp_path):
    file = tmp_path / "chip.svg"
    run = romwright("parts", "show", "27C256", "--svg", file)
    assert run.status == 0 and file.read_bytes().startswith(b"<svg ") and "drawing written to" in run.out
    file.write_bytes(b"mine")
    assert romwright("parts", "show", "27C256", "--svg", file).status == 2 and file.read_bytes() == b"mine"
    assert romwright("parts", "show", "27C256", "--svg", file, "--overwrite").status == 0
    assert file.read_bytes() != b"mine"


def test_show_a_page_of_ones_own(romwright, tmp_path):
    from romwright.datafiles import data_folder

    text = (data_folder("parts") / "2764.toml").read_text("utf-8").replace('name = "2764"', 'name = "mine"')
    (tmp_path / "mine.toml").write_text(text, "utf-8")
    found = romwright("parts", "show", "mine.toml", "--json").json
    assert found["name"] == "mine" and found["marking"]["how"] == "file" and found["findings"] == []


def test_show_on_a_terminal_without_box_characters(romwright):
    run = romwright("parts", "show", "prom-82s23", env={"PYTHONIOENCODING": "ascii"})
    assert run.status == 0 and "-|* 1" in run.out and "\\u" not in run.out


def test_differ(romwright):
    run = romwright("parts", "differ", "27C256", "28C256")
    assert run.status == 0 and "2 of 28 positions differ" in run.out
    rows = [line.split() for line in run.out.splitlines()[4:6]]
    assert rows == [
        ["1", "1", "VPP", "1", "A14", "other", "function", "in", "read"],
        ["27", "27", "A14", "27", "/WE", "other", "function", "in", "read"],
    ]
    assert romwright("parts", "differ", "27C256", "M27C256B").out.endswith("0 of 28 positions differ\n")


def test_differ_json_bottom_aligned(romwright):
    found = romwright("parts", "differ", "2716", "2764A", "--json").json
    assert (found["differ"], found["of"], len(found["positions"])) == (7, 28, 7)
    assert found["positions"][0] == {
        "position": 1, "a": None, "b": {"pin": 1, "name": "VPP", "role": "programming supply"}, "difference": "no pin"
    }  # fmt: skip
    assert [finding["code"] for finding in found["findings"]] == ["several-meanings"]
    everything = romwright("parts", "differ", "2716", "2764A", "--all", "--json").json["positions"]
    assert len(everything) == 28 and [p["difference"] for p in everything].count(None) == 21


def test_differ_says_that_rows_of_other_pitch_do_not_fit(romwright):
    assert "does not go into a socket for A" in romwright("parts", "differ", "prom-82s23", "2716").out


@pytest.mark.parametrize("name", ["list", "show", "differ"])
def test_help_has_an_example(romwright, name):
    assert f"Example: romwright parts {name}" in romwright("parts", name, "--help").out
