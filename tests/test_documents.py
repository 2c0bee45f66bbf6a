"""What the documents show is run: every console block of the README, word for word; and nothing is left out of them."""

import doctest
import importlib
import os
import pkgutil
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

import romwright
from romwright.cli.main import COMMANDS
from romwright.findings import Code
from romwright.images.formats import FORMATS
from romwright.recognition.verdicts import Identification, Match

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text("utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text("utf-8")


def sessions(text):
    """Yield (command, expected output) of the console blocks, in order."""
    for block in re.findall(r"```console\n(.*?)```", text, re.DOTALL):
        for part in re.split(r"(?m)^\$ ", block)[1:]:
            command, _, output = part.partition("\n")
            yield command, output.strip("\n")


def test_the_tour_prints_what_the_readme_shows(tmp_path):
    folder = tmp_path
    environment = {**os.environ, "ROMWRIGHT_DATA": str(tmp_path / "data"), "PYTHONIOENCODING": "utf-8"}
    seen = list(sessions(README))
    assert len(seen) >= 5
    for command, expected in seen:
        words = shlex.split(command)
        if words[0] == "cd":
            folder = folder / words[1]
            continue
        assert words[0] == "romwright"
        call = [sys.executable, "-m", *words]
        done = subprocess.run(call, cwd=folder, env=environment, capture_output=True, text=True, encoding="utf-8")
        assert done.returncode in (0, 1), done.stderr
        printed = [line.rstrip() for line in done.stdout.rstrip("\n").split("\n")]
        shown = expected.split("\n")
        if "[...]" in shown:  # a long answer is shown in stretches
            stretches = "\n".join(shown).split("\n[...]\n")
            text = "\n".join(printed)
            at = 0
            for stretch in stretches:
                found = text.find(stretch.removesuffix("\n[...]"), at)
                assert found >= 0, f"$ {command}\nprints no longer:\n{stretch}\nbut:\n{text}"
                at = found
        else:
            assert printed == shown, f"$ {command}"


def test_the_python_of_the_readme_runs():
    assert doctest.testfile(str(ROOT / "README.md"), module_relative=False).failed == 0


def all_codes():
    for module in pkgutil.walk_packages(romwright.__path__, "romwright."):
        if module.name.endswith("__main__"):
            continue
        for value in vars(importlib.import_module(module.name)).values():
            if isinstance(value, Code):
                yield value


def test_code_names_are_unique():
    codes = {id(code): code for code in all_codes()}.values()
    names = [code.name for code in codes]
    assert len(set(names)) == len(names) > 5


@pytest.mark.parametrize("code", sorted({code.name: code for code in all_codes()}.values(), key=lambda code: code.name))
def test_every_finding_is_documented(code):
    assert f"| `{code.name}` | {code.severity} | {code.checks} |\n" in DEVELOPERS


@pytest.mark.parametrize("key", [*Identification._fields, *Match._fields])
def test_every_key_of_identify_is_documented(key):
    [row] = [line for line in DEVELOPERS.splitlines() if line.startswith("| `identify` |")]
    assert re.search(rf"\b{key}\b", row)


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_is_in_the_readme(name):
    assert f"romwright {name}" in README


@pytest.mark.parametrize("module", FORMATS, ids=lambda module: module.NAME)
def test_every_format_is_documented(module):
    assert f"`{module.NAME}`" in README


def test_the_second_command_can_be_found_by_ci():
    assert re.search(r"<!-- second command -->\n```sh\n.*pytest.*\n```", README)
