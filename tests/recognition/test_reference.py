"""The store: all or nothing, no duplicates, nobody else's file."""

import os
import random
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time

import pytest

from romwright.errors import InputError, OutputError, UnknownNameError
from romwright.recognition import listfile
from romwright.recognition.digests import KINDS, Row
from romwright.recognition.identification import measured
from romwright.recognition.reference import SCHEMA_VERSION, Store, default_file

DATA = bytes(range(256)) * 8
NOBODY = 65534  # a user without rights, on Linux


def row(name, data=DATA, *kinds, size=None):
    return Row(name, size, {kind: KINDS[kind](data) for kind in kinds or ("sha256",)})


@pytest.fixture
def store():
    with Store(":memory:", create=True) as lists:
        yield lists


def add(store, name, *rows):
    with store.changing():
        return store.add_rows(name, rows)


def test_rows_are_found_again(store):
    rows = [row(kind, DATA + kind.encode(), kind, size=len(DATA) + len(kind)) for kind in KINDS]
    assert add(store, "a", *rows) == len(KINDS)
    assert {repr(known.row) for known in store.rows("a")} == {repr(wanted) for wanted in rows}
    assert set(store.kinds) == set(KINDS)
    for wanted in rows:
        assert [known.row for known in store.find([wanted.key])[wanted.key]] == [wanted]


def test_a_row_twice_is_one_row(store):
    assert add(store, "a", row("x"), row("x")) == 1
    assert add(store, "a", row("x")) == 0
    assert add(store, "a", row("y")) == 1  # another name
    assert add(store, "b", row("x")) == 1  # another list
    assert store.lists() == [("a", 2, 0), ("b", 1, 0)]


def test_an_image_completes_the_row_of_its_checksum(store):
    add(store, "a", row("x"))
    with store.changing():
        assert store.add_image("a", *measured("x", DATA))
        assert not store.add_image("a", *measured("x", DATA))
    [known] = store.rows("a")
    assert known.row.size == len(DATA)
    assert set(known.row.digests) == {"sha256", "sha1", "md5", "crc32"}
    assert store.lists() == [("a", 1, 1)]


def test_remove_takes_everything_of_one_list_only(store):
    other = bytes(reversed(DATA)) + b"end" * 100
    with store.changing():
        store.add_image("a", *measured("x", DATA + b"a" * 256))
        store.add_image("b", *measured("y", other))
    kept = store.images()[1:]
    assert store.remove("a") == 1
    assert store.lists() == [("b", 1, 1)]
    assert store.images() == kept
    forms = measured("x", DATA + b"a" * 256)[1].forms
    assert forms
    assert not store.find_forms(forms.values())
    assert store.find_forms(measured("y", other)[1].forms.values())
    with pytest.raises(UnknownNameError):
        store.remove("a")


def test_nothing_is_kept_of_a_change_that_fails(store):
    add(store, "a", row("x"))
    with pytest.raises(InputError), store.changing():
        store.add_rows("b", [row("y")])
        raise InputError("a bad line")
    assert store.lists() == [("a", 1, 0)]


def test_missing_empty_foreign_broken_and_newer_files(tmp_path):
    with pytest.raises(InputError, match="no reference lists yet"):
        Store(str(tmp_path / "none"))
    (tmp_path / "empty").touch()
    with pytest.raises(InputError, match="no reference lists yet"):
        Store(str(tmp_path / "empty"))
    (tmp_path / "text").write_text("not a database " * 100)
    with pytest.raises(InputError, match="no SQLite file"):
        Store(str(tmp_path / "text"), create=True)
    foreign = sqlite3.connect(tmp_path / "foreign")
    foreign.execute("CREATE TABLE theirs (a)")
    foreign.close()
    with pytest.raises(InputError, match="another program"):
        Store(str(tmp_path / "foreign"), create=True)
    with Store(str(tmp_path / "newer"), create=True) as lists:
        add(lists, "a", row("x"))
    newer = sqlite3.connect(tmp_path / "newer")
    newer.execute(f"PRAGMA user_version = {SCHEMA_VERSION + 1}")
    newer.close()
    with pytest.raises(InputError, match=f"version {SCHEMA_VERSION + 1}"):
        Store(str(tmp_path / "newer"))
    with pytest.raises((InputError, OutputError)):
        Store(str(tmp_path), create=True)
    with pytest.raises(OutputError, match="folder cannot be made"):
        Store(str(tmp_path / "text" / "lists"), create=True)


