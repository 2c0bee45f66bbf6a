"""Reading files: recognised by content, errors that name the file, and texts longer than one chunk."""

import contextlib
import os
import threading
from io import BytesIO

import pytest
from contract import parsed
from strategies import intel_line, motorola_line

from romwright.errors import FormatError, InputError, OverlapError, SpanError, UnknownNameError
from romwright.images import formats
from romwright.images.formats import intel, motorola, raw, records
from romwright.images.image import SPAN_LIMIT, Image

DATA = bytes(range(256)) * 4
IMAGE = Image.from_bytes(DATA, 0x8000)
END = b":00000001FF\n"


@pytest.fixture
def file(tmp_path):
    """Write a file and return its path."""

    def write(name, data):
        path = tmp_path / name
        path.write_bytes(data)
        return path

    return write


@pytest.mark.parametrize("module", formats.FORMATS, ids=lambda module: module.NAME)
@pytest.mark.parametrize("name", ["rom.bin", "rom.hex", "rom.s19", "rom"])
def test_content_tells_the_format_and_the_name_does_not(module, name, file):
    loaded = formats.read(file(name, module.build(IMAGE)))
    assert loaded.format == module.NAME
    assert loaded.image == (Image.from_bytes(DATA) if module is raw else IMAGE)
    assert loaded.findings == ()


def test_a_named_format_is_kept_to(file):
    path = file("rom.hex", intel.build(IMAGE))
    assert formats.read(path, "raw").image.flat() == path.read_bytes()
    with pytest.raises(FormatError) as caught:
        formats.read(path, "s-record")
    assert (caught.value.file, caught.value.line) == (str(path), 1)
    with pytest.raises(UnknownNameError) as caught:
        formats.read(path, "intel-hec")
    assert caught.value.near == ("intel-hex",)


@pytest.mark.parametrize(
    ("head", "module"),
    [
        (b"", raw),
        (b"\xff" * 4096, raw),
        (bytes(4096), raw),
        (b":", raw),
        (b"S1", raw),
        (b":xyzxyzxyz", raw),
        (b"; see :10000000", raw),
        (b"\x4c\x00\x80:1000000000010203\n", raw),  # code in front, a record-like text behind
        (b":10", intel),  # cut short in the first record
        (b"S11", motorola),
        (b"\xff\xfe:\x001\x000\x000\x000\x000\x000\x000\x000\x00", intel),
        (b"\xfe\xff\x00:\x001\x000\x000\x000\x000\x000\x000\x000", intel),
        (":10000000".encode("utf-16-le"), intel),  # without a byte order mark
        (":10000000".encode("utf-16-be"), intel),
        ("S11300002".encode("utf-16-le"), motorola),
        (":10000000".encode("utf-8-sig"), intel),
        (b"a title\r:020000040001F9\r", intel),
        (b"R\xe9sum\xe9 of the ROM\n:020000040001F9\n", intel),
        (b"\x1a\r\n\t :020000040001F9\n", intel),
        (b"a title\nS1130000285F245F2212226A000424290008237C2A\n", motorola),
    ],
)
def test_sniff(head, module):
    assert formats.sniff(head) is module


def test_a_binary_with_text_of_records_inside_stays_raw(file):
    """A ROM may well hold such a text, but it holds control bytes too."""
    data = b"\x4c" + bytes(99) + b"\n:020000040001F9\n" + bytes(100)
    assert formats.read(file("rom.hex", data)).format == "raw"


def test_missing_file_folder_and_empty_file(tmp_path, file):
    with pytest.raises(InputError, match="no such file") as caught:
        formats.read(tmp_path / "missing")
    assert caught.value.where == str(tmp_path / "missing")
    with pytest.raises(InputError, match="folder") as caught:
        formats.read(tmp_path)
    assert caught.value.where == str(tmp_path)
    path = file("empty.hex", b"")
    with pytest.raises(InputError, match="empty") as caught:
        formats.read(path)
    assert caught.value.where == str(path)


@pytest.mark.parametrize("text", [END, b"S9030000FC\n", motorola_line(0, 0, b"title") + b"\n", intel_line(0, 0, b"")])
def test_records_without_data_are_refused(text, file):
    """Of two readers intelhex takes such a file for 0 bytes, objcopy refuses it: it "has no sections"."""
    path = file("a.hex", text)
    with pytest.raises(InputError, match="no record of the file holds data") as caught:
        formats.read(path)
    assert caught.value.where == str(path)


def test_errors_name_the_file_the_line_and_the_record(file):
    path = file("a.hex", b"\n" + intel_line(0, 0, b"a") + b"\n:0100000041BF\n" + END)
    with pytest.raises(FormatError) as caught:
        formats.read(path)
    assert caught.value.where == f"{path}, line 3, record 2"
    path = file("b.hex", intel_line(0, 0, b"a") + b"\n" + intel_line(0, 0, b"b") + b"\n" + END)
    with pytest.raises(OverlapError) as caught:
        formats.read(path)
    assert caught.value.where == f"{path}, line 1 and line 2"
    path = file("c.s19", motorola_line(3, 0, b"a") + b"\n" + motorola_line(3, 0x7FFFFFFF, b"a") + b"\n")
    with pytest.raises(SpanError) as caught:
        formats.read(path)
    assert caught.value.where == str(path)


