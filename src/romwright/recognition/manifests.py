"""Checksum lists as text: lines of GNU and BSD checksum programs, BagIt manifests, and CSV with a header row.

Each parser takes lines of text and yields Rows; the first bad line stops it with an InputError that names file and
line.
Sources: GNU coreutils manual ("cksum", "md5sum"), RFC 8493 (BagIt), RFC 4180 (CSV).
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Iterator
from typing import NoReturn

from romwright.errors import InputError
from romwright.recognition.digests import BYTES, Row

BY_LENGTH = {32: "md5", 40: "sha1", 56: "sha224", 64: "sha256", 96: "sha384", 128: "sha512"}  # hex digits, no tag
TAGS = {
    "MD5": "md5", "SHA1": "sha1", "SHA224": "sha224", "SHA256": "sha256", "SHA384": "sha384", "SHA512": "sha512",
    "BLAKE2b": "blake2b", "SHA2-224": "sha224", "SHA2-256": "sha256", "SHA2-384": "sha384", "SHA2-512": "sha512",
}  # fmt: skip
BAGIT_KINDS = ("md5", "sha1", "sha224", "sha256", "sha384", "sha512")
CSV_COLUMNS = ("name", "size", *BYTES)
COLUMN_NAMES = {
    "filename": "name", "file": "name", "path": "name", "rom": "name", "title": "name",
    "bytes": "size", "length": "size", "crc": "crc32",
}  # fmt: skip
UNNAMED_DIGITS = 8  # of the checksum, as the name of a row in a CSV file without names

_PLAIN = re.compile(r"(\\?)([0-9A-Fa-f]+)[ \t][ *]?+(.+)", re.DOTALL)
_TAGGED = re.compile(r"(\\?)([A-Za-z0-9-]+) ?\((.+)\) ?= ?([0-9A-Fa-f]+)[ \t]*", re.DOTALL)
_CKSUM = re.compile(r"([0-9]{1,10}) ([0-9]+) (.+)", re.DOTALL)
_ESCAPE = re.compile(r"\\(.?)", re.DOTALL)
_BAGGED = re.compile(r"([0-9A-Fa-f]+)[ \t]+(.+)", re.DOTALL)
_PERCENT = re.compile("%(0A|0D|25)", re.IGNORECASE)
_GROUPED = re.compile("[0-9]{1,3}(,[0-9]{3})+")
_DIGEST = re.compile(r"\b[0-9A-Fa-f]{32,}\b|^[0-9]+ [0-9]+ ")
_LINES_EXPECTED = (
    "DIGEST  NAME, SUM SIZE NAME or ALGORITHM (NAME) = DIGEST, as sha256sum, sha1sum, md5sum and cksum write them"
)

_IMAGE_HELP = "if it is an image, give --images"


def _bad(found: str, file: str, line: int, expected: str, help: str = "") -> NoReturn:
    raise InputError(found, where=f"{file}, line {line}", expected=expected, help=help)


def parse_lines(lines: Iterable[str], file: str) -> Iterator[Row]:
    """Parse lines of sha256sum and its sisters, with or without --tag, of cksum, and of OpenSSL.

    Blank lines and those that start with # are skipped.

    >>> [row] = parse_lines(["930766865 9 digits.bin"], "list")
    >>> row.name, row.size, row.digests["cksum"].hex()
    ('digits.bin', 9, '377a6011')
    """
    fromhex = bytes.fromhex
    for number, line in enumerate(lines, 1):
        text = line.rstrip("\r\n").lstrip(" \t")
        if not text or text[0] == "#":
            continue
        if match := _PLAIN.fullmatch(text):
            escaped, digest, name = match.groups()
            kind = BY_LENGTH.get(len(digest))
        elif match := _TAGGED.fullmatch(text):
            escaped, tag, name, digest = match.groups()
            kind = TAGS.get(tag)
            if kind is None:
                _bad(f"checksums of the kind {tag!r}", file, number, f"one of {', '.join(TAGS)}")
            if len(digest) != 2 * BYTES[kind]:
                _bad(f"{tag} with {len(digest)} hex digits", file, number, f"{2 * BYTES[kind]} hex digits")
        else:
            _bad(f"a line that is no checksum line: {text[:60]!r}", file, number, _LINES_EXPECTED, _IMAGE_HELP)
        if kind is None:
            if match := _CKSUM.fullmatch(text):
                yield _cksum_row(*match.groups(), file, number)
                continue
            lengths = ", ".join(f"{n} ({kind})" for n, kind in BY_LENGTH.items())
            _bad(f"a checksum of {len(digest)} characters: {text[:60]!r}", file, number, f"hex digits: {lengths}")
        if escaped:
            name = _unescaped(name, file, number)
        yield Row(name if name.isascii() else readable(name), None, {kind: fromhex(digest)})


def _cksum_row(value: str, size: str, name: str, file: str, number: int) -> Row:
    if int(value) >> 32 or int(size) >> 63:
        _bad(f"the sum {value} and the size {size}", file, number, "a sum below 4294967296 and a size in bytes")
    return Row(readable(name), int(size), {"cksum": int(value).to_bytes(4)})


def _unescaped(name: str, file: str, number: int) -> str:
    """Undo what coreutils does to a name with a backslash or line end in it."""

    def plain(match: re.Match[str]) -> str:
        if match[1] not in ("\\", "n", "r"):
            _bad(f"the escape {match[0]!r} in a name", file, number, r"\\, \n or \r, since the line starts with \ ")
        return {"\\": "\\", "n": "\n", "r": "\r"}[match[1]]

    return _ESCAPE.sub(plain, name)


def readable(name: str) -> str:
    """Show bytes of a name that are not UTF-8 as \\xNN."""
    return name.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")


def parse_bag_manifest(lines: Iterable[str], file: str, algorithm: str) -> Iterator[Row]:
    """Parse a payload manifest of a bag (RFC 8493 section 2.1.3), whose file name gives the algorithm.

    >>> next(parse_bag_manifest(["900150983cd24fb0d6963f7d28e17f72 data/a%0Ab"], "manifest-md5.txt", "md5")).name
    'data/a\\nb'
    """
    if algorithm not in BAGIT_KINDS:
        raise InputError(
            f"a manifest of the kind {algorithm!r}", where=file, expected=f"one of {', '.join(BAGIT_KINDS)}"
        )
    digits = 2 * BYTES[algorithm]
    for number, line in enumerate(lines, 1):
        text = line.rstrip("\r\n")
        if not text.strip():
            continue
        match = _BAGGED.fullmatch(text)
        if not match or len(match[1]) != digits:
            _bad(f"the line {text[:60]!r}", file, number, f"{digits} hex digits ({algorithm}), blanks, and a path")
        if not match[2].startswith("data/") or ".." in match[2].split("/"):
            _bad(f"the path {match[2]!r}", file, number, "a path under data/ that does not leave it")
        path = _PERCENT.sub(lambda escape: chr(int(escape[1], 16)), match[2])
        yield Row(readable(path), None, {algorithm: bytes.fromhex(match[1])})


def merge_by_name(rows: Iterable[Row], file: str) -> list[Row]:
    """Join rows of one name from several manifests of a bag. Raises InputError if two digests contradict."""
    merged: dict[str, dict[str, bytes]] = {}
    for row in rows:
        digests = merged.setdefault(row.name, {})
        for kind, digest in row.digests.items():
            if digests.setdefault(kind, digest) != digest:
                raise InputError(
                    f"{row.name!r} has two different {kind} digests",
                    where=file,
                    expected="every file once in every manifest",
                )
    return [Row(name, None, digests) for name, digests in merged.items()]


def csv_column(heading: str) -> str:
    """Return the column that a heading means: case, blanks, hyphens and underscores do not count.

    >>> csv_column("SHA-256"), csv_column("file_size"), csv_column("CRC"), csv_column("Maker")
    ('sha256', 'size', 'crc32', 'maker')
    """
    plain = re.sub(r"[-_\s\"]", "", heading).lower()
    for name in (plain, plain.removeprefix("file"), plain.removesuffix("sum")):
        if COLUMN_NAMES.get(name, name) in CSV_COLUMNS:
            return COLUMN_NAMES.get(name, name)
    return heading.strip().strip('"').lower()


def csv_delimiter(first_line: str, file: str) -> str | None:
    """Return the delimiter if this line is a CSV header with a checksum column; None if it is no CSV header.

    Raises InputError for a line that has a delimiter and no digest, but no column of checksums either.
    """
    text = first_line.strip()
    if text[:1] == "#" or _DIGEST.search(text):
        return None
    for delimiter in ",;\t":
        if {csv_column(heading) for heading in text.split(delimiter)} & BYTES.keys():
            return delimiter
    if any(mark in text for mark in ",;\t"):
        delimiter = max(",;\t", key=text.count)
        found = ", ".join(heading.strip() for heading in text.split(delimiter))
        _bad(
            f"CSV header without a name or checksum column; columns found: {found[:140]}",
            file,
            1,
            f"name (or file, path, rom, title), size, and one of {', '.join(BYTES)}",
        )
    return None


def parse_csv(lines: Iterable[str], file: str, delimiter: str = ",") -> tuple[Iterator[Row], list[str]]:
    """Parse CSV with the columns name, size (decimal) and any kinds of checksum (hex), in any order and spelling.

    Without a column of names, a row is named by the first digits of its checksum. Returns the rows and the columns
    that were kept out, for the caller to report.
    """
    reader = csv.reader(lines, delimiter=delimiter, strict=True)
    header = _columns(next(reader, []))
    twice = sorted({column for column in header if header.count(column) > 1} & set(CSV_COLUMNS))
    if twice:
        _bad(f"the column {twice[0]!r} twice", file, 1, "every column once")
    return _csv_rows(reader, header, file), [column for column in header if column not in CSV_COLUMNS]


def _columns(headings: list[str]) -> list[str]:
    """Return the columns of a header; of several headings that mean one column, its own name wins, then the first."""
    own = [heading.strip().lower() for heading in headings]
    columns: list[str] = []
    for heading, name in zip(map(csv_column, headings), own):
        taken = heading != name and (heading in own or heading in columns)
        columns.append(name if taken else heading)
    return columns


def _csv_rows(reader, header: list[str], file: str) -> Iterator[Row]:
    try:
        for fields in reader:
            if not any(fields):
                continue
            line = reader.line_num
            if len(fields) != len(header):
                _bad(f"{len(fields)} fields", file, line, f"{len(header)} fields, as in the header")
            values = {column: field.strip() for column, field in zip(header, fields) if field.strip()}
            digests = {kind: _hex(values[kind], kind, file, line) for kind in BYTES if kind in values}
            if digests and "name" not in header:
                values["name"] = next(iter(digests.values())).hex()[:UNNAMED_DIGITS]
            if "name" not in values or not digests:
                _bad("a row without a name or without any checksum", file, line, "a name and at least one checksum")
            size = values.get("size")
            if size and _GROUPED.fullmatch(size):
                size = size.replace(",", "")
            if size is not None and not (size.isascii() and size.isdigit() and int(size) < 1 << 63):
                _bad(f"the size {size!r}", file, line, "a decimal number of bytes")
            yield Row(readable(values["name"]), int(size) if size else None, digests)
    except csv.Error as error:
        _bad(f"broken CSV: {error}", file, reader.line_num, "fields as in RFC 4180")


def _hex(text: str, kind: str, file: str, line: int) -> bytes:
    """Read a checksum; cksum is written in decimal, as the program prints it."""
    if kind == "cksum" and text.isascii() and text.isdigit() and not int(text) >> 32:
        return int(text).to_bytes(4)
    if kind != "cksum" and re.fullmatch(f"[0-9A-Fa-f]{{{2 * BYTES[kind]}}}", text):
        return bytes.fromhex(text)
    expected = "a decimal number below 4294967296" if kind == "cksum" else f"{2 * BYTES[kind]} hex digits"
    _bad(f"the {kind} {text[:140]!r}", file, line, expected)
