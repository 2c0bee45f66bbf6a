"""Jobs with several chips, as a user runs them: what each chip must hold is cut out of the contents by hand here."""

import random

import pytest

from romwright.datafiles import data_folder

WORDS = random.Random(7).randbytes
TWO = 'title = "t"\n[outputs]\nname = "x"\n'


@pytest.fixture
def job(romwright, tmp_path):
    """Run a job's text; returns the run and the files that it wrote."""

    def run(text, status=0, **files):
        for name, data in files.items():
            (tmp_path / f"{name}.bin").write_bytes(data)
        (tmp_path / "job.toml").write_text(TWO + text, "utf-8")
        done = romwright("run", "job.toml", "--json")
        assert done.status == status, done.err
        folder = tmp_path / "out"
        made = {path.name: path.read_bytes() for path in folder.iterdir()} if folder.exists() else {}
        return done, made

    return run


def test_even_and_odd_bytes_go_to_two_sockets(job):
    data = WORDS(16384)
    done, made = job(
        '[contents]\nfiles = ["a.bin"]\nsplit = 2\n'
        '[[fit]]\nname = "even"\nfrom = "2764"\nchip = "27C64"\n'
        '[[fit]]\nname = "odd"\nfrom = "2764"\nchip = "27128"\nconfirmed = "27128"\n', a=data,
    )  # fmt: skip
    assert made["x-even.bin"] == data[0::2] and data[1::2] in (made["x-odd.bin"][:8192], made["x-odd.bin"][8192:])
    kinds = (".plan", ".svg", ".csv", ".net")
    assert {f"x-{chip}{kind}" for chip in ("even", "odd") for kind in kinds} < set(made)
    text = made["x-sheet.txt"].decode()
    assert "even: Wires" in text and "odd: Wires" in text
    assert [(each["name"], each["part"], each["file"]) for each in done.json["chips"]] == [
        ("even", "27C64", "x-even.bin"), ("odd", "27128", "x-odd.bin")
    ]  # fmt: skip


def test_four_chips_alike(job):
    data = WORDS(8192)
    fit = '[fit]\nfrom = "2716"\nchip = "2716"\nconfirmed = "2716"\n'
    _, made = job('[contents]\nfiles = ["a.bin"]\nsplit = 4\n' + fit, a=data)
    assert [made[f"x-{lane}.bin"] for lane in range(4)] == [data[lane::4] for lane in range(4)]


def test_words_of_16_bits_in_two_chips(job):
    data = WORDS(131072)
    _, made = job('[contents]\nfiles = ["a.bin"]\n[fit]\nfrom = "27C1024"\nchip = "27C512"\nchips = 2\n', a=data)
    assert (made["x-1.bin"], made["x-2.bin"]) == (data[0::2], data[1::2])
    assert b"D8-D15" in made["x-sheet.txt"]


def test_halves_in_two_chips(job):
    data = WORDS(16384)
    fit = '[fit]\nfrom = "27128"\nchip = "2764"\nconfirmed = "2764"\nchips = 2\n'
    _, made = job('[contents]\nfiles = ["a.bin"]\n' + fit, a=data)
    assert made["x-1.bin"] + made["x-2.bin"] == data


def test_banks_are_proved_by_prove(job, romwright):
    one, other = WORDS(8192), WORDS(8192)
    _, made = job(
        '[contents]\nfiles = ["a.bin@game", "b.bin@bad"]\n'  # a bank whose name could be an address
        '[fit]\nfrom = "2764"\nchip = "27128"\nconfirmed = "27128"\nbanks = ["game", "bad"]\n'
        '[expected]\n"b.bin" = { sum8 = "%02X" }\n' % (sum(other) & 255), a=one, b=other,
    )  # fmt: skip
    assert made["x.bin"] == one + other
    proved = romwright("prove", "out/x.plan", "a.bin@game", "b.bin@bad", "--burnt", "out/x.bin")
    assert proved.status == 0


def test_one_chip_in_place_of_two(job):
    one, other = WORDS(8192), WORDS(8192)
    _, made = job(
        '[contents]\nfiles = ["a.bin@first", "b.bin@second"]\n'
        '[fit]\nfrom = "2764"\nsecond = "2764"\nchip = "27128"\nconfirmed = "27128"\n', a=one, b=other,
    )  # fmt: skip
    assert sorted((made["x.bin"][:8192], made["x.bin"][8192:])) == sorted((one, other))


def test_two_sockets_of_one_board(job):
    one, other = WORDS(32768), WORDS(32768)
    fit = '[[fit]]\nboard = "kittiwake-kw-68"\nsocket = "%s"\nchip = "%s"\n'
    _, made = job(
        '[[contents]]\nfiles = ["a.bin"]\ninto = ["U3"]\n[[contents]]\nfiles = ["b.bin"]\ninto = ["U4"]\n'
        + fit % ("U3", "27C256") + fit % ("U4", "28C256"), a=one, b=other,
    )  # fmt: skip
    assert made["x-U3.bin"] == one and made["x-U4.bin"] == other


def test_a_page_of_ones_own_is_found_from_the_job_and_is_an_input(romwright, tmp_path):
    page = tmp_path / "jobs" / "pages" / "mine.toml"
    page.parent.mkdir(parents=True)
    text = (data_folder("parts") / "2764.toml").read_text("utf-8").replace('name = "2764"', 'name = "mine"')
    page.write_text(text, "utf-8")
    job = tmp_path / "jobs" / "job.toml"
    job.write_text(TWO + '[fit]\nfrom = "2764"\nchip = "pages/mine.toml"\n', "utf-8")
    run = romwright("run", "jobs/job.toml")
    assert run.status == 0, run.err
    manifest = (tmp_path / "jobs" / "out" / "manifest-sha256.txt").read_text("utf-8")
    assert "  ../pages/mine.toml\n" in manifest
    assert romwright("prove", "jobs/out/x.plan").status == 0
    job.write_text(job.read_text() + '[expected]\n"pages/mine.toml" = { sha256 = "00" }\n', "utf-8")
    assert romwright("run", "jobs/job.toml").status == 2


