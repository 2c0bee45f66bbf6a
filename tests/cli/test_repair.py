"""romwright repair, as a user runs it."""

import hashlib
import json
import random
import zlib
from io import BytesIO

import pytest

GOOD = random.Random(21).randbytes(4096)


def risen(data, *places):
    """The data with a 0 turned to 1 in each of these bytes; returns it and the (address, bit) pairs."""
    spoilt, cells = bytearray(data), []
    for place in places:
        bit = next(bit for bit in range(8) if not data[place] >> bit & 1)
        spoilt[place] |= 1 << bit
        cells.append((place, bit))
    return bytes(spoilt), cells


@pytest.fixture
def files(tmp_path):
    """good.bin, and dump.bin with two risen bits; return the CRC-32 of the good one."""
    (tmp_path / "good.bin").write_bytes(GOOD)
    (tmp_path / "dump.bin").write_bytes(risen(GOOD, 0x123, 0xABC)[0])
    return f"{zlib.crc32(GOOD):08X}"


def changed(candidate):
    return [(each["address"], int(each["becomes"], 16)) for each in candidate["changes"]]


TRUE = [(0x123, GOOD[0x123]), (0xABC, GOOD[0xABC])]


def test_two_bits_by_crc32(romwright, files):
    done = romwright("repair", "dump.bin", "--crc32", files, "--decay", "rose", "--json")
    said = done.json
    assert done.status == 1
    assert TRUE in [changed(each) for each in said["candidates"]]
    assert said["count"] == len(said["candidates"]) and not said["holds"]
    assert said["sums"][0]["wanted"] == files
    cells = sum(byte.bit_count() for byte in risen(GOOD, 0x123, 0xABC)[0])
    assert said["cells"] == cells and said["tried"] == cells + cells * (cells - 1) // 2
    assert said["by_chance"] == pytest.approx(said["tried"] / 2**32)
    assert {"checksum-wrong", "one-correction"} == {each["code"] for each in said["findings"]}


def test_the_words(romwright, files):
    done = romwright("repair", "dump.bin", "--crc32", files, "--decay", "rose")
    assert "caution (one-correction)" in done.out and "more than 2 bits may be wrong" in " ".join(done.out.split())
    assert "Nothing beyond these bounds was tried." in done.out
    assert "/ 2^32" in done.out
    assert f"0123: {risen(GOOD, 0x123)[0][0x123]:02X} to {GOOD[0x123]:02X}" in done.out


def test_nothing_wrong(romwright, files):
    done = romwright("repair", "good.bin", "--crc32", files, "--decay", "rose")
    assert done.status == 0 and "nothing to repair" in done.out
    assert romwright("repair", "good.bin", "--crc32", files).status == 0  # no way need be stated
    done = romwright("repair", "good.bin", "--reference", "good.bin", "--json")
    assert done.status == 0 and done.json["identical"] and not done.json["changes"]


def test_nothing_is_written_unless_asked_and_then_checked(romwright, files, tmp_path):
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    romwright("repair", "dump.bin", "--crc32", files, "--decay", "rose")
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before
    call = ("repair", "dump.bin", "--crc32", files, "--decay", "rose", "-o", "new.bin")
    assert "it is not said which candidate" in romwright(*call).err
    assert "there is no candidate 7" in romwright(*call, "--candidate", 7).err
    assert not (tmp_path / "new.bin").exists()
    done = romwright(*call, "--candidate", 1, "--json")
    assert done.status == 1 and (tmp_path / "new.bin").read_bytes() == GOOD
    assert done.json["written"]["crc32"] == files
    assert done.json["written"]["sha256"] == hashlib.sha256(GOOD).hexdigest()
    (tmp_path / "new.bin").write_bytes(b"mine")
    assert "exists already" in romwright(*call, "--candidate", 1).err
    assert (tmp_path / "new.bin").read_bytes() == b"mine"
    over = romwright(*call[:-1], "dump.bin", "--candidate", 1, "--overwrite")
    assert over.status == 2 and (tmp_path / "dump.bin").read_bytes() == before["dump.bin"]


