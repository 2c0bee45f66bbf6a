"""`romwright job`, `run` and `sheet`, as a user runs them, on the files of the demo."""

import hashlib
import json
import shutil
import signal
import subprocess
import sys
import time
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
        'confirmed = "2764"\n'
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


def test_names_that_a_terminal_might_obey(romwright, job, tmp_path):
    names = ["a\x1b[2J.bin", "b\u202e.bin", "c <q9>&.bin", "d\\e.bin", "e" * 200 + ".bin"]
    for name in names:
        shutil.copy(TERN / "logger.bin", tmp_path / name)
    edit(job, 'files = ["dump.bin"]', f"files = {json.dumps(names)}")
    edit(job, '"dump.bin"', "# ")
    run = romwright("run", "tern.toml")
    assert run.status == 1 and not {"\x1b", "\u202e"} & {*run.out, *run.err}  # five reads are not enough
    for path in (tmp_path / "out").iterdir():
        if path.suffix not in (".bin", ".pdf"):
            text = path.read_bytes().decode("utf-8")
            assert not {"\x1b", "\u202e"} & {*text}
            assert "<q9>" not in text or path.suffix == ".txt"
    check = ["sha256sum", "--check", "--strict", "manifest-sha256.txt"]
    done = subprocess.run(check, cwd=tmp_path / "out", capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    manifest = (tmp_path / "out" / "manifest-sha256.txt").read_text("utf-8")
    assert "d\\\\e.bin" in manifest and "\x1b" not in manifest


def test_no_output_goes_over_an_input(romwright, job, tmp_path):
    good = (tmp_path / "diagnostic.bin").read_bytes()
    edit(job, 'name = "U7"', 'name = "diagnostic"\nfolder = "."')
    run = romwright("run", "tern.toml", "--overwrite")
    assert run.status == 2 and "one of the inputs" in run.err
    edit(job, 'name = "diagnostic"\nfolder = "."', 'name = "U7"')
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "U7.bin").symlink_to(tmp_path / "diagnostic.bin")
    run = romwright("run", "tern.toml", "--overwrite")
    assert run.status == 2 and "one of the inputs" in run.err
    assert (tmp_path / "diagnostic.bin").read_bytes() == good


def test_a_folder_of_outputs_that_is_a_link_has_a_manifest_that_holds(romwright, job, tmp_path):
    (tmp_path / "far" / "away").mkdir(parents=True)
    (tmp_path / "out").symlink_to(tmp_path / "far" / "away")
    romwright("run", "tern.toml")
    check = ["sha256sum", "--check", "--strict", "manifest-sha256.txt"]
    assert subprocess.run(check, cwd=tmp_path / "far" / "away", capture_output=True).returncode == 0


def test_a_file_where_the_folder_should_be(romwright, job, tmp_path):
    (tmp_path / "out").write_text("x")
    run = romwright("run", "tern.toml")
    assert run.status == 2 and "stopped at step 5, write U7.bin; written before: nothing" in run.err
    assert "Put right what stands below. Running it again goes on from there." in run.err


def test_an_output_edited_by_hand_stops_with_both_values(romwright, job, tmp_path):
    romwright("run", "tern.toml")
    edited = tmp_path / "out" / "U7.csv"
    digests = [hashlib.sha256(edited.read_bytes()).hexdigest()]
    edited.write_bytes(edited.read_bytes() + b"mine")
    digests.append(hashlib.sha256(edited.read_bytes()).hexdigest())
    run = romwright("run", "tern.toml")
    assert run.status == 2 and all(digest in run.err for digest in digests) and edited.read_bytes().endswith(b"mine")
    assert romwright("run", "tern.toml", "--overwrite").status == 1 and not edited.read_bytes().endswith(b"mine")


@pytest.mark.parametrize("seconds", [0.5, 0.8])
def test_stopped_in_the_middle_it_goes_on(romwright, job, tmp_path, seconds):
    call = [sys.executable, "-m", "romwright", "run", "tern.toml"]
    with subprocess.Popen(call, cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as child:
        time.sleep(seconds)
        child.send_signal(signal.SIGINT)
        _, err = child.communicate()
    assert child.returncode in (1, 2, -2) and "Traceback" not in err
    assert romwright("run", "tern.toml").status == 1
    assert sorted(outputs(tmp_path)) == sorted([*OUTPUTS, "manifest-sha256.txt"])


@pytest.mark.parametrize(("line", "said"), [
    ('fill = "zz"', "contents.fill"), ('base = "x"', "contents.base"), ('order = "big"', "contents.order says"),
])  # fmt: skip
def test_errors_speak_of_keys(romwright, job, line, said):
    edit(job, 'files = ["diagnostic.bin"]', f'files = ["diagnostic.bin"]\n{line}')
    run = romwright("run", "tern.toml")
    assert run.status == 2 and said in run.err and "--" not in run.err


def test_what_is_no_job(romwright, tmp_path):
    (tmp_path / "deep.toml").write_text("title=" + "[" * 5000 + "]" * 5000)
    (tmp_path / "open.toml").write_text('title = "x\n')
    (tmp_path / "bytes.toml").write_bytes(b"\xa5\xff")
    assert romwright("run", "deep.toml").status == 2
    assert "line 1" in romwright("run", "open.toml").err
    (tmp_path / "date.toml").write_text('title = "x"\ndate = 1984-02-28\n')
    assert "date or time without quotes, 1984-02-28, expected text in quotes" in romwright("run", "date.toml").err
    assert romwright("run", "bytes.toml").status == 2 and romwright("run", ".").status == 2


def test_the_next_action_stands_last(romwright, job, tmp_path):
    run = romwright("run", "tern.toml")
    sums = f"{sum((tmp_path / 'out' / 'U7.bin').read_bytes()) & 0xFFFF:04X}"
    last = " ".join(run.out.strip().rpartition("\n\n")[2].split())
    assert last.startswith("Next: burn U7.bin into the 28C256") and sums in last
    assert "Next" not in romwright("run", "tern.toml", "--quiet").out


def test_outputs_are_named_after_the_jobs_file(romwright, job, tmp_path):
    edit(job, 'name = "U7"', "# no name")
    job.rename(tmp_path / "my tern.toml")
    assert romwright("run", "my tern.toml").status == 1
    assert "my-tern-sheet.pdf" in outputs(tmp_path) and "my-tern.bin" in outputs(tmp_path)
    shown = romwright("sheet", "my tern.toml").out
    assert shown.encode() == outputs(tmp_path)["my-tern-sheet.txt"]
