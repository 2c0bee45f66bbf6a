"""`romwright job new` at a terminal (a pseudo-terminal here) and without one."""

import os
import pty
import select
import shutil
import sys
import time
from pathlib import Path

import pytest

from romwright.cli.job import new
from romwright.jobs.questions import QUESTIONS

TERN = Path(__file__).parents[2] / "fixtures" / "tern"


def talk(args, answers, folder, seconds=90):
    """Run the command line at a terminal and type each answer as soon as it waits; returns what it shows, status."""
    number, master = pty.fork()
    if not number:
        os.chdir(folder)
        os.execv(sys.executable, [sys.executable, "-m", "romwright", *args])
    shown, answers, end, quiet = b"", list(answers), time.monotonic() + seconds, 0
    while time.monotonic() < end:
        if select.select([master], [], [], 0.2)[0]:
            try:
                shown, quiet = shown + os.read(master, 65536), 0
            except OSError:  # the other end is closed: it has ended
                break
        elif shown.endswith(b": ") and answers and (quiet := quiet + 1) > 1:
            os.write(master, answers.pop(0))
            quiet = 0
    _, status = os.waitpid(number, 0)
    return shown.decode("utf-8", "replace"), os.waitstatus_to_exitcode(status)


@pytest.fixture
def bench(tmp_path):
    for name in ("logger", "logger-rotten", "diagnostic"):
        shutil.copy(TERN / f"{name}.bin", tmp_path / f"{name}.bin")
    return tmp_path


def test_every_question_has_an_option():
    assert {question.key for question in QUESTIONS} <= {option.name for option in new.params}


def test_a_talk_makes_a_job_that_runs(romwright, bench):
    answers = [
        b"\n", b"The lamps do not move.\n", b"?\n", b"logger-rotten.bin\n", b"nothing.bin\n", b"logger.bin\n", b"\n",
        b"28C25\n", b"28C256\n", b"diagnostic.bin\n", b"tern\n", b"tern-tl-1\n", b"\n", b"LK1=2-3\n",
        b"LK1=2-3,LK2=1-2\n",
    ]  # fmt: skip
    shown, status = talk(["job", "new", "tern.toml"], answers, bench)
    assert status == 0, shown
    assert "diagnostic.bin, logger-rotten.bin" in shown and "did you mean 28C256" in shown
    assert "dunlin-dl-2" in shown and "LK1=1-2 or 2-3" in shown
    text = (bench / "tern.toml").read_text("utf-8")
    assert 'title = "tern"' in text and 'now = "LK1=2-3,LK2=1-2"' in text and 'socket = "U7"' in text
    assert romwright("run", "tern.toml").status == 1  # the dump is rotten


def test_a_talk_about_a_part_with_polarities(romwright, bench):
    answers = [b"U3\n", b"\n", b"\n", b"27C64\n", b"\n", b"\n", b"\n", b"rom-2364-24\n", b"\n", b"20=L\n"]
    shown, status = talk(["job", "new", "u3.toml"], answers, bench)
    assert status == 0 and "this is needed here" in shown, shown
    assert romwright("run", "u3.toml").status == 0


def test_ended_in_the_middle_nothing_is_written(bench):
    shown, status = talk(["job", "new", "x.toml"], [b"title\n", b"\x03"], bench)
    assert status == 2 and not (bench / "x.toml").exists() and "Traceback" not in shown


def test_without_a_terminal_nothing_is_asked(romwright, bench):
    run = romwright("job", "new", "x.toml", input="")
    assert run.status == 0 and romwright("run", "x.toml").status == 0


def test_what_keeps_it_from_running_is_said(romwright, bench):
    words = ("--title", "t", "--from", "rom-2364-24", "--chip", "2764")
    found = romwright("job", "new", "x.toml", *words, "--json")
    assert found.status == 0 and "pin 20" in found.json["lacking"] and found.json["next"] == ""
    assert romwright("job", "new", "y.toml", *words, "--polarity", "20=L", "--json").json["lacking"] == ""


def test_a_bar_at_a_terminal_only(bench, romwright):
    assert romwright("job", "new", "x.toml", "--title", "t", "--dump", "logger.bin").status == 0
    shown, status = talk(["run", "x.toml"], [], bench)
    assert status == 0 and "━" in shown and "2. look at logger.bin" in shown
    quiet, status = talk(["run", "x.toml", "--quiet"], [], bench)
    assert status == 0 and "━" not in quiet and "look at" not in quiet
    again = romwright("run", "x.toml")
    assert "━" not in again.out + again.err
