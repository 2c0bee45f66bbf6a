"""How a CPU free-runs: a word that it reads everywhere makes it count through its addresses and do nothing."""

from __future__ import annotations

from msgspec import Struct


class FreeRun(Struct, frozen=True, forbid_unknown_fields=True):
    """What makes a CPU run through all addresses and do nothing: a word that it reads everywhere.

    It goes on by one word in so many clocks. `window` are the lines that count, all unless stated; `counted` those on
    which a counter can be trusted, `chopped` those that go low in the second half of every fetch.
    """

    clock: str
    word: str
    clocks: int
    starts: str
    source: str
    window: str = ""
    counted: str = ""
    chopped: str = ""
    probe: dict[str, str] = {}
    seen: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    unchecked: tuple[str, ...] = ()
