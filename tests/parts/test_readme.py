"""pinmaps/README.md: the worked chip is the shipped page, and every key is described."""

import tomllib
from pathlib import Path

import msgspec

from romwright.parts import model
from romwright.parts.library import require_part

TEXT = (Path(__file__).parents[2] / "pinmaps" / "README.md").read_text("utf-8")


def test_the_worked_chip_is_the_shipped_page():
    shown = tomllib.loads(TEXT.split("```toml\n")[1].split("```")[0])
    part = msgspec.json.decode(msgspec.json.encode(require_part(shown["name"])))
    assert {key: part[key] for key in shown} == shown


def test_every_key_is_described():
    tables = [model.Part, model.Programming, model.Times, model.Currents, model.Levels]
    keys = {field.name for table in tables for field in msgspec.structs.fields(table)}
    assert not {key for key in keys if f"`{key}`" not in TEXT}
