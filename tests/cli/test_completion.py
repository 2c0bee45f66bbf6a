"""Completion by the protocol of click: what the shell would offer; and by bash itself, with the printed lines."""

import shutil
import subprocess
import sys

import pytest

from romwright.boards.library import cpu_names
from romwright.cli.main import COMMANDS
from romwright.codes import all_codes
from romwright.parts.library import part_names


@pytest.fixture
def offered(romwright):
    """Return what is offered for the last of some words: the plain ones, and whether files are."""

    def offer(*words):
        run = romwright(env={
            "_ROMWRIGHT_COMPLETE": "bash_complete", "COMP_WORDS": "\n".join(["romwright", *words]),
            "COMP_CWORD": str(len(words)),
        })  # fmt: skip
        assert run.status == 0 and run.err == ""
        items = [line.split(",", 1) for line in run.out.splitlines() if line]
        return [value for kind, value in items if kind == "plain"], any(kind == "file" for kind, _ in items)

    return offer


def test_commands(offered):
    assert set(offered("")[0]) == set(COMMANDS)
    assert offered("ins")[0] == ["inspect"]
    assert offered("parts", "sh")[0] == ["show"]


def test_options_and_their_choices(offered):
    assert "--quiet" in offered("inspect", "--q")[0]
    assert offered("settle", "--write-as", "in")[0] == ["intel-hex"]
    assert offered("--qui")[0] == ["--quiet"]


def test_part_names_in_any_case(offered):
    assert offered("parts", "show", "27c25")[0] == [name for name in part_names() if name.startswith("27C25")]
    assert offered("prepare", "x.bin", "--for", "28C2")[0] == ["28C256"]
    assert offered("wire", "rom-23128-style")[0] == [f"rom-23128-style-{letter}" for letter in "abc"]
    assert "27C512" in offered("links", "tern-tl-1", "U7", "27C512", "27C5")[0]


def test_boards_their_sockets_and_cpus(offered):
    assert offered("links", "tern")[0] == ["tern-tl-1"]
    assert offered("links", "tern-tl-1", "")[0] == ["U7"]
    assert offered("wire", "--board", "tern-tl-1", "")[0] == ["U7"]
    assert offered("boards", "new", "--cpu", "")[0] == sorted(cpu_names())


def test_codes(offered):
    names = sorted(code.name for code in all_codes())
    assert offered("explain", "")[0] == names
    assert offered("prepare", "x.hex", "--accept", "missing")[0] == ["missing-end"]


def test_files_where_a_file_may_be_meant(offered):
    calls = ["inspect", ""], ["compare", "a.bin", "du"], ["prove", ""], ["parts", "show", "./my"], ["prepare", "-o", ""]
    for words in calls:
        assert offered(*words) == ([], True)
    assert offered("repair", "x.bin", "--bits", "") == ([], False)


def test_what_is_wrong_so_far_offers_nothing_and_says_nothing(offered):
    assert set(offered("inspekt", "")[0]) == set(COMMANDS)
    for words in (["links", "no-such-board", ""], ["explain", "\x1b[31m"], ["links", "../../etc/passwd", ""]):
        assert offered(*words)[0] == []


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_the_script_is_printed(romwright, shell):
    run = romwright("completion", shell)
    assert run.status == 0 and "_ROMWRIGHT_COMPLETE" in run.out and f"{shell}_complete" in run.out
    assert romwright("completion", shell, "--json").json == {"shell": shell, "script": run.out.removesuffix("\n")}
    assert romwright("--quiet", "completion", shell).out == run.out


def test_another_shell_is_refused(romwright):
    assert romwright("completion", "cmd").status == 2


def test_bash_itself_completes_with_it(romwright, tmp_path):
    if not shutil.which("bash"):
        pytest.skip("needs the Debian package bash")
    program = tmp_path / "romwright"
    program.write_text(f'#!/bin/sh\nexec {sys.executable} -m romwright "$@"\n')
    program.chmod(0o755)
    (tmp_path / "completion").write_text(romwright("completion", "bash").out)
    script = (
        f'PATH="{tmp_path}:$PATH"; . {tmp_path}/completion; COMP_WORDS=(romwright parts show 27C25); COMP_CWORD=3; '
        '$(complete -p romwright | sed "s/.*-F \\([^ ]*\\).*/\\1/") romwright; echo "${COMPREPLY[@]}"'
    )
    done = subprocess.run(["bash", "--norc", "-c", script], capture_output=True, text=True)
    assert done.stdout.split() == [name for name in part_names() if name.startswith("27C25")], done.stderr
