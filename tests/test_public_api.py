"""The public API is one screen, sorted, complete, and costs nothing to import."""

import subprocess
import sys

import romwright


def test_all_is_sorted_and_every_name_loads():
    assert romwright.__all__ == sorted(romwright.__all__)
    for name in romwright.__all__:
        assert getattr(romwright, name).__module__.startswith("romwright.")


def test_an_unknown_name_is_an_attribute_error():
    assert not hasattr(romwright, "nothing_of_the_kind")


def test_import_loads_no_heavy_library():
    heavy = {"numpy", "msgspec", "rich", "construct", "crcmod", "intelhex", "PIL", "sqlite3"}
    code = "import sys, romwright, romwright.cli.main; print(*sys.modules)"
    loaded = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.split()
    assert not heavy & set(loaded)
