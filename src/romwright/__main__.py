"""The entry of the command line: `romwright`, and `python -m romwright`."""

from __future__ import annotations

import os


def leave(*_: object) -> None:
    """Leave at once, with the words of Ctrl-C: nothing has been opened yet."""
    os.write(2, b"error: stopped by you; nothing was half written\n")
    os._exit(2)


try:
    import signal
except KeyboardInterrupt:  # it takes a while, too
    leave()


def run() -> None:
    """Run the command line; Ctrl-C while it is still being loaded ends it with the same words as later."""
    signal.signal(signal.SIGINT, leave)
    from romwright.cli.main import main

    main()


if __name__ == "__main__":
    run()
