"""Which CPU: hand-assembled starts of programs for each, real images, and bytes that are for none.

The snippets are written for these tests, as a program for that CPU starts (stack, ports, memory clear, main loop).
"""

import random
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from romwright.recognition.cpus import NEEDED, judge_cpus

ROOT = Path(__file__).parents[2]


def placed(size, pieces, fill=0xFF):
    """An image of `size` bytes with pieces {offset: hex} in it; offsets below zero count from the end."""
    image = bytearray([fill]) * size
    for at, text in pieces.items():
        code = bytes.fromhex(text)
        at = at if at >= 0 else size + at
        image[at : at + len(code)] = code
    return bytes(image)


Z80 = placed(8192, {
    0: "F3 31 00 40 C3 00 01",  # DI; LD SP,4000; JP 0100
    0x08: "C3 80 01", 0x10: "C3 90 01", 0x18: "C3 A0 01", 0x38: "F5 C5 D5 E5 C3 B0 01",
    0x100: "ED 56 AF D3 10 3E 82 D3 13 21 00 20 11 01 20 01 FF 0F 36 00 ED B0 CD 50 01 FB 18 FE",
})  # fmt: skip
I8080 = placed(4096, {
    0: "F3 31 00 24 3E 92 D3 07 AF D3 04 C3 40 00", 0x38: "C3 80 00",
    0x40: "21 00 20 36 00 23 7E B7 CA 50 00 CD 90 00 0E 05 0D C2 4F 00 FB C3 40 00",
})  # fmt: skip
M6502 = placed(4096, {
    0: "78 D8 A2 FF 9A A9 00 8D 00 80 A2 00 95 00 E8 D0 FB 20 40 F0 58 4C 11 F0",
    0x80: "48 8A 48 AD 01 80 68 AA 68 40", -6: "80 F0 00 F0 80 F0",
})  # fmt: skip
M6800 = placed(2048, {
    0: "0F 8E 00 7F CE 00 00 6F 00 08 8C 00 80 26 F8 86 FF B7 80 04 4F B7 80 05 BD F8 40 0E 20 F6",
    0x60: "B6 80 04 97 10 3B", -8: "F8 60 F8 60 F8 60 F8 00",
})  # fmt: skip
M6809 = placed(8192, {
    0: "1A 50 10 CE 07 FF 4F 1F 8B 8E 00 00 6F 80 8C 04 00 26 F9 86 34 B7 FF 01 BD E0 80 1C AF 20 F0",
    0x90: "B6 FF 00 97 20 3B", -16: "00 00 E0 90 E0 90 E0 90 E0 90 E0 90 E0 90 E0 00",
})  # fmt: skip
M68000 = placed(16384, {
    0: "00 08 00 00 00 00 04 00 00 00 05 00 00 00 05 10 00 00 05 20",
    0x400: "46 FC 27 00 4E 70 13 FC 00 00 00 0F 00 01 41 F9 00 04 00 00 "
    "70 00 32 3C 0F FF 20 C0 51 C9 FF FC 4E B9 00 00 05 40 60 F8",
})  # fmt: skip
M68000_MOVED = placed(16384, {  # seen at 0 while it resets, lives at FC0000
    0: "00 00 80 00 00 FC 01 00",
    0x100: "46 FC 27 00 4F F9 00 00 80 00 33 FC 00 0F 00 FF 82 40 "
    "4E B9 00 FC 02 00 42 79 00 FF 82 60 4E F9 00 FC 01 04",
})  # fmt: skip
I8086 = placed(16384, {
    -16: "EA 00 00 00 FC",  # JMP FAR FC00:0000
    0: "FA FC B8 40 00 8E D8 8E D0 BC 00 02 B0 80 E6 63 33 FF 33 C0 B9 00 80 F3 AB E8 20 00 FB EB FD",
})  # fmt: skip

