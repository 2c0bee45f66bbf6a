"""The next action at the bench: what text closes with as `Next:` is what JSON has under `next`, in every command."""

import re
import shutil
from pathlib import Path

import pytest

TERN = Path(__file__).parents[2] / "fixtures" / "tern"
BOARD = ("wire", "U7", "28C256", "--board", "tern-tl-1", "--now", "LK1=2-3,LK2=1-2")
CALLS = {
    "inspect": ("inspect", "blank.bin"),
    "identify": ("identify", "rotten.bin"),
    "compare": ("compare", "good.bin", "rotten.bin"),
    "settle": ("settle", "good.bin", "rotten.bin"),
    "repair": ("repair", "rotten.bin", "--sum", "sum8=00", "--decay", "rose"),
    "repair --reference": ("repair", "rotten.bin", "--reference", "good.bin"),
    "prepare": ("prepare", "good.bin", "--for", "27128", "-o", "x.bin", "--overwrite"),
    "wire": ("wire", "rom-2364-24", "2764", "--polarity", "20=L"),
    "wire, open": ("wire", "rom-2364-24", "2764"),
    "wire --chips": ("wire", "27128", "2764", "--chips", "2"),
    "wire --second": ("wire", "2764", "27128", "--second", "2764"),
    "wire --board": BOARD,
    "prove": ("prove", "u7.plan"),
    "links": ("links", "tern-tl-1", "U7", "28C256"),
    "run": ("run", "job.toml"),
}


@pytest.mark.parametrize("call", CALLS.values(), ids=CALLS)
def test_text_and_json_say_the_same(romwright, tmp_path, call):
    shutil.copy(TERN / "logger.bin", tmp_path / "good.bin")
    shutil.copy(TERN / "logger-rotten.bin", tmp_path / "rotten.bin")
    (tmp_path / "blank.bin").write_bytes(b"\xff" * 2048)
    if call[0] == "identify":
        assert romwright("lists", "add", "t", "good.bin").status == 0
    if call[0] == "prove":
        romwright(*BOARD, "--plan", "u7.plan")
    (tmp_path / "job.toml").write_text(
        'title = "t"\n[contents]\nfiles = ["good.bin"]\n[fit]\nfrom = "27128"\nchip = "27128"\n'
        'confirmed = "27128"\n[outputs]\nname = "x"\n'
    )
    text, found = romwright(*call), romwright(*call, "--json").json
    shown = re.search(r"^Next: (.*?)\.$", text.out, re.MULTILINE | re.DOTALL)
    action = found[0]["next"] if isinstance(found, list) else found["next"]
    assert action == (" ".join(shown[1].split()) if shown else "")
    assert action or call[0] == "identify"


@pytest.mark.parametrize(
    "way", [("2732",), ("U7", "--board", "dunlin-dl-2"), ("27C64", "--chips", "2"), ("2716", "--second", "2716")]
)
def test_before_a_chip_is_burnt_its_marking_is_read(romwright, tmp_path, way):
    (tmp_path / "rom.bin").write_bytes(bytes(range(256)) * (32 if way[0] == "27C64" else 16))
    images = ("--image", "rom.bin") if "--second" not in way else ("--image", "a@first", "--image", "a@second")
    (tmp_path / "a").write_bytes(bytes(2048))
    command = ("wire", way[0], "2732", *way[1:], *images, "--burn", "x.bin", "--overwrite", "--json")
    unread = romwright(*command)
    assert unread.status == 1 and unread.json["next"] == "read the marking on the 2732, and state it with --marking"
    assert "read the marking" not in romwright(*command, "--marking", "2732").json["next"]
