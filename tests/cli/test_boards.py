"""romwright boards new and boards show, as a user runs them: with options, and answering questions on a terminal."""

import os
import re
import select
import subprocess
import sys
import xml.etree.ElementTree as ET

import pytest

from romwright.boards.library import read_board

Z80 = ("boards", "new", "--name", "heron-z", "--title", "Heron Z terminal", "--cpu", "z80", "--socket",
       "U7=0-3FFF:27128", "--device", "RAM=8000-FFFF:RAM", "--device", "PIO=10-13:io")  # fmt: skip


def test_new_writes_a_board_that_show_and_links_read(romwright, tmp_path):
    run = romwright(*Z80)
    assert run.status == 0 and "heron-z.toml is written; it passes every rule" in run.out
    assert re.search(r"U7 +20 +/CE +which gate or link drives it", run.out)
    board = read_board(tmp_path / "heron-z.toml")
    assert board.title == "Heron Z terminal" and board.sockets[0].nodes[20] == "U7.20"
    assert [(a.range, a.device, a.space) for a in board.map] == [
        ("0000-3FFF", "U7", "memory"), ("8000-FFFF", "RAM", "memory"), ("0010-0013", "PIO", "io"),
    ]  # fmt: skip
    shown = romwright("boards", "show", "heron-z.toml")
    assert shown.status == 0 and "? --|*1" in shown.out
    assert "UNCHECKED" in shown.out and "sockets.U7: nodes as the pins of 27128" in shown.out
    judged = romwright("links", "heron-z.toml", "U7", "27128", "--json")
    assert judged.status == 1
    assert {f["code"] for f in judged.json["settings"][0]["findings"]} >= {"input-open", "read-level"}


def test_new_as_json(romwright, tmp_path):
    run = romwright(
        *Z80, "--json", "--rail", "+5V=5", "--rail", "0V=0", "--source", "traced from a board", "-o", "heron-z.toml"
    )
    assert run.status == 0 and set(run.json) == {"file", "board", "to_find_out"}
    assert run.json["file"] == "heron-z.toml" and run.json["board"]["rails"] == {"+5V": 5.0, "0V": 0.0}
    assert [(q["socket"], q["position"]) for q in run.json["to_find_out"]] == [("U7", n) for n in (1, 20, 22, 27)]
    assert run.json["board"]["source"] == "traced from a board"
    assert romwright("boards", "show", "heron-z.toml", "--json").json["sockets"] == run.json["board"]["sockets"]


def test_what_exists_is_not_replaced(romwright, tmp_path):
    (tmp_path / "heron-z.toml").write_text("mine")
    run = romwright(*Z80)
    assert run.status == 2 and "exists already" in run.err and "--overwrite" in run.err
    assert (tmp_path / "heron-z.toml").read_text() == "mine"
    assert romwright(*Z80, "--overwrite").status == 0
    assert sorted(p.name for p in tmp_path.iterdir()) == ["heron-z.toml"]


def test_a_socket_with_its_half_of_the_bus_and_a_page_of_your_own(romwright, tmp_path):
    from romwright.datafiles import data_folder

    page = (data_folder("parts") / "27C256.toml").read_text("utf-8")
    (tmp_path / "mine.toml").write_text(page.replace('"27C256"', '"mine"', 1), "utf-8")
    run = romwright(
        "boards", "new", "-o", "b.toml", "--cpu", "68000", "--socket", "IC1=0-FFFF:./mine.toml:D8-D15", "--json"
    )
    assert run.status == 0 and run.json["board"]["name"] == run.json["board"]["title"] == "b"
    assert run.json["board"]["sockets"][0]["left"].split()[9:13] == ["A1", "D8", "D9", "D10"]