CASES = {
    "Z80": (Z80, "Z80/8080"), "8080": (I8080, "Z80/8080"), "6502": (M6502, "6502"), "6800": (M6800, "6800"),
    "6809": (M6809, "6809"), "68000": (M68000, "68000"), "68000 elsewhere": (M68000_MOVED, "68000"),
    "8086": (I8086, "8086"),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_a_program_start_is_recognised(name):
    image, cpu = CASES[name]
    best, *others = judge_cpus(image)
    assert best.cpu == cpu and best.score >= NEEDED, best
    assert not others and any("code at" in words for words in best.evidence)


@pytest.mark.parametrize("name", CASES)
def test_without_its_vectors_and_start_it_is_unknown(name):
    image, _ = CASES[name]
    rolled = image[len(image) // 2 + 5 :] + image[: len(image) // 2 + 5]
    assert [one.cpu for one in judge_cpus(rolled)] == ["unknown"]


@pytest.mark.parametrize("name", CASES)
def test_a_program_read_twice_or_in_a_blank_chip_is_recognised(name):
    image, cpu = CASES[name]
    assert judge_cpus(image + b"\xff" * len(image))[0].cpu == cpu
    if not name.startswith("68000"):
        assert judge_cpus(image * 2)[0].cpu == cpu


def moved(image, high, to):
    """The program of an image at another multiple of its size: the high bytes of its own addresses are changed."""
    return bytes(to if byte == high else byte for byte in image)


@pytest.mark.parametrize(
    ("image", "high", "cpu"), [(M6502, 0xF0, "6502"), (M6800, 0xF8, "6800"), (M6809, 0xE0, "6809")]
)
@pytest.mark.parametrize("place", [0, 1])
def test_a_program_for_a_board_that_leaves_out_address_lines(image, high, cpu, place):
    """The vectors stand at the end of memory and point to a mirror image of the chip lower down."""
    base = 0x1000 if len(image) < 0x1000 else len(image)
    (found,) = judge_cpus(moved(image, high, base >> 8), base * place)
    assert found.cpu == cpu and found.score >= NEEDED
    lines = f"A{len(image).bit_length() - 1} to A15"
    assert found.evidence[0].startswith(f"second look, at {base:04X}-{base + len(image) - 1:04X}: ")
    assert lines in found.evidence[0]
    assert f"reset vector {base:04X}" in found.evidence[1]
    assert "second look" not in " ".join(judge_cpus(image)[0].evidence)


@pytest.mark.parametrize("name", ["logger", "diagnostic", "logger-rotten"])
def test_the_programs_of_the_demo_are_6502(name):
    data = (ROOT / "fixtures" / "tern" / f"{name}.bin").read_bytes()
    for start in (0, 0xC000):
        (found,) = judge_cpus(data, start)
        assert found.cpu == "6502"
        assert (
            f"reset vector {int.from_bytes(data[0x3FFC:0x3FFE], 'little'):04X} at FFFC lies inside the image"
            in found.evidence
        )
    assert judge_cpus(data, 0x4000)[0].cpu == "unknown"  # at 4000-7FFF no 6502 finds its vectors here


@pytest.mark.parametrize("name", ["bios.bin", "bios-256k.bin", "bios-microvm.bin", "vgabios-ati.bin", "vgabios.bin"])
def test_real_images_are_8086(name):
    path = Path("/usr/share/seabios") / name
    if not path.exists():
        pytest.skip("needs the Debian packages seabios ipxe-qemu vgabios")
    assert [one.cpu for one in judge_cpus(path.read_bytes())] == ["8086"]


def test_a_real_z80_program_is_recognised_and_parts_of_it_are_not():
    """Debian's cbios 0.28: its main ROM holds the reset entry and seven restarts, the others are called by it."""
    folder = Path("/usr/share/cbios")
    if not folder.exists():
        pytest.skip("needs the Debian package cbios")
    (main,) = judge_cpus((folder / "cbios_main_msx1.rom").read_bytes())
    assert (
        main.cpu == "Z80/8080"
        and "restarts at 0008, 0010, 0018, 0020, 0028, 0030, 0038 jump into the image" in main.evidence
    )
    assert judge_cpus((folder / "cbios_sub.rom").read_bytes())[0].cpu == "unknown"


def test_300_random_images_are_for_no_cpu():
    source = random.Random(1984)
    for _ in range(300):
        size = source.choice([512, 2048, 4096, 8192, 16384, 32768, 65536, 131072])
        assert [one.cpu for one in judge_cpus(source.randbytes(size))] == ["unknown"]


PROSE = b'When the lamp is out, change the fuse. $4C 20 31 !2"#x1:2>  JMP LDA 1, 2, 3. \r\n' * 900
NOT_PROGRAMS = {
    "one byte": b"\x78",
    "erased": b"\xff" * 32768,
    "zero": bytes(65536),
    "text": PROSE[:65536],
    "short text": PROSE[:4096],
    "text in capitals": PROSE.upper()[:16384],
    "text, high bit set": bytes(b | 0x80 for b in PROSE[:8192]),
    "ramp": bytes(range(256)) * 64,
    "falling ramp": bytes(range(255, -1, -1)) * 64,
    "55 AA": b"\x55\xaa" * 4096,
    "longs": b"".join(n.to_bytes(4, "big") for n in range(4096)),
    "little longs": b"".join(n.to_bytes(4, "little") for n in range(4096)),
    "words": b"".join(n.to_bytes(2, "big") for n in range(4096)),
    "squares": b"".join((n * n & 0xFFFFFF).to_bytes(4, "big") for n in range(4096)),
}


@pytest.mark.parametrize("name", NOT_PROGRAMS)
def test_blank_text_and_tables_are_for_no_cpu(name):
    (answer,) = judge_cpus(NOT_PROGRAMS[name])
    assert answer.cpu == "unknown" and answer.evidence


@pytest.mark.parametrize("value", range(256))
def test_one_byte_over_and_over_is_for_no_cpu(value):
    assert judge_cpus(bytes([value]) * 4096)[0].cpu == "unknown"


@given(st.binary(max_size=64), st.binary(max_size=64), st.sampled_from([0, 0xC000, 0xF0000]))
def test_any_bytes_give_an_answer(head, tail, start):
    answers = judge_cpus(head + b"\xff" * 100 + tail, start)
    assert answers and all(one.evidence and one.cpu for one in answers)


@given(st.binary(min_size=1, max_size=8), st.integers(1, 4096))
def test_a_short_pattern_over_and_over_is_for_no_cpu(pattern, times):
    assert judge_cpus(pattern * times)[0].cpu == "unknown"
