"""Intel HEX: the published examples, and our decision in every case that readers treat differently.

The cases are those of facts/formats-and-checksums.md, table 1.4, found by giving 51 files to two readers (intelhex 2.3.0 and
GNU objcopy 2.40). Where they disagree or keep silent, the specification decides: Intel, Hexadecimal Object File Format
Specification, Revision A, 6 January 1988.
"""

import hashlib
import tomllib
import zlib
from io import BytesIO
from pathlib import Path

import pytest
from contract import check_format, parsed
from strategies import intel_line as line

from romwright.errors import FormatError, GapError, InputError, OverlapError, SpanError
from romwright.images import formats
from romwright.images.formats import intel
from romwright.images.image import Image

VECTORS = tomllib.loads((Path(__file__).parents[2] / "fixtures/vectors/intel-hex.toml").read_text("utf-8"))
BYTES = bytes(range(16))
BASE = line(0, 0, BYTES)
END = b":00000001FF"


def text(*lines, end=b"\n"):
    return b"".join(line + end for line in lines)


def image(*pieces, entry=None):
    return Image.of(pieces, entry)


def named(entry):
    return entry["name"]


@pytest.mark.parametrize("vector", VECTORS["file"], ids=named)
def test_published_file(vector):
    expected = image(
        *((int(address, 16), bytes.fromhex(data)) for address, data in vector["bytes"].items()),
        entry=int(vector["entry"], 16) if "entry" in vector else None,
    )
    check_format(intel, vector["text"].strip().encode(), expected)
    data = expected.defined()
    if "size" in vector:
        assert len(data) == vector["size"]
        assert zlib.crc32(data) == int(vector["crc32"], 16)
        assert hashlib.sha256(data).hexdigest() == vector["sha256"]
        assert sum(data) == int(vector["sum16"], 16)


@pytest.mark.parametrize("vector", VECTORS["refused"], ids=named)
def test_published_record_that_is_wrong(vector):
    with pytest.raises(FormatError) as caught:
        parsed(intel, vector["text"].lstrip().encode())
    error = caught.value
    assert (error.line, error.record) == (vector["line"], vector["record"])
    assert vector["found"] in error.found
    assert vector["expected"] in error.expected