BAD = {
    "a CPU that is not there": ({"--cpu": "z8O"}, "there is no CPU named 'z8O'", "did you mean Z80?"),
    "a part that is not there": ({"--socket": "U7=0-3FFF:2712"}, "there is no part named '2712'", "27128"),
    "a name that is no file's": ({"--name": "a/b"}, "'a/b' is no name for a file", "letters, digits and dashes"),
    "a name that hides": ({"--name": ".x"}, "'.x' is no name for a file", ""),
    "a range turned round": ({"--socket": "U7=3FFF-0:27128"}, "ends before it starts", ""),
    "no range": ({"--socket": "U7=C00x-FFFF:27128"}, "'C00x' is no address", "--socket U7"),
    "a range larger than the chip": (
        {"--socket": "U7=0-7FFF:27128"}, "is 32,768 words of the CPU, 27128 holds 16,384", "such as 0000-3FFF"),
    "a range beyond the CPU": ({"--socket": "U7=FF00-100FF:27128"}, "address 100FF is beyond the Z80", "up to FFFF"),
    "no equals sign": ({"--socket": "U7:27128"}, "'U7:27128' cannot be read", "NAME=FIRST-LAST:PART"),
    "a socket without a name": ({"--socket": "=0-3FFF:27128"}, "'' is no name for a chip", "U7"),
    "too many bits": ({"--socket": "U7=0-3FFF:27C1024"}, "27C1024 has 16 data pins, the Z80 8 data lines", ""),
    "lines that it has not": ({"--socket": "U7=0-3FFF:27128:D8-D15"}, "are no data lines of the Z80", "D0-D7"),
    "a kind that is none": ({"--device": "U8=8000-9FFF:DRAM"}, "'DRAM' is no kind of device", "RAM, ROM, port"),
    "a device of nobody": ({"--device": "none=8000-9FFF:RAM"}, "'none' is no name for a chip", ""),
    "I/O where there is none": ({"--cpu": "6502", "--device": "U8=10-13:io"}, "the 6502 has no I/O space", ""),
    "an overlap": ({"--device": "U8=2000-5FFF:RAM"}, "overlaps", "heron-z.toml, which was not written"),
    "no such rail": ({"--rail": "+5V"}, "'+5V' is no rail", "NAME=VOLTS"),
    "a rail without need": ({"--rail": "+12V=12"}, "needs +0 V, and no rail has that", "--rail NAME=0"),
    "a title that bites": ({"--title": "a\x1b[31mb"}, r"is no line of text", ""),
    "another file": ({"-o": "other.toml"}, "a file other.toml for a board named heron-z", "named heron-z.toml"),
    "no TOML": ({"-o": "heron-z.txt"}, "a file heron-z.txt for a board named heron-z", ""),
}  # fmt: skip


@pytest.mark.parametrize("changes, found, more", BAD.values(), ids=BAD)
def test_bad_answers(romwright, tmp_path, changes, found, more):
    words = {"--name": "heron-z", "--cpu": "Z80", "--socket": "U7=0-3FFF:27128"} | changes
    run = romwright("boards", "new", *(word for pair in words.items() for word in pair))
    assert run.status == 2 and run.out == "" and found in run.err and more in run.err, run.err
    assert not list(tmp_path.iterdir())


def test_without_a_terminal_what_is_missing_is_named(romwright):
    run = romwright("boards", "new", "--cpu", "Z80")
    assert run.status == 2 and "not said: --name, --socket" in run.err and "on a terminal they are asked for" in run.err


def converse(folder, words, answers):
    """Answer the questions of the command on a terminal; returns its status and what the terminal showed."""
    pty = pytest.importorskip("pty")
    here, there = pty.openpty()
    environment = {**os.environ, "TERM": "dumb", "NO_COLOR": "1"}
    child = subprocess.Popen(
        [sys.executable, "-m", "romwright", "boards", "new", *words], cwd=folder, env=environment,
        stdin=there, stdout=there, stderr=there,
    )  # fmt: skip
    os.close(there)
    seen, shown, answers = "", "", list(answers)
    try:
        while select.select([here], [], [], 20)[0]:
            try:
                data = os.read(here, 4096).decode("utf-8", "replace")
            except OSError:  # the other end is closed
                break
            seen, shown = seen + data, shown + data
            if answers and answers[0][0] in seen and seen.endswith(": "):
                os.write(here, (answers.pop(0)[1] + "\n").encode())
                seen = ""
            elif not data:
                break
        assert not answers, f"never asked: {answers[0]}\n{shown}"
        return child.wait(timeout=20), shown
    finally:
        child.kill()
        child.wait()
        os.close(here)


