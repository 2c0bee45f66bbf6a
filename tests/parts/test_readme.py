"""pinmaps/README.md: the worked chip is a whole page and true to the shipped one, and every key is described."""

import tomllib
from pathlib import Path

import msgspec

from romwright.parts import model
from romwright.parts.library import read_part, require_part

TEXT = (Path(__file__).parents[2] / "pinmaps" / "README.md").read_text("utf-8")
SHOWN = TEXT.split("```toml\n")[1].split("```")[0]


def test_the_worked_chip_loads_as_shown(tmp_path):
    page = tmp_path / "28C256.toml"
    page.write_text(SHOWN, "utf-8")
    assert read_part(page) == require_part(str(page))


def test_the_worked_chip_is_the_shipped_page():
    """But for what was left out: of the sources and of what is unchecked."""
    shown = tomllib.loads(SHOWN)
    part = msgspec.json.decode(msgspec.json.encode(require_part(shown["name"])))
    same = shown.keys() - {"sources", "unchecked"}
    assert {key: part[key] for key in same} == {key: shown[key] for key in same}
    assert set(shown["unchecked"]) <= set(part["unchecked"])


def test_every_key_is_described():
    tables = [model.Part, model.Programming, model.Times, model.Currents, model.Levels]
    keys = {field.name for table in tables for field in msgspec.structs.fields(table)}
    assert not {key for key in keys if f"`{key}`" not in TEXT}
