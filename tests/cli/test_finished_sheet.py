"""`romwright sheet` shows the sheet of a finished run only while not a byte of what it came from has changed."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from romwright.jobs import finished

ROOT = Path(__file__).parents[2]
JOB = (
    'title = "a 2764 for a 2364"\n[contents]\nfiles = ["rom.bin"]\n'
    '[fit]\nfrom = "rom-2364-24"\npolarity = "20=L"\nchip = "2764"\nconfirmed = "2764"\n[outputs]\nname = "x"\n{0}'
)
MARK = b"shown from the finished run\n"


@pytest.fixture
def job(romwright, tmp_path):
    """A finished run in tmp_path whose sheet is a mark that the manifest vouches for."""
    return finish(romwright, tmp_path)


def finish(romwright, folder, more="", out="out"):
    (folder / "rom.bin").write_bytes(bytes(8192))
    (folder / "job.toml").write_text(JOB.format(more))
    assert romwright("run", "job.toml", folder=folder).status == 0
    mark(folder / out)
    return folder


def mark(out):
    """Replace the sheet by a mark that the manifest vouches for."""
    sheet, manifest = out / "x-sheet.txt", out / finished.MANIFEST
    old, new = finished.digest(sheet.read_bytes()), finished.digest(MARK)
    sheet.write_bytes(MARK)
    manifest.write_text(manifest.read_text("utf-8").replace(old, new), "utf-8")


def shows_mark(romwright, folder, *more):
    run = romwright("sheet", "job.toml", *more, folder=folder)
    return run.out.encode() == MARK


def test_a_finished_run_is_shown(romwright, job):
    assert shows_mark(romwright, job)
    assert romwright("sheet", "job.toml", "-o", "s.txt").status == 0 and (job / "s.txt").read_bytes() == MARK
    assert romwright("sheet", "job.toml", "--json").json["text"].startswith("=====")  # the sections are not on record


def test_another_folder_of_outputs(romwright, tmp_path):
    finish(romwright, tmp_path, 'folder = "made"\n', "made")
    assert shows_mark(romwright, tmp_path)


CHANGES = {
    "an input": ("rom.bin", lambda old: b"\1" + old[1:]),
    "the job's file": ("job.toml", lambda old: old + b"# a remark\n"),
    "the sheet": ("out/x-sheet.txt", lambda old: old + b" "),
    "the record of the program": (f"out/{finished.MANIFEST}", lambda old: old.replace(b"# program ", b"# program 0")),
}


@pytest.mark.parametrize("what", CHANGES)
def test_any_change_makes_a_new_one(romwright, job, what):
    name, change = CHANGES[what]
    (job / name).write_bytes(change((job / name).read_bytes()))
    assert not shows_mark(romwright, job)


@pytest.mark.parametrize("name", ["rom.bin", "out/x-sheet.txt", f"out/{finished.MANIFEST}"])
def test_what_is_missing_makes_a_new_one(romwright, job, name):
    (job / name).unlink()
    assert not shows_mark(romwright, job)


def test_a_changed_page_or_program_makes_a_new_one(romwright, tmp_path):
    """On a copy of the program: 21 V made 25 V on a page, of the same size and date; then a module."""
    copy = tmp_path / "copy"
    for part in ("src", "pinmaps"):
        shutil.copytree(ROOT / part, copy / part, ignore=shutil.ignore_patterns("__pycache__"))
    folder, env = tmp_path / "job", {"PYTHONPATH": str(copy / "src")}
    folder.mkdir()

    def call(*args, folder):
        return romwright(*args, folder=folder, env=env)

    finish(call, folder)
    assert shows_mark(call, folder)
    page = copy / "pinmaps/parts/2764.toml"
    before, text = page.stat(), page.read_text("utf-8")
    page.write_text(text.replace("vpp_v = 21", "vpp_v = 20"), "utf-8")
    os.utime(page, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert page.stat().st_size == before.st_size
    assert "Programming voltage: 20 V" in call("sheet", "job.toml", folder=folder).out
    page.write_text(text, "utf-8")
    assert shows_mark(call, folder)
    module = copy / "src/romwright/sheets/text.py"
    module.write_text(module.read_text("utf-8") + "\n", "utf-8")
    assert not shows_mark(call, folder)


def test_a_forged_sheet_cannot_steer_the_terminal(romwright, job):
    old, forged = finished.digest(MARK), b"\x1b[2Jall is well\n"
    (job / "out" / "x-sheet.txt").write_bytes(forged)
    manifest = job / "out" / finished.MANIFEST
    manifest.write_text(manifest.read_text("utf-8").replace(old, finished.digest(forged)), "utf-8")
    assert "\x1b" not in (said := romwright("sheet", "job.toml").out) and said.startswith("=====")


def test_a_title_that_looks_like_a_record_is_none(romwright, tmp_path):
    (tmp_path / "rom.bin").write_bytes(bytes(8192))
    forged = f"program {'0' * 64}, job's file {'0' * 64}, exit status 0"
    (tmp_path / "job.toml").write_text(JOB.format("").replace("a 2764 for a 2364", forged))
    romwright("run", "job.toml")
    first, second = (tmp_path / "out" / finished.MANIFEST).read_text("utf-8").splitlines()[:2]
    assert first == f"# {forged}" and finished.RECORD.fullmatch(second) and second != first


def test_pages_of_ones_own_are_inputs(romwright, tmp_path):
    page = tmp_path / "2764.toml"
    shutil.copy(ROOT / "pinmaps/parts/2764.toml", page)
    (tmp_path / "rom.bin").write_bytes(bytes(8192))
    (tmp_path / "job.toml").write_text(JOB.format("").replace('chip = "2764"', 'chip = "2764.toml"'))
    assert romwright("run", "job.toml").status == 0
    assert "  ../2764.toml\n" in (tmp_path / "out" / finished.MANIFEST).read_text("utf-8")
    (tmp_path / "out" / "x-sheet.txt").write_bytes(MARK)
    manifest = tmp_path / "out" / finished.MANIFEST
    lines = manifest.read_text("utf-8").splitlines()
    kept = [f"{finished.digest(MARK)}  x-sheet.txt" if line.endswith("  x-sheet.txt") else line for line in lines]
    manifest.write_text("\n".join(kept) + "\n", "utf-8")
    assert romwright("sheet", "job.toml").out.encode() == MARK
    page.write_text(page.read_text("utf-8") + "\n# read once more\n", "utf-8")
    assert romwright("sheet", "job.toml").out.encode() != MARK


def test_a_name_that_is_no_plain_line_leaves_no_record(romwright, tmp_path):
    (tmp_path / "a\u202eb.bin").write_bytes(bytes(8192))
    (tmp_path / "rom.bin").write_bytes(bytes(8192))
    (tmp_path / "job.toml").write_text(JOB.format("").replace("rom.bin", "a\u202eb.bin"), "utf-8")
    assert romwright("run", "job.toml").status == 0
    assert "# program" not in (tmp_path / "out" / finished.MANIFEST).read_text("utf-8")


def test_a_manifest_that_only_another_program_made_is_no_hindrance(romwright, job):
    (job / "out" / "x-sheet.txt").unlink()
    manifest = job / "out" / finished.MANIFEST
    lines = manifest.read_text("utf-8").splitlines(keepends=True)
    lines[1] = f"# program {'0' * 64}, job's file {'1' * 64}, exit status 0\n"
    sheet = finished.digest(MARK)
    fresh = romwright("sheet", "job.toml").out.encode()
    manifest.write_text("".join(lines).replace(sheet, finished.digest(fresh)), "utf-8")
    assert romwright("run", "job.toml").status == 0
    assert romwright("sheet", "job.toml").out.encode() == fresh


def test_the_fast_way_loads_nothing_heavy(job):
    """What costs time at a start: none of it is loaded to show a finished sheet."""
    code = (
        "import sys; from romwright.jobs.finished import find_sheet;"
        "assert find_sheet('job.toml', '-sheet.txt'); print(*sorted(sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=job, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert not {"numpy", "msgspec", "click", "pathlib", "jinja2", "reportlab", "tomllib"} & {*done.stdout.split()}
