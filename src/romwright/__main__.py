"""The entry of the command line: `romwright`, and `python -m romwright`."""

from __future__ import annotations

import os
import signal


def run() -> None:
    """Run the command line; Ctrl-C while it is still being loaded ends it with the same words as later."""
    signal.signal(signal.SIGINT, leave)
    from romwright.cli.main import main

    main()


def leave(number: int, frame: object) -> None:
    """Leave at once: nothing has been opened yet."""
    os.write(2, b"error: stopped by you; nothing was half written\n")
    os._exit(2)


if __name__ == "__main__":
    run()
