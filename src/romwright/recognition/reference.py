"""Reference lists: names, sizes and checksums of known-good ROMs in one SQLite file. The only file with SQL.

Every change is one transaction, so a list is as before or as after, whatever happens. An image that was added as bytes
keeps no contents but digests of its own forms (halves, even bytes, ...) and of its 256-byte pages.
"""

from __future__ import annotations

import itertools
import os
import sqlite3
import sys
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import NamedTuple

from romwright.errors import InputError, OutputError, UnknownNameError
from romwright.recognition.digests import KINDS, NUMBERS, Row, key_of

APPLICATION_ID = 0x524F4D57  # "ROMW", in the header of the file
SCHEMA_VERSION = 1
CHUNK_ROWS = 50_000  # sorted before they are inserted: neighbours in the index then share a page of it
CACHE_KIB = 98_304
MAPPED_BYTES = 1 << 30
LOCK_WAIT_S = 30
_COLUMNS = ", ".join(KINDS)
_SCHEMA = f"""
CREATE TABLE list (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE, kinds INTEGER NOT NULL DEFAULT 0) STRICT;
CREATE TABLE image (id INTEGER PRIMARY KEY, key INTEGER NOT NULL, list INTEGER NOT NULL, name TEXT NOT NULL,
    pages BLOB NOT NULL, checks BLOB NOT NULL, UNIQUE (key, list, name)) STRICT;
CREATE TABLE form (digest BLOB NOT NULL, image INTEGER NOT NULL, form TEXT NOT NULL,
    PRIMARY KEY (digest, image, form)) STRICT, WITHOUT ROWID;
CREATE TABLE rom (key INTEGER NOT NULL, list INTEGER NOT NULL, name TEXT NOT NULL, size INTEGER,
    {", ".join(f"{kind} BLOB" for kind in KINDS)}, PRIMARY KEY (key, list, name)) STRICT, WITHOUT ROWID;
PRAGMA application_id = {APPLICATION_ID};
PRAGMA user_version = {SCHEMA_VERSION};
"""


class Known(NamedTuple):
    """A row as it is found again, and the list that it belongs to."""

    list: str
    row: Row


class Traces(NamedTuple):
    """What is kept of an image added as bytes: digests of its forms by name, hashes and checks of its pages."""

    forms: dict[str, bytes]
    pages: bytes
    checks: bytes


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


