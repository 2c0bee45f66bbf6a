"""romwright parts stand-ins, as a user runs it."""

from pathlib import Path

import pytest

FOLDER = Path(__file__).parents[2] / "pinmaps" / "parts"


def test_from_the_drawer(romwright, tmp_path):
    (tmp_path / "drawer.txt").write_text("28C256 2  # tested\n27C512, 1\n2764 10\n\n# nothing else\n")
    run = romwright("parts", "stand-ins", "rom-23128-style-a", "--have", "drawer.txt", "--json")
    assert run.status == 0
    assert [(one["part"], one["way"], one["have"]) for one in run.json["stand_ins"]] == [
        ("27C512", "with bent pins", 1), ("28C256", "with bent pins", 2),
    ]  # fmt: skip
    assert run.json["assumed"] == {"20": "L", "22": "L", "27": "L"}


def test_the_text_names_the_next_step(romwright):
    run = romwright("parts", "stand-ins", "27256")
    assert run.status == 0
    assert "drop-in" in run.out and "next: romwright wire 27256 27C256" in run.out
    assert "62256" not in run.out
    assert max(map(len, run.out.splitlines())) <= 80


def test_those_that_cannot_have_their_reason(romwright):
    run = romwright("parts", "stand-ins", "27256", "--all", "--json")
    reasons = {one["part"]: one["reason"] for one in run.json["stand_ins"] if one["way"] == "not at all"}
    assert "2764" in reasons and "62256" in reasons and all(reasons.values())


def test_nothing_fits(romwright, tmp_path):
    (tmp_path / "drawer.txt").write_text("2716\n")
    run = romwright("parts", "stand-ins", "27256", "--have", "drawer.txt")
    assert run.status == 1 and "0 of 1 parts" in run.out


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("28C256\n27C265 3\n", ["drawer.txt, line 2", "did you mean"]),
        ("\n", ["names no part"]),
        ("# all gone\n", ["names no part"]),
        ("27C256 0\n", ["names no part that is there"]),
        ("\udcff", ["no text"]),
        ("27C512 x3\n", ["drawer.txt, line 1", "'x3' is no count", "28C256 2"]),
        ("27C512 3 chips\n", ["'chips' is no count"]),
        ("27C512 -1\n", ["'-1' is no count"]),
        ("27C512 2.5\n", ["'2.5' is no count"]),
        ("27C512 1 2\n", ["'1' is no count"]),
        (f"27C512 {'9' * 5000}\n", ["is no count"]),
        ("no/\0page 1\n", ["drawer.txt, line 1", "cannot be read"]),
        ("no/page.toml 1\n", ["drawer.txt, line 1", "cannot be read"]),
        ("28C256\n27C265 3\n\n27C512 x3\n", ["2 lines are wrong", "line 2: ", "27C256", "line 4: 'x3'", "drawer.txt"]),
    ],
)
def test_bad_drawers(romwright, tmp_path, text, said):
    (tmp_path / "drawer.txt").write_text(text, "utf-8", errors="surrogateescape")
    run = romwright("parts", "stand-ins", "27256", "--have", "drawer.txt")
    assert run.status == 2 and all(words in run.err for words in said), run.err


def test_the_folder_of_a_drawer(romwright, tmp_path):
    run = romwright("parts", "stand-ins", "27256", "--have", str(tmp_path))
    assert run.status == 2 and "a folder" in run.err and "a drawer list" in run.err and "image" not in run.err


@pytest.mark.parametrize("file", ["", "none.txt"])
def test_a_missing_drawer(romwright, file):
    run = romwright("parts", "stand-ins", "27256", "--have", file)
    assert run.status == 2 and "no such file" in run.err


def test_what_is_not_there_does_not_count(romwright, tmp_path):
    (tmp_path / "drawer.txt").write_text("27C256 0\n28C256 1\n28C256 2\n")
    run = romwright("parts", "stand-ins", "27256", "--have", "drawer.txt", "--json")
    assert [(one["part"], one["have"]) for one in run.json["stand_ins"]] == [("28C256", 3)]


def test_a_maker_before_the_number_is_no_part_with_a_count(romwright, tmp_path):
    (tmp_path / "drawer.txt").write_text("Intel 27C256\nIntel 2764 3\nIntel 27512\n")
    run = romwright("parts", "stand-ins", "2764", "--have", "drawer.txt", "--json")
    assert {one["part"]: one["have"] for one in run.json["stand_ins"]} == {"2764": 3, "27C256": 1, "27512": 1}


def test_the_rom_itself_in_the_drawer_is_a_drop_in(romwright, tmp_path):
    (tmp_path / "drawer.txt").write_text("2764 1\n")
    run = romwright("parts", "stand-ins", "2764", "--have", "drawer.txt")
    assert run.status == 0 and "drop-in" in run.out and "1 of 1 parts can replace it: 1 exact" in run.out


