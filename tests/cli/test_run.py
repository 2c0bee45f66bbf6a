"""`romwright job`, `run` and `sheet`, as a user runs them, on the files of the demo."""

import shutil
import subprocess
from pathlib import Path

import pytest

TERN = Path(__file__).parents[2] / "fixtures" / "tern"
NEW = (
    "job", "new", "tern.toml", "--title", "Tern: the diagnostic in U7", "--date", "1984-11-25", "--dump", "dump.bin",
    "--reference", "good.bin", "--contents", "diagnostic.bin", "--board", "tern-tl-1", "--socket", "U7",
    "--now", "LK1=2-3,LK2=1-2", "--chip", "28C256",
)  # fmt: skip
OUTPUTS = [
    "U7.bin", "U7.plan", "U7.svg", "U7.csv", "U7.net", "U7-sheet.txt", "U7-sheet.html", "U7-sheet.pdf", "U7-labels.pdf",
]  # fmt: skip


@pytest.fixture
def job(romwright, tmp_path):
    """A job's file in tmp_path, written by `job new`, beside its inputs."""
    for name, source in (("dump", "logger-rotten"), ("good", "logger"), ("diagnostic", "diagnostic")):
        shutil.copy(TERN / f"{source}.bin", tmp_path / f"{name}.bin")
    run = romwright(*NEW)
    assert run.status == 0 and run.out.endswith("then: romwright run tern.toml\n")
    return tmp_path / "tern.toml"


def edit(job, old, new):
    text = job.read_text("utf-8")
    assert old in text
    job.write_text(text.replace(old, new), "utf-8")


def outputs(folder):
    return {path.name: path.read_bytes() for path in (folder / "out").iterdir()}


def test_the_whole_job(romwright, job, tmp_path):
    run = romwright("run", "tern.toml")
    assert run.status == 1  # the dump is rotten
    made = outputs(tmp_path)
    assert sorted(made) == sorted([*OUTPUTS, "manifest-sha256.txt"])
    again = romwright("run", "tern.toml", "--json").json
    assert all(each["kept"] for each in again["outputs"]) and outputs(tmp_path) == made


def test_same_bytes_wherever_and_whenever(romwright, job, tmp_path):
    romwright("run", "tern.toml")
    made = outputs(tmp_path)
    shutil.rmtree(tmp_path / "out")
    other = tmp_path / "elsewhere"
    other.mkdir()
    for name in ("tern.toml", "dump.bin", "good.bin", "diagnostic.bin"):
        shutil.copy(tmp_path / name, other / name)
    odd = {"PYTHONHASHSEED": "7", "TZ": "Pacific/Chatham", "LC_ALL": "C", "SOURCE_DATE_EPOCH": "1"}
    romwright("run", "tern.toml", folder=other, env=odd)
    assert outputs(other) == made


def test_the_manifest_is_read_by_coreutils(romwright, job, tmp_path):
    romwright("run", "tern.toml")
    check = ["sha256sum", "--check", "--strict", "manifest-sha256.txt"]  # GNU coreutils
    done = subprocess.run(check, cwd=tmp_path / "out", capture_output=True, text=True)
    assert done.returncode == 0 and done.stdout.count(": OK") == 12
    (tmp_path / "dump.bin").write_bytes(b"another")
    assert subprocess.run(check, cwd=tmp_path / "out", capture_output=True).returncode == 1


def test_another_input_stops_with_both_values(romwright, job, tmp_path):
    (tmp_path / "dump.bin").write_bytes((TERN / "logger.bin").read_bytes())
    run = romwright("run", "tern.toml")
    assert run.status == 2 and not (tmp_path / "out").exists()
    digests = [subprocess.run(["sha256sum", TERN / f"{name}.bin"], capture_output=True, text=True).stdout[:64]
               for name in ("logger", "logger-rotten")]  # fmt: skip
    assert all(digest in run.err for digest in digests)


def test_a_failure_leaves_what_was_written_and_is_resumed(romwright, job, tmp_path):
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "U7.csv").write_text("mine")
    run = romwright("run", "tern.toml")
    assert run.status == 2 and "out/U7.csv" in run.err and "written before: U7.bin, U7.plan, U7.svg" in run.err
    assert (tmp_path / "out" / "U7.csv").read_text() == "mine"
    (tmp_path / "out" / "U7.csv").unlink()
    found = romwright("run", "tern.toml", "--json").json
    assert [each["file"] for each in found["outputs"] if each["kept"]] == ["U7.bin", "U7.plan", "U7.svg"]


def test_outputs_stay_in_their_folder(romwright, job, tmp_path):
    edit(job, 'name = "U7"', 'name = "U7"\nfolder = "/tmp"')
    run = romwright("run", "tern.toml")
    assert run.status == 2 and "outputs.folder" in run.err


def test_a_socket_without_a_board(romwright, tmp_path):
    (tmp_path / "job.toml").write_text(
        'title = "a 2764 for a 2364"\n[fit]\nfrom = "rom-2364-24"\npolarity = "20=L"\nchip = "2764"\n'
        '[outputs]\nname = "x"\nkinds = ["text", "plan"]\n'
    )
    run = romwright("run", "job.toml")
    text = (tmp_path / "out" / "x-sheet.txt").read_text("utf-8")
    assert run.status == 0 and "laid out for rom-2364-24" in text and "[ ]" in text
    assert max(map(len, text.splitlines())) <= 80


def test_the_sheet_alone(romwright, job, tmp_path):
    run = romwright("sheet", "tern.toml")
    assert run.status == 1 and "LK1: move from 2-3 to 1-2" in run.out and "!! STOP" not in run.out
    assert romwright("sheet", "tern.toml", "-o", "s.pdf", "--paper", "Letter").status == 1
    assert (tmp_path / "s.pdf").read_bytes().startswith(b"%PDF")
    assert romwright("sheet", "tern.toml", "-o", "s.doc").status == 2
    assert romwright("sheet", "tern.toml", "-o", "s.pdf").status == 2  # it is there already
    assert not (tmp_path / "out").exists()


def test_hostile_words_stay_words(romwright, job, tmp_path):
    edit(job, "Tern: the diagnostic in U7", "<script>alert(1)</script> \\u001b[2J \\u202e ../../x")
    romwright("run", "tern.toml")
    page = (tmp_path / "out" / "U7-sheet.html").read_text("utf-8")
    text = (tmp_path / "out" / "U7-sheet.txt").read_text("utf-8")
    assert "<script" not in page and "&lt;script&gt;" in page
    assert not {"\x1b", "\u202e"} & {*page, *text}
    manifest = (tmp_path / "out" / "manifest-sha256.txt").read_text("utf-8")
    assert "\x1b" not in manifest
