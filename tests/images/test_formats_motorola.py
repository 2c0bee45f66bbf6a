"""S-records: the published examples, and our decision in every case that readers treat differently.

The cases are those of facts/formats-and-checksums.md, table 2.3 (36 files given to GNU objcopy 2.40). Rules: M68000 Family
Programmer's Reference Manual, Appendix C; 68EVB912B32UM/D, pages A-3, A-4; srec(5). Where no source has a rule we say so.
"""

import hashlib
import tomllib
import zlib
from io import BytesIO
from pathlib import Path

import pytest
from contract import check_format, parsed
from strategies import motorola_line as line

from romwright.errors import FormatError, OverlapError, SpanError
from romwright.images import formats
from romwright.images.formats import motorola
from romwright.images.image import Image

VECTORS = tomllib.loads((Path(__file__).parents[2] / "fixtures/vectors/s-record.toml").read_text("utf-8"))
BYTES = bytes(range(16))
BASE = line(1, 0, BYTES)
END = b"S9030000FC"


def text(*lines, end=b"\n"):
    return b"".join(line + end for line in lines)


def image(*pieces, entry=None):
    return Image.of(pieces, entry)


def named(entry):
    return entry["name"]


@pytest.mark.parametrize("vector", VECTORS["file"], ids=named)
def test_published_file(vector):
    content = vector["text"].strip().encode()
    found, _ = parsed(motorola, content)
    if "bytes" in vector:
        assert found == image(*((int(address, 16), bytes.fromhex(data)) for address, data in vector["bytes"].items()))
    if "size" in vector:
        assert found.size_bytes == vector["size"]
        assert zlib.crc32(found.defined()) == int(vector["crc32"], 16)
    if "sha256" in vector:
        assert hashlib.sha256(found.defined()).hexdigest() == vector["sha256"]
        assert sum(found.defined()) == int(vector["sum16"], 16)
    check_format(motorola, content, found)


@pytest.mark.parametrize("vector", VECTORS["refused"], ids=named)
def test_published_record_that_is_wrong(vector):
    with pytest.raises(FormatError) as caught:
        parsed(motorola, vector["text"].lstrip().encode())
    error = caught.value
    assert (error.line, error.record) == (vector["line"], vector["record"])
    assert vector["found"] in error.found
    assert vector["expected"] in error.expected


# name -> (text, the pieces it must give, the codes of the findings)
ACCEPTED = {
    "LF": (text(BASE, END), [(0, BYTES)], []),
    "CRLF": (text(BASE, END, end=b"\r\n"), [(0, BYTES)], []),
    "CR alone": (text(BASE, END, end=b"\r"), [(0, BYTES)], []),
    "blank lines": (b"\n\n" + BASE + b"\n\r\n\n" + END + b"\n\n", [(0, BYTES)], []),
    "no final line end": (BASE + b"\n" + END, [(0, BYTES)], []),
    "small hex digits": (b"S" + text(line(1, 0, b"\xab\xcd"), END).lower()[1:].replace(b"s", b"S"), [(0, b"\xab\xcd")], []),
    "two headers": (text(line(0, 0, b"HDR"), line(0, 0, b"x"), BASE, END), [(0, BYTES)], []),
    "header with an address": (text(line(0, 0x7633, b"x"), BASE, END), [(0, BYTES)], []),
    "no end record": (text(BASE), [(0, BYTES)], ["missing-end"]),
    "only an end record": (text(END), [], []),
    "only a header and an end record": (text(line(0, 0), END), [], []),
    "S5 right": (text(BASE, line(5, 1), END), [(0, BYTES)], []),
    "S5 in the middle counts so far": (text(BASE, line(5, 1), line(1, 16, b"x"), line(5, 2), END), [(0, BYTES + b"x")], []),
    "S6 right": (text(BASE, line(6, 1), END), [(0, BYTES)], []),
    "S5 counts S1, S2 and S3": (
        text(line(1, 0, b"a"), line(2, 1, b"b"), line(3, 2, b"c"), line(0, 0, b"h"), line(5, 3), END), [(0, b"abc")], [],
    ),
    "S4": (text(BASE, line(4, 0x100, b"x"), END), [(0, BYTES)], ["reserved-record"]),
    "S1 with an S7 end": (text(BASE, line(7, 0)), [(0, BYTES)], []),
    "S2 with an S8 end": (text(line(2, 0x123456, BYTES), line(8, 0)), [(0x123456, BYTES)], []),
    "S3 with an S7 end": (text(line(3, 0x12345678, BYTES), line(7, 0)), [(0x12345678, BYTES)], []),
    "data after the end record": (text(BASE, END, line(1, 0x40, b"x")), [(0, BYTES)], ["after-end"]),
    "Ctrl-Z at the end": (text(BASE, END) + b"\x1a\x1a", [(0, BYTES)], []),
    "out of order": (text(line(1, 0x20, b"B"), line(1, 0x10, b"A"), END), [(0x10, b"A"), (0x20, b"B")], []),
    "equal overlap": (text(BASE, line(1, 8, BYTES[8:] + b"x"), END), [(0, BYTES + b"x")], ["given-twice"]),
    "S1 past FFFF": (text(line(1, 0xFFF8, BYTES), END), [(0xFFF8, BYTES)], ["past-address-width"]),
    "S2 past FFFFFF": (text(line(2, 0xFFFFF8, BYTES), END), [(0xFFFFF8, BYTES)], ["past-address-width"]),
    "S1 up to FFFF": (text(line(1, 0xFFF0, BYTES), END), [(0xFFF0, BYTES)], []),
    "S3 up to 4 GiB": (text(line(3, 0xFFFFFFF0, BYTES), END), [(0xFFFFFFF0, BYTES)], []),
    "no data in a data record": (text(BASE, line(1, 0x100), END), [(0, BYTES)], []),
    "count FF": (text(line(1, 0, bytes(252)), line(2, 252, bytes(251)), line(3, 503, bytes(250)), END), [(0, bytes(753))], []),
}  # fmt: skip


