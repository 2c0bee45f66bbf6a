"""The wheel carries the data: pinmaps and the demo's images."""

import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


def test_the_wheel_ships_the_data(tmp_path):
    call = [sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "--wheel-dir", str(tmp_path), str(ROOT)]
    built = subprocess.run(call, capture_output=True, text=True)
    if built.returncode and "No matching distribution" in built.stderr:
        pytest.skip("the build back end cannot be fetched here")
    assert built.returncode == 0, built.stderr
    (wheel,) = tmp_path.glob("*.whl")
    names = zipfile.ZipFile(wheel).namelist()
    shipped = {name for name in names if name.startswith("romwright/pinmaps/parts/")}
    assert shipped == {f"romwright/pinmaps/parts/{path.name}" for path in (ROOT / "pinmaps" / "parts").glob("*.toml")}
    assert {"romwright/tern/logger.bin", "romwright/tern/logger-rotten.bin", "romwright/tern/diagnostic.bin"} <= set(
        names
    )
    fonts = {"DejaVuSans.ttf", "DejaVuSans-Bold.ttf", "LICENSE"}
    assert {f"romwright/fonts/{font}" for font in fonts} <= set(names)
    assert {"romwright/sheets/page.html", "romwright/sheets/page.css"} <= set(names)
    assert not [name for name in names if name.endswith((".s", "make.py"))]