# name -> (text, the pieces it must give, the codes of the findings)
ACCEPTED = {
    "LF": (text(BASE, END), [(0, BYTES)], []),
    "CRLF": (text(BASE, END, end=b"\r\n"), [(0, BYTES)], []),
    "CR alone": (text(BASE, END, end=b"\r"), [(0, BYTES)], []),
    "CR CR LF": (text(BASE, END, end=b"\r\r\n"), [(0, BYTES)], []),
    "no final line end": (BASE + b"\n" + END, [(0, BYTES)], []),
    "blank lines": (b"\n\n" + BASE + b"\n\r\n\n" + END + b"\n\n", [(0, BYTES)], []),
    "small letters": (text(BASE, END).lower(), [(0, BYTES)], []),
    "Ctrl-Z after the end record": (text(BASE, END) + b"\x1a" * 100, [(0, BYTES)], []),
    "Ctrl-Z right behind the end record": (text(BASE) + END + b"\x1a", [(0, BYTES)], []),
    "zeros after the end record": (text(BASE, END) + bytes(100), [(0, BYTES)], []),
    "no end record": (text(BASE), [(0, BYTES)], ["missing-end"]),
    "Ctrl-Z and no end record": (text(BASE) + b"\x1a\x1a", [(0, BYTES)], ["missing-end"]),
    "only an end record": (END, [], []),
    "data after the end record": (text(BASE, END, line(0, 0x40, b"x")), [(0, BYTES)], ["after-end"]),
    "rubbish after the end record": (text(BASE, END, b"Checksum: 1234"), [(0, BYTES)], ["after-end"]),
    "a second end record": (text(BASE, END, END), [(0, BYTES)], ["after-end"]),
    "out of order": (text(line(0, 0x20, b"B"), line(0, 0x10, b"A"), END), [(0x10, b"A"), (0x20, b"B")], []),
    "equal overlap": (text(BASE, line(0, 8, BYTES[8:] + b"x"), END), [(0, BYTES + b"x")], ["given-twice"]),
    "no data in a data record": (text(BASE, line(0, 0x100, b""), END), [(0, BYTES)], []),
    "255 data bytes": (text(line(0, 0, bytes(255)), END), [(0, bytes(255))], []),
    "segment base": (text(line(2, 0, b"\x10\x00"), BASE, END), [(0x10000, BYTES)], []),
    "segment base, offset beyond 1 MiB": (text(line(2, 0, b"\xff\xff"), line(0, 0xFFFF, b"x"), END), [(0x10FFEF, b"x")], []),
    "segment base, then cleared": (
        text(line(2, 0, b"\x10\x00"), BASE, line(2, 0, b"\0\0"), line(4, 0, b"\0\x10"), BASE, END),
        [(0x10000, BYTES), (0x100000, BYTES)],
        [],
    ),
    "linear base": (text(line(4, 0, b"\x00\x01"), BASE, END), [(0x10000, BYTES)], []),
    "a newer base replaces the older": (
        text(line(4, 0, b"\x00\x01"), BASE, line(4, 0, b"\x00\x02"), BASE, END),
        [(0x10000, BYTES), (0x20000, BYTES)],
        [],
    ),
    "segment base, then linear base": (
        text(line(2, 0, b"\x10\x00"), BASE, line(4, 0, b"\x00\x02"), BASE, END),
        [(0x10000, BYTES), (0x20000, BYTES)],
        ["mixed-bases"],
    ),
    "linear base, then segment base": (
        text(line(4, 0, b"\x00\x02"), BASE, line(2, 0, b"\x10\x00"), BASE, END),
        [(0x10000, BYTES), (0x20000, BYTES)],
        ["mixed-bases"],
    ),
    "segment wrap": (
        text(line(2, 0, b"\x20\x00"), line(0, 0xFFF8, BYTES), END),
        [(0x2FFF8, BYTES[:8]), (0x20000, BYTES[8:])],
        ["address-wrap"],
    ),
    "two segment wraps in one piece": (
        text(line(2, 0, b"\x20\x00"), line(0, 0xFFFF, b"ab"), line(2, 0, b"\x40\x00"), line(0, 0xFFFE, b"cdef"), END),
        [(0x2FFFF, b"a"), (0x20000, b"b"), (0x4FFFE, b"cd"), (0x40000, b"ef")],
        ["address-wrap"],
    ),
    "no base, past FFFF": (text(line(0, 0xFFF8, BYTES), END), [(0xFFF8, BYTES)], ["address-wrap"]),
    "up to FFFF and no further": (text(line(2, 0, b"\x20\x00"), line(0, 0xFFF0, BYTES), END), [(0x2FFF0, BYTES)], []),
    "linear base, past xxxxFFFF": (text(line(4, 0, b"\x00\x01"), line(0, 0xFFF8, BYTES), END), [(0x1FFF8, BYTES)], []),
    "up to 4 GiB": (text(line(4, 0, b"\xff\xff"), line(0, 0xFFF0, BYTES), END), [(0xFFFFFFF0, BYTES)], []),
}  # fmt: skip


@pytest.mark.parametrize("name", ACCEPTED)
def test_accepted(name):
    content, pieces, findings = ACCEPTED[name]
    check_format(intel, content, image(*pieces), findings)


