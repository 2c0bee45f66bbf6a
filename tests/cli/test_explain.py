"""`romwright explain`, whole commands: one code, all codes, mistyped ones; and the hint on a terminal."""

import os
import pty
import subprocess
import sys

import pytest

from romwright.codes import all_codes


def on_a_terminal(words, folder, **environment):
    """Run the command line with a terminal as its output; returns what that shows."""
    ours, theirs = pty.openpty()
    call = [sys.executable, "-m", "romwright", *words]
    plain = {name: value for name, value in os.environ.items() if name not in ("NO_COLOR", "FORCE_COLOR")}
    child = subprocess.Popen(
        call, stdout=theirs, stderr=theirs, cwd=folder, env={**plain, "TERM": "xterm-256color", **environment}
    )
    os.close(theirs)
    shown = b""
    try:
        while piece := os.read(ours, 65536):
            shown += piece
    except OSError:  # how a terminal says that nobody writes any more
        pass
    child.wait()
    os.close(ours)
    return shown.decode("utf-8")


def test_one_code_has_four_answers(romwright):
    run = romwright("explain", "bus-contention")
    assert run.status == 0
    assert run.out.startswith("fault (bus-contention): ")
    labels = "should be so", "why it matters", "for example", "what to do"
    places = [run.out.index(f"\n  {label}") for label in labels]
    assert places == sorted(places)
    assert "fault (bus-contention): U7 drives the data bus together with DRAM" in run.out


def test_json_of_one_code_and_of_all(romwright):
    one, every = romwright("explain", "open-bus", "--json").json, romwright("explain", "--json").json
    assert list(one) == ["code", "severity", "checks", "why", "example", "do"]
    assert one in every and len(every) == len(all_codes()) > 100
    ranks = [("stop", "fault", "caution", "note").index(each["severity"]) for each in every]
    assert ranks == sorted(ranks)


def test_all_codes_in_a_line_each(romwright):
    lines = romwright("explain").out.split("\n")
    assert all(sum(line.split()[:2] == [str(code.severity), code.name] for line in lines) == 1 for code in all_codes())
    assert max(map(len, lines)) <= 120


def test_a_mistyped_code_gets_a_near_one(romwright):
    run = romwright("explain", "bus-contension")
    assert run.status == 2 and "did you mean bus-contention" in run.err and not run.out


@pytest.mark.parametrize("name", ["\x1b[31mred", "<b>x</b>", "y" * 500, "\u202ereversed", ""])
def test_hostile_names_are_refused_and_harmless(romwright, name):
    run = romwright("explain", name)
    assert run.status == 2 and "\x1b" not in run.err and "\u202e" not in run.err
    assert "romwright explain lists" in run.err


def test_on_a_terminal_the_list_of_findings_says_once_where_more_is_said(romwright, tmp_path):
    (tmp_path / "a.bin").write_bytes(bytes(range(256)) * 16)
    (tmp_path / "b.bin").write_bytes(b"\xff" * 4096)
    shown = on_a_terminal(["compare", "a.bin", "b.bin"], tmp_path)
    assert shown.count("romwright explain reads-blank says more") == 1
    assert "says more" not in romwright("compare", "a.bin", "b.bin").out


def test_no_color_is_respected_when_set_and_not_empty(tmp_path):
    (tmp_path / "a.bin").write_bytes(bytes(range(256)) * 16)
    (tmp_path / "b.bin").write_bytes(b"\xff" * 4096)
    for words in (["compare", "a.bin", "b.bin"], ["wire", "rom-23128-style-b", "28C256"], ["inspekt"]):
        coloured = [f"\x1b[{code}" for code in ("31", "33", "36", "1;31", "1;37;41", "31m", "33m")]
        seen, none = on_a_terminal(words, tmp_path), on_a_terminal(words, tmp_path, NO_COLOR="1")
        empty = on_a_terminal(words, tmp_path, NO_COLOR="")
        assert any(code in seen for code in coloured) and any(code in empty for code in coloured), words
        assert not any(code in none for code in coloured), words
