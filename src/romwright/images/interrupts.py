"""Ctrl-C while files are written: it is held back until nothing is half written."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def held_back() -> Iterator[list[int]]:
    """Hold Ctrl-C back within a block, and let it be heard at the end; what is yielded has an entry once it came.

    A block that takes long looks there, and leaves with KeyboardInterrupt. A second Ctrl-C is not held back. Elsewhere
    than in the main thread, where Python hears it, and where nothing of Python's listens to it, it changes nothing.
    """
    pressed: list[int] = []
    heard = signal.getsignal(signal.SIGINT)
    if not callable(heard) or threading.current_thread() is not threading.main_thread():
        yield pressed
        return

    def press(number: int, frame: object) -> None:
        pressed.append(number)
        if len(pressed) > 1:
            heard(number, frame)

    signal.signal(signal.SIGINT, press)
    try:
        yield pressed
    finally:
        signal.signal(signal.SIGINT, heard)
        if pressed:
            signal.raise_signal(signal.SIGINT)
