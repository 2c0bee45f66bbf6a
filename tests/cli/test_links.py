"""romwright links and romwright boards, as a user runs them."""

from pathlib import Path

import pytest

from romwright.datafiles import data_folder

KEYS = {
    "board", "socket", "part", "polarity", "assumed", "seated", "also", "unchecked", "settings", "findings", "timing",
    "next",
}  # fmt: skip
CYCLE = {"name", "space", "range", "lines", "access", "expected", "drives", "outcome", "sure", "address", "levels"}
DIAGNOSTIC = data_folder("tern") / "diagnostic.bin"
MASK = "rom-2332-a11-pin21"
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


def test_the_other_socket_holds_what_the_board_file_says(romwright):
    run = romwright("links", "dunlin-dl-2", "U7", "2732", "--now", "LK1=2732,LK2=2532,LK3=2732")
    assert run.status == 1 and "U8 holds rom-2332-a11-pin18 20=L 21=H" in run.out
    assert "fault (open-bus): U8 does not answer" in run.out
    answer = romwright("links", "dunlin-dl-2", "U7", "2732", "--json").json
    assert answer["also"] == {"U8": {"part": "rom-2332-a11-pin18", "polarity": {"20": "L", "21": "H"}}}


@pytest.mark.parametrize("also, held, works", [
    (["u8=2732"], {"U8": {"part": "2732", "polarity": {}}}, True),
    (["U8=M2732A"], {"U8": {"part": "2732A", "polarity": {}}}, True),
    ([f"U8={MASK},18=L,20=L"], {"U8": {"part": MASK, "polarity": {"18": "L", "20": "L"}}}, True),
    ([f"U8={MASK},18=H,20=L"], {"U8": {"part": MASK, "polarity": {"18": "H", "20": "L"}}}, False),
    (["U8=none"], {}, True),
    (["U8="], {}, True),
])  # fmt: skip
def test_what_sits_in_the_other_socket_instead(romwright, also, held, works):
    options = [word for entry in also for word in ("--also", entry)]
    run = romwright("links", "dunlin-dl-2", "U7", "2732", "--json", *options)
    assert run.json["also"] == held and run.status == int(not works)
    reads = [c for c in run.json["settings"][0]["cycles"] if c["range"] == "1000-1FFF" and c["access"] == "read"]
    assert reads and {c["outcome"] for c in reads} == {"fine"} or not works
    if not held:
        assert (
            "U8 is taken to be empty; --also U8=PART says"
            in romwright("links", "dunlin-dl-2", "U7", "2732", *options).out
        )


def test_a_chip_of_your_own_in_the_other_socket(romwright, tmp_path):
    text = (data_folder("parts") / "2732.toml").read_text("utf-8").replace('name = "2732"', 'name = "mine"')
    (tmp_path / "mine.toml").write_text(text, "utf-8")
    run = romwright("links", "dunlin-dl-2", "U7", "2732", "--also", "U8=./mine.toml")
    assert run.status == 0 and "U8 holds mine" in run.out


def test_matrix_says_what_sits_in_the_other_socket(romwright):
    run = romwright("links", "kittiwake-kw-68", "U3", "27C256", "27C512")
    assert run.status == 0 and "U4 holds rom-23256-a14-pin27 20=L 22=L" in run.out
    one = romwright("links", "kittiwake-kw-68", "U3", "27C256", "--now", "LK1=1-2,LK2=1-2,LK3=1-2")
    assert "68 cycles: fine; --json has them all" in one.out
    first = romwright("links", "kittiwake-kw-68", "U3", "27C256", "--now", "LK1=1-2,LK2=1-2,LK3=2-3")
    rows = [line.split() for line in first.out.splitlines() if line.startswith("word write") and "00FFFF" in line]
    assert [row[3:] for row in rows] == [
        ["D0-D7", "CPU", "CPU", "U4", "contention"], ["D8-D15", "CPU", "CPU", "U3", "contention"],
    ]  # fmt: skip


