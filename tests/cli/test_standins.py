"""romwright parts stand-ins, as a user runs it."""

import pytest


def test_from_the_drawer(romwright, tmp_path):
    (tmp_path / "drawer.txt").write_text("28C256 2  # tested\n27C512, 1\n2764 10\n\n# nothing else\n")
    run = romwright("parts", "stand-ins", "rom-23128-style-a", "--have", "drawer.txt", "--json")
    assert run.status == 0
    assert [(one["part"], one["way"], one["have"]) for one in run.json["stand_ins"]] == [
        ("28C256", "with bent pins", 2), ("27C512", "with bent pins", 1),
    ]  # fmt: skip
    assert run.json["assumed"] == {"20": "L", "22": "L", "27": "L"}


def test_the_text_names_the_next_step(romwright):
    run = romwright("parts", "stand-ins", "27256")
    assert run.status == 0
    assert "drop-in" in run.out and "next: romwright wire 27256 27C256" in run.out
    assert "62256" not in run.out
    assert max(map(len, run.out.splitlines())) <= 110


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
        ("\udcff", ["no text"]),
    ],
)
def test_bad_drawers(romwright, tmp_path, text, said):
    (tmp_path / "drawer.txt").write_text(text, "utf-8", errors="surrogateescape")
    run = romwright("parts", "stand-ins", "27256", "--have", "drawer.txt")
    assert run.status == 2 and all(words in run.err for words in said), run.err


def test_a_missing_drawer(romwright):
    run = romwright("parts", "stand-ins", "27256", "--have", "none.txt")
    assert run.status == 2 and "no such file" in run.err
