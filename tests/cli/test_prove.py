"""romwright prove and prepare --plan, as a user runs them: bytes through a plan, read back, and every slip said."""

import json

import pytest

PLAN = ("wire", "2716", "2764", "--banks", "game,test", "--plan", "p.plan")
READ = ("--marking", "2764")  # what is printed on the chip
KEYS = {
    "plan", "from", "to", "banks", "bytes_compared", "addresses", "equal", "drive_equal", "states", "states_differ",
    "states_written", "power_up_safe", "next",
}  # fmt: skip


def spelt(words, mask=0):
    """Bytes that spell their address: the low byte of it, then the high one."""
    return bytes((address >> 8 * (address & 1)) & 255 ^ mask for address in range(words))


@pytest.fixture
def folder(romwright, tmp_path):
    """A plan with two banks, the contents of each, and the bytes to burn."""
    for name, mask in (("game", 0), ("test", 0xFF)):
        (tmp_path / f"{name}.bin").write_bytes(spelt(2048, mask))
    (tmp_path / "short.bin").write_bytes(bytes(100))
    (tmp_path / "empty.bin").write_bytes(b"")
    romwright(*PLAN)
    made = romwright("prepare", "game.bin@game", "test.bin@test", "--plan", "p.plan", *READ, "-o", "burn.bin")
    assert made.status == 0, made.err
    return tmp_path


BOTH = ("game.bin@game", "test.bin@test")


def test_the_wiring_alone_proves_for_any_contents(romwright, folder):
    run = romwright("prove", "p.plan")
    assert run.status == 0
    assert "read 2,048 addresses in each of 4 states of the control lines, each of 2 banks" in run.out
    assert "gives the cell that belongs there" in run.out and "who drives the data bus is the same" in run.out


def test_bytes_are_compared(romwright, folder):
    run = romwright("prove", "p.plan", *BOTH, "--burnt", "burn.bin")
    assert run.status == 0 and "gives the byte that the socket must show" in run.out
    asked = romwright("prove", "p.plan", *BOTH, "--burnt", "burn.bin", "--json")
    assert asked.status == 0 and set(asked.json) == KEYS and asked.json["bytes_compared"]
    assert asked.json["banks"] == ["game", "test"] and asked.json["equal"] and asked.json["drive_equal"]
    assert not romwright("prove", "p.plan", "--json").json["bytes_compared"]


def test_the_burnt_bytes_lie_where_the_switches_say(folder):
    """By hand: A11 chooses the bank, A12 is held low (the socket has neither)."""
    burnt = (folder / "burn.bin").read_bytes()
    assert burnt[:2048] == spelt(2048) and burnt[2048:4096] == spelt(2048, 0xFF)
    assert burnt[4096:] == b"\xff" * 4096


