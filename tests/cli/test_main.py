"""The frame of the command line: version, help, unknown words, interruption, full disk, lost reader."""

import os
import signal
import subprocess
import sys
import time

import pytest

from romwright import __version__
from romwright.cli.main import COMMANDS


def test_version(romwright):
    run = romwright("--version")
    assert (run.status, run.out) == (0, f"romwright {__version__}\n")


def test_help_names_every_command(romwright):
    run = romwright("--help")
    assert run.status == 0
    assert all(name in run.out for name in COMMANDS)


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_with_an_example(romwright, name):
    run = romwright(name, "--help")
    assert run.status == 0
    assert "Example" in run.out


def test_no_command_shows_the_help_and_is_an_error(romwright):
    run = romwright()
    assert run.status == 2 and "Usage" in run.err


def test_an_unknown_command_offers_a_near_one(romwright):
    run = romwright("inspekt")
    assert run.status == 2
    assert "did you mean inspect?" in run.err


def test_an_unknown_option_is_an_error(romwright):
    run = romwright("inspect", "--nonsense", "x")
    assert run.status == 2 and "--nonsense" in run.err


def test_output_to_a_full_disk_is_an_error(romwright, tmp_path):
    if not os.path.exists("/dev/full"):
        pytest.skip("this system has no /dev/full")
    (tmp_path / "a.bin").write_bytes(b"abc")
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "romwright", "inspect", "--json", str(tmp_path / "a.bin")],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
        )
    assert done.returncode == 2
    assert "No space left" in done.stderr and "Traceback" not in done.stderr


def test_a_reader_that_goes_away_is_no_drama(tmp_path):
    (tmp_path / "a.bin").write_bytes(b"abc")
    command = [sys.executable, "-m", "romwright", "inspect", "--json", *[str(tmp_path / "a.bin")] * 2000]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as child:
        child.stdout.close()
        errors = child.stderr.read()
    assert "Traceback" not in errors


def test_ctrl_c_leaves_with_two_and_no_output(tmp_path):
    fifo = tmp_path / "never-ending"
    os.mkfifo(fifo)
    command = [
        sys.executable,
        "-m",
        "romwright",
        "prepare",
        str(fifo),
        "--for",
        "27C256",
        "-o",
        str(tmp_path / "out.bin"),
    ]
    with subprocess.Popen(command, stderr=subprocess.PIPE, text=True) as child:
        with open(fifo, "wb"):  # opens only when the child reads: it is now waiting for bytes
            time.sleep(0.1)
            child.send_signal(signal.SIGINT)
            errors = child.stderr.read()
    assert child.returncode == 2
    assert "stopped by you" in errors and "Traceback" not in errors
    assert sorted(os.listdir(tmp_path)) == ["never-ending"]


CLEARED_AWAY = """
import signal, time
from romwright.cli import main

class Object:
    def __del__(self):
        signal.raise_signal(signal.SIGINT)
        for _ in range(100): pass

def work(*args, **options):
    Object()
    time.sleep(30)

main.root.main = work
main.main([])
"""


def test_ctrl_c_is_heard_while_an_object_is_cleared_away():
    """What is raised in `__del__` is dropped (Python, data model): it has to be raised once more."""
    begun = time.monotonic()
    done = subprocess.run([sys.executable, "-c", CLEARED_AWAY], capture_output=True, text=True)
    assert done.returncode == 2 and "Traceback" not in done.stderr and "stopped by you" in done.stderr
    assert time.monotonic() - begun < 20


def test_ctrl_c_at_any_moment_of_the_start(tmp_path):
    """Sent again and again while the program loads: always our words, never a traceback."""
    (tmp_path / "in.bin").write_bytes(bytes(16))
    command = [sys.executable, "-m", "romwright", "inspect", str(tmp_path / "in.bin")]
    for wait in (0.03, 0.05, 0.07, 0.09, 0.11):
        with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True) as child:
            time.sleep(wait)
            child.send_signal(signal.SIGINT)
            errors = child.stderr.read()
        assert child.returncode in (0, 2) or "romwright" not in errors  # before our first line Python itself answers


def test_control_characters_in_an_error_stay_inert(romwright):
    run = romwright("inspect", "missing\x1b[31mX.bin")
    assert run.status == 2 and "\x1b" not in run.err and "\\x1b" in run.err


def test_a_closed_output_is_no_drama(tmp_path):
    (tmp_path / "in.bin").write_bytes(bytes(16))
    call = f"{sys.executable} -m romwright inspect {tmp_path / 'in.bin'} >&-"
    done = subprocess.run(call, shell=True, stderr=subprocess.PIPE, text=True)
    assert "Traceback" not in done.stderr


def test_names_that_the_output_cannot_show_are_escaped(tmp_path):
    name = tmp_path / "uni\u2713.bin"
    name.write_bytes(bytes(16))
    call = [sys.executable, "-m", "romwright", "inspect", str(name)]
    done = subprocess.run(call, env={**os.environ, "PYTHONIOENCODING": "latin-1"}, capture_output=True)
    assert done.returncode == 0 and b"\\u2713" in done.stdout
