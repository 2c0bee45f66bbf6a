"""Ctrl-C while files are written leaves nothing half written, whenever it comes."""

import os
import signal
import subprocess
import sys
import threading

import pytest

from romwright.images.interrupts import held_back

WRITE = """
import os, pathlib, signal
from romwright.images import formats

def pressing(real):
    def press(*args, **kinds):
        global left
        left -= 1
        if left == 0:
            os.kill(os.getpid(), signal.SIGINT)
        return real(*args, **kinds)
    return press

left = {left}
{what} = pressing({what})
formats.write_files({{f"f{{n}}": b"new" for n in range(3)}}, True)
"""


@pytest.mark.parametrize("what", ["os.fsync", "os.replace", "os.link", "pathlib.Path.unlink", "formats.beside"])
@pytest.mark.parametrize("left", [1, 2, 3])
def test_ctrl_c_at_any_step_leaves_no_file_of_ours(tmp_path, what, left):
    """All outputs are the old ones or all the new ones, and nothing lies beside them."""
    for n in range(3):
        (tmp_path / f"f{n}").write_bytes(b"old")
    code = WRITE.format(left=left, what=what)
    run = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, timeout=60)
    assert run.returncode != 0 and "KeyboardInterrupt" in run.stderr
    assert sorted(os.listdir(tmp_path)) == ["f0", "f1", "f2"]
    assert len({(tmp_path / f"f{n}").read_bytes() for n in range(3)}) == 1


def test_what_listened_to_ctrl_c_before_hears_it_afterwards():
    heard = []
    before = signal.signal(signal.SIGINT, lambda *_: heard.append(1))
    try:
        with held_back() as pressed:
            signal.raise_signal(signal.SIGINT)
            assert pressed and not heard
            signal.raise_signal(signal.SIGINT)
            assert heard == [1]
        assert heard == [1, 1]
        signal.signal(signal.SIGINT, signal.SIG_IGN)
        with held_back():
            signal.raise_signal(signal.SIGINT)
        assert signal.getsignal(signal.SIGINT) is signal.SIG_IGN
    finally:
        signal.signal(signal.SIGINT, before)


def test_another_thread_writes_too():
    done = []

    def hold():
        with held_back() as pressed:
            done.append(pressed)

    thread = threading.Thread(target=hold)
    thread.start()
    thread.join()
    assert done == [[]]