class Store:
    """The reference lists of one file; a context manager."""

    def __init__(self, file: str, create: bool = False) -> None:
        """Open a store. Raises InputError if there is none (unless `create`), or the file is not one of ours."""
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
            self._db.execute(f"PRAGMA cache_size = -{CACHE_KIB}")
            self._db.execute(f"PRAGMA mmap_size = {MAPPED_BYTES}")

    def __enter__(self) -> Store:
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

    def _list_id(self, name: str) -> int:
        self._db.execute("INSERT OR IGNORE INTO list (name) VALUES (?)", (name,))
        return self._db.execute("SELECT id FROM list WHERE name = ?", (name,)).fetchone()[0]

    def add_rows(self, name: str, rows: Iterable[Row]) -> int:
        """Add rows to a list, which is made if need be; return how many were new. Call it inside `changing`."""
        number, kinds, rows = self._list_id(name), set(), iter(rows)
        before = self._db.total_changes
        insert = f"INSERT OR IGNORE INTO rom VALUES ({','.join('?' * (4 + len(KINDS)))})"
        while chunk := list(itertools.islice(rows, CHUNK_ROWS)):
            values = []
            for row in chunk:
                kind = row.kind
                kinds.add(kind)
                key = key_of(kind, row.digests[kind])
                values.append((key, number, row.name, row.size, *map(row.digests.get, KINDS)))
            values.sort()
            self._db.executemany(insert, values)
        new = self._db.total_changes - before
        self._db.execute(
            "UPDATE list SET kinds = kinds | ? WHERE id = ?", (sum(1 << NUMBERS[kind] for kind in kinds), number)
        )
        return new

    def add_image(self, name: str, row: Row, traces: Traces) -> bool:
        """Add an image that was measured from its bytes; tell whether it is new. Call it inside `changing`."""
        self.add_rows(name, [row])
        at = (row.key, self._list_id(name), row.name)
        cursor = self._db.execute(
            "INSERT OR IGNORE INTO image (key, list, name, pages, checks) VALUES (?, ?, ?, ?, ?)",
            (*at, traces.pages, traces.checks),
        )
        if not cursor.rowcount:
            return False
        forms = [(digest, cursor.lastrowid, form) for form, digest in traces.forms.items()]
        self._db.executemany("INSERT OR IGNORE INTO form VALUES (?, ?, ?)", forms)
        self._db.execute(  # a checksum line of the same ROM may have been there before: it now becomes complete
            f"UPDATE rom SET size = ?, {', '.join(f'{kind} = coalesce({kind}, ?)' for kind in KINDS)}"
            " WHERE key = ? AND list = ? AND name = ?",
            (row.size, *map(row.digests.get, KINDS), *at),
        )
        return True

    def remove(self, name: str) -> int:
        """Remove a list; return how many rows went. Raises UnknownNameError."""
        with self.changing():
            number = self._require(name)
            self._db.execute("DELETE FROM form WHERE image IN (SELECT id FROM image WHERE list = ?)", (number,))
            self._db.execute("DELETE FROM image WHERE list = ?", (number,))
            gone = self._db.execute("DELETE FROM rom WHERE list = ?", (number,)).rowcount
            self._db.execute("DELETE FROM list WHERE id = ?", (number,))
        return gone

    def _require(self, name: str) -> int:
        known = dict(self._db.execute("SELECT name, id FROM list"))
        if name not in known:
            raise UnknownNameError("list", name, known, where=self.file)
        return known[name]

    def lists(self) -> list[tuple[str, int, int]]:
        """Return name, number of rows and number of images held as bytes of every list, by name."""
        with self._in_words():
            return self._db.execute(
                "SELECT name, (SELECT count(*) FROM rom WHERE list = list.id),"
                " (SELECT count(*) FROM image WHERE list = list.id)"
                " FROM list ORDER BY name"
            ).fetchall()

    def rows(self, name: str) -> Iterator[Known]:
        """Yield the rows of a list by name. Raises UnknownNameError."""
        with self._in_words():
            yield from self._known("WHERE rom.list = ? ORDER BY rom.name", (self._require(name),))

    @property
    def kinds(self) -> list[str]:
        """The kinds of checksum by which rows can be found."""
        with self._in_words():
            union = 0
            for (kinds,) in self._db.execute("SELECT kinds FROM list"):
                union |= kinds
        return [kind for kind, number in NUMBERS.items() if union >> number & 1]

    def _known(self, where: str, values: Sequence[object]) -> Iterator[Known]:
        query = f"SELECT list.name, rom.name, size, {_COLUMNS} FROM rom JOIN list ON list.id = rom.list {where}"
        for list_name, name, size, *digests in self._db.execute(query, values):
            yield Known(list_name, Row(name, size, {k: d for k, d in zip(KINDS, digests) if d is not None}))

    def find(self, keys: Iterable[int]) -> dict[int, list[Known]]:
        """Return the rows that have one of these keys; whether the whole digest agrees is for the caller to see."""
        found: dict[int, list[Known]] = defaultdict(list)
        with self._in_words():
            for some in _portions(set(keys)):
                for known in self._known(f"WHERE key IN ({','.join('?' * len(some))})", some):
                    found[known.row.key].append(known)
        return found

    def find_forms(self, digests: Iterable[bytes]) -> dict[bytes, list[tuple[str, Known]]]:
        """Return, by SHA-256, the known images of which these are forms, and the names of the forms."""
        found: dict[bytes, list[tuple[str, Known]]] = defaultdict(list)
        with self._in_words():
            for some in _portions(set(digests)):
                hits = self._db.execute(
                    f"SELECT digest, form, image FROM form WHERE digest IN ({','.join('?' * len(some))})", some
                ).fetchall()
                owners = self.owners(image for _, _, image in hits)
                for digest, form, image in hits:
                    found[digest].append((form, owners[image]))
        return found

    def owners(self, images: Iterable[int]) -> dict[int, Known]:
        """Return the rows of these images, by image."""
        found: dict[int, Known] = {}
        for number in set(images):
            at = self._db.execute("SELECT key, list, name FROM image WHERE id = ?", (number,)).fetchone()
            [found[number]] = self._known("WHERE key = ? AND list = ? AND rom.name = ?", at)
        return found

    @property
    def sizes(self) -> frozenset[int] | None:
        """The sizes in bytes that rows have; None if some row has none, so that any size may be known."""
        with self._in_words():
            found = frozenset(size for (size,) in self._db.execute("SELECT DISTINCT size FROM rom"))
        return None if None in found else found

    @property
    def has_images(self) -> bool:
        """Whether any image was added as bytes."""
        with self._in_words():
            return bool(self._db.execute("SELECT EXISTS (SELECT 1 FROM image)").fetchone()[0])

    def images(self) -> list[tuple[int, int, bytes, bytes]]:
        """Return number, size in bytes, page hashes and page checks of every image that was added as bytes."""
        with self._in_words():
            return self._db.execute(
                "SELECT id, size, pages, checks FROM image JOIN rom USING (key, list, name) ORDER BY id"
            ).fetchall()


def _portions(values: set) -> Iterator[list]:
    """Cut values into lists that fit into one query, in a fixed order."""
    ordered = sorted(values)
    return (ordered[i : i + 500] for i in range(0, len(ordered), 500))
