"""romwright wire --board, --chips, --second, --image, --burn: as a user runs them."""

import pytest

TERN = ("wire", "U7", "27128", "--board", "tern-tl-1")
TWO = ("wire", "rom-2364-24", "27128", "--polarity", "20=L", "--second", "rom-2364-24", "--second-polarity", "20=L")
HALVES = ("wire", "rom-23128-style-a", "2764", "--polarity", "20=L,22=L,27=L", "--chips", "2")
KEYS = {
    "next", "from", "board", "to", "links", "move", "image_at", "burn_at", "rows", "gates", "work", "delay_ns", "prefer",
    "banks", "switches", "verdict", "findings", "timing", "wired", "proof", "files", "unchecked", "cautions",
    "electric",
}  # fmt: skip


def spelt(words, mask=0):
    """Bytes that spell their address: the low byte of it, then the high one."""
    return bytes((address >> 8 * (address & 1)) & 255 ^ mask for address in range(words))


def only(tmp_path):
    return sorted(path.name for path in tmp_path.iterdir() if path.is_file())


def test_links_are_moved_and_said(romwright):
    run = romwright(*TERN, "--now", "LK1=2-3,LK2=1-2")
    assert run.status == 0 and "LK1: move from 2-3 to 1-2" in run.out
    assert "On the whole board, wired so: works" in run.out and "read 16,384 addresses" in run.out
    asked = romwright(*TERN, "--now", "LK1=2-3,LK2=1-2", "--json").json
    assert set(asked) == KEYS and asked["verdict"] == "works" and asked["proof"]["equal"]
    assert asked["move"]["LK1"] == "1-2" and asked["links"]["LK1"] == "1-2" and asked["board"] == "tern-tl-1"


def test_the_other_socket_changes_the_plan(romwright):
    dunlin = ("wire", "U7", "2732", "--board", "dunlin-dl-2", "--json")
    beside, alone, alike = (
        romwright(*dunlin, *more).json for more in ((), ("--also", "U8=none"), ("--also", "U8=2732"))
    )
    assert beside["work"] and beside["links"]["LK3"] == "2532"
    assert not alone["work"] and not alike["work"] and alike["links"]["LK2"] == "2732"


def test_banks_burnt_on_a_board_read_back(romwright, tmp_path):
    for name, mask in (("a", 0), ("b", 0xFF)):
        (tmp_path / f"{name}.bin").write_bytes(spelt(16384, mask))
    run = romwright(
        "wire", "U7", "27256", "--board", "tern-tl-1", "--banks", "old,new", "--image", "a.bin@old", "--image",
        "b.bin@new", "--burn", "u7.bin", "--plan", "u7.plan",
    )  # fmt: skip
    assert run.status == 0 and "written: u7.bin" in run.out and "written: u7.plan" in run.out
    prove = ("prove", "u7.plan", "a.bin@old", "b.bin@new", "--burnt")
    assert romwright(*prove, "u7.bin").status == 0
    made = romwright("prepare", "a.bin@old", "b.bin@new", "--plan", "u7.plan", "-o", "again.bin")
    assert made.status == 0 and (tmp_path / "again.bin").read_bytes() == (tmp_path / "u7.bin").read_bytes()


def test_contents_of_another_size_are_refused(romwright, tmp_path):
    (tmp_path / "rom.bin").write_bytes(spelt(2048))
    run = romwright(*HALVES, "--image", "rom.bin", "--burn", "half.bin")
    assert run.status == 2 and "give all 16,384 bytes" in run.err and only(tmp_path) == ["rom.bin"]


def test_two_chips_in_place_of_one(romwright, tmp_path):
    (tmp_path / "rom.bin").write_bytes(spelt(16384))
    run = romwright(*HALVES, "--image", "rom.bin", "--burn", "half.bin", "--plan", "half.plan")
    assert "Chip 1 of 2: 0000-1FFF" in run.out and "Chip 2 of 2: 2000-3FFF" in run.out
    assert only(tmp_path) == ["half-1.bin", "half-1.plan", "half-2.bin", "half-2.plan", "rom.bin"]
    whole = spelt(16384)
    assert [(tmp_path / f"half-{n}.bin").read_bytes() for n in (1, 2)] == [whole[:8192], whole[8192:]]
    assert romwright("prove", "half-2.plan").status == 0


def test_one_chip_in_place_of_two(romwright, tmp_path):
    for name, mask in (("a", 0), ("b", 0xFF)):
        (tmp_path / f"{name}.bin").write_bytes(spelt(8192, mask))
    images = ("--image", "a.bin@first", "--image", "b.bin@second")
    run = romwright(*TWO, *images, "--burn", "two.bin", "--plan", "two.plan", "--marking", "HN4827128")
    assert run.status == 0 and "every address line, every data line" in run.out
    assert romwright("prove", "two.plan", "a.bin@first", "b.bin@second", "--burnt", "two.bin").status == 0
    assert romwright("prove", "two.plan", "b.bin@first", "a.bin@second", "--burnt", "two.bin").status == 1
    asked = romwright(*TWO, "--json")
    assert asked.json["banks"] == ["first", "second"] and asked.json["second"] == "rom-2364-24"