def test_what_is_unchecked_is_printed(romwright):
    """The 68000's cycles lack the acknowledge; pages say which of their pins and levels nobody has read."""
    run = romwright("links", "kittiwake-kw-68", "U3", "27C256", "27C512")
    assert "UNCHECKED: do not rely on these" in run.out and "68000: cycles: interrupt acknowledge" in run.out
    answer = romwright("links", "dunlin-dl-2", "U7", "2532", "--also", "U8=2732", "--json").json
    assert answer["unchecked"]["2532"] == ["pins: all but 18, 20 and 21", "drives"]
    assert answer["unchecked"]["2732"] == ["drives"]
    assert "UNCHECKED" in romwright("links", "dunlin-dl-2", "U7", "2532").out


def test_reads_of_the_other_rom_in_words(romwright, tmp_path):
    (tmp_path / "rom.bin").write_bytes(bytes(4096))
    chip = ("rom-2332-a11-pin18", "--polarity", "20=L,21=H", "--image", "rom.bin")
    arguments = ("links", "dunlin-dl-2", "U7", *chip, "--now", "LK1=2732,LK2=2532,LK3=2532")
    run = romwright(*arguments)
    assert "reads of U8 (table ROM, 1000-1FFF) at 1000-1FFF are wrong in D0-D7" in " ".join(run.out.split())
    answer = romwright(*arguments, "--json").json
    setting = next(s for s in answer["settings"] if s["links"] == answer["now"])
    assert [(s["device"], s["by"], s["known"]) for s in setting["symptoms"]] == [
        ("U8", "U7", True), ("DRAM", "U7", True), ("U11", "U7", True),
    ]  # fmt: skip


@pytest.mark.parametrize("also, told", [
    (["U8"], "no socket is named"),
    (["=2732"], "no socket is named"),
    (["U9=2732"], "no socket named 'U9'"),
    (["U7=2732"], "U7 is the socket that is asked about"),
    (["U8=2732", "U8=none"], "U8 is given twice"),
    (["U8=2733"], "no part named '2733'"),
    (["U8=2332"], "2332"),
    (["U8=rom-2332-a11-pin21,18=L"], "the polarity of pin 20 of rom-2332-a11-pin21 is not stated"),
    (["U8=rom-2332-a11-pin21,18=L,20=NC"], "pin 20 of rom-2332-a11-pin21 cannot be NC"),
    (["U8=2732,18"], "--also 18: 18 is no polarity"),
    (["U8=rom-6540"], "rom-6540"),
])  # fmt: skip
def test_bad_words_about_the_other_socket(romwright, also, told):
    run = romwright("links", "dunlin-dl-2", "U7", "2732", *[word for entry in also for word in ("--also", entry)])
    assert run.status == 2 and told in run.err and "Traceback" not in run.err


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
    assert run.status == 2 and "3 faults" in run.err and "did you mean nand?" in run.err and "P21" in run.err


def test_boards(romwright):
    assert "tern-tl-1" in romwright("boards", "list").out
    listed = [b for b in romwright("boards", "list", "--json").json if b["name"] == "tern-tl-1"]
    assert listed[0]["links"] == {"LK1": ["1-2", "2-3"], "LK2": ["1-2", "2-3"]}
    shown = romwright("boards", "show", "TERN-TL-1")
    assert shown.status == 0 and "P27" in shown.out and "/ROMSEL = P20" in shown.out
    page = romwright("boards", "show", "tern-tl-1", "--json").json
    assert page["name"] == "tern-tl-1" and page["cycles"][0]["name"] == "opcode fetch" and page["ports"] is None


def test_what_is_unchecked_of_a_cpu(romwright):
    shown = romwright("boards", "show", "kittiwake-kw-68")
    assert "UNCHECKED, of the 68000" in shown.out and "interrupt acknowledge: R/W at H" in shown.out
    page = romwright("boards", "show", "dunlin-dl-2", "--json").json
    assert "ports: what A8-A15 are in I/O cycles" in page["cycles_unchecked"]
    assert page["ports"] == {"lines": "A0-A7", "above": "any"}


def test_a_chip_that_fights_with_the_cpu_before_a_write(romwright):
    path = Path(__file__).parents[2] / "fixtures" / "boards" / "z80.toml"
    run = romwright("links", str(path), "U1", "28C64", "--now", "OE=ground,WE=strobe")
    assert run.status == 1 and "memory write, before /WR" in run.out
    assert "bring the read strobe to an enable" in run.out
    path = path.with_name("8085.toml")
    run = romwright("links", str(path), "U1", "28C64", "--now", "OE=status,WE=high")
    assert run.status == 1 and "T1 of a memory read" in run.out and "buffered = true" in " ".join(run.out.split())