@pytest.mark.parametrize("at", [0, 1, 2047, 2048, 4095])
def test_one_wrong_byte_is_found(romwright, folder, at):
    burnt = bytearray((folder / "burn.bin").read_bytes())
    burnt[at] ^= 0x10
    (folder / "bad.bin").write_bytes(burnt)
    run = romwright("prove", "p.plan", *BOTH, "--burnt", "bad.bin", "--json")
    first = run.json["first_difference"]
    assert run.status == 1 and first["address"] == f"{at % 2048:04X}" and not run.json["equal"]
    assert first["levels"]["S1"] == "LH"[at // 2048] and int(first["expected"], 16) ^ int(first["found"], 16) == 0x10
    text = romwright("prove", "p.plan", *BOTH, "--burnt", "bad.bin")
    assert f"NOT EQUAL: the first difference is: address {at % 2048:04X}" in text.out


def test_a_byte_that_never_shows_does_not_matter(romwright, folder):
    burnt = bytearray((folder / "burn.bin").read_bytes())
    burnt[4096:] = bytes(4096)
    (folder / "other.bin").write_bytes(burnt)
    assert romwright("prove", "p.plan", *BOTH, "--burnt", "other.bin").status == 0


def test_banks_exchanged_are_found(romwright, folder):
    run = romwright("prove", "p.plan", "game.bin@test", "test.bin@game", "--burnt", "burn.bin")
    assert run.status == 1 and "address 0000, expected FF, found 00" in run.out and "S1 L" in run.out


@pytest.mark.parametrize("change", ["wire", "tie", "levels"])
def test_a_plan_edited_by_hand_is_judged_not_believed(romwright, folder, change):
    """A0 and A1 exchanged; /CE tied low; a switch in place of a tie."""
    plan = json.loads((folder / "p.plan").read_text("utf-8"))
    rows = {row["chip"]: row for row in plan["rows"] if row["chip"]}
    if change == "wire":
        rows[9] |= {"how": "bend up and wire", "wire_to": 8}
        rows[10] |= {"how": "bend up and wire", "wire_to": 7}
    elif change == "tie":
        rows[20] |= {"how": "tie to GND", "wire_to": None}
    else:
        rows[23] |= {"how": "tie to GND", "strap": ""}
    (folder / "edited.plan").write_text(json.dumps(plan), "utf-8")
    run = romwright("prove", "edited.plan")
    if change == "levels":
        assert run.status == 1 and "NOT EQUAL" in run.out or run.status == 2
    else:
        told = romwright("prove", "edited.plan", *BOTH, "--burnt", "burn.bin")
        assert told.status == 1 and ("NOT EQUAL" in told.out or "NOT the same" in told.out)


@pytest.mark.parametrize("arguments, said", [
    (("p.plan", "game.bin", "--burnt", "burn.bin"), "no bank of the plan is named"),
    (("p.plan", "game.bin@game", "--burnt", "burn.bin"), "nothing is given for the bank test"),
    (("p.plan", "game.bin@game", "test.bin@tset", "--burnt", "burn.bin"), "BANK one of game, test"),
    (("p.plan", *BOTH), "go together"), (("p.plan", "--burnt", "burn.bin"), "go together"),
    (("p.plan", *BOTH, "test.bin@test", "--burnt", "burn.bin"), "2 files for test"),
    (("p.plan", *BOTH, "--burnt", "game.bin"), "the 8,192 bytes of a 2764"),
    (("p.plan", *BOTH, "--burnt", "none.bin"), "none.bin"),
    (("p.plan", "short.bin@game", "test.bin@test", "--burnt", "burn.bin"), "100 bytes"),
    (("p.plan", "empty.bin@game", "test.bin@test", "--burnt", "burn.bin"), "empty"),
    (("none.plan",), "none.plan"), (("game.bin",), "game.bin"), ((".",), "folder"), (("",), "expected"),
    (("p.plan", "\x1b[31mgame.bin@game", "test.bin@test", "--burnt", "burn.bin"), r"\x1b[31mgame.bin"),
    (("p.plan", "game.bin@\x1b[31mgame", "test.bin@test", "--burnt", "burn.bin"), r"\x1b[31mgame"),
])  # fmt: skip
def test_bad_input_of_prove(romwright, folder, arguments, said):
    run = romwright("prove", *arguments)
    if arguments == ("",):
        assert run.status == 2 and run.err.startswith("error: ")
    else:
        assert run.status == 2 and said in run.err and "\x1b" not in run.err and not run.out


def test_a_hostile_plan_file_is_refused_in_words(romwright, folder):
    plan = json.loads((folder / "p.plan").read_text("utf-8"))
    for key, value in (("prefer", ["\x1b[31mred"]), ("banks", ["game", "../x"]), ("rows", []), ("version", 99)):
        (folder / "bad.plan").write_text(json.dumps(plan | {key: value}), "utf-8")
        run = romwright("prove", "bad.plan")
        assert run.status in (0, 2) and "\x1b" not in run.err + run.out
        assert run.status == 2 or key == "banks"


# --- prepare --plan ---------------------------------------------------------------------------------------------------


def test_json_and_steps_of_prepare(romwright, folder):
    run = romwright("prepare", *BOTH, "--plan", "p.plan", *READ, "-o", "again.bin", "--json")
    assert run.status == 0 and run.json["part"] == "2764"
    assert (folder / "again.bin").read_bytes() == (folder / "burn.bin").read_bytes()
    assert run.json["steps"][-1] == (
        "laid 2 banks into the 2764 as the plan's address lines choose them, every line straight"
    )
    assert [step.split(":")[0] for step in run.json["steps"][:-1]] and all(
        step.startswith(("game: ", "test: ")) for step in run.json["steps"][:-1]
    )


def test_sums_are_made_before_the_plan_moves_the_bytes(romwright, folder):
    """The sum of what the socket shows comes out, not that of the chip."""
    run = romwright(
        "prepare", "game.bin@game", "test.bin@test", "--plan", "p.plan", *READ, "--fix", "sum8=00@07FF",
        "-o", "fixed.bin",
    )
    assert run.status == 0, run.err
    burnt = (folder / "fixed.bin").read_bytes()
    assert sum(burnt[:2048]) % 256 == 0 and sum(burnt[2048:4096]) % 256 == 0


def test_crossed_lines_are_undone(romwright, tmp_path):
    (tmp_path / "rom.bin").write_bytes(spelt(8192))
    assert romwright(
        "wire", "rom-2364-24", "2764", "--polarity", "20=L", "--prefer", "crossed-lines", "--plan", "x.plan"
    ).status in (0, 1)
    run = romwright("prepare", "rom.bin", "--plan", "x.plan", *READ, "-o", "burn.bin")
    assert run.status == 0 and "crossed lines undone" in run.out
    assert (tmp_path / "burn.bin").read_bytes() != (tmp_path / "rom.bin").read_bytes()
    assert sorted((tmp_path / "burn.bin").read_bytes()) == sorted(spelt(8192))
    assert romwright("prove", "x.plan", "rom.bin", "--burnt", "burn.bin").status == 0
    assert romwright("prove", "x.plan", "rom.bin", "--burnt", "rom.bin").status == 1


@pytest.mark.parametrize("arguments, said", [
    (("game.bin", "test.bin", "--plan", "p.plan"), "no bank of the plan is named"),
    (("game.bin@game", "--plan", "p.plan"), "nothing is given for the bank test"),
    ((*BOTH, "x@y", "--plan", "p.plan"), "no bank of the plan is named"),
    ((*BOTH, "--plan", "p.plan", "--for", "2764"), "one of them"),
    (BOTH, "--for PART or --plan PLAN"),
    ((*BOTH, "--plan", "p.plan", "--split", "2"), "--split and --plan"),
    ((*BOTH, "--plan", "none.plan"), "none.plan"),
    ((*BOTH, "--plan", "game.bin"), "game.bin"),
    ((*BOTH, "--plan", "burn.bin"), "burn.bin"),
    (("empty.bin@game", "test.bin@test", "--plan", "p.plan"), "empty"),
    (("burn.bin@game", "test.bin@test", "--plan", "p.plan"), "burn.bin"),
])  # fmt: skip
def test_bad_input_of_prepare(romwright, folder, arguments, said):
    run = romwright("prepare", *arguments, "-o", "out.bin")
    assert run.status == 2 and said in run.err and not run.out and not (folder / "out.bin").exists()


@pytest.mark.parametrize("output", ["game.bin", "p.plan", "./p.plan", "test.bin"])
def test_no_input_is_ever_replaced(romwright, folder, output):
    """The plan is an input too."""
    before = (folder / output).read_bytes()
    run = romwright("prepare", *BOTH, "--plan", "p.plan", *READ, "-o", output, "--overwrite")
    assert run.status == 2 and "one of the inputs" in run.err and (folder / output).read_bytes() == before


def test_an_output_is_kept_unless_asked(romwright, folder):
    before = (folder / "burn.bin").read_bytes()
    run = romwright("prepare", "test.bin@game", "game.bin@test", "--plan", "p.plan", *READ, "-o", "burn.bin")
    assert run.status == 2 and "exists already" in run.err and (folder / "burn.bin").read_bytes() == before
    swapped = ("test.bin@game", "game.bin@test", "--plan", "p.plan", *READ, "-o", "burn.bin", "--overwrite")
    again = romwright("prepare", *swapped)
    assert again.status == 0 and (folder / "burn.bin").read_bytes() != before


def test_a_short_image_is_filled_before_it_is_laid(romwright, folder):
    run = romwright("prepare", "short.bin@game", "test.bin@test", "--plan", "p.plan", *READ, "-o", "out.bin")
    assert run.status == 0 and (folder / "out.bin").read_bytes()[:2048] == bytes(100) + b"\xff" * 1948


def test_a_page_of_one_s_own_is_not_replaced(romwright, folder):
    from romwright.datafiles import data_folder

    page = (data_folder("parts") / "2764.toml").read_text("utf-8").replace('name = "2764"', 'name = "mine"')
    (folder / "mine.toml").write_text(page, "utf-8")
    run = romwright("prepare", "game.bin", "--for", "mine.toml", "-o", "mine.toml", "--overwrite")
    assert run.status == 2 and "one of the inputs" in run.err and (folder / "mine.toml").read_text("utf-8") == page
    run = romwright("wire", "2716", "mine.toml", "--plan", "mine.toml", "--overwrite")
    assert run.status == 2 and "one of the inputs" in run.err and (folder / "mine.toml").read_text("utf-8") == page


@pytest.mark.parametrize("change", ["address", "data", "tie", "output"])
def test_a_row_edited_by_hand_is_found_without_any_bytes(romwright, tmp_path, change):
    """Two wires exchanged, a tie moved, an output of the chip on a rail: the plan says what each pin stands for."""
    pair = ("2764", "28C64") if change == "output" else ("27128", "27C256")
    made = romwright("wire", *pair, "--plan", "a.plan")
    plan = json.loads((tmp_path / "a.plan").read_text("utf-8"))
    rows = {row["function"]: row for row in plan["rows"] if row["chip"]}
    if change in ("address", "data"):
        one, other = (rows[name] for name in (("A0", "A1") if change == "address" else ("D0", "D1")))
        for row, end in ((one, other["socket"]), (other, one["socket"])):
            row |= {"how": "bend up and wire", "wire_to": end}
    elif change == "tie":
        rows["A14"] |= {"how": "tie to GND"}
    else:
        rows["RDY|/BUSY"] |= {"how": "tie to VCC"}
    (tmp_path / "a.plan").write_text(json.dumps(plan), "utf-8")
    run = romwright("prove", "a.plan")
    assert made.status in (0, 1) and run.status == 1 and "NOT EQUAL" in run.out, run.out + run.err


def test_a_plan_in_which_nothing_is_ever_read_proves_nothing(romwright, tmp_path):
    romwright("wire", "2716", "2732", "--plan", "a.plan")
    plan = json.loads((tmp_path / "a.plan").read_text("utf-8"))
    plan["beyond"]["idle"] = [{"/CE": "L"}, {"/CE": "H"}] if any("/CE" in r["signal"] for r in plan["rows"]) else []
    (tmp_path / "a.plan").write_text(json.dumps(plan), "utf-8")
    run = romwright("prove", "a.plan")
    assert run.status == 2 and "anything beyond it" in run.err
    board = ("wire", "U7", "27C512", "--board", "tern-tl-1", "--plan", "b.plan")
    assert romwright(*board).status == 0 and romwright("prove", "b.plan").status == 0
    plan = json.loads((tmp_path / "b.plan").read_text("utf-8"))
    plan["beyond"]["idle"] = [{"/RDS": "L"}, {"/RDS": "H"}]
    (tmp_path / "b.plan").write_text(json.dumps(plan), "utf-8")
    run = romwright("prove", "b.plan")
    assert run.status == 1 and "a state in which the original answers" in run.out