def test_a_raw_file_of_more_than_64_mib_is_refused(tmp_path):
    path = tmp_path / "large.bin"
    with open(path, "wb") as stream:
        stream.truncate(SPAN_LIMIT + 5)
    with pytest.raises(InputError, match="more than 67,108,864 bytes") as caught:
        formats.read(path)
    assert caught.value.where == str(path) and "right file" in caught.value.help


@pytest.mark.parametrize("line", [b"", b":10", b"S10"], ids=["raw", "intel", "motorola"])
def test_an_endless_pipe_is_read_up_to_the_limit(line, monkeypatch):
    """A record first, then lines for ever: refused at the limit (1 MiB here) and not read on."""
    first = {b"": b"", b":10": intel_line(0, 0, b"a"), b"S10": motorola_line(1, 0, b"a")}[line] + b"\n"
    monkeypatch.setattr(raw, "SPAN_LIMIT", 1 << 20)
    monkeypatch.setattr(records, "TEXT_LIMIT", 1 << 20)
    for module in formats.FORMATS:
        monkeypatch.setattr(module, "LIMIT_BYTES", 1 << 20)
    receive, send = os.pipe()
    sent = []

    def write():
        with open(send, "wb", 0) as stream, contextlib.suppress(BrokenPipeError):
            stream.write(first)
            while True:
                sent.append(stream.write(b"\n" * 4096))

    writer = threading.Thread(target=write)
    writer.start()
    with pytest.raises(InputError, match="more than 1,048,576 bytes"):
        formats.read(f"/dev/fd/{receive}")
    os.close(receive)
    writer.join()
    assert sum(sent) < 2 << 20


@pytest.mark.parametrize(
    ("coding", "words"),
    [
        ("utf-8-sig", "the line starts with a byte order mark"),
        ("utf-16", "the line starts with a byte order mark"),
        ("utf-16-le", "zeros between the characters, as in UTF-16"),
        ("utf-16-be", "zeros between the characters, as in UTF-16"),
    ],
)
def test_text_in_another_coding_is_refused_as_such(coding, words, file):
    for module in (intel, motorola):
        path = file("a", module.build(IMAGE).decode().encode(coding))
        with pytest.raises(FormatError) as caught:
            formats.read(path)
        assert (caught.value.found, caught.value.line, caught.value.expected) == (words, 1, "plain ASCII text")


@pytest.mark.parametrize(
    ("digits", "words"),
    [
        ("", "0 hex digits"),
        ("1", "1 hex digit: half a byte is missing"),
        ("123", "3 hex digits: half a byte is missing"),
    ],
)
def test_digits_are_counted_in_words(digits, words, file):
    with pytest.raises(FormatError) as caught:
        formats.read(file("a.hex", intel_line(0, 0, b"a") + b"\n:" + digits.encode() + b"\n" + END))
    assert caught.value.found == words


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes on this system")
@pytest.mark.parametrize("module", formats.FORMATS, ids=lambda module: module.NAME)
def test_a_pipe_is_read(module, tmp_path):
    path = tmp_path / "pipe"
    os.mkfifo(path)
    writer = threading.Thread(target=path.write_bytes, args=(module.build(IMAGE),))
    writer.start()
    loaded = formats.read(path)
    writer.join()
    assert loaded.format == module.NAME
    assert loaded.image.defined() == DATA


# Texts longer than a chunk (256 KiB). Lines are numbered, so a wrong count shows.

CHUNK = records.CHUNK_BYTES
SIZE = 16
LINES = 3 * CHUNK // 45