def test_verilog(romwright):
    run = romwright("boards", "verilog", "tern-tl-1", "U7", "27C512", "--now", "LK1=2-3,LK2=1-2")
    assert run.status == 0 and run.out.startswith("// Tern TL-1") and run.out.endswith("endmodule\n")
    same = romwright("boards", "verilog", "tern-tl-1", "U7", "27C512", "--now", "LK1=2-3,LK2=1-2", "--json")
    assert same.json["verilog"] == run.out
    free = romwright("boards", "verilog", "tern-tl-1", "U7", "rom-23128-style-a", "--now", "LK1=2-3,LK2=1-2")
    assert free.status == 2 and "polarity of pin 20, 22, 27" in free.err
    unset = romwright("boards", "verilog", "tern-tl-1", "U7", "27C512")
    assert unset.status == 2 and "says nothing about LK1, LK2" in unset.err


def test_what_a_contention_reads_without_contents(romwright):
    now = ("--now", "LK1=2-3,LK2=1-2")
    out = romwright("links", "tern-tl-1", "U7", "27C512", *now).out
    assert "reads of 0000-3FFF give DRAM AND U7, bit by bit" in out and "common practice, no source" in out
    assert "reads of 4000-7FFF give what U7 holds" in out and "written" not in out
    out = romwright("links", "tern-tl-1", "U7", "27C512", *now, "--law", "high").out
    assert "reads of 8000-9FFF give U8 OR U7, bit by bit" in out and "a model, chosen by you" in out
    out = romwright("links", "tern-tl-1", "U7", "27C512", *now, "--law", "unknown").out
    assert "reads of 0000-3FFF, 8000-9FFF and A000-BFFF give a byte that nobody can foretell" in out
    assert "At the bench" not in romwright("links", "tern-tl-1", "U7", "27C512", "--now", "LK1=1-2,LK2=1-2").out


def test_a_contention_in_writes_is_told_at_the_bench(romwright, tmp_path):
    """/OE at the write strobe: the chip drives in every write, and nobody answers its reads."""
    text = (data_folder("boards") / "tern-tl-1.toml").read_text("utf-8").replace("A11 /RDS A10", "A11 /WRS A10")
    (tmp_path / "tern-tl-1.toml").write_text(text, "utf-8")
    out = romwright("links", "./tern-tl-1.toml", "U7", "27C512", "--now", "LK1=2-3,LK2=1-2").out
    bench = out[out.index("At the bench") : out.index("Who drives")]
    assert "what is written to 0000-3FFF" in bench and "may be stored wrong: U7 drives too" in bench
    assert "give noise" in bench and "common practice" not in bench


def test_options_that_say_nothing_are_refused(romwright, tmp_path):
    (tmp_path / "some.bin").write_bytes(bytes(100))
    run = romwright("links", "tern-tl-1", "U7", "27C512", "--image", "some.bin")
    assert run.status == 2 and not run.out and "100 bytes do not fill a 27C512" in run.err
    (tmp_path / "some.bin").write_bytes(bytes(16384))
    for option in (["--image", "some.bin"], ["--law", "high"]):
        run = romwright("links", "tern-tl-1", "U7", "27C512", "27C256", *option)
        assert run.status == 2 and not run.out and f"{option[0]} with several chips" in run.err


def test_a_link_that_makes_no_difference_has_no_column(romwright):
    """A chip of 24 pins does not reach position 27 of the Tern's socket, to which LK2 leads."""
    run = romwright("links", "tern-tl-1", "U7", "2732")
    heads = next(line.split() for line in run.out.splitlines() if line.startswith("LK"))
    assert heads == ["LK1", "verdict", "why"] and "LK2: every position comes to the same" in run.out
    table = romwright("links", "tern-tl-1", "U7", "2732", "2732A").out
    assert "\nLK1  2732" in table and "LK2: every position comes to the same" in table
    assert "\nLK1  LK2  2732" in romwright("links", "tern-tl-1", "U7", "2732", "27128").out
    settings = romwright("links", "tern-tl-1", "U7", "2732", "--json").json["settings"]
    assert len(settings) == 4 and all(set(each["links"]) == {"LK1", "LK2"} for each in settings)