def test_two_writers(tmp_path, monkeypatch):
    monkeypatch.setattr("romwright.recognition.listfile.LOCK_WAIT_S", 0.05)
    file = str(tmp_path / "lists")
    with Store(file, create=True) as one, Store(file, create=True) as two, one.changing():
        one.add_rows("a", [row("x")])
        with pytest.raises(OutputError, match="another program is changing"), two.changing():
            pass


@pytest.mark.parametrize(
    ("platform", "environment", "expected"),
    [
        ("linux", {"ROMWRIGHT_DATA": "/d"}, "/d/lists.sqlite"),
        ("linux", {"XDG_DATA_HOME": "/x", "HOME": "/h"}, "/x/romwright/lists.sqlite"),
        ("linux", {"HOME": "/h"}, "/h/.local/share/romwright/lists.sqlite"),
        ("darwin", {"HOME": "/h"}, "/h/Library/Application Support/romwright/lists.sqlite"),
        ("win32", {"LOCALAPPDATA": "/l"}, "/l/romwright/lists.sqlite"),
    ],
)
def test_where_the_lists_are(monkeypatch, platform, environment, expected):
    """XDG Base Directory Specification 0.8; the others are the platforms' own conventions."""
    for name in ("ROMWRIGHT_DATA", "XDG_DATA_HOME", "LOCALAPPDATA"):
        monkeypatch.delenv(name, raising=False)
    for name, value in environment.items():
        monkeypatch.setenv(name, value)
    monkeypatch.setattr(sys, "platform", platform)
    assert default_file() == expected


def test_killed_at_any_moment_the_list_is_as_before_or_as_after(tmp_path):
    """SIGKILL at twelve moments of an addition, on top of a list that is there: 3 rows before, 60,003 after."""
    file, lines = str(tmp_path / "lists"), tmp_path / "lines"
    source = random.Random(7)
    lines.write_text("".join(f"{source.randbytes(32).hex()}  rom-{i:06d}\n" for i in range(60_000)))
    with Store(file, create=True) as store:
        add(store, "a", row("x"), row("y"), row("z"))
    command = [sys.executable, "-m", "romwright", "lists", "add", "a", str(lines), "--lists", file]
    counts = []
    for moment in range(12):
        process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        time.sleep(0.05 + moment * 0.08)
        process.send_signal(signal.SIGKILL if hasattr(signal, "SIGKILL") else signal.SIGTERM)
        process.wait()
        with Store(file) as store:
            counts.append(store.lists()[0][1])
            assert store._db.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert counts[-1] in (3, 60_003), counts
        if counts[-1] != 3:
            with Store(file) as store:
                store.remove("a")
                add(store, "a", row("x"), row("y"), row("z"))
    assert 3 in counts
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, env=os.environ)
    with Store(file) as store:
        assert store.lists() == [("a", 60_003, 0)]


def version_1(path):
    """Write a list file as version 1 did, with a row, an image and its forms."""
    row, traces = measured("old.bin", DATA * 8)
    store = sqlite3.connect(path, isolation_level=None)
    kinds = ", ".join(f"{kind} BLOB" for kind in KINDS)
    store.executescript(f"""
        CREATE TABLE list (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE, kinds INTEGER NOT NULL DEFAULT 0) STRICT;
        CREATE TABLE image (id INTEGER PRIMARY KEY, key INTEGER NOT NULL, list INTEGER NOT NULL, name TEXT NOT NULL,
            pages BLOB NOT NULL, checks BLOB NOT NULL, UNIQUE (key, list, name)) STRICT;
        CREATE TABLE form (digest BLOB NOT NULL, image INTEGER NOT NULL, form TEXT NOT NULL,
            PRIMARY KEY (digest, image, form)) STRICT, WITHOUT ROWID;
        CREATE TABLE rom (key INTEGER NOT NULL, list INTEGER NOT NULL, name TEXT NOT NULL, size INTEGER,
            {kinds}, PRIMARY KEY (key, list, name)) STRICT, WITHOUT ROWID;
        PRAGMA application_id = {0x524F4D57};
        PRAGMA user_version = 1;
        INSERT INTO list VALUES (1, 'a', 1);
    """)
    store.execute(
        f"INSERT INTO rom VALUES ({','.join('?' * (4 + len(KINDS)))})",
        (row.key, 1, row.name, row.size, *map(row.digests.get, KINDS)),
    )
    store.execute("INSERT INTO image VALUES (1, ?, 1, ?, ?, ?)", (row.key, row.name, traces.pages, traces.checks))
    store.executemany("INSERT INTO form VALUES (?, 1, ?)", [(digest, form) for form, digest in traces.forms.items()])
    dump = list(store.iterdump())
    store.close()
    return dump


