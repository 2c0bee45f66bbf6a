"""pinmaps/README.md: the worked board is the shipped one, and every key of a board and a CPU is described."""

from pathlib import Path

import msgspec
import pytest

from romwright.boards import model
from romwright.boards.gates import PINS
from romwright.datafiles import data_folder

TEXT = (Path(__file__).parents[2] / "pinmaps" / "README.md").read_text("utf-8")


def test_the_worked_board_is_the_shipped_one():
    assert f"```toml\n{(data_folder('boards') / 'tern-tl-1.toml').read_text('utf-8')}```" in TEXT


TABLES = [model.Board, model.Socket, model.Link, model.Gate, model.Device, model.Resistor, model.Area, model.Cpu]


@pytest.mark.parametrize("table", [*TABLES, model.Cycle])
def test_every_key_is_described(table):
    for field in msgspec.structs.fields(table):
        assert f"`{field.name}`" in TEXT, field.name


@pytest.mark.parametrize("kind", PINS)
def test_every_kind_of_gate_is_described(kind):
    assert f"`{kind}`" in TEXT
