"""What an error says of an option of a command, said of the key of a job's file that stands for it."""

from __future__ import annotations

import re
from collections.abc import Callable

from msgspec import structs

from romwright.errors import RomwrightError
from romwright.jobs.model import Contents, Fit, Label

TABLES = {"fit": Fit, "contents": Contents, "label": Label}
OPTIONS = {  # of `prepare`, `wire` and `label`; the key of a later table goes before that of an earlier one
    "date": "date", "for": "fit.chip", "paper": "outputs.paper", "write-as": "outputs.write_as",
    **{
        field.encode_name.replace("_", "-"): f"{table}.{field.encode_name}"
        for table, kind in TABLES.items()
        for field in structs.fields(kind)
    },
}  # fmt: skip
WORD = re.compile(r"--([a-z][a-z-]*[a-z])\b")
SAID = ("found", "where", "expected", "help")


def as_keys(words: str) -> str:
    """Return words with each option as the key that a job's file has for it.

    >>> as_keys("leave --chip-polarity out, or give --overwrite")
    'leave fit.chip_polarity out, or give --overwrite'
    """
    return WORD.sub(lambda option: OPTIONS.get(option[1], option[0]), words)


def in_keys(work: Callable[[], None]) -> Callable[[], None]:
    """Return a step of a job whose errors speak of keys."""

    def step() -> None:
        try:
            work()
        except RomwrightError as error:
            for each in SAID:
                setattr(error, each, as_keys(getattr(error, each)))
            raise

    return step