@pytest.mark.parametrize("arguments, said", [
    ((*TERN, "--now", "LK1=2-3"), "LK2"), ((*TERN, "--now", "LK1=9,LK2=1-2"), "1-2, 2-3"),
    ((*TERN, "--chips", "2"), "--board and --chips"), ((*TERN, "--polarity", "20=L"), "FROM is a socket"),
    ((*TERN, "--second", "2764"), "--board and --second"), ((*TERN, "--also", "U7=2764"), "asked about"),
    ((*TERN, "--image", "rom.bin"), "go together"), ((*TERN, "--burn", "x.bin"), "go together"),
    (("wire", "U9", "27128", "--board", "tern-tl-1"), "one of: U7"),
    (("wire", "U7", "27128", "--board", "\x1b[31m"), r"\x1b[31m"),
    (("wire", "U7", "2716", "--board", "tern-tl-1", "--image", "rom.bin", "--burn", "x.bin"), "A11 reaches no address"),
    (("wire", "U7", "27128", "--now", "LK1=1-2"), "--board BOARD"), (HALVES[:-1] + ("3",), "3 chips cannot share"),
    (HALVES[:3] + ("--chips", "2"), "--polarity 20=L,22=L,27=L"), ((*TWO, "--banks", "a,b"), "--second and --banks"),
    (TWO[:-2], "--second-polarity 20=L"), (("wire", "2716", "2764", "--banks", "a,a"), "two different names"),
    (("wire", "2716", "2764", "--banks", "\x1b[31m,x"), r"\x1b[31m,x"),
    (("wire", "2716", "2732", "--banks", "a,b,c"), "3 banks"),
    (("wire", "2716", "2764", "--prefer", "cheap"), "crossed-lines"),
    (("wire", "2716", "2764", "--image", "rom.bin", "--burn", "rom.bin", "--overwrite"), "one of the inputs"),
    (("wire", "2716", "2764", "--image", "odd.bin", "--burn", "x.bin"), "100 bytes"),
    (("wire", "2716", "2764", "--image", "no\x1bfile", "--burn", "x.bin"), r"no\x1bfile"),
])  # fmt: skip
def test_bad_input(romwright, tmp_path, arguments, said):
    (tmp_path / "rom.bin").write_bytes(spelt(16384)[: 2048 if "2716" in arguments[1] else 16384])
    (tmp_path / "odd.bin").write_bytes(bytes(100))
    run = romwright(*arguments)
    assert run.status == 2 and said in run.err and "\x1b" not in run.err and not run.out, run.err
    assert only(tmp_path) == ["odd.bin", "rom.bin"] and (tmp_path / "rom.bin").read_bytes()[:3] == spelt(3)


def test_outputs_are_kept_unless_asked_and_all_or_none(romwright, tmp_path):
    (tmp_path / "rom.bin").write_bytes(spelt(16384))
    (tmp_path / "u7.plan").write_text("mine")
    both = (*TERN, "--image", "rom.bin", "--burn", "u7.bin", "--plan", "u7.plan")
    run = romwright(*both)
    assert run.status == 2 and "exists already" in run.err and only(tmp_path) == ["rom.bin", "u7.plan"]
    assert romwright(*both, "--overwrite").status == 1  # nobody has said what is printed on the chip
    assert romwright(*both, "--overwrite", "--marking", "D27128").status == 0
    assert (tmp_path / "u7.bin").read_bytes() == spelt(16384)


def test_no_preference_that_crosses_lines_fails_where_a_line_is_missing(romwright):
    """Some settings of this board's links leave A14 off the socket."""
    run = romwright("wire", "U3", "27C256", "--board", "kittiwake-kw-68", "--prefer", "crossed-lines", "--json")
    assert run.status == 0 and run.json["verdict"] == "works"


PROMS = """
name = "proms"
title = "a board of two PROMs on one bus"
cpu = "6502"
source = "invented for this test"
rails = { "+5V" = 5, GND = 0 }
%(resistors)s
[[sockets]]
name = "U1"
part = "%(part)s"
row_pitch_mm = 7.62
left = "D0 D1 D2 D3 D4 D5 D6 GND"
right = "+5V /SEL A4 A3 A2 A1 A0 D7"
[[sockets]]
name = "U2"
part = "%(part)s"
row_pitch_mm = 7.62
left = "D0 D1 D2 D3 D4 D5 D6 GND"
right = "+5V /SEL2 A4 A3 A2 A1 A0 D7"
[[gates]]
name = "U3"
kind = "3-to-8"
inputs = "A5 GND GND A15 GND GND"
outputs = "/SEL /SEL2 NC NC NC NC NC NC"
[[map]]
range = "FFC0-FFDF"
device = "U1"
access = "read"
[[map]]
range = "FFE0-FFFF"
device = "U2"
access = "read"
"""
PULLS = "".join(f'[[resistors]]\nname = "R{n}"\nohms = 1000\nnodes = "+5V D{n}"\n' for n in range(8))


@pytest.mark.parametrize(
    ("part", "chip", "resistors", "code", "status"),
    [
        ("prom-82s123", "prom-82s23", "", "no-pull-up", 1), ("prom-82s123", "prom-82s23", PULLS, None, 0),
        ("prom-82s23", "prom-82s23", "", "pull-up-not-stated", 0), ("prom-82s23", "prom-82s23", PULLS, None, 0),
        ("prom-82s23", "prom-82s123", PULLS, "wired-together", 0), ("prom-82s123", "prom-82s123", "", None, 0),
    ],
)  # fmt: skip
def test_open_collector_and_three_state_on_a_board(romwright, tmp_path, part, chip, resistors, code, status):
    (tmp_path / "proms.toml").write_text(PROMS % {"part": part, "resistors": resistors}, "utf-8")
    run = romwright("wire", "U1", chip, "--board", "./proms.toml", "--json")
    kinds = ("no-pull-up", "pull-up-not-stated", "wired-together")
    assert [each["code"] for each in run.json["findings"] if each["code"] in kinds] == ([code] if code else [])
    assert run.status == status, run.json["findings"]
    assert (run.json["next"] == "put a pull-up resistor on D0-D7") == (code == "no-pull-up")