@pytest.mark.parametrize("name", ACCEPTED)
def test_accepted(name):
    content, pieces, findings = ACCEPTED[name]
    check_format(motorola, content, image(*pieces), findings)


# name -> (text, line, record, words of "found", words of "expected")
REFUSED = {
    "small s": (text(BASE.replace(b"S", b"s"), END), 1, 1, "the line starts with 's11300000001'", "'S' at the start"),
    "space in front": (text(b" " + BASE, END), 1, 1, "the line starts with ' S1130000000'", "'S'"),
    "comment": (text(BASE, b"* comment", END), 2, 2, "the line starts with '* comment'", "'S'"),
    "symbol block": (text(b"$$ prog", b"  start $0", b"$$", BASE, END), 1, 1, "the line starts with '$$ prog'", "'S'"),
    "UTF-8 byte order mark": (b"\xef\xbb\xbf" + text(BASE, END), 1, 1, "a byte order mark", "plain ASCII text"),
    "UTF-16": (text(BASE, END).decode().encode("utf-16"), 1, 1, "a byte order mark", "plain ASCII text"),
    "zeros in front": (bytes(64) + text(BASE, END), 1, 1, r"the line starts with '\x00", "'S'"),
    "space after the checksum": (text(BASE + b" ", END), 1, 1, "character ' ' in column 43", "hex digits"),
    "text after the checksum": (text(BASE, BASE + b" text", END), 2, 2, "character ' ' in column 43", "hex digits"),
    "type A": (text(BASE, b"SA" + BASE[2:], END), 2, 2, "record type 'SA'", "S0 to S9"),
    "type superscript two": (text(BASE, b"S\xb2" + BASE[2:], END), 2, 2, "record type 'S\xb2'", "S0 to S9"),
    "an S and no more": (text(BASE, b"S", END), 2, 2, "record type 'S'", "S0 to S9"),
    "a type and no more": (text(BASE, b"S1", END), 2, 2, "0 hex digits", "two hex digits"),
    "one byte": (text(BASE, b"S100", END), 2, 2, "checksum 00", "checksum FF"),
    "two bytes": (text(BASE, b"S101FE", END), 2, 2, "count byte 01 in an S1 record", "at least 03"),
    "S3 with a short count": (text(BASE, b"S3030000FC", END), 2, 2, "count byte 03 in an S3 record", "at least 05"),
    "wrong checksum in S1": (text(BASE[:-2] + b"75", END), 1, 1, "checksum 75", "checksum 74"),
    "wrong checksum in S0": (text(b"S0030000FD", BASE, END), 1, 1, "checksum FD", "checksum FC"),
    "wrong checksum in S5": (text(BASE, b"S5030001FC", END), 2, 2, "checksum FC", "checksum FB"),
    "wrong checksum in S9": (text(BASE, b"S9030000FD"), 2, 2, "checksum FD", "checksum FC"),
    "S5 wrong": (text(BASE, line(5, 2), END), 2, 2, "S5 counts 2 data records, but 1 came before it", "equal counts"),
    "S6 wrong": (text(BASE, BASE, line(6, 1), END), 3, 3, "S6 counts 1 data records, but 2", "equal counts"),
    "S5 with data": (text(BASE, line(5, 1, b"x"), END), 2, 2, "S5 record, count of data bytes 1", "0"),
    "S9 with data": (text(BASE, line(9, 0, b"xy")), 2, 2, "S9 record, count of data bytes 2", "0"),
    "count too large": (text(b"S114" + BASE[4:], END), 1, 1, "count byte 14, but the record has 1 byte too few", "21 bytes"),
    "count too small": (text(b"S112" + BASE[4:], END), 1, 1, "count byte 12, but the record has 1 byte too many", "19 bytes"),
    "odd number of digits": (text(BASE, BASE[:-1], END), 2, 2, "39 hex digits: half a byte is missing", "two hex digits"),
    "first record cut short": (text(BASE[:20], END), 1, 1, "cut short", "20 bytes"),
    "last record cut short": (text(BASE) + BASE[:20], 2, 2, "cut short", "20 bytes"),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_refused(name):
    content, at_line, record, found, expected = REFUSED[name]
    with pytest.raises(FormatError) as caught:
        parsed(motorola, content)
    error = caught.value
    assert (error.line, error.record) == (at_line, record)
    assert found in error.found
    assert expected in error.expected
    assert f"line {at_line}, record {record}" in error.where


@pytest.mark.parametrize("name", REFUSED)
def test_refused_text_is_not_taken_for_raw(name):
    assert formats.sniff(REFUSED[name][0]) is motorola


def test_overlap_names_both_lines():
    with pytest.raises(OverlapError) as caught:
        parsed(motorola, text(line(0, 0), BASE, line(2, 8, b"\x08\x99"), END))
    assert (caught.value.address, caught.value.values) == (9, (9, 0x99))
    assert caught.value.where == "line 2 and line 3"


def test_stray_record_far_away_is_refused_with_the_span():
    with pytest.raises(SpanError) as caught:
        parsed(motorola, text(BASE, line(3, 0x4000000, b"x"), END))
    assert (caught.value.start, caught.value.stop) == (0, 0x4000001)


@pytest.mark.parametrize(("end", "entry"), [(line(9, 0x1234), 0x1234), (line(8, 0x123456), 0x123456), (line(7, 0x12345678), 0x12345678), (END, None)])  # fmt: skip
def test_start_address(end, entry):
    check_format(motorola, text(BASE, end), image((0, BYTES), entry=entry))


def test_finding_says_where():
    _, (finding,) = motorola.parse(BytesIO(text(b"", BASE, line(4, 0), END)))
    assert finding.evidence == "line 3"
    _, (finding,) = motorola.parse(BytesIO(text(BASE, END, b"x")))
    assert finding.title == "1 line was not read: after the S7, S8 or S9 record"


@pytest.mark.parametrize(
    ("address", "kind", "end"),
    [(0xFFFF, b"S1", b"S9"), (0x10000, b"S2", b"S8"), (0xFFFFFF, b"S2", b"S8"), (0x1000000, b"S3", b"S7")],
)
def test_narrowest_type_that_reaches_the_last_byte(address, kind, end):
    built = motorola.build(image((address, b"x"))).splitlines()
    assert [line[:2] for line in built] == [b"S0", kind, b"S5", end]
    built = motorola.build(image((0, b"x"), entry=address)).splitlines()
    assert [line[:2] for line in built] == [b"S0", kind, b"S5", end]


def test_more_than_65535_records_are_counted_by_s6():
    some = image(*((address, b"x") for address in range(0, 2 * 0x10000, 2)))
    built = motorola.build(some)
    assert built.splitlines()[-2] == line(6, 0x10000)
    assert parsed(motorola, built) == (some, [])


def test_addresses_above_4_gib_cannot_be_written():
    with pytest.raises(SpanError):
        motorola.build(image((0xFFFFFFF8, BYTES)))