def assert_serves_as_version_1(path):
    with Store(path) as store:
        assert (store.version, store.lists()) == (1, [("a", 1, 1)])
        assert (store.without_sketch(), store.sketches(), store.has_sketches) == ({"a": 1}, [], False)


def test_an_older_file_that_another_process_changes_serves_as_it_is_at_once(tmp_path):
    path = str(tmp_path / "lists")
    version_1(path)
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    start = time.monotonic()
    assert_serves_as_version_1(path)
    assert time.monotonic() - start < 5
    other.close()


@pytest.mark.skipif(sys.platform == "win32", reason="folders are not closed by their mode there")
@pytest.mark.parametrize("closed", ["file", "folder"])
def test_an_older_file_that_may_not_be_changed_serves_as_it_is(closed):
    with tempfile.TemporaryDirectory() as folder:  # not below tmp_path, which others may not enter
        path, user = f"{folder}/lists", os.geteuid()
        version_1(path)
        os.chmod(path, 0o444 if closed == "file" else 0o666)
        os.chmod(folder, 0o777 if closed == "file" else 0o555)
        try:
            if user == 0:  # whom no mode stops
                os.seteuid(NOBODY)
            assert_serves_as_version_1(path)
        finally:
            if user == 0:
                os.seteuid(user)
            os.chmod(folder, 0o700)


def test_a_file_of_version_1_is_upgraded_and_loses_nothing(tmp_path):
    path = str(tmp_path / "lists")
    before = version_1(path)
    with Store(path) as store:
        assert store.version == SCHEMA_VERSION == 3
        assert store.lists() == [("a", 1, 1)]
        assert (store.without_sketch(), store.sketches(), store.has_sketches) == ({"a": 1}, [], False)
    with sqlite3.connect(path) as after:
        rows = [line for line in after.iterdump() if line.startswith("INSERT")]
    assert [line.replace(",NULL);", ");") if '"image"' in line else line for line in rows] == [
        line for line in before if line.startswith("INSERT")
    ]
    with Store(path) as store, store.changing():  # added again, the same image gets its sketch, and is no second one
        assert not store.add_image("a", *measured("old.bin", DATA * 8))
        assert (store.lists(), store.without_sketch()) == ([("a", 1, 1)], {})


def test_of_a_file_of_version_2_only_the_sketches_are_left_out(tmp_path):
    path = str(tmp_path / "lists")
    version_1(path)
    with sqlite3.connect(path) as file:
        file.executescript(listfile.UPGRADES[1])
        file.execute("UPDATE image SET sketch = x'0000'")
        before = [line for line in file.iterdump() if line.startswith("INSERT")]
    with Store(path) as store:
        assert (store.version, store.without_sketch(), store.has_sketches) == (SCHEMA_VERSION, {"a": 1}, False)
    with sqlite3.connect(path) as file:
        after = [line for line in file.iterdump() if line.startswith("INSERT")]
    assert after == [line.replace("X'0000');", "NULL);") for line in before] != before


def test_an_upgrade_that_is_cut_short_leaves_version_1(tmp_path, monkeypatch):
    path = str(tmp_path / "lists")
    before = version_1(path)
    monkeypatch.setitem(listfile.UPGRADES, 1, listfile.UPGRADES[1] + "; SELECT broken")
    with pytest.raises(OutputError):
        Store(path)
    with sqlite3.connect(path) as after:
        assert list(after.iterdump()) == before


def test_a_file_of_version_1_that_may_only_be_read_serves_as_it_is(tmp_path, monkeypatch):
    path = str(tmp_path / "lists")
    version_1(path)
    connect = sqlite3.connect
    monkeypatch.setattr(
        listfile.sqlite3, "connect", lambda file, **how: connect(f"file:{file}?mode=ro", uri=True, **how)
    )
    with Store(path) as store:
        assert (store.version, store.lists(), store.without_sketch()) == (1, [("a", 1, 1)], {"a": 1})
        assert (store.has_sketches, store.sketches()) == (False, [])
        [known] = store.rows("a")
        assert (known.row.name, known.row.size) == ("old.bin", len(DATA) * 8)
