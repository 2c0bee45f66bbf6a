"""The pictures of romwright compare, as a user asks for them, and as a browser shows and prints them."""

import hashlib
import shutil
import subprocess
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from conftest import require
from PIL import Image as Raster

from romwright.faults.lines import Line, LineMap

PROGRAM = np.random.default_rng(11).integers(0, 256, 8192).astype(np.uint8)
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def files(tmp_path):
    """A good image, and a read with A3 and A9 crossed, D6 stuck high and three bits wrong."""
    straight = LineMap.straight(13)
    address = tuple(Line.follows({3: 9, 9: 3}.get(n, n)) for n in range(13))
    data = tuple(Line.stuck(1) if n == 6 else Line.follows(n) for n in range(8))
    dump = LineMap(address, data).apply(PROGRAM, 8192)
    dump[[0x123, 0x1456, 0x1FFF]] ^= 0x08
    (tmp_path / "good.bin").write_bytes(PROGRAM.tobytes())
    (tmp_path / "dump.bin").write_bytes(dump.tobytes())
    (tmp_path / "sound.bin").write_bytes(straight.apply(PROGRAM, 8192).tobytes())
    return tmp_path


def test_both_pictures_are_written_and_said(romwright, files):
    done = romwright("compare", "good.bin", "dump.bin", "--picture", "bits.svg", "--svg", "lines.svg")
    assert done.status == 1
    for name in ("bits.svg", "lines.svg"):
        data = (files / name).read_bytes()
        assert f"written: {name} (svg, {len(data):,} bytes)" in done.out
        assert ET.fromstring(data).find(f"{SVG}title").text == "dump.bin against good.bin"
    paths = ET.parse(files / "bits.svg").getroot().iter(f"{SVG}path")
    assert sum(p.get("d").count("M") for p in paths if (p.get("data-name") or "").startswith("listed")) == 3


def test_few_lines_at_fault_are_drawn_in_text(romwright, files):
    out = romwright("compare", "good.bin", "dump.bin").out
    assert """
      ROM                                 READER
   A3 ----------------.    .--------------- A3
   A9 ----------------|----'
                      '-------------------- A9

   D6 ------x                     [H]------ D6
""" in out  # fmt: skip
    assert "straight: A0-A2, A4-A8, A10-A12, D0-D5, D7" in out


def test_json_names_the_files(romwright, files):
    done = romwright("compare", "good.bin", "dump.bin", "--picture", "bits.PNG", "--json")
    (file,) = done.json["files"]
    data = (files / "bits.PNG").read_bytes()
    assert file == {
        "file": "bits.PNG", "format": "png", "size": len(data), "sha256": hashlib.sha256(data).hexdigest()
    }  # fmt: skip
    assert Raster.open(files / "bits.PNG").format == "PNG"
    assert "files" not in romwright("compare", "good.bin", "dump.bin", "--json").json


def test_equal_files_have_pictures_too(romwright, files):
    done = romwright("compare", "good.bin", "sound.bin", "--picture", "bits.svg", "--svg", "lines.svg")
    assert done.status == 0 and "identical" in done.out
    assert "all lines run straight" in (files / "lines.svg").read_text("utf-8")


def test_pictures_are_the_same_each_time(romwright, files):
    found = set()
    for seed in "01":
        names = [f"{kind}{seed}.svg" for kind in ("bits", "lines")]
        options = "--picture", names[0], "--svg", names[1]
        romwright("compare", "good.bin", "dump.bin", *options, env={"PYTHONHASHSEED": seed})
        found.add(tuple((files / name).read_bytes() for name in names))
    assert len(found) == 1


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--picture", "x.gif"), "ends in .svg or .png"),
        (("--picture", ""), "the name of the picture is empty"),
        (("--svg", "x.png"), "ends in .svg"),
        (("--svg", "dump"), "ends in .svg"),
        (("--svg", "x.svg", "--picture", "./x.svg"), "two pictures would go to one file"),
        (("--svg", "nowhere/x.svg"), "cannot be written"),
        (("--svg", "there.svg"), "exists already"),
        (("--svg", "folder.svg", "--overwrite"), "folder.svg"),
        (("--picture",), "--picture"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, tuple) else None,
)
def test_what_cannot_be_written(romwright, files, options, said):
    (files / "there.svg").write_text("mine")
    (files / "folder.svg").mkdir()
    done = romwright("compare", "good.bin", "dump.bin", *options)
    assert (done.status, said in done.err, done.out) == (2, True, "")
    assert (files / "there.svg").read_text() == "mine" and not (files / "x.svg").exists()


def test_inputs_are_never_changed(romwright, files):
    shutil.copy(files / "dump.bin", files / "dump.svg")
    done = romwright("compare", "good.bin", "dump.svg", "--picture", "dump.svg", "--overwrite")
    assert done.status == 2 and "one of the inputs" in done.err
    assert (files / "dump.svg").read_bytes() == (files / "dump.bin").read_bytes()


def test_names_are_inert(romwright, files):
    name = '<b>&\x1b[2J".bin'
    (files / name).write_bytes((files / "dump.bin").read_bytes())
    done = romwright("compare", "good.bin", name, "--picture", "a.svg", "--svg", "b.svg")
    assert done.status == 1 and "\x1b" not in done.out
    for picture in ("a.svg", "b.svg"):
        root = ET.parse(files / picture).getroot()
        assert "<b>&" in root.find(f"{SVG}title").text and not list(root.iter(f"{SVG}b"))


def test_a_browser_shows_both_whole(romwright, files):
    """Chromium renders each SVG: its frame and marks are where the SVG has them, and nothing lies outside."""
    require("chromium", "chromium")
    romwright("compare", "good.bin", "dump.bin", "--picture", "bits.svg", "--svg", "lines.svg")
    for name in ("bits", "lines"):
        root = ET.parse(files / f"{name}.svg").getroot()
        scale = float(root.get("width")[:-2]) * 96 / 25.4 / float(root.get("viewBox").split()[2])
        call = ["chromium", "--headless=new", "--no-sandbox", "--disable-gpu", "--hide-scrollbars"]
        call += ["--window-size=800,1100", f"--user-data-dir={files / 'profile'}"]
        call += [f"--screenshot={files / name}.png", (files / f"{name}.svg").as_uri()]
        subprocess.run(call, capture_output=True, timeout=90, check=True)
        picture = Raster.open(files / f"{name}.png").convert("L")
        dark = np.argwhere(np.asarray(picture) < 100)
        high = float(root.get("viewBox").split()[3]) * scale
        assert len(dark) > 1000 and dark[:, 0].max() < high and dark[:, 1].max() < 190 / 25.4 * 96
        if name == "bits":
            for path in root.iter(f"{SVG}path"):
                if (path.get("data-name") or "") in ("listed rose", "legend rose"):
                    for way in path.get("d").split("M")[1:]:
                        points = [tuple(map(float, p.split())) for p in way.rstrip("z").split("L")]
                        x, y = (sum(axis) / 3 * scale for axis in zip(*points))
                        assert picture.getpixel((round(x), round(y))) < 100
        else:
            for path in root.find(f"{SVG}g").iter(f"{SVG}path"):
                if path.get("data-line"):
                    x, y = map(float, path.get("d")[1:].split("H")[0].split())
                    shift = float(root.find(f"{SVG}g").get("transform")[12:-1])
                    column = [picture.getpixel((round((x + 30) * scale), round((y + shift) * scale) + by))
                              for by in (-1, 0, 1)]  # fmt: skip
                    assert min(column) < 200
