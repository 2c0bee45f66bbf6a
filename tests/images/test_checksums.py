"""Checksums against published values, and against a computation bit by bit that shares no code with any library."""

import subprocess
import tomllib
from pathlib import Path

import pytest
from conftest import require
from hypothesis import given
from hypothesis import strategies as st

from romwright.errors import UnknownNameError
from romwright.images import checksums

VECTORS = Path(__file__).parents[2] / "fixtures/vectors"


def vectors(name):
    return tomllib.loads((VECTORS / f"{name}.toml").read_text("utf-8"))


CRCS = {entry["name"]: entry for entry in vectors("crc")["crc"]}
TEXTS = vectors("crc")["text"]
DIGESTS = vectors("digests")["digest"]
SUMS = vectors("sums")["sum"]

each_crc = pytest.mark.parametrize("entry", CRCS.values(), ids=lambda entry: entry["name"])


def reflected(value, width):
    return int(f"{value:0{width}b}"[::-1], 2)


def bit_by_bit(entry, data):
    """Divide one bit at a time, by the parameters as the catalogue defines them."""
    width, poly, register, xorout = entry["width"], *(int(entry[key], 16) for key in ("poly", "init", "xorout"))
    for byte in data:
        for bit in range(8):
            feed = byte >> (bit if entry["refin"] else 7 - bit) & 1
            top = register >> (width - 1) & 1
            register = register << 1 & (1 << width) - 1
            if top ^ feed:
                register ^= poly
    return (reflected(register, width) if entry["refout"] else register) ^ xorout


def test_every_named_crc_has_its_vector():
    assert sorted(checksums.crc_widths()) == sorted(CRCS)
    assert all(entry["source"] for entry in CRCS.values())


