"""Header structures, against 52 real image files and against every way to spoil a header.

Outside check: fixtures/option-roms.csv was worked out from Debian's packages without this code (shared facts, 6.3).
"""

import csv
import hashlib
import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from romwright.recognition.structures import find_header_faults, find_structures

ROWS = list(csv.DictReader((Path(__file__).parents[2] / "fixtures" / "option-roms.csv").open(encoding="utf-8")))
FILES = sorted({row["path"] for row in ROWS})
EFI = (
    "initsize={init_size} sig={efi_signature} subsystem={subsystem} machine={machine} "
    "compression={compression} image_off={efi_offset}"
)


def rom(units=1, code=b"\xcb", size=None, at_18=b"\0\0\0\0"):
    """An expansion ROM whose bytes sum to zero."""
    body = bytearray((b"\x55\xaa" + bytes([units]) + code).ljust(0x18, b"\0") + at_18).ljust(size or units * 512, b"\0")
    body[-1] = -sum(body[:-1]) & 0xFF
    return bytes(body)


def pci_rom(pci_at=0x1C, units=1, code_type=0, indicator=0x80, image_units=None):
    body = bytearray(rom(units))
    body[0x18:0x1A] = pci_at.to_bytes(2, "little")
    pci = b"PCIR" + bytes.fromhex("34121111") + b"\0\0\x18\0\0" + bytes.fromhex("000003")
    pci += (
        (units if image_units is None else image_units).to_bytes(2, "little")
        + b"\1\0"
        + bytes([code_type, indicator, 0, 0])
    )
    body[pci_at : pci_at + len(pci)] = pci
    body[-1] = 0
    body[-1] = -sum(body) & 0xFF
    return bytes(body)


@pytest.mark.parametrize("path", FILES)
def test_real_images(path):
    if not Path(path).exists():
        pytest.skip("needs the Debian packages seabios ipxe-qemu vgabios")
    data = Path(path).read_bytes()
    rows = [row for row in ROWS if row["path"] == path]
    if hashlib.sha256(data).hexdigest() != rows[0]["file_sha256"]:
        pytest.skip("needs the Debian packages seabios ipxe-qemu vgabios in the versions of fixtures/option-roms.csv")
    found = find_structures(data)
    assert not find_header_faults(found)
    roms = [s for s in found if s.kind == "expansion ROM"]
    if rows[0]["image"] == "":  # a system BIOS
        assert [s.kind for s in found] == ["system BIOS"]
        assert f"EA5BE000F0{found[0].facts['date'].encode().hex().upper()}{found[0].facts['rest']}" in rows[0]["note"]
        assert found[0].facts["entry"] == "F000:E05B"
        return
    assert len(roms) == len(rows)
    for row, one in zip(rows, roms, strict=True):
        assert_is(row, one, found, len(data))


