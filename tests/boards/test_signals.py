"""Lines that something beyond CPU and glue drives: a bank latch, a switch. They may be at either level in any cycle."""

from msgspec.structs import replace

from romwright.boards.library import require_board, require_cpu
from romwright.datafiles import data_folder
from romwright.fit.settings import Study
from romwright.fit.verilog import build_verilog
from romwright.parts.library import require_part

TERN, CPU = require_board("tern-tl-1"), require_cpu("6502")
RIGHT = {"LK1": "1-2", "LK2": "1-2"}


def tern(right):
    """The Tern with a line BANK from a latch, and another right column of U7."""
    socket = replace(TERN.sockets[0], right=right)
    return replace(TERN, signals={"BANK": "U12, a latch"}, sockets=(socket,))


def judge(board, chip):
    return Study(board, CPU, board.sockets[0], require_part(chip)).judge(RIGHT)


def test_an_address_pin_on_a_latch_moves_while_the_chip_is_read():
    board = tern("+5V BANK A13 A8 A9 A11 /RDS A10 P20 D7 D6 D5 D4 D3")
    judged = judge(board, "27C512")
    assert any("A14 of the chip moves while the chip is read" in finding.title for finding in judged.findings)
    assert "BANK" in build_verilog(board, CPU, RIGHT, board.sockets[0], require_part("27C512"))


def test_an_enable_on_a_latch_may_be_off():
    board = tern("+5V P27 A13 A8 A9 A11 BANK A10 P20 D7 D6 D5 D4 D3")
    judged = judge(board, "27C512")
    assert judged.verdict == "fault" and "open-bus" in {finding.code.name for finding in judged.findings}
    off = next(case for case in judged.cases if case.outcome == "open bus")
    assert off.witness["BANK"] == "H"


def test_a_write_strobe_on_a_latch_is_a_stop():
    board = tern("+5V BANK A13 A8 A9 A11 /RDS A10 P20 D7 D6 D5 D4 D3")
    judged = judge(board, "28C256")
    assert judged.verdict == "stop"
    assert "write-strobe" in {finding.code.name for finding in judged.findings}


def test_boards_show_names_what_drives_them(romwright, tmp_path):
    text = (data_folder("boards") / "tern-tl-1.toml").read_text("utf-8").replace('"tern-tl-1"', '"mine"')
    text = text.replace("rails =", 'signals = { BANK = "U12, a latch" }\nrails =')
    (tmp_path / "mine.toml").write_text(text, "utf-8")
    shown = romwright("boards", "show", "mine.toml")
    assert shown.status == 0 and "U12, a latch" in shown.out
    assert romwright("boards", "show", "mine.toml", "--json").json["signals"] == {"BANK": "U12, a latch"}