QUESTIONS = [
    ("Name of the board", "no good name"), ("Name of the board", "heron-s"), ("What is it", "Heron S, main board"),
    ("CPU", "680000"), ("CPU", "68000"), ("ROM socket", "IC1"), ("laid out for which", "27999"),
    ("laid out for which", "27C256"), ("Data lines at IC1", "D8-D15"), ("Addresses of IC1", "0-1FFFF"),
    ("Addresses of IC1", ""), ("ROM socket, or - for no more", "-"), ("Another device", "RAM1"), ("RAM1 is", ""),
    ("Addresses of RAM1", "100000-10FFFF"), ("Another device", ""), ("Supply rails", ""), ("Which schematic", ""),
]  # fmt: skip


def test_questions_on_a_terminal(tmp_path):
    status, shown = converse(tmp_path, [], QUESTIONS)
    assert status == 0, shown
    board = read_board(tmp_path / "heron-s.toml")
    assert (board.title, board.cpu, board.rails) == ("Heron S, main board", "68000", {"+5V": 5, "GND": 0})
    assert [(a.range, a.device) for a in board.map] == [("000000-00FFFF", "IC1"), ("100000-10FFFF", "RAM1")]
    assert board.sockets[0].nodes[11] == "D8" and board.source == "no schematic read yet"
    for words in (
        "'no good name' is no name for a file",
        "did you mean 68000",
        "27C256",
        "is 65,536 words of the CPU",
    ):
        assert words in " ".join(shown.split()), shown


def test_what_is_given_is_not_asked_for(tmp_path):
    words = [
        "--cpu",
        "6502",
        "--socket",
        "U7=C000-FFFF:27128",
        "--device",
        "RAM=0-3FFF:RAM",
        "--rail",
        "+5V=5",
        "--rail",
        "GND=0",
    ]
    asked = [("Name of the board", "kite"), ("What is it", ""), ("Which schematic", "sheet 3")]
    status, shown = converse(tmp_path, words, asked)
    assert status == 0 and "CPU [" not in shown and "socket" not in shown.split("Which schematic")[0]
    assert read_board(tmp_path / "kite.toml").source == "sheet 3"


def test_stopped_at_a_question(tmp_path):
    status, shown = converse(tmp_path, [], [("Name of the board", "\x04")])
    assert status == 2 and "stopped by you" in shown and not list(tmp_path.iterdir())


def test_show_draws_sockets_and_links(romwright):
    run = romwright("boards", "show", "tern-tl-1", "--now", "LK1=2-3,LK2=1-2")
    assert run.status == 0 and max(map(len, run.out.splitlines())) <= 120
    for line in (
        "       A12 --| 2      27 |-- P27       LK2: /ROMSEL",
        "               [1]      [2]######[3]",
        "  > 2-3                  o========o      P20 = /ACC  now",
    ):
        assert line in run.out.splitlines()
    plain = romwright("boards", "show", "tern-tl-1")
    assert "#" not in plain.out and "  now" not in plain.out and "[1]      [2]      [3]" in plain.out


def test_show_writes_the_drawing(romwright, tmp_path):
    run = romwright("boards", "show", "tern-tl-1", "--svg", "tern.svg", "--now", "LK1=2-3,LK2=1-2", "--json")
    assert run.status == 0 and run.json["now"] == {"LK1": "2-3", "LK2": "1-2"} and run.json["cpu"] == "6502"
    first = (tmp_path / "tern.svg").read_bytes()
    assert ET.fromstring(first).tag == "{http://www.w3.org/2000/svg}svg" and first.count(b">NOW<") == 2
    again = romwright("boards", "show", "tern-tl-1", "--svg", "tern.svg")
    assert again.status == 2 and "exists already" in again.err and (tmp_path / "tern.svg").read_bytes() == first
    over = romwright("boards", "show", "tern-tl-1", "--svg", "tern.svg", "--overwrite")
    assert over.status == 0 and "drawing written to tern.svg" in over.out
    assert b">NOW<" not in (tmp_path / "tern.svg").read_bytes()


@pytest.mark.parametrize(
    "words, found",
    [
        (("--svg", "tern.png"), "tern.png is no SVG"),
        (("--now", "LK1=1-2"), "says nothing about LK2"),
        (("--now", "LK1=1-2,LK2=3-4"), "there is no position named '3-4'"),
        (("--svg", "no/such/tern.svg"), "cannot be written"),
    ],
)
def test_show_refuses(romwright, tmp_path, words, found):
    run = romwright("boards", "show", "tern-tl-1", *words)
    assert run.status == 2 and found in run.err and not list(tmp_path.glob("*.svg"))