@each_crc
def test_crc_gives_its_published_check_value(entry):
    assert checksums.crc(entry["name"], b"123456789") == int(entry["check"], 16)
    assert checksums.crc_width(entry["name"]) == entry["width"]
    assert len(entry["check"]) == -(-entry["width"] // 4)


@each_crc
def test_crc_of_a_second_text(entry):
    """Two CRCs share the check value A1, two others 7E: the check value alone is no proof."""
    assert checksums.crc(entry["name"], bytes(range(256))) == int(entry["bytes_00_ff"], 16)


@each_crc
def test_crc_agrees_bit_by_bit(entry):
    assert bit_by_bit(entry, b"123456789") == int(entry["check"], 16)
    for data in (b"", b"\0", b"\xff", b"\x80", bytes(range(256)), bytes(33)):
        assert checksums.crc(entry["name"], data) == bit_by_bit(entry, data)


@given(st.sampled_from(sorted(CRCS)), st.binary(max_size=64))
def test_crc_agrees_bit_by_bit_on_random_bytes(name, data):
    assert checksums.crc(name, data) == bit_by_bit(CRCS[name], data)


def test_the_two_values_tell_all_crcs_apart():
    values = {(entry["width"], entry["check"], entry["bytes_00_ff"]) for entry in CRCS.values()}
    assert len(values) == len(CRCS)
    assert CRCS["crc-8-itu"]["check"] == CRCS["crc-8-maxim"]["check"] == "A1"


@pytest.mark.parametrize("text", TEXTS, ids=lambda text: f"{text['crc']}-{text['data'][:8]}")
def test_crc_of_other_published_texts(text):
    assert checksums.crc(text["crc"], bytes.fromhex(text["data"])) == int(text["value"], 16)


def test_crc_32_leaves_its_residue():
    """Data followed by its CRC, low byte first, gives 2144DF1C: the complement of the catalogue's residue DEBB20E3."""
    data = b"123456789"
    assert (
        checksums.crc("crc-32", data + checksums.crc("crc-32", data).to_bytes(4, "little")) == 0xDEBB20E3 ^ 0xFFFFFFFF
    )


def test_unknown_crc():
    for ask in (checksums.crc_function, checksums.crc_width):
        with pytest.raises(UnknownNameError) as caught:
            ask("crc-32-mpg")
        assert "crc-32-mpeg" in caught.value.near


@pytest.mark.parametrize("entry", DIGESTS, ids=lambda entry: f"{entry['text'][:12]}x{entry.get('times', 1)}")
def test_digests(entry):
    found = checksums.measure(entry["text"].encode() * entry.get("times", 1))
    named = [name for name in ("md5", "sha1", "sha256") if name in entry]
    assert named
    for name in named:
        assert getattr(found, name) == entry[name]


def length_bytes(size):
    return size.to_bytes((size.bit_length() + 7) // 8, "little")


@pytest.mark.parametrize("entry", SUMS, ids=lambda entry: f"{entry['data'][:18]}x{entry.get('times', 1)}")
def test_sums(entry):
    data = bytes.fromhex(entry["data"]) * entry.get("times", 1)
    found = checksums.measure(data)
    for name in ("sum8", "sum16", "sum8_ones", "sum8_twos", "sum16_ones", "sum16_twos"):
        if name in entry:
            assert getattr(found, name) == entry[name], name
    for order in ("big", "little"):
        if f"words_{order}" in entry:
            assert checksums.word_sum(data, order) == int(entry[f"words_{order}"], 16), order
    if "cksum" in entry:
        assert checksums.crc("posix", data + length_bytes(len(data))) == int(entry["cksum"], 16)


# Sizes on both sides of the point from which the sums are made with numpy.
long_data = st.builds(lambda seed, count: seed * count, st.binary(min_size=1, max_size=8), st.integers(1, 3000))


@given(st.binary(max_size=300) | long_data)
def test_sums_and_complements(data):
    total = sum(data)
    found = checksums.measure(data)
    assert checksums.byte_sum(data) == total
    for width, name in ((8, "sum8"), (16, "sum16")):
        everything = (1 << width) - 1
        value, ones, twos = (int(getattr(found, name + end), 16) for end in ("", "_ones", "_twos"))
        assert value == total & everything
        assert value + ones == everything
        assert (value + twos) & everything == 0
        assert len(getattr(found, name)) == width // 4
    even, odd = sum(data[0::2]), sum(data[1::2])
    assert checksums.word_sum(data, "big") == 256 * even + odd
    assert checksums.word_sum(data, "little") == even + 256 * odd


@pytest.mark.parametrize("size", [0, 1, 9, 255, 256, 4095, 4096, 65536, 70001])
def test_coreutils_agree(size, tmp_path):
    """GNU coreutils as the witness: cksum, sum -s (the byte sum, folded into 16 bits), md5sum, sha1sum, sha256sum."""
    for program in ("cksum", "sum", "md5sum", "sha1sum", "sha256sum"):
        require(program, "coreutils")
    data = bytes((i * 131 + i // 256) & 0xFF for i in range(size))
    path = tmp_path / "data"
    path.write_bytes(data)

    def first(*command):
        return subprocess.run([*command, path], capture_output=True, text=True, check=True, timeout=60).stdout.split()[
            0
        ]

    found = checksums.measure(data)
    assert int(first("cksum")) == checksums.crc("posix", data + length_bytes(size))
    total = checksums.byte_sum(data)
    folded = (total & 0xFFFF) + (total >> 16)
    assert int(first("sum", "-s")) == (folded & 0xFFFF) + (folded >> 16)
    assert (first("md5sum"), first("sha1sum"), first("sha256sum")) == (found.md5, found.sha1, found.sha256)


def test_hex_digits_have_the_full_width():
    found = checksums.measure(b"")
    assert (found.crc32, found.sum8, found.sum16) == ("00000000", "00", "0000")


@pytest.mark.parametrize(
    ("spelling", "name"),
    [
        ("CRC-32", "crc-32"), ("crc32", "crc-32"), ("Crc16", "crc-16"), ("Xmodem", "xmodem"), ("CrcX25", "x-25"),
        ("CRC-CCITT-FALSE", "crc-ccitt-false"), ("CRC-16/ARC", "crc-16"), ("crc 16 / ibm-3740", "crc-ccitt-false"),
    ],
)  # fmt: skip
def test_a_crc_may_be_spelt_as_people_do(spelling, name):
    assert checksums.crc_name(spelling) == name


def test_catalogue_names_are_those_of_the_vectors():
    """Source: the public catalogue, as fixtures/vectors/crc.toml gives its names."""
    listed = {entry["catalogue"]: name for name, entry in CRCS.items() if "/" in entry.get("catalogue", "")}
    assert checksums.CATALOGUE == listed


def test_an_ambiguous_name_is_no_name():
    with pytest.raises(UnknownNameError):
        checksums.crc_name("CRC-16/CCITT")