def assert_is(row, one, found, size):
    """Compare an expansion ROM and what belongs to it with every column of its row."""
    facts = one.facts
    assert facts["image"] == int(row["image"]) and one.offset == int(row["image_offset"])
    for key, column in (("signature", "signature"), ("length_byte", "length_byte"), ("entry", "entry3")):
        assert facts[key] == row[column]
    assert facts["pcir_pointer"] == row["pcir_pointer"] and facts["pnp_pointer"] == row["pnp_pointer"]
    if facts["length_from"] == "length byte":
        assert (facts["length"], facts["sum8"], facts["crc32"]) == (
            int(row["length_bytes"]),
            row["image_sum8"],
            row["image_crc32"],
        )
    else:
        assert row["code_type"] == "03"
    inner = [s for s in found if one.offset < s.offset < one.offset + facts["length"]]
    pci = next((s.facts for s in inner if s.kind == "PCI data"), None)
    assert (pci is None) == (row["vendor"] == "")
    if pci:
        assert (pci["vendor"], pci["device"], pci["class_code"]) == (row["vendor"], row["device"], row["class_code"])
        assert pci["field_08"] == row["field08"]
        assert (pci["length"], pci["revision"]) == (int(row["pcir_length"], 16), int(row["pcir_revision"]))
        assert pci["image_length"] == int(row["pcir_image_length"])
        assert (pci["image_sum8"], pci["image_crc32"]) == (row["pcir_span_sum8"], row["pcir_span_crc32"])
        assert (pci["code_revision"], pci["code_type"], pci["indicator"]) == (
            row["code_revision"],
            row["code_type"],
            row["indicator"],
        )
        assert str(pci["max_runtime_units"] or "") == row["max_runtime"]
    pnp = next((s.facts for s in inner if s.kind == "PnP header"), None)
    words = pnp and f"rev {pnp['revision']} length {pnp['length']} sum8 {pnp['sum8']}"
    assert (words or "") == row["pnp_header"]
    if row["efi"]:
        assert EFI.format(**{**facts, "init_size": facts["init_size"] // 512}) == row["efi"]
    if row["bytes_after_last_image"]:
        after = sum(s.facts["bytes"] for s in found if s.kind == "after last image")
        assert after == int(row["bytes_after_last_image"])
        assert one.offset + (pci or facts)["image_length" if pci else "length"] + after == size


def only(data):
    return [(s.kind, s.problems) for s in find_structures(data)]


def test_a_sound_rom_and_what_follows_it():
    assert only(rom() + b"\xff" * 512) == [("expansion ROM", ()), ("after last image", ())]
    assert find_structures(rom() + b"\xff" * 512)[1].facts == {"bytes": 512, "fill": "FF"}
    assert only(pci_rom()) == [("expansion ROM", ()), ("PCI data", ())]


SPOILT = {
    "wrong sum": (rom()[:-1] + b"\0", "the 512 bytes sum to"),
    "length too great": (rom(units=0x80, size=512), "says 65,536 bytes, but only 512 are there"),
    "length zero": (rom(units=0, size=512), "the length byte says 0 bytes"),
    "cut short": (b"\x55\xaa\x40", "the header is cut short"),
    "PCI data cut short": (rom(size=512, at_18=b"\xfc\1\0\0")[:-4] + b"PCIR", "the PCI data is cut short"),
    "next image missing": (pci_rom(indicator=0), "55 AA is not there"),
    "image length zero": (pci_rom(image_units=0, indicator=0), "the PCI data says that its image has 0 bytes"),
    "image length too great": (pci_rom(image_units=9), "the PCI data says that its image has 4,608 bytes"),
    "EFI without its signature": (pci_rom(code_type=3), "the EFI signature is"),
    "PnP sum": (rom(at_18=b"\0\0\x40\0")[:0x40] + b"$PnP\1\2" + bytes(506 - 0x40), "the PnP header sums to"),
    "PnP cut short": (rom(at_18=b"\0\0\xfb\1")[:0x1FB] + b"$PnP\1", "the PnP header is cut short"),
    "PnP too long": (
        rom(at_18=b"\0\0\xf0\1")[:0x1F0] + b"$PnP\1\2" + bytes(10),
        "says 32 bytes, but only 16 are there",
    ),
}


@pytest.mark.parametrize("name", SPOILT)
def test_a_header_that_lies_is_told(name):
    data, words = SPOILT[name]
    found = find_structures(data)
    assert any(words in problem for s in found for problem in s.problems), [s.problems for s in found]
    assert find_header_faults(found)


def test_what_is_cut_short_or_empty_is_not_summed():
    (cut,) = find_structures(rom(units=0x80, size=512)[:-1] + b"\xe2")
    assert len(cut.problems) == 1 and "sum" not in cut.problems[0] + cut.detail
    assert cut.facts["sum_right"] is None
    (empty,) = find_structures(rom(units=0, size=16384))
    assert empty.problems == ("the length byte says 0 bytes",) and empty.facts["sum_right"] is None


@pytest.mark.parametrize(
    ("data", "severity"),
    [
        (b"\x55\xaa" * 4096, "note"),  # a test pattern
        (b"\x55\xaa\x40", "note"),
        (b"\x55\xaa\x10\x20" + bytes(range(256)) * 8, "note"),
        (rom(code=b"\xe9")[:-1] + b"\0", "fault"),  # a jump at its entry, but a wrong sum
        (rom(code=b"\xeb", units=4)[:512], "fault"),
        (pci_rom(image_units=9), "fault"),
    ],
)
def test_55_aa_alone_is_a_note(data, severity):
    found = find_structures(data)
    assert [finding.severity for finding in find_header_faults(found)] == [severity]
    assert found[0].facts["plausible"] == (severity == "fault")


def test_a_doubtful_header_hides_no_sound_rom_behind_it():
    found = find_structures(b"\x55\xaa\xff\0" + bytes(2044) + rom(4))
    assert [(s.offset, s.facts["plausible"]) for s in found] == [(0, False), (2048, True)]


def test_the_code_type_comes_before_byte_2():
    """Byte 2 of an EFI image is half of a size: its sum over byte 2 x 512 would be wrong, and is not asked for."""
    body = bytearray(pci_rom(units=2, code_type=3))
    body[2:8] = b"\1\0\xf1\x0e\0\0"
    body[600] = 1
    (image, pci) = find_structures(bytes(body))
    assert (image.facts["length"], image.facts["length_from"], image.problems) == (1024, "PCI data", ())


def test_roms_inside_an_image_are_found_in_steps_of_2k_if_their_sum_is_right():
    data = bytes(2048) + rom(4) + rom(1)[:-1] + b"\0" + bytes(1536) + rom(1)
    assert [(s.kind, s.offset) for s in find_structures(data)] == [("expansion ROM", 2048), ("expansion ROM", 6144)]


sound = st.sampled_from(
    [rom(), pci_rom(), pci_rom(code_type=3), rom(at_18=b"\0\0\x40\0"), pci_rom(indicator=0) + pci_rom()]
)


@settings(max_examples=400)
@given(sound | st.binary(max_size=64).map(lambda b: b"\x55\xaa" + b), st.data())
def test_no_bytes_can_break_it(data, draw):
    data = bytearray(data)
    for _ in range(draw.draw(st.integers(0, 6))):
        if data:
            data[draw.draw(st.integers(0, min(len(data) - 1, 0x60)))] = draw.draw(
                st.sampled_from([0, 1, 0x1C, 0x40, 0x50, 0x80, 0xFF])
            )
    data = bytes(data[: draw.draw(st.integers(0, len(data)))])
    for one in find_structures(data):
        assert 0 <= one.offset <= len(data) or one.kind == "missing image"
        assert json.loads(json.dumps(one.as_json()))["kind"] == one.kind


@given(st.binary(max_size=5000))
def test_any_bytes_give_an_answer(data):
    find_structures(data)
