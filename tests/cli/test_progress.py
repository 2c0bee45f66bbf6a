"""A sign of life on anything over a second: a bar on a terminal, one long step or many, and nothing elsewhere."""

import os
import pty
import subprocess
import sys

import pytest

CODE = """
import sys, time
from romwright.cli.render import progress
for item in progress(range({items}), "reading", {after}):
    time.sleep({each})
print("done")
"""


def shown(terminal, **how):
    """Return what a process prints on standard error, be that a terminal or a pipe."""
    master, slave = pty.openpty()
    command = [sys.executable, "-c", CODE.format(**how)]
    run = subprocess.run(command, stdout=subprocess.PIPE, stderr=slave if terminal else subprocess.PIPE, timeout=60)
    assert (run.returncode, run.stdout) == (0, b"done\n")
    os.write(slave, b"$")  # so that there is always something to read
    os.close(slave)
    text = b""
    while not text.endswith(b"$"):
        text += os.read(master, 65536)
    os.close(master)
    return text[:-1] if terminal else run.stderr


@pytest.mark.parametrize("items", [1, 8])
def test_a_bar_comes_once_the_work_lasts(items):
    assert b"reading" in shown(True, items=items, after=0.1, each=1.2 / items)


def test_quick_work_shows_nothing():
    assert shown(True, items=3, after=20, each=0.01) == b""


def test_nothing_is_shown_where_there_is_no_terminal():
    assert shown(False, items=1, after=0.1, each=0.6) == b""