def test_several_candidates_are_never_called_one(romwright, files):
    total = f"{sum(GOOD) & 0xFFFF:04X}"
    done = romwright("repair", "dump.bin", "--sum", f"sum16={total}", "--decay", "rose", "--json")
    assert done.json["count"] > 1000 and len(done.json["candidates"]) == 20
    assert "several-corrections" in {each["code"] for each in done.json["findings"]}
    narrowed = romwright("repair", "dump.bin", "--sum", f"sum16={total}", "--crc32", files, "--decay", "rose", "--json")
    assert changed(narrowed.json["candidates"][0]) == TRUE and narrowed.json["count"] == 1


def test_the_syntax_of_prepare(romwright, files, tmp_path):
    """What `prepare` stores and fixes, `repair` checks with the same words."""
    (tmp_path / "in.bin").write_bytes(GOOD[:4000])
    wishes = ["sum16@0FFE:0000-0F9F", "xmodem@0FFC:0000-0FFB"]
    fix = "sum8=00@0FFB:0000-0FFF"
    options = [word for wish in wishes for word in ("--store", wish)]
    made = romwright("prepare", "in.bin", "--for", "2732", "--marking", "2732", *options, "-o", "burn.bin")
    assert made.status == 0, made.err
    sums = [word for wish in wishes for word in ("--sum", wish)]
    done = romwright("repair", "burn.bin", *sums, "--decay", "rose", "--json")
    assert done.status == 0 and [each["holds"] for each in done.json["sums"]] == [True, True]
    made = romwright("prepare", "in.bin", "--for", "2732", "--marking", "2732", "--fix", fix, "-o", "burn2.bin")
    assert made.status == 0, made.err
    assert romwright("repair", "burn2.bin", "--sum", fix, "--decay", "rose").status == 0
    (tmp_path / "rotten.bin").write_bytes(risen((tmp_path / "burn.bin").read_bytes(), 0x321)[0])
    done = romwright("repair", "rotten.bin", *sums, "--decay", "rose", "--json", "--bits", 1)
    assert changed(done.json["candidates"][0])[0][0] == 0x321


def test_an_expansion_rom_says_itself_what_it_sums_to(romwright, tmp_path):
    body = bytearray(b"\x55\xaa\x04\xeb\x10" + random.Random(2).randbytes(2043))
    body[-1] = -sum(body[:-1]) % 256
    dump, cells = risen(bytes(body), 0x155)
    (tmp_path / "rom.bin").write_bytes(dump + bytes(16))
    done = romwright("repair", "rom.bin", "--decay", "rose", "--bits", 1, "--list", 9999, "--json")
    said = done.json
    assert [(each["origin"], each["last"], each["wanted"]) for each in said["sums"]] == [("header", 0x7FF, "00")]
    assert said["bytes_unseen"] == 16
    assert all(each["address"] > 2 for one in said["candidates"] for each in one["changes"])
    assert [(0x155, body[0x155])] in [changed(each) for each in said["candidates"]]
    assert "header in the dump promises" in romwright("repair", "rom.bin", "--decay", "rose", "--sum", "sum16=1").out


def test_weak_cells_and_other_reads(romwright, files, tmp_path):
    cells = [{"address": address, "bit": bit} for address, bit in risen(GOOD, 0x123, 0xABC)[1]]
    (tmp_path / "weak.json").write_text(json.dumps({"unstable": [*cells, {"address": 7, "bit": 2, "ones": 3}]}))
    total = f"sum16={sum(GOOD) & 0xFFFF:04X}"
    call = ("repair", "dump.bin", "--sum", total, "--decay", "rose", "--json", "--weak", "weak.json")
    said = romwright(*call).json
    assert changed(said["candidates"][0]) == TRUE and said["candidates"][0]["weak"] == 2 and said["count"] > 1000
    said = romwright(*call, "--only-weak").json
    assert (said["count"], said["cells"]) == (1, 3 if GOOD[7] >> 2 & 1 else 2)
    (tmp_path / "again.bin").write_bytes(risen(GOOD, 0x123)[0])
    (tmp_path / "third.bin").write_bytes(risen(GOOD, 0xABC)[0])
    said = romwright(*call[:-2], "--read", "again.bin", "--read", "third.bin").json
    assert said["cells"] == 2 and [changed(each) for each in said["candidates"]] == [TRUE]


