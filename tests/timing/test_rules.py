"""Every rule for a CPU's timing page, and for glue chips, has a bad file that breaks it."""

import inspect
import re
import shutil
import tomllib
from pathlib import Path

import msgspec
import pytest

from romwright.boards import clocking, gluedelays
from romwright.boards.library import board_names, require_board
from romwright.datafiles import data_folder
from romwright.errors import DataFileError
from romwright.fit.plans.work import gate_parts
from romwright.timing import library, model, rules
from romwright.timing.onboard import pace_of

FOLDER = Path(__file__).parents[2] / "fixtures" / "bad"
PAGES, GLUE = (sorted((FOLDER / kind).glob("*.toml")) for kind in ("timing", "glue"))
OF_SHAPE = {"missing-key", "unknown-key", "wrong-type"}  # rules of romwright.datafiles
README = (Path(__file__).parents[2] / "pinmaps" / "README.md").read_text("utf-8")


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.stem)
def test_a_bad_page_breaks_its_rule(path, tmp_path):
    name = tomllib.loads(path.read_text("utf-8"))["name"]  # a page is named after its CPU, the bad file after its rule
    shutil.copy(path, tmp_path / f"{name}.toml")
    with pytest.raises(DataFileError) as caught:
        library.read_timing(tmp_path / f"{name}.toml")
    faults = caught.value.faults
    assert any(fault.endswith(f"[{path.stem}]") for fault in faults), faults
    assert path.stem in OF_SHAPE or {fault.rpartition("[")[2] for fault in faults} == {f"{path.stem}]"}, faults


@pytest.mark.parametrize("path", GLUE, ids=lambda path: path.stem)
def test_a_bad_glue_file_breaks_its_rule(path):
    with pytest.raises(DataFileError) as caught:
        gluedelays.read_glue(path)
    assert any(fault.endswith(f"[{path.stem}]") for fault in caught.value.faults), caught.value.faults


def test_every_rule_has_a_bad_file():
    source = "".join(inspect.getsource(module) for module in (rules, library, gluedelays))
    named = set(re.findall(r"\[([a-z]+(?:-[a-z]+)*)\]['\"]", source))
    assert named | OF_SHAPE == {path.stem for path in (*PAGES, *GLUE)}


@pytest.mark.parametrize(
    "table",
    [model.Timing, model.Grade, model.Between, model.Window, model.Release, clocking.Clocking, clocking.Wait,
     clocking.Buffer, gluedelays.Glue],
)  # fmt: skip
def test_every_key_is_described(table):
    for field in msgspec.structs.fields(table):
        assert f"`{field.name}`" in README, field.name


def test_a_page_must_bear_the_name_of_its_file(tmp_path):
    shutil.copy(data_folder("timing") / "Z80.toml", tmp_path / "Z81.toml")
    with pytest.raises(DataFileError, match="named 'Z81'"):
        library.read_timing(tmp_path / "Z81.toml")


@pytest.mark.parametrize("name", board_names())
def test_shipped_boards_name_a_grade_that_may_run_at_their_clock(name):
    at = pace_of(require_board(name))
    assert at.grade and at.clock_mhz and not at.is_too_fast and not at.assumed


def test_gates_of_plans_take_as_long_as_glue_of_boards():
    """Of one chip two files of this project have one delay; each names its source."""
    for gate in gate_parts().values():
        if known := gluedelays.find_glue(gate.part):
            assert known.delay_ns == gate.delay_ns and gate.kind in known.kinds, gate.part
