"""Reference lists: names, sizes and checksums of known-good ROMs. All SQL is here and in listfile.py.

An image that was added as bytes keeps no contents but digests of its own forms (halves, even bytes, ...) and of its
256-byte pages, and a sketch.
"""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from romwright.errors import UnknownNameError
from romwright.recognition.digests import KINDS, NUMBERS, Row, key_of
from romwright.recognition.listfile import SCHEMA_VERSION, ListFile, default_file

__all__ = ["SCHEMA_VERSION", "Known", "Store", "Traces", "default_file"]
CHUNK_ROWS = 50_000  # sorted before they are inserted: neighbours in the index then share a page of it
_COLUMNS = ", ".join(KINDS)


class Known(NamedTuple):
    """A row as it is found again, and the list that it belongs to."""

    list: str
    row: Row


class Traces(NamedTuple):
    """What is kept of an image added as bytes: digests of its forms by name, hashes and checks of its pages.

    The sketch, by which it is known through faulty lines, is empty if the image is too small, too large or blank.
    """

    forms: dict[str, bytes]
    pages: bytes
    checks: bytes
    sketch: bytes


class Store(ListFile):
    """The reference lists of one file; a context manager."""

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
            "INSERT OR IGNORE INTO image (key, list, name, pages, checks, sketch) VALUES (?, ?, ?, ?, ?, ?)",
            (*at, traces.pages, traces.checks, traces.sketch),
        )
        if not cursor.rowcount:  # it may be there from before there were sketches
            self._db.execute(
                "UPDATE image SET sketch = coalesce(sketch, ?) WHERE key = ? AND list = ? AND name = ?",
                (traces.sketch, *at),
            )
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

    @property
    def has_sketches(self) -> bool:
        """Whether any image can be known through faulty lines."""
        if self.version < SCHEMA_VERSION:
            return False
        with self._in_words():
            return bool(self._db.execute("SELECT EXISTS (SELECT 1 FROM image WHERE sketch != x'')").fetchone()[0])

    def sketches(self) -> list[tuple[int, int, bytes]]:
        """Return number, size in bytes and sketch of every image that has one."""
        if self.version < SCHEMA_VERSION:
            return []
        with self._in_words():
            return self._db.execute(
                "SELECT id, size, sketch FROM image JOIN rom USING (key, list, name) WHERE sketch != x'' ORDER BY id"
            ).fetchall()

    def checks(self, images: Iterable[int]) -> dict[int, bytes]:
        """Return the page checks of these images, by image."""
        with self._in_words():
            return {
                number: self._db.execute("SELECT checks FROM image WHERE id = ?", (number,)).fetchone()[0]
                for number in images
            }

    def without_sketch(self) -> dict[str, int]:
        """Return by list how many images were added before there were sketches; add them again to make them."""
        missing = "sketch IS NULL" if self.version == SCHEMA_VERSION else "TRUE"
        with self._in_words():
            return dict(
                self._db.execute(
                    "SELECT list.name, count(*) FROM image JOIN list ON list.id = image.list"
                    f" WHERE {missing} GROUP BY 1 ORDER BY 1"
                )
            )


def _portions(values: set) -> Iterator[list]:
    """Cut values into lists that fit into one query, in a fixed order."""
    ordered = sorted(values)
    return (ordered[i : i + 500] for i in range(0, len(ordered), 500))