def test_a_hex_file_keeps_its_addresses_and_its_gaps(romwright, tmp_path):
    from romwright.images.formats import intel
    from romwright.images.image import Image

    low, high = GOOD[:256], GOOD[300:400]
    image = Image.of([(0xC000, risen(low, 0x21)[0]), (0xC200, high)])
    (tmp_path / "dump.hex").write_bytes(intel.build(image))
    crc = f"crc-32={zlib.crc32(low):08X}"
    call = ("repair", "dump.hex", "--decay", "rose")
    done = romwright(*call, "--sum", f"{crc}:C000-C0FF", "-o", "new.hex", "--candidate", 1, "--json")
    assert changed(done.json["candidates"][0]) == [(0xC021, low[0x21])]
    again, _ = intel.parse(BytesIO((tmp_path / "new.hex").read_bytes()))
    assert again == Image.of([(0xC000, low), (0xC200, high)])
    done = romwright(*call, "--sum", crc)
    assert done.status == 2 and "--fill" in done.err
    whole = low + b"\xff" * 256 + high
    done = romwright(*call, "--crc32", f"{zlib.crc32(whole):08X}", "--fill", "FF", "--json")
    assert changed(done.json["candidates"][0]) == [(0xC021, low[0x21])]
    assert all(not 0xC100 <= each["address"] < 0xC200 for one in done.json["candidates"] for each in one["changes"])


def test_with_a_reference_byte_by_byte(romwright, files, tmp_path):
    done = romwright("repair", "dump.bin", "--reference", "good.bin", "--json")
    assert done.status == 1 and done.json["repair"] and done.json["straight"]
    assert [(each["address"], int(each["becomes"], 16)) for each in done.json["changes"]] == TRUE
    assert "restores-reference" in {each["code"] for each in done.json["findings"]}
    assert "the reference's contents are restored" in romwright("repair", "dump.bin", "--reference", "good.bin").out
    done = romwright("repair", "dump.bin", "--reference", "good.bin", "-o", "new.bin")
    assert done.status == 1 and (tmp_path / "new.bin").read_bytes() == GOOD


def test_through_crossed_lines(romwright, files, tmp_path):
    crossed = bytearray(GOOD[(at & ~6) | (at >> 1 & 1) << 2 | (at >> 2 & 1) << 1] for at in range(4096))
    crossed[0x33] ^= 4
    (tmp_path / "crossed.bin").write_bytes(crossed)
    done = romwright("repair", "crossed.bin", "--reference", "good.bin", "--json")
    assert not done.json["straight"] and done.json["repair"]
    (only,) = done.json["changes"]
    assert (only["address"], only["reference_address"], int(only["becomes"], 16)) == (0x33, 0x35, GOOD[0x35])
    assert "First put the lines right" in romwright("repair", "crossed.bin", "--reference", "good.bin").out


@pytest.mark.parametrize("how", ["version", "patch", "random", "blank", "quarter"])
def test_another_version_is_not_called_a_repair(romwright, files, tmp_path, how):
    other = bytearray(GOOD)
    rng = random.Random(5)
    if how == "version":
        other[0x200:0x300] = rng.randbytes(256)
    elif how == "patch":
        other[0x40:0x46] = bytes(byte ^ 0x5B for byte in GOOD[0x40:0x46])
    else:
        other = {"random": rng.randbytes(4096), "blank": b"\xff" * 4096, "quarter": risen(GOOD[:1024], 5)[0]}[how]
    (tmp_path / "other.bin").write_bytes(bytes(other))
    done = romwright("repair", "other.bin", "--reference", "good.bin", "--json")
    assert done.status == 1 and not done.json["repair"] and not done.json["changes"]
    assert "not-a-repair" in {each["code"] for each in done.json["findings"]}
    done = romwright("repair", "other.bin", "--reference", "good.bin", "-o", "new.bin")
    assert done.status == 2 and "nothing is written" in done.err and not (tmp_path / "new.bin").exists()