def test_a_board_of_many_devices_stays_readable(romwright, tmp_path):
    """Fifteen ports that answer one range: hundreds of mixtures, of which the first few are printed."""
    text = (data_folder("boards") / "tern-tl-1.toml").read_text("utf-8").replace('name = "tern-tl-1"', 'name = "many"')
    for number in range(8):
        text += f'\n[[devices]]\nname = "P{number}"\ntitle = ""\nkind = "port"\ndrives = [{{ "A{number}" = "L" }}]\n'
    (tmp_path / "many.toml").write_text(text, "utf-8")
    run = romwright("links", "./many.toml", "U7", "27C256", "--now", "LK1=1-2,LK2=1-2")
    assert run.status == 1 and "more findings; --json has them all" in run.out
    assert "  ... and " in run.out[run.out.index("At the bench") :]
    assert len(run.out.splitlines()) < 250


def test_verilog_with_another_chip_in_the_other_socket(romwright):
    now = ("--now", "LK1=2732,LK2=2732,LK3=2732")
    of = {
        word: romwright("boards", "verilog", "dunlin-dl-2", "U7", "2732", *now, *also, "--json").json
        for word, also in {"own": (), "2732": ("--also", "U8=2732"), "none": ("--also", "U8=none")}.items()
    }
    assert of["own"]["also"]["U8"]["part"] == "rom-2332-a11-pin18" and of["none"]["also"] == {}
    assert of["2732"]["also"] == {"U8": {"part": "2732", "polarity": {}}}
    assert len({each["verilog"] for each in of.values()}) == 3
    assert "U8" in of["2732"]["verilog"]
    run = romwright("boards", "verilog", "dunlin-dl-2", "U7", "2732", *now, "--also", "U7=2732")
    assert run.status == 2 and "the socket that is asked about" in run.err


@pytest.mark.parametrize(
    "span, slip", [("c000-FFFF", "its letters are capitals"), ("FFFF-C000", "the lower address first")]
)
def test_a_range_says_what_is_wrong_with_it(romwright, tmp_path, span, slip):
    text = (data_folder("boards") / "tern-tl-1.toml").read_text("utf-8").replace('"C000-FFFF"', f'"{span}"')
    (tmp_path / "tern-tl-1.toml").write_text(text, "utf-8")
    run = romwright("boards", "show", "./tern-tl-1.toml")
    assert run.status == 2 and f"expected FIRST-LAST in hex, up to FFFF; {slip} [range]" in run.err


def test_files_that_are_none(romwright, tmp_path):
    (tmp_path / "folder.toml").mkdir()
    run = romwright("boards", "show", "./folder.toml")
    assert run.status == 2 and "this is a folder\n  where: folder.toml\n  expected: a file" in run.err
    run = romwright("boards", "show", "./gone.toml")
    assert run.status == 2 and "there is no such file\n  where: gone.toml\n  expected:" in run.err


def test_a_level_that_is_none(romwright, tmp_path):
    text = (data_folder("boards") / "tern-tl-1.toml").read_text("utf-8")
    text = text.replace('drives = [{ "/DRAM" = "L"', 'drives = [{ "/DRAM" = "X"')
    (tmp_path / "tern-tl-1.toml").write_text(text, "utf-8")
    run = romwright("boards", "show", "./tern-tl-1.toml")
    assert run.status == 2 and "devices[1].drives[1]./DRAM: 'X', expected H or L [wrong-type]" in run.err


@pytest.mark.parametrize("volts, told", [("5.1", "nominal voltage, 5,"), ("4.75", "nominal voltage, 5,"), ("3.3", "")])
def test_a_rail_has_its_nominal_voltage(romwright, tmp_path, volts, told):
    text = (data_folder("boards") / "tern-tl-1.toml").read_text("utf-8").replace('"+5V" = 5', f'"+5V" = {volts}')
    text = text.replace("range_v = [4.75, 5.25]\n", "")
    (tmp_path / "tern-tl-1.toml").write_text(text, "utf-8")
    run = romwright("boards", "show", "./tern-tl-1.toml")
    assert run.status == (2 if told else 0) and told in run.err