def test_mask_roms_in_the_drawer_are_left_out_aloud(romwright, tmp_path):
    (tmp_path / "drawer.txt").write_text("rom-2364-24\n2764\n")
    run = romwright("parts", "stand-ins", "2764", "--have", "drawer.txt")
    assert run.status == 0 and "left out, as nobody can write a mask ROM: rom-2364-24" in run.out
    assert romwright("parts", "stand-ins", "2764", "--have", "drawer.txt", "--json").json["left_out"] == ["rom-2364-24"]


def test_a_drawer_from_a_windows_editor(romwright, tmp_path):
    (tmp_path / "drawer.txt").write_bytes("\ufeff27C256 1\r\n28C256 2\r\n".encode())
    run = romwright("parts", "stand-ins", "27256", "--have", "drawer.txt", "--json")
    assert [one["have"] for one in run.json["stand_ins"]] == [1, 2]


def test_several_meanings_are_said(romwright, tmp_path):
    """2716 is also a part of three supplies: of the ROM, and of what is in the drawer."""
    (tmp_path / "drawer.txt").write_text("2716 1\n28C16 1\n")
    run = romwright("parts", "stand-ins", "2716", "--have", "drawer.txt")
    assert run.out.count("several-meanings") == 1 and "three supplies" in run.out
    assert "CAUTION: 2716 " in run.out.split("burn at")[1]
    found = romwright("parts", "stand-ins", "2716", "--have", "drawer.txt", "--json").json
    assert [finding["code"] for finding in found["findings"]] == ["several-meanings"]
    assert {one["part"]: [f["code"] for f in one["findings"]] for one in found["stand_ins"]} == {
        "2716": ["several-meanings"], "28C16": [],
    }  # fmt: skip
    run = romwright("parts", "stand-ins", "27C256", "--json")
    assert run.json["findings"] == []


def test_unchecked_pins_are_marked(romwright, tmp_path):
    (tmp_path / "drawer.txt").write_text("2816 1\n28C16 1\n")
    run = romwright("parts", "stand-ins", "2708", "--have", "drawer.txt")
    head, table = run.out.split("burn at")
    assert "UNCHECKED in its page: pins: all but 18 to 21" in head and "UNCHECKED in its page: pins; drives" in table
    found = romwright("parts", "stand-ins", "2708", "--have", "drawer.txt", "--json").json
    assert found["unchecked"][0].startswith("pins")
    assert {one["part"]: bool(one["unchecked"]) for one in found["stand_ins"]} == {"2816": True, "28C16": False}


def test_exact_ones_are_first_counted_and_next(romwright):
    """rom-2332-a11-pin21: two selects, of which a 2532 has one."""
    run = romwright("parts", "stand-ins", "rom-2332-a11-pin21")
    table = run.out.split("burn at")[1].splitlines()
    rows = [line.split() for line in table if not line.startswith("  ") and (" yes " in line or " no " in line)]
    exact = [row[0] for row in rows if "yes" in row]
    assert [row[0] for row in rows][: len(exact)] == exact and 0 < len(exact) < len(rows)
    assert f": {len(exact)} exact, {len(rows) - len(exact)} with a lost enable" in run.out
    assert run.out.rstrip().endswith(f"next: romwright wire rom-2332-a11-pin21 {exact[0]}")
    assert "its page has no access time" in run.out


def test_stops_and_slow_chips_are_said(romwright):
    run = romwright("parts", "stand-ins", "2708")
    assert "  - STOP if simply plugged in: +12 V on A10; -5 V on VPP\n" in run.out
    assert (
        "CAUTION: slower than the original: 350-450 ns against 50 ns"
        in romwright("parts", "stand-ins", "prom-82s123").out
    )


@pytest.mark.parametrize("rom", ["prom-82s123", "2716", "27C400", "rom-9316b-inhibit"])
def test_no_line_is_longer_than_a_terminal(romwright, rom):
    assert max(map(len, romwright("parts", "stand-ins", rom, "--all").out.splitlines())) <= 80


def test_a_page_of_ones_own_is_named_by_its_path(romwright, tmp_path):
    page = (FOLDER / "27C256.toml").read_text("utf-8").replace('name = "27C256"', 'name = "mine"')
    (tmp_path / "mine.toml").write_text(page, "utf-8")
    run = romwright("parts", "stand-ins", "mine.toml")
    assert run.status == 0 and "next: romwright wire mine.toml 27" in run.out


def test_where_to_burn_a_wide_chip_is_told_in_bytes(romwright):
    """What the table says must be what `prepare` takes: bytes of the file, not words of the chip."""
    (one,) = (
        s for s in romwright("parts", "stand-ins", "rom-4m-40-x16", "--json").json["stand_ins"] if s["part"] == "27C322"
    )
    assert (one["image_at"], one["burn_at"]) == (0x100000, 0x200000)
    line = next(line for line in romwright("parts", "stand-ins", "rom-4m-40-x16").out.splitlines() if "27C322" in line)
    assert line.split()[-1] == "200000"