def long_text(module, end=b"\r\n", shift=0):
    """Many records, about three chunks of text, with `shift` bytes of line ends in front; and what they hold."""
    data = bytes((7 * i + i // 251) & 0xFF for i in range(LINES * SIZE))
    lines = []
    for i in range(LINES):
        row = data[i * SIZE : (i + 1) * SIZE]
        if module is intel and i * SIZE % 0x10000 == 0 and i:
            lines.append(intel_line(4, 0, (i * SIZE >> 16).to_bytes(2, "big")))
        lines.append(intel_line(0, i * SIZE & 0xFFFF, row) if module is intel else motorola_line(2, i * SIZE, row))
    lines.append(intel_line(1, 0, b"") if module is intel else motorola_line(8, 0))
    return b"\n" * shift + end.join(lines) + end, data


BOTH = pytest.mark.parametrize("module", [intel, motorola], ids=["intel", "motorola"])


@BOTH
@pytest.mark.parametrize("end", [b"\r\n", b"\n", b"\r", b"\r\r\n"])
def test_long_text(module, end):
    text, data = long_text(module, end)
    assert parsed(module, text) == (Image.from_bytes(data), [])


@BOTH
def test_every_place_of_the_chunk_border_in_a_record(module):
    """The border falls on each character of a line in turn: CR LF is split by it in one of them."""
    text, data = long_text(module)
    split = 0
    for shift in range(text.index(b"\n") + 2):
        shifted = b"\n" * shift + text
        split += shifted[CHUNK - 1 : CHUNK + 1] == b"\r\n"
        assert parsed(module, shifted) == (Image.from_bytes(data), [])
    assert split


@BOTH
@pytest.mark.parametrize("end", [b"\r\n", b"\n", b"\r", b"\n\r\n"])
@pytest.mark.parametrize("shift", [0, 1, 17])
@pytest.mark.parametrize("where", [0.01, 0.332, 0.334, 0.5, 0.99])
def test_a_fault_in_a_later_chunk_has_the_right_line(module, end, shift, where):
    text, _ = long_text(module, end, shift)
    lines = text.split(end)
    i = int(len(lines) * where)
    lines[i] = lines[i][:-2] + b"00" if not lines[i].endswith(b"00") else lines[i][:-2] + b"01"
    bad = end.join(lines)
    before = bad[: bad.index(lines[i])]
    with pytest.raises(FormatError) as caught:
        parsed(module, bad)
    assert caught.value.line == 1 + len(before.replace(b"\r\n", b"\n").replace(b"\r", b"\n").split(b"\n")) - 1
    assert caught.value.record == 1 + len(before.split())
    assert "checksum" in caught.value.found


@BOTH
def test_the_earlier_of_two_kinds_of_fault_is_named(module):
    """A record of an unknown meaning on line 3 comes before a wrong checksum on line 5, in one chunk."""
    text, _ = long_text(module)
    lines = text.split(b"\r\n")
    lines[2] = intel_line(7, 0, b"") if module is intel else motorola_line(5, 9)
    lines[4] = lines[4][:-2] + b"ZZ"
    with pytest.raises(FormatError) as caught:
        parsed(module, b"\r\n".join(lines))
    assert (caught.value.line, caught.value.record) == (3, 3)


@BOTH
def test_an_overlap_across_chunks_names_both_lines(module):
    text, _ = long_text(module, b"\n")
    extra = (
        intel_line(4, 0, b"\0\0") + b"\n" + intel_line(0, 5, b"\xfe")
        if module is intel
        else motorola_line(1, 5, b"\xfe")
    )
    *lines, end, _ = text.split(b"\n")
    with pytest.raises(OverlapError) as caught:
        parsed(module, b"\n".join([*lines, extra, end]))
    assert caught.value.where == f"line 1 and line {len(lines) + 1 + (module is intel)}"
    assert caught.value.values == (35, 0xFE)


@BOTH
def test_what_follows_the_end_record_is_counted_over_chunks(module):
    text, data = long_text(module, b"\n")
    image, (finding,) = module.parse(BytesIO(text + text))
    assert image == Image.from_bytes(data)
    assert finding.code.name == "after-end"
    count = text.count(b"\n")
    assert finding.title.startswith(f"{count:,} lines were not read")
    assert finding.evidence.endswith(f"line {count}")


@BOTH
@pytest.mark.parametrize("byte", [b"0", b"\0", b"A", b"\x1a"])
def test_a_line_without_end_is_refused_quickly(module, byte):
    """16 MiB without a line end: refused when the first chunk is seen, not gathered again with every chunk."""
    lead = b":10000000" if module is intel else b"S113000000"
    read = []

    class Stream(BytesIO):
        def read(self, size=-1):
            block = super().read(size)
            read.append(len(block))
            return block

    with pytest.raises(FormatError) as caught:
        module.parse(Stream(lead + byte * (16 << 20)))
    assert caught.value.line == 1
    assert sum(read) <= 2 * CHUNK


@BOTH
def test_what_is_given_twice_is_told_with_its_first_address_and_lines(module):
    line = intel_line if module is intel else motorola_line
    kind = 0 if module is intel else 1
    rows = [(0x40, b"ABCD"), (0x10, b"EFGH"), (0x43, b"DE"), (0x12, b"GHI")]
    text = b"\n\n".join([line(kind, *row) for row in rows] + [b":00000001FF" if module is intel else b"S9030000FC"])
    _, (finding,) = module.parse(BytesIO(text))
    assert finding.title == "3 bytes are given twice, with equal values"
    assert finding.evidence == "the first is at 0012, on line 3 and line 7"


@BOTH
def test_what_follows_the_end_record_is_read_in_pieces(module):
    """The longest text asked for at once is a chunk, however long the tail is."""
    asked = []

    class Stream(BytesIO):
        def read(self, size=-1):
            asked.append(size)
            return super().read(size)

    _, (finding,) = module.parse(Stream(module.build(IMAGE) + b"what is this\n" * 200_000 + b"\0\x1a \n" * 9))
    assert finding.title.startswith("200,000 lines were not read")
    assert set(asked) == {CHUNK}
