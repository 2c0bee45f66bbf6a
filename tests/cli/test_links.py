"""romwright links and romwright boards, as a user runs them."""

import pytest

from romwright.datafiles import data_folder

KEYS = {"board", "socket", "part", "polarity", "assumed", "seated", "settings", "findings"}
CYCLE = {"name", "space", "range", "access", "expected", "drives", "outcome", "sure", "address", "levels"}
DIAGNOSTIC = data_folder("tern") / "diagnostic.bin"
ALL_LOW = ("--polarity", "20=L,22=L,27=L")


def test_json_has_the_documented_keys(romwright):
    run = romwright("links", "tern-tl-1", "U7", "27C512", "--json")
    assert run.status == 0 and set(run.json) == KEYS
    assert len(run.json["settings"]) == 4
    first = run.json["settings"][0]
    assert set(first) == {"links", "verdict", "findings", "cycles"}
    assert first["verdict"] == "works" and set(first["cycles"][0]) == CYCLE
    assert {s["verdict"] for s in run.json["settings"]} == {"works", "fault"}
    worst = run.json["settings"][-1]
    fights = [c for c in worst["cycles"] if c["outcome"] == "contention"]
    assert fights and all(set(c) == CYCLE | {"predicted"} for c in fights)


def test_json_with_contents_and_a_present_setting(romwright):
    run = romwright("links", "tern-tl-1", "U7", "27C512", "--json", "--image", DIAGNOSTIC, "--now", "LK1=2-3,LK2=1-2")
    assert run.status == 1 and run.json["change"] == {"LK1": "1-2"} and run.json["now"] == {"LK1": "2-3", "LK2": "1-2"}
    worst = next(s for s in run.json["settings"] if s["links"] == run.json["now"])
    assert worst["symptoms"][0]["lines"] == [f"D{i}" for i in range(8)]
    assert "U10-U17" in worst["symptoms"][0]["words"]


def test_text_for_the_bench(romwright):
    run = romwright("links", "tern-tl-1", "u7", "27C512", "--now", "LK1=2-3,LK2=1-2", "--image", DIAGNOSTIC)
    text = " ".join(run.out.split())
    assert run.status == 1
    assert "U7 drives the data bus together with DRAM, U8 and U9" in text
    assert "would report all eight chips U10-U17 bad; nothing is wrong with them" in text
    assert "Smallest change that makes it work: move LK1 from 2-3 to 1-2." in text
    right = romwright("links", "tern-tl-1", "U7", "27C512", "--now", "LK1=1-2,LK2=1-2")
    assert right.status == 0 and "Nothing needs to be changed." in right.out


def test_where_no_setting_is_enough(romwright):
    run = romwright("links", "tern-tl-1", "U7", "27128A", "--now", "LK1=2-3,LK2=1-2")
    assert run.status == 1 and "Least is wrong after moving LK1 from 2-3 to 1-2" in run.out
    assert "bend chip pin 27 up and tie it to VCC" in run.out


def test_matrix(romwright):
    run = romwright("links", "tern-tl-1", "U7", "rom-23128-style-a", "27C512", "28C256", *ALL_LOW)
    assert run.status == 1  # no setting is for a 28C256
    rows = [line.split() for line in run.out.splitlines() if line[:1].isdigit()]
    assert rows == [
        ["1-2", "1-2", "ok", "ok", "STOP"], ["1-2", "2-3", "ok", "ok", "STOP"],
        ["2-3", "1-2", "ok", "fault", "STOP"], ["2-3", "2-3", "fault", "fault", "STOP"],
    ]  # fmt: skip


def test_each_polarity_that_is_not_stated(romwright):
    run = romwright("links", "tern-tl-1", "U7", "rom-23128-style-a", "--polarity", "22=L", "--json")
    assert [answer["polarity"]["27"] for answer in run.json] == ["L", "H", "L", "H"]
    assert all(answer["assumed"].keys() == {"20", "27"} for answer in run.json)


@pytest.mark.parametrize("seated, ways", [("offset", 2), ("turned", 1)])
def test_seated_wrong_is_a_stop(romwright, seated, ways):
    run = romwright("links", "tern-tl-1", "U7", "27C512", "--seated", seated, "--json")
    answers = run.json if ways > 1 else [run.json]
    assert run.status == 1 and len(answers) == ways
    assert {s["verdict"] for answer in answers for s in answer["settings"]} == {"stop"}


@pytest.mark.parametrize("arguments, told", [
    (("tern", "U7", "27128A"), "no board named 'tern'"),
    (("tern-tl-1", "U8", "27128A"), "no socket named 'U8'"),
    (("tern-tl-1", "U7", "27C512", "--now", "LK1=1-2"), "says nothing about LK2"),
    (("tern-tl-1", "U7", "27C512", "--now", "LK1=1-2,LK2=1-3"), "no position named '1-3'"),
    (("tern-tl-1", "U7", "27C512", "--now", "LK1"), "is no setting"),
    (("tern-tl-1", "U7", "27C512", "--polarity", "20=L"), "no part given has a polarity"),
    (("tern-tl-1", "U7", "27C512", "--image", "none.bin"), "none.bin"),
    (("none.toml", "U7", "27C512"), "none.toml"),
])  # fmt: skip
def test_bad_input(romwright, arguments, told):
    run = romwright("links", *arguments)
    assert run.status == 2 and told in run.err


def test_a_board_file_of_your_own(romwright, tmp_path):
    text = (data_folder("boards") / "tern-tl-1.toml").read_text("utf-8").replace('"tern-tl-1"', '"mine"')
    (tmp_path / "mine.toml").write_text(text, "utf-8")
    assert romwright("links", "mine.toml", "U7", "27C512").status == 0
    bad = text.replace('"/ROMSEL P20"', '"/ROMSEL P21"').replace('"nand"', '"nan"', 1)
    (tmp_path / "mine.toml").write_text(bad, "utf-8")
    run = romwright("boards", "show", "mine.toml")
    assert run.status == 2 and "2 faults" in run.err and "did you mean nand?" in run.err and "P21" in run.err


def test_boards(romwright):
    assert "tern-tl-1" in romwright("boards", "list").out
    listed = romwright("boards", "list", "--json").json
    assert listed[0]["links"] == {"LK1": ["1-2", "2-3"], "LK2": ["1-2", "2-3"]}
    shown = romwright("boards", "show", "TERN-TL-1")
    assert shown.status == 0 and "P27" in shown.out and "/ROMSEL = P20" in shown.out
    page = romwright("boards", "show", "tern-tl-1", "--json").json
    assert page["name"] == "tern-tl-1" and page["cycles"][0]["name"] == "opcode fetch"


def test_verilog(romwright):
    run = romwright("boards", "verilog", "tern-tl-1", "U7", "27C512", "--now", "LK1=2-3,LK2=1-2")
    assert run.status == 0 and run.out.startswith("// Tern TL-1") and run.out.endswith("endmodule\n")
    same = romwright("boards", "verilog", "tern-tl-1", "U7", "27C512", "--now", "LK1=2-3,LK2=1-2", "--json")
    assert same.json["verilog"] == run.out
    free = romwright("boards", "verilog", "tern-tl-1", "U7", "rom-23128-style-a", "--now", "LK1=2-3,LK2=1-2")
    assert free.status == 2 and "polarity of pin 20, 22, 27" in free.err
    unset = romwright("boards", "verilog", "tern-tl-1", "U7", "27C512")
    assert unset.status == 2 and "says nothing about LK1, LK2" in unset.err