@pytest.mark.parametrize(("text", "said"), [
    ('[contents]\nfiles = ["a.bin"]\n[fit]\nfrom = "27128"\nchip = "2764"\nchips = 3\n', "3 chips cannot share"),
    ('[contents]\nfiles = ["a.bin@c"]\n[fit]\nfrom = "2764"\nchip = "27128"\nbanks = ["a", "b"]\n', "contents-bank"),
    ('[contents]\nfiles = ["a.bin"]\nsplit = 2\n[fit]\nboard = "tern-tl-1"\nsocket = "U7"\nchip = "28C256"\n',
     "contents-split"),
    ('[fit]\nboard = "tern-tl-1"\nsocket = "U7"\nchip = "28C256"\nsecond = "2764"\n', "fit-board"),
])  # fmt: skip
def test_what_cannot_be_is_said(job, text, said):
    run, made = job(text, status=2, a=WORDS(16384))
    assert said in run.err and not made


def dunlin(second):
    return (
        '[[contents]]\nfiles = ["a.bin"]\ninto = ["U7"]\n[[contents]]\nfiles = ["b.bin"]\ninto = ["U8"]\n'
        '[[fit]]\nboard = "dunlin-dl-2"\nsocket = "U7"\nchip = "2732"\n'
        'confirmed = "2732"\nnow = "LK1=2532,LK2=2532,LK3=2532"\n'
        f'[[fit]]\nboard = "dunlin-dl-2"\nsocket = "U8"\nchip = "{second}"\nconfirmed = "{second}"\n'
    )


def test_chips_of_one_board_agree_on_its_links(job):
    """On the board's file: pin 21 of both hangs on LK3, so two 2732 go straight in once all three links are moved."""
    _, made = job(dunlin("2732"), a=WORDS(4096), b=WORDS(4096))
    text = made["x-sheet.txt"].decode()
    assert all(f"LK{number}: move from 2532 to 2732" in text for number in (1, 2, 3))


def test_chips_of_one_board_share_its_supply(job, tmp_path):
    """Each 27C32 asks for 20 mA more (National TL/D/8827): 1,120 of 1,130 mA alone, 1,140 for both."""
    page = (data_folder("boards") / "dunlin-dl-2.toml").read_text("utf-8").replace("most_ma = 2000", "most_ma = 1130")
    (tmp_path / "dunlin-dl-2.toml").write_text(page, "utf-8")
    text = dunlin("27C32").replace('"dunlin-dl-2"', '"./dunlin-dl-2.toml"').replace('chip = "2732"', 'chip = "27C32"')
    done, made = job(text, a=WORDS(4096), b=WORDS(4096))
    short = [each for each in done.json["findings"] if each["code"] == "supply-short"]
    assert [each["title"] for each in short] == ["+5V may have to give 1140 mA, and gives 1130 mA"]
    sheet = " ".join(made["x-sheet.txt"].decode().split())
    assert "+5V may have to give 1140 mA" in sheet
    assert "current of rail +12V, every chip in ________ mA (expect 40 to 250 mA)" in sheet
    assert "socket empty ________ mA (expect no more than 1100 mA, that of every chip in)" in sheet


def test_chips_of_two_kinds_leave_the_common_link(job):
    """A 2732 and a 2532 cannot both have LK3 as they want it: one of them is wired, and both still work."""
    done, made = job(dunlin("2532"), a=WORDS(4096), b=WORDS(4096))
    assert all(chip["works"] for chip in done.json["chips"]) and b"LK3: move" not in made["x-sheet.txt"]


def test_labels_name_their_chips_first_and_say_if_they_are_cut(job):
    done, _ = job(
        '[contents]\nfiles = ["a.bin"]\nsplit = 2\n[fit]\nfrom = "2764"\nchip = "2764"\nconfirmed = "2764"\n'
        f'[label]\nname = "{"very long " * 30}"\n', a=WORDS(16384),
    )  # fmt: skip
    cut = [each for each in done.json["findings"] if each["code"] == "name-cut"]
    assert [each["title"].partition(": ")[2][:6] for each in cut] == ["0 very", "1 very"]
    assert all("label.name" in each["remedy"] for each in cut)


def test_each_socket_has_boxes_of_its_own(romwright, job, tmp_path):
    """What is measured at two sockets is written down twice, though both read the same; one socket has one place."""
    fit = '[[fit]]\nname = "%s"\nfrom = "2764"\nchip = "27C64"\n'
    split = '[contents]\nfiles = ["a.bin"]\nsplit = 2\n'
    job(split + fit % "even" + fit % "odd", a=WORDS(16384))
    text = (tmp_path / "out" / "x-sheet.txt").read_text("utf-8")
    assert text.count("________ mA  (expect at most 30 mA more)") == 2 == text.count("supply current, socket empty")
    assert "even: After fitting" in text and "odd: After fitting" in text and text.count("Nothing to wire") == 1
    (tmp_path / "job.toml").write_text(
        TWO + '[contents]\nfiles = ["a.bin"]\n[fit]\nfrom = "rom-23128-style-a"\npolarity = "20=L,22=L,27=L"\n'
        'chip = "27C64"\nchips = 2\n'
    )
    shared = romwright("sheet", "job.toml").out
    assert shared.count("supply current, socket empty") == 1 and shared.count("supply current, chip in") == 2
