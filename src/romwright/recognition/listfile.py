"""The SQLite file in which reference lists are kept: its schema and versions, transactions, and errors in words.

Every change is one transaction, so a list is as before or as after, whatever happens.
"""

from __future__ import annotations

import os
import sqlite3
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Self

from romwright.errors import InputError, OutputError
from romwright.recognition.digests import KINDS

APPLICATION_ID = 0x524F4D57  # "ROMW", in the header of the file
SCHEMA_VERSION = 3  # 1 had no sketches, 2 smaller ones
CACHE_KIB = 98_304
MAPPED_BYTES = 1 << 30
LOCK_WAIT_S = 30
SERVES_AS_IT_IS = "SQLITE_READONLY", "SQLITE_BUSY"  # why a file cannot be upgraded, but read
_SCHEMA = f"""
CREATE TABLE list (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE, kinds INTEGER NOT NULL DEFAULT 0) STRICT;
CREATE TABLE image (id INTEGER PRIMARY KEY, key INTEGER NOT NULL, list INTEGER NOT NULL, name TEXT NOT NULL,
    pages BLOB NOT NULL, checks BLOB NOT NULL, sketch BLOB, UNIQUE (key, list, name)) STRICT;
CREATE TABLE form (digest BLOB NOT NULL, image INTEGER NOT NULL, form TEXT NOT NULL,
    PRIMARY KEY (digest, image, form)) STRICT, WITHOUT ROWID;
CREATE TABLE rom (key INTEGER NOT NULL, list INTEGER NOT NULL, name TEXT NOT NULL, size INTEGER,
    {", ".join(f"{kind} BLOB" for kind in KINDS)}, PRIMARY KEY (key, list, name)) STRICT, WITHOUT ROWID;
PRAGMA application_id = {APPLICATION_ID};
PRAGMA user_version = {SCHEMA_VERSION};
"""
UPGRADES = {  # from a version to the next
    1: "ALTER TABLE image ADD COLUMN sketch BLOB; PRAGMA user_version = 2",
    2: "UPDATE image SET sketch = NULL; PRAGMA user_version = 3",
}


def default_file() -> str:
    """Return where the store is unless the user says otherwise: ROMWRIGHT_DATA, else the platform's folder for data."""
    if folder := os.environ.get("ROMWRIGHT_DATA"):
        return os.path.join(folder, "lists.sqlite")
    if sys.platform == "win32":
        base = os.environ.get("LOCALAPPDATA") or os.path.expanduser(r"~\AppData\Local")
    elif sys.platform == "darwin":
        base = os.path.expanduser("~/Library/Application Support")
    else:
        base = os.environ.get("XDG_DATA_HOME") or os.path.expanduser("~/.local/share")
    return os.path.join(base, "romwright", "lists.sqlite")


class ListFile:
    """One file of reference lists, open; a context manager."""

    def __init__(self, file: str, create: bool = False) -> None:
        """Open a file. Raises InputError if there is none (unless `create`), or the file is not one of ours."""
        self.file = file
        if create:
            folder = os.path.dirname(os.path.abspath(file))
            try:
                os.makedirs(folder, exist_ok=True)
            except OSError as error:
                raise OutputError(f"the folder cannot be made: {error.strerror}", where=folder) from None
        elif file != ":memory:" and not os.path.exists(file):
            raise self._nothing_yet()
        with self._in_words():
            self._db = sqlite3.connect(file, timeout=LOCK_WAIT_S, isolation_level=None)
            self._require_ours(create)
            self._upgrade(patient=create)
            self._db.execute(f"PRAGMA cache_size = -{CACHE_KIB}")
            self._db.execute(f"PRAGMA mmap_size = {MAPPED_BYTES}")

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exception: object) -> None:
        self._db.close()

    def _nothing_yet(self) -> InputError:
        return InputError(
            "there are no reference lists yet", where=self.file, help="add one: romwright lists add NAME FILE..."
        )

    def _require_ours(self, create: bool) -> None:
        [(application,)], [(version,)] = (
            self._db.execute("PRAGMA application_id"),
            self._db.execute("PRAGMA user_version"),
        )
        [(tables,)] = self._db.execute("SELECT count(*) FROM sqlite_master")
        if application == 0 and tables == 0:  # new, or left behind when the first addition was cut short
            if not create:
                raise self._nothing_yet()
        elif application != APPLICATION_ID:
            raise InputError(
                "a database of another program", where=self.file, expected="reference lists made by romwright",
                help="name another file with --lists",
            )  # fmt: skip
        elif version > SCHEMA_VERSION:
            raise InputError(
                f"reference lists of version {version}", where=self.file, expected=f"version {SCHEMA_VERSION}",
                help="a newer romwright wrote them: update this one",
            )  # fmt: skip

    def _upgrade(self, patient: bool) -> None:
        """Bring a file of an older version to this one in one transaction: all rows stay.

        One that may only be read, or that another process is changing, serves as it is, without sketches; who is
        `patient`, because he is to write himself, waits for the other process.
        """
        [(tables,)] = self._db.execute("SELECT count(*) FROM sqlite_master")
        if not tables or self.version == SCHEMA_VERSION:
            return
        self._wait(LOCK_WAIT_S if patient else 0)
        try:
            self._db.execute("BEGIN IMMEDIATE")
            while self.version in UPGRADES:  # looked at again: another process may have done it meanwhile
                for statement in UPGRADES[self.version].split(";"):
                    self._db.execute(statement)
            self._db.execute("COMMIT")
        except sqlite3.OperationalError as error:
            if self._db.in_transaction:
                self._db.execute("ROLLBACK")
            if patient or not getattr(error, "sqlite_errorname", "").startswith(SERVES_AS_IT_IS):
                raise
        finally:
            self._wait(LOCK_WAIT_S)

    def _wait(self, seconds: float) -> None:
        """Set how long to wait for another process."""
        self._db.execute(f"PRAGMA busy_timeout = {round(1000 * seconds)}")

    @property
    def version(self) -> int:
        """The version of the file: an older one if it may only be read."""
        return self._db.execute("PRAGMA user_version").fetchone()[0]

    @contextmanager
    def _in_words(self) -> Iterator[None]:
        """Turn SQLite's complaints into ours."""
        try:
            yield
        except sqlite3.DatabaseError as error:
            name = getattr(error, "sqlite_errorname", "")
            if name.startswith(("SQLITE_NOTADB", "SQLITE_CORRUPT")):
                raise InputError(
                    "this is no SQLite file, or a broken one",
                    where=self.file,
                    expected="reference lists made by romwright",
                ) from None
            if name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
                raise OutputError(
                    "another program is changing the lists", where=self.file, help="wait for it, then try again"
                ) from None
            raise OutputError(f"the lists cannot be used: {error}", where=self.file) from None

    @contextmanager
    def changing(self) -> Iterator[None]:
        """Make everything inside one transaction: all of it happens, or nothing."""
        with self._in_words():
            self._db.execute("BEGIN IMMEDIATE")
            try:
                if not self._db.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]:
                    for statement in filter(str.strip, _SCHEMA.split(";")):
                        self._db.execute(statement)
                yield
                self._db.execute("COMMIT")
            except BaseException:
                if self._db.in_transaction:
                    self._db.execute("ROLLBACK")
                raise
