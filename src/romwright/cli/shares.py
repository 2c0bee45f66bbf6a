"""Share work among processes: one processor hashes slower than it could read."""

from __future__ import annotations

import gc
import marshal
import os
import sys
from collections.abc import Callable, Iterable, Sequence

from romwright.errors import RomwrightError

MOST_PROCESSES = 4


def map_shares(
    work: Callable[[Iterable], list], items: Sequence, watch: Callable[[Sequence], Iterable] = iter
) -> list[list]:
    """Give every n-th item to one of n processes; return what `work` returns for each share, in their order.

    `work` returns a list of plain values (numbers, strings, tuples, ...). It opens what it needs itself: SQLite and
    fork do not go together. `watch` wraps the items of this process, to show progress. Without fork (Windows) there is
    one share. Raises RomwrightError as `work` raised it.
    """
    processes = min(MOST_PROCESSES, os.cpu_count() or 1, len(items)) if hasattr(os, "fork") else 1
    shares = [items[i::processes] for i in range(processes)] if processes else [items]
    sys.stdout.flush()
    sys.stderr.flush()
    gc.disable()  # collecting would write to memory that the processes still share (documentation of gc.freeze)
    helpers = [_start(work, share) for share in shares[1:]]
    results = [work(watch(shares[0]))]
    gc.enable()
    for process, pipe in helpers:
        with open(pipe, "rb") as stream:
            answer = stream.read()
        os.waitpid(process, 0)
        if not answer:
            raise RomwrightError(
                "a helper process ended before its work was done", help="try again; is there enough memory?"
            )
        done, value = marshal.loads(answer)
        if not done:
            found, *rest = value
            raise RomwrightError(found, **dict(zip(("where", "expected", "help"), rest)))
        results.append(value)
    return results


def _start(work: Callable[[Iterable], list], share: Sequence) -> tuple[int, int]:
    """Start a process that writes its answer into a pipe; return its number and the pipe's end to read from."""
    receive, send = os.pipe()
    process = os.fork()
    if process:
        os.close(send)
        return process, receive
    try:
        try:
            answer = (True, work(share))
        except RomwrightError as error:
            answer = (False, (error.found, error.where, error.expected, error.help))
        with open(send, "wb") as stream:
            stream.write(marshal.dumps(answer))
    finally:  # whatever happened, nothing of ours may go on running here; without an answer the parent knows
        os._exit(0)