# name -> (text, line, record, words of "found", words of "expected")
REFUSED = {
    "space before the colon": (text(b" " + BASE, END), 1, 1, "the line starts with ' :10", "':' at the start"),
    "line without a colon": (text(BASE, BASE[1:], END), 2, 2, "the line starts with '10000000", "':'"),
    "comment": (text(b"; a comment", BASE, END), 1, 1, "the line starts with '; a comment", "':'"),
    "UTF-8 byte order mark": (b"\xef\xbb\xbf" + text(BASE, END), 1, 1, "a byte order mark", "plain ASCII text"),
    "UTF-16": (text(BASE, END).decode().encode("utf-16"), 1, 1, "a byte order mark", "plain ASCII text"),
    "zeros in front": (bytes(64) + text(BASE, END), 1, 1, r"the line starts with '\x00", "':'"),
    "zeros between": (text(BASE, BASE.replace(b"0", b"\0"), END), 2, 2, r"character '\x00' in column 3", "hex digits"),
    "space after the checksum": (text(BASE, BASE + b" ", END), 2, 2, "character ' ' in column 44", "hex digits"),
    "text after the checksum": (text(BASE + b" ; text", END), 1, 1, "character ' ' in column 44", "hex digits"),
    "digits after the checksum": (text(BASE + b"00", END), 1, 1, "count byte 10, but the record has 1 byte too many", "21 bytes"),
    "end record with data": (text(BASE, line(1, 0, b"x")), 2, 2, "type 01 record (end of file), count of data bytes 1", "0"),
    "wrong checksum": (text(BASE, BASE[:-2] + b"79", END), 2, 2, "checksum 79", "checksum 78"),
    "wrong checksum after blank lines": (b"\n\r\n" + BASE[:-2] + b"79\n", 3, 1, "checksum 79", "checksum 78"),
    "odd number of digits": (text(BASE, BASE[:-1], END), 2, 2, "41 hex digits: half a byte is missing", "two hex digits"),
    "no hex digit": (text(BASE[:9] + b"g" + BASE[10:], END), 1, 1, "character 'g' in column 10", "hex digits"),
    "count too big": (text(b":11" + BASE[3:], END), 1, 1, "count byte 11, but the record has 1 byte too few", "22 bytes"),
    "count too small": (text(b":0F" + BASE[3:], END), 1, 1, "count byte 0F, but the record has 1 byte too many", "20 bytes"),
    "first record cut short": (text(BASE[:21], END), 1, 1, "cut short", "21 bytes"),
    "last record cut short": (text(BASE) + BASE[:21], 2, 2, "cut short", "21 bytes"),
    "a colon and no more": (text(BASE, b":", END), 2, 2, "0 hex digits", "two hex digits"),
    "one byte": (text(BASE, b":00", END), 2, 2, "count byte 00", "5 bytes"),
    "type 06": (text(BASE, line(6, 0, b"")), 2, 2, "record type 06", "type 00 to 05"),
    "type FF": (text(BASE, line(0xFF, 0, b"")), 2, 2, "record type FF", "type 00 to 05"),
    "type 02 with an address": (text(line(2, 1, b"\0\0"), BASE), 1, 1, "type 02 record (extended segment address), address field 0001", "0000"),
    "type 04 with an address": (text(line(4, 256, b"\0\0"), BASE), 1, 1, "type 04 record (extended linear address), address field 0100", "0000"),
    "type 02, three bytes": (text(line(2, 0, b"\0\0\0"), BASE), 1, 1, "count of data bytes 3", "2"),
    "type 04, no bytes": (text(line(4, 0, b""), BASE), 1, 1, "count of data bytes 0", "2"),
    "type 03, two bytes": (text(line(3, 0, b"\0\0"), BASE), 1, 1, "type 03 record (start segment address), count of data bytes 2", "4"),
    "type 05, last and short": (text(BASE, line(5, 0, b"")), 2, 2, "count of data bytes 0", "4"),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_refused(name):
    content, at_line, record, found, expected = REFUSED[name]
    with pytest.raises(FormatError) as caught:
        parsed(intel, content)
    error = caught.value
    assert (error.line, error.record) == (at_line, record)
    assert found in error.found
    assert expected in error.expected
    assert f"line {at_line}, record {record}" in error.where


@pytest.mark.parametrize("name", REFUSED)
def test_refused_text_is_not_taken_for_raw(name):
    assert formats.sniff(REFUSED[name][0]) is intel


def test_faults_behind_the_end_record_are_not_faults_of_the_file():
    found, codes = parsed(intel, text(BASE, END, BASE[:-2] + b"79"))
    assert found == image((0, BYTES))
    assert codes == ["after-end"]


def test_overlap_names_both_lines_and_values_in_file_order():
    content = text(line(0, 0x10, b"ABCD"), BASE, line(0, 0x08, b"12345678AxCD"), END)
    with pytest.raises(OverlapError) as caught:
        parsed(intel, content)
    error = caught.value
    # 0008 to 000F differ between lines 2 and 3 first.
    assert (error.address, error.values) == (8, (0x08, ord("1")))
    assert error.where == "line 2 and line 3"
    content = text(line(0, 0x10, b"ABCD"), line(0, 0x0E, b"__AxCD"), END)
    with pytest.raises(OverlapError) as caught:
        parsed(intel, content)
    assert (caught.value.address, caught.value.values) == (0x11, (ord("B"), ord("x")))
    assert caught.value.where == "line 1 and line 2"
    assert "0011" in caught.value.found
    assert "42, then 78" in caught.value.found


def test_overlap_made_by_a_wrap_names_both_lines():
    content = text(line(2, 0, b"\x20\x00"), line(0, 0xFFFE, b"abcd"), line(0, 1, b"x"), END)
    with pytest.raises(OverlapError) as caught:
        parsed(intel, content)
    assert (caught.value.address, caught.value.values) == (0x20001, (ord("d"), ord("x")))
    assert caught.value.where == "line 2 and line 3"


def test_data_past_4_gib_goes_to_address_0_so_that_the_span_is_too_large():
    with pytest.raises(SpanError) as caught:
        parsed(intel, text(line(4, 0, b"\xff\xff"), line(0, 0xFFF8, BYTES), END))
    assert (caught.value.start, caught.value.stop) == (0, 1 << 32)


def test_stray_record_far_away_is_refused_with_the_span():
    with pytest.raises(SpanError) as caught:
        parsed(intel, text(BASE, line(4, 0, b"\x80\x00"), line(0, 0x10, b"x"), END))
    assert "2,147,483,665 bytes, from 0 to 80000010" in caught.value.found
    assert "64 MiB" in caught.value.expected


def test_span_of_64_mib_is_the_limit():
    far = line(4, 0, b"\x03\xff")
    assert parsed(intel, text(line(0, 0, b"a"), far, line(0, 0xFFFF, b"b"), END))[0].span_bytes == 64 << 20
    with pytest.raises(SpanError):
        parsed(intel, text(line(0, 0, b"a"), far, line(0, 0xFFFF, b"bc"), END))


@pytest.mark.parametrize(
    ("lines", "entry", "findings"),
    [
        ([line(3, 0, b"\x51\x62\x00\x05")], 0x51625, []),
        ([line(5, 0, b"\x12\x34\x56\x78")], 0x12345678, []),
        ([line(3, 0, b"\x10\x00\x23\x45"), line(5, 0, b"\x00\x01\x23\x45")], 0x12345, []),
        ([line(3, 0, b"\x17\x9b\x00\x08"), line(3, 0, b"\x17\x9b\x00\x09")], 0x179B9, ["starts-differ"]),
        ([line(3, 0, b"\x51\x62\x00\x05"), line(5, 0, b"\x12\x34\x56\x78")], 0x12345678, ["starts-differ"]),
    ],
)
def test_start_address(lines, entry, findings):
    check_format(intel, text(*lines, BASE, END), image((0, BYTES), entry=entry), findings)
    check_format(intel, text(BASE, *lines, END), image((0, BYTES), entry=entry), findings)


def test_end_record_with_an_address_is_the_old_way_to_name_the_start():
    check_format(intel, text(BASE, line(1, 0x1234, b"")), image((0, BYTES), entry=0x1234), ["end-with-address"])
    started = text(line(5, 0, b"\0\0\x55\x55"), BASE, line(1, 0x1234, b""))
    check_format(intel, started, image((0, BYTES), entry=0x5555), ["end-with-address"])


def test_finding_says_where():
    _, (finding,) = intel.parse(BytesIO(text(BASE, b"", line(2, 0, b"\x20\x00"), line(0, 0xFFF8, BYTES), END)))
    assert finding.evidence == "line 4"
    _, (finding,) = intel.parse(BytesIO(text(BASE)))
    assert finding.evidence == "the last record is on line 1"
    _, (finding,) = intel.parse(BytesIO(text(BASE, END, BASE, BASE, END)))
    assert finding.title == "3 lines were not read: after the end record"
    assert finding.evidence == "the end record is on line 2"


def test_no_gap_is_filled():
    built = intel.build(image((0x0000, b"A"), (0x20000, b"B")))
    assert built == b":0100000041BE\r\n:020000040002F8\r\n:0100000042BD\r\n:00000001FF\r\n"


def test_records_are_split_at_64k_borders():
    built = intel.build(image((0xFFF0, bytes(range(32)))))
    assert built.splitlines() == [
        line(0, 0xFFF0, bytes(range(16))), line(4, 0, b"\0\1"), line(0, 0, bytes(range(16, 32))), END,
    ]  # fmt: skip


def test_addresses_above_4_gib_cannot_be_written():
    with pytest.raises(SpanError):
        intel.build(image((0xFFFFFFF8, BYTES)))
    with pytest.raises(SpanError):
        intel.build(image((0, BYTES)).moved(-4))


def test_errors_are_input_errors():
    assert issubclass(FormatError, InputError)
    assert issubclass(OverlapError, InputError)
    assert issubclass(SpanError, InputError)
    assert not issubclass(GapError, InputError)
