"""Every rule for a board's file and a CPU's has a bad file that breaks it; all faults of a file are told at once."""

import inspect
import re
from pathlib import Path

import pytest

from romwright import datafiles
from romwright.boards import clockrules, cyclerules, library, power, rules
from romwright.errors import DataFileError

FOLDER = Path(__file__).parents[2] / "fixtures" / "bad"
BOARDS, CYCLES = (sorted((FOLDER / kind).glob("*.toml")) for kind in ("boards", "cycles"))


def good(tmp_path, **changes):
    """Write the board behind the bad files, put right, with changes."""
    text = (
        (FOLDER / "boards" / "source.toml")
        .read_text("utf-8")
        .replace('source = ""', 'source = "invented for this test"')
    )
    for old, new in changes.values():
        assert old in text
        text = text.replace(old, new)
    path = tmp_path / "source.toml"
    path.write_text(text, "utf-8")
    return path


@pytest.mark.parametrize("path", BOARDS, ids=lambda path: path.stem)
def test_bad_board_breaks_its_rule(path):
    with pytest.raises(DataFileError) as caught:
        library.read_board(path)
    assert any(fault.endswith(f"[{path.stem}]") for fault in caught.value.faults), caught.value.faults


@pytest.mark.parametrize("path", CYCLES, ids=lambda path: path.stem)
def test_bad_cpu_breaks_its_rule(path):
    with pytest.raises(DataFileError) as caught:
        library.read_cpu(path)
    assert any(fault.endswith(f"[{path.stem}]") for fault in caught.value.faults), caught.value.faults


def test_every_rule_has_a_bad_file():
    modules = rules, power, clockrules, cyclerules, library, datafiles
    source = "".join(inspect.getsource(module) for module in modules)
    named = set(re.findall(r"\[([a-z]+(?:-[a-z]+)*)\]['\"]", source))
    assert named == {path.stem for path in (*BOARDS, *CYCLES)}


def test_the_board_behind_the_bad_files_is_good(tmp_path):
    assert library.read_board(good(tmp_path)).settings() == [("LK1", ("up", "down"))]


def test_a_bad_file_is_bad_in_one_place_only(tmp_path):
    lines = {line for line in good(tmp_path).read_text("utf-8").splitlines() if not line.startswith(("#", "name"))}
    for path in BOARDS:
        own = {line for line in path.read_text("utf-8").splitlines() if not line.startswith(("#", "name"))}
        assert len(lines - own) <= (3 if path.stem in ("no-socket", "port-digits") else 1), path


def test_all_faults_at_once_with_near_misses(tmp_path):
    page = good(
        tmp_path,
        gate=('"nand"', '"nadn"'),
        device=('device = "U4"', 'device = "U14"'),
        node=('"SEL /ROM"', '"SEL /ROOM"'),
    )
    with pytest.raises(DataFileError) as caught:
        library.read_board(page)
    faults = "\n".join(caught.value.faults)
    assert len(caught.value.faults) == 4  # /ROM stands alone now, as /ROOM does
    assert "did you mean nand?" in faults and "U14 is no device" in faults and "did you mean U4?" in faults
    assert "did you mean /ROOM?" in faults


def test_an_unknown_key_in_a_table_is_told_with_its_place(tmp_path):
    page = good(tmp_path, key=("ohms =", "ohm ="))
    with pytest.raises(DataFileError, match=r"resistors\[1\]\.ohm: unknown key; did you mean ohms"):
        library.read_board(page)


@pytest.mark.parametrize(
    "text",
    [
        *(f"range_v = [{span}]" for span in ("nan, 6", "4, nan", "4, inf", "-inf, 6", "0, 6", "4, 11")),
        *(f"current_ma = [{span}]" for span in ("nan, 6", "4, nan", "4, inf", "-1, 6")),
        *(f"most_ma = {most}" for most in ("nan", "inf", "-1", "0")),
    ],
)  # fmt: skip
def test_no_limit_is_infinite_negative_or_none(tmp_path, text):
    page = good(tmp_path, limits=("[[sockets]]", f'[limits."+5V"]\nprobe = "x"\n{text}\n\n[[sockets]]'))
    with pytest.raises(DataFileError) as caught:
        library.read_board(page)
    assert all("[limits-" in fault for fault in caught.value.faults), caught.value.faults


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('probe = "x"\nrange = [4, 6]', "limits.+5V.range: unknown key; did you mean range_v? [unknown-key]"),
        ("range_v = [4, 6]", "limits.+5V.probe: missing [missing-key]"),
        ('probe = "x"\nmost_ma = "900"', "limits.+5V.most_ma: '900', expected a number [wrong-type]"),
    ],
)
def test_faults_in_a_table_by_a_name_are_told_with_their_place(tmp_path, text, said):
    page = good(tmp_path, limits=("[[sockets]]", f'[limits."+5V"]\n{text}\n\n[[sockets]]'))
    with pytest.raises(DataFileError) as caught:
        library.read_board(page)
    assert caught.value.faults == (said,)
