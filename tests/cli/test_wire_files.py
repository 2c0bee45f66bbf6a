"""`romwright wire --svg --csv --netlist --plan`: written together, read back, nothing overwritten unless asked."""

import hashlib
import xml.etree.ElementTree as ET

import pytest

from romwright.fit.planfile import parse_plan

PAIR = ("rom-2364-24", "27C64")
STATED = ("--polarity", "20=H")
FILES = ("--svg", "a.svg", "--csv", "a.csv", "--netlist", "a.net", "--plan", "a.plan")


def test_all_four_files_are_written(romwright, tmp_path):
    run = romwright("wire", *PAIR, *STATED, *FILES)
    assert run.status == 1 and "written: a.svg" in run.out  # simply plugged in it is wrong
    assert ET.parse(tmp_path / "a.svg").getroot().tag.endswith("svg")
    assert (tmp_path / "a.csv").read_bytes().startswith(b"component,pin,")
    assert (tmp_path / "a.net").read_bytes().startswith(b'(export (version "E")')
    plan = parse_plan((tmp_path / "a.plan").read_bytes(), "a.plan")
    assert (plan.original.name, plan.chip.name) == PAIR
    assert sorted(path.name for path in tmp_path.iterdir() if path.is_file()) == ["a.csv", "a.net", "a.plan", "a.svg"]


def test_json_lists_the_files(romwright, tmp_path):
    run = romwright("wire", *PAIR, *STATED, "--plan", "a.plan", "--svg", "a.svg", "--json")
    assert [(file["format"], file["file"]) for file in run.json["files"]] == [("svg", "a.svg"), ("plan", "a.plan")]
    for file in run.json["files"]:
        data = (tmp_path / file["file"]).read_bytes()
        assert (file["size"], file["sha256"]) == (len(data), hashlib.sha256(data).hexdigest())
    assert "files" not in romwright("wire", *PAIR, *STATED, "--json").json


def test_nothing_is_overwritten_unless_asked(romwright, tmp_path):
    (tmp_path / "a.net").write_text("mine")
    run = romwright("wire", *PAIR, *STATED, *FILES)
    assert run.status == 2 and "exists already" in run.err and not run.out
    assert (tmp_path / "a.net").read_text() == "mine" and not (tmp_path / "a.svg").exists()
    assert romwright("wire", *PAIR, *STATED, *FILES, "--overwrite").status == 1
    assert (tmp_path / "a.net").read_text() != "mine"


def test_two_files_of_one_name_are_refused(romwright, tmp_path):
    run = romwright("wire", *PAIR, *STATED, "--svg", "a", "--csv", "./a")
    assert run.status == 2 and "one file" in run.err and not (tmp_path / "a").exists()
    run = romwright("wire", *PAIR, *STATED, "--svg", "a", "--csv", "a")
    assert run.status == 2 and "two outputs" in run.err and not (tmp_path / "a").exists()


@pytest.mark.parametrize("option", ["--svg", "--csv", "--netlist", "--plan"])
def test_an_open_polarity_is_never_guessed_in_a_file(romwright, tmp_path, option):
    run = romwright("wire", *PAIR, option, "a")
    assert run.status == 2 and "polarity not stated for pin 20" in run.err and "--polarity" in run.err
    assert not (tmp_path / "a").exists()


def test_the_same_run_gives_the_same_bytes(romwright, tmp_path):
    romwright("wire", *PAIR, *STATED, *FILES, env={"PYTHONHASHSEED": "1"})
    first = {path.name: path.read_bytes() for path in tmp_path.glob("a.*")}
    romwright(
        "wire", *PAIR, *STATED, *FILES, "--overwrite", env={"PYTHONHASHSEED": "2", "LC_ALL": "C", "TZ": "Asia/Tokyo"}
    )
    assert {path.name: path.read_bytes() for path in tmp_path.glob("a.*")} == first
