"""pinmaps/README.md: the worked board is the shipped one, every key is described, and every slip is tried."""

import shlex
from pathlib import Path

import msgspec
import pytest

from romwright.boards import model
from romwright.boards.gates import PINS
from romwright.boards.library import read_board, require_cpu
from romwright.datafiles import data_folder
from romwright.errors import DataFileError
from romwright.fit.settings import Study
from romwright.parts.library import require_part

TEXT = (Path(__file__).parents[2] / "pinmaps" / "README.md").read_text("utf-8")


def test_the_worked_board_is_the_shipped_one():
    assert f"```toml\n{(data_folder('boards') / 'tern-tl-1.toml').read_text('utf-8')}```" in TEXT


STRAIGHT = 'right = "+5V P27 A13 A8 A9 A11 /RDS A10 P20 D7 D6 D5 D4 D3"'
# what is put in place of what on the worked board, in the order of the table of slips
SLIPS = [
    ("A11 /RDS A10", "A11 /RDA A10"),
    ('left  = "+5V A12 A7', 'left  = "+5V A7'),
    ('outputs = "/ACC"', 'outputs = "/RDS"'),
    ('inputs = "GND A14 A15"', 'inputs = "A14 A15"'),
    ('"2-3" = "P20 /ACC"', '"2-3" = "P20"'),
    ('"C000-FFFF"', '"$C000-FFFF"'),
    ('"C000-FFFF"', '"8000-FFFF"'),
    ('device = "U7"', 'device = "U77"'),
    (STRAIGHT, 'right = "D3 D4 D5 D6 D7 P20 A10 /RDS A11 A9 A8 A13 P27 +5V"'),
    ("A8 A9 A11", "A9 A8 A11"),
    ("A11 /RDS A10", "A11 NC A10"),
    ('inputs = "GND A14 A15"', 'inputs = "GND A15 A14"'),
    ('name = "U6A"\nkind = "nand"', 'name = "U6A"\nkind = "and"'),
    ('drives = [{ "/BATSEL" = "L", "/RDS" = "L" }]', 'drives = [{ "/BATSEL" = "L" }]'),
]


def slip_rows():
    table = TEXT.split("| slip | who says it | what is said |\n")[1].split("\n\n")[0]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in table.splitlines()[1:]]


def test_every_slip_is_tried():
    assert len(slip_rows()) == len(SLIPS)


@pytest.mark.parametrize("number", range(len(SLIPS)))
def test_a_slip_looks_as_the_table_says(number, tmp_path):
    old, new = SLIPS[number]
    _, who, words = slip_rows()[number]
    expected = words.split("`")[1]
    text = (data_folder("boards") / "tern-tl-1.toml").read_text("utf-8")
    assert old in text
    path = tmp_path / "tern-tl-1.toml"
    path.write_text(text.replace(old, new, 1), "utf-8")
    if who == "any command":
        with pytest.raises(DataFileError) as caught:
            read_board(path)
        assert any(expected in fault for fault in caught.value.faults), caught.value.faults
        return
    board, part = read_board(path), require_part("rom-23128-style-a")
    study = Study(board, require_cpu(board.cpu), board.sockets[0], part.ordered_as({20: "L", 22: "L", 27: "L"}))
    judged = study.judge({"LK1": "1-2", "LK2": "2-3"})
    assert any(finding.title == expected for finding in judged.findings), judged.findings
    assert judged.verdict == who.split(", ")[1].lower()


def test_the_first_step_is_run(tmp_path, monkeypatch):
    from click.testing import CliRunner

    from romwright.cli.main import root

    monkeypatch.chdir(tmp_path)
    (line,) = [line.strip() for line in TEXT.splitlines() if line.strip().startswith("romwright boards new ")]
    done = CliRunner().invoke(root, shlex.split(line)[1:])
    assert done.exit_code == 0, done.output
    assert read_board(tmp_path / "heron-z.toml").title == "Heron Z terminal"


TABLES = [model.Board, model.Socket, model.Link, model.Gate, model.Device, model.Resistor, model.Area, model.Cpu]


@pytest.mark.parametrize("table", [*TABLES, model.Cycle])
def test_every_key_is_described(table):
    for field in msgspec.structs.fields(table):
        assert f"`{field.name}`" in TEXT, field.name


@pytest.mark.parametrize("kind", PINS)
def test_every_kind_of_gate_is_described(kind):
    assert f"`{kind}`" in TEXT
