"""Outside references: GNU objcopy reads what we write and we read what it writes; so does the intelhex library.

objcopy drops the load address of `-O binary` and fills gaps with 00 unless told otherwise, so a flat image is compared with
`--gap-fill`, and addresses are compared through its other hex format.
"""

import io
import random
import subprocess

import pytest
from conftest import require
from contract import parsed

from romwright.images.formats import intel, motorola
from romwright.images.image import Image

FILL = 0xA5
TARGETS = {intel: "ihex", motorola: "srec"}
RANGES = {
    "64K": (0, 1 << 16),
    "1M": (0, 1 << 20),
    "16M": (1 << 20, 1 << 24),
    "4G": (1 << 24, 1 << 32),
    "over 1M": (0xF0000, 0x120000),
}
COUNT = 30  # images for each format and range

both = pytest.mark.parametrize("module", [intel, motorola], ids=["intel", "motorola"])
everywhere = pytest.mark.parametrize("where", RANGES)


@pytest.fixture
def objcopy(tmp_path):
    """Convert bytes with GNU objcopy."""
    require("objcopy", "binutils")

    def convert(data, source, target, *options):
        (tmp_path / "in").write_bytes(data)
        subprocess.run(
            ["objcopy", "-I", source, "-O", target, *options, "in", "out"],
            cwd=tmp_path,
            check=True,
            capture_output=True,
            timeout=60,
        )
        return (tmp_path / "out").read_bytes()

    return convert


def some_images(where, entry=False):
    """Random images with gaps in a range of addresses, the same each time; many lie across a 64K border."""
    chance = random.Random(where)
    low, high = RANGES[where]
    for _ in range(COUNT):
        window = min(high - low, 1 << 20)
        base = chance.randrange(low, high - window + 1)
        pieces, at = [], base + chance.choice([0, 1, 0xFF])
        for _ in range(chance.randint(1, 8)):
            size = chance.choice([1, 2, 15, 16, 17, 31, 33, 256, 5000])
            if chance.random() < 0.5:
                at = max(at, ((at >> 16) + 1 << 16) - chance.randint(0, 40))
            if at + size > base + window:
                break
            pieces.append((at, chance.randbytes(size)))
            at += size + chance.choice([0, 1, 2, 15, 16, 4096, 70000])
        start = chance.randrange(1, 0x10000) if entry else None
        yield Image.of(pieces or [(base, b"x")], start)


@both
@everywhere
def test_objcopy_reads_what_we_write(module, where, objcopy):
    for image in some_images(where):
        flat = objcopy(module.build(image), TARGETS[module], "binary", f"--gap-fill=0x{FILL:02X}")
        assert flat == image.flat(FILL)


@both
@everywhere
def test_objcopy_converts_what_we_write_and_we_read_that(module, where, objcopy):
    """Addresses and gaps: through objcopy's two hex writers, each read by our reader."""
    for image in some_images(where, entry=True):
        written = module.build(image)
        for other in (intel, motorola):
            found, findings = parsed(other, objcopy(written, TARGETS[module], TARGETS[other]))
            assert found == image
            assert findings == []


@everywhere
def test_intelhex_reads_what_we_write(where):
    from intelhex import IntelHex

    for image in some_images(where, entry=True):
        witness = IntelHex(io.StringIO(intel.build(image).decode()))
        assert witness.segments() == [(s.start, s.stop) for s in image.segments]
        assert all(witness.tobinarray(s.start, s.stop - 1).tobytes() == s.data for s in image.segments)
        assert witness.start_addr == {"EIP": image.entry}


@everywhere
def test_we_read_what_intelhex_writes(where):
    from intelhex import IntelHex

    for image in some_images(where):
        witness = IntelHex()
        for segment in image.segments:
            witness.puts(segment.start, segment.data)
        out = io.StringIO()
        witness.write_hex_file(out)
        assert parsed(intel, out.getvalue().encode()) == (image, [])


@both
@pytest.mark.parametrize("address", [0, 0x8000, 0xFFF0, 0xE0000, 0x123456, 0xFFFF8000])
def test_we_read_a_binary_that_objcopy_placed(module, address, objcopy):
    """The start address is the load address; objcopy writes it even though nobody asked for it."""
    data = random.Random(address).randbytes(3000)
    placed = objcopy(data, "binary", TARGETS[module], f"--change-section-address=.data=0x{address:X}")
    image, findings = parsed(module, placed)
    assert [(s.start, s.data) for s in image.segments] == [(address, data)]
    assert findings == []


@pytest.mark.parametrize(
    "options", [("--srec-len=28",), ("--srec-len=250", "--srec-forceS3"), ("--srec-forceS3",)], ids=" ".join
)
def test_we_read_every_width_of_s_record(options, objcopy):
    data = random.Random(28).randbytes(3000)
    image, findings = parsed(motorola, objcopy(data, "binary", "srec", *options))
    assert (image.defined(), findings) == (data, [])


def test_objcopy_refuses_the_wrong_checksum_that_we_refuse(objcopy):
    """Both refuse; ours says what the checksum should be in hex (objcopy: in decimal)."""
    good = intel.build(Image.from_bytes(bytes(range(64))))
    bad = good.replace(b"0001020304", b"0001020305", 1)
    with pytest.raises(subprocess.CalledProcessError) as caught:
        objcopy(bad, "ihex", "binary")
    assert b"checksum" in caught.value.stderr
    with pytest.raises(intel.FormatError) as refused:
        parsed(intel, bad)
    assert refused.value.line == 1