BAD = {
    "nothing stated": ((), "no checksum is stated"),
    "two files": (("good.bin",), "one file too many"),
    "no way": (("--crc32", "12345678"), "it is not said which way bits went"),
    "wide": (("--crc32", "123456789", "--decay", "rose"), "no value of a crc-32"),
    "no hex": (("--crc32", "hello", "--decay", "rose"), "no value of a crc-32"),
    "wide sum": (("--sum", "sum8=100", "--decay", "rose"), "more than 8 bits"),
    "no kind": (("--sum", "sum9=00", "--decay", "rose"), "there is no checksum named 'sum9'"),
    "no form": (("--sum", "sum8", "--decay", "rose"), "'sum8' cannot be read"),
    "past the end": (("--sum", "sum16@1000", "--decay", "rose"), "does not lie in the image"),
    "range past the end": (("--sum", "sum16=0:0000-1000", "--decay", "rose"), "does not lie in the image"),
    "only its place": (("--sum", "sum16@0000:0000-0001", "--decay", "rose"), "nothing is left"),
    "a range as place": (("--sum", "sum16@0000-0001", "--decay", "rose"), "is a range"),
    "short digest": (("--sha256", "1234", "--decay", "rose"), "no sha256"),
    "order for nothing": (("--sum", "sum8=0", "--order", "big", "--decay", "rose"), "--order"),
    "bits": (("--sum", "sum8=0", "--bits", "0", "--decay", "rose"), "--bits"),
    "list": (("--sum", "sum8=0", "--list", "0", "--decay", "rose"), "--list"),
    "way": (("--sum", "sum8=0", "--decay", "up"), "--decay"),
    "both": (("--sum", "sum8=0", "--reference", "good.bin"), "go against each other"),
    "candidate alone": (("--sum", "sum8=0", "--decay", "rose", "--candidate", "1"), "no -o says where"),
    "only weak": (("--sum", "sum8=0", "--decay", "rose", "--only-weak"), "there is no --weak"),
    "no weak": (("--sum", "sum8=0", "--decay", "rose", "--weak", "none.json"), "there is no such file"),
    "weak folder": (("--sum", "sum8=0", "--decay", "rose", "--weak", "."), "this is a folder"),
    "no JSON": (("--sum", "sum8=0", "--decay", "rose", "--weak", "good.bin"), "this is no JSON"),
    "read folder": (("--sum", "sum8=0", "--decay", "rose", "--read", "."), "this is a folder"),
    "within": (("--sum", "sum8=0", "--decay", "rose", "--within", "2000-2FFF"), "does not lie in the image"),
    "too much": (("--sha256", "0" * 64, "--decay", "either", "--bits", "4"), "too many to go through"),
    "overwrite": (("--sum", "sum8=0", "--decay", "rose", "--overwrite"), "no -o names one"),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_options(romwright, files, case):
    options, said = BAD[case]
    done = romwright("repair", "dump.bin", *options)
    assert done.status == 2 and said in done.err and not done.out


@pytest.mark.parametrize(
    ("content", "status"), [(None, 2), (b"", 2), (b"A", 1), (b"\xff" * 2048, 1), (bytes(2048), 1), (b"\0", 1)]
)
def test_odd_dumps(romwright, files, tmp_path, content, status):
    if content is not None:
        (tmp_path / "odd.bin").write_bytes(content)
    for way in ("rose", "fell", "either") if content else ("rose",):
        assert romwright("repair", "odd.bin", "--crc32", "12345678", "--decay", way).status == status
    assert romwright("repair", "odd.bin", "--reference", "good.bin").status == status
    assert romwright("repair", "good.bin", "--reference", "odd.bin").status == status


def test_a_folder_is_no_dump(romwright, files, tmp_path):
    assert romwright("repair", tmp_path, "--reference", "good.bin").status == 2


def test_a_huge_dump_is_refused(romwright, tmp_path):
    with open(tmp_path / "huge.bin", "wb") as stream:
        stream.truncate(8 << 20)
    done = romwright("repair", "huge.bin", "--crc32", "12345678", "--decay", "rose")
    assert done.status == 2 and "4,194,304" in done.err
