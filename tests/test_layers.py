"""The architecture, as a table: what each layer may import. Any other import fails here."""

import ast
from pathlib import Path

import pytest

SRC = Path(__file__).parents[1] / "src" / "romwright"
LINE_LIMIT = 300

# layer -> the layers of ours it may import
OURS = {
    "errors": set(),
    "findings": set(),
    "codes": {"errors", "findings"},
    "shipped": {"errors"},
    "datafiles": {"errors", "shipped"},
    "images": {"errors", "findings"},
    "recognition": {"faults", "images", "findings", "errors"},
    "faults": {"images", "findings", "errors"},
    "parts": {"datafiles", "errors", "findings"},
    "boards": {"parts", "datafiles", "errors", "findings"},
    "electric": {"images", "parts", "boards", "datafiles", "findings", "errors"},
    "fit": {"images", "parts", "boards", "datafiles", "findings", "errors"},
    "timing": {"fit", "images", "boards", "parts", "datafiles", "findings", "errors"},
    "sheets": {"fit", "boards", "parts", "faults", "images", "findings", "errors"},
    "jobs": {
        "errors", "shipped", "findings", "datafiles", "images", "recognition", "faults", "parts", "boards",
        "electric", "fit", "timing", "sheets",
    },
    "cli": {
        "errors", "findings", "codes", "datafiles", "images", "recognition", "faults", "parts", "boards",
        "electric", "fit", "timing", "sheets", "jobs",
    },
}
RECORDS = "msgspec"  # every record is a Struct of it, so any module may import it
# module -> the other packages from outside the standard library it may import; a layer's name stands for its modules
THEIRS = {
    "images": {"numpy"},
    "images.formats.intel": {"intelhex"},
    "images.checksums": {"crcmod"},
    "images.picture": {"PIL"},
    "recognition.headers": {"construct"},
    "recognition": {"numpy"},
    "faults": {"numpy"},
    "fit.onboard.cells": {"numpy"},
    "fit.plans.bench": {"numpy"},
    "fit.plans.contents": {"numpy"},
    "fit.plans.proof": {"numpy"},
    "sheets.codes": {"reportlab"},
    "sheets.page": {"jinja2"},
    "sheets.pdf": {"reportlab"},
    "sheets.plot": {"PIL"},
    "cli": {"click"},
    "cli.render": {"rich"},
}
STDLIB_ONLY_IN = {"sqlite3": "recognition.listfile"}

# within a layer, each of these sees only those before it; folders side by side do not see each other
IN_ORDER = {
    "fit": (
        {"tables"}, {"drive", "socket"}, {"plans"},
        {"kinds", "pins", "seating", "selects", "writes", "verdict", "standins"}, {"onboard"},
    ),
    "faults": (
        {"lines"}, {"search"}, {"bitmap", "causes", "comparison", "diagnosis", "extent", "extra", "residue", "slip", "statement"},
        {"alone", "patterns", "repairs", "repeats"},
    ),
}  # fmt: skip

MODULES = sorted(SRC.rglob("*.py"))


def name_of(path):
    parts = path.relative_to(SRC).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imports_of(path):
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            yield from ([f"romwright.{a.name}" for a in node.names] if node.module == "romwright" else [node.module])


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_imports_point_one_way(path):
    import sys

    module = name_of(path)
    layer = module.split(".")[0]
    if layer in ("", "__main__"):
        return
    allowed_theirs = {RECORDS} | THEIRS.get(layer, set()) | THEIRS.get(module, set())
    for imported in imports_of(path):
        top, *rest = imported.split(".")
        if top == "romwright":
            target = rest[0] if rest else ""
            assert target in OURS[layer] | {layer, "__version__"}, f"{module} may not import {imported}"
        elif top in sys.stdlib_module_names:
            assert STDLIB_ONLY_IN.get(top, module) == module, f"{module} may not import {imported}"
        else:
            assert top in allowed_theirs, f"{module} may not import {imported}"


def test_fit_tables_is_pure():
    tables = SRC / "fit" / "tables.py"
    assert not [i for i in imports_of(tables) if i.startswith("romwright")]


@pytest.mark.parametrize("path", [p for layer in IN_ORDER for p in (SRC / layer).rglob("[!_]*.py")], ids=name_of)
def test_layers_point_one_way_inside(path):
    layer, own = name_of(path).split(".")[:2]
    order = IN_ORDER[layer]
    place = next(number for number, names in enumerate(order) if own in names)
    aside = {name for name in order[place] if (SRC / layer / name).is_dir()} - {own}
    seen = set().union(*order[: place + 1]) - aside
    tree = ast.walk(ast.parse(path.read_text("utf-8")))
    for node in (node for node in tree if isinstance(node, ast.ImportFrom)):
        if node.module == f"romwright.{layer}":
            assert {alias.name for alias in node.names} <= seen
        elif node.module.startswith(f"romwright.{layer}."):
            assert node.module.split(".")[2] in seen, f"{own} may not import {node.module}"


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_modules_are_short(path):
    assert len(path.read_text("utf-8").splitlines()) <= LINE_LIMIT


def test_no_cupboards():
    assert not {p.stem for p in MODULES} & {"utils", "common", "helpers", "misc"}
