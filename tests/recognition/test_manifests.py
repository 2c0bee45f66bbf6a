"""Checksum lists as the programs themselves write them, and every way to write one wrongly."""

import hashlib
import subprocess
import zlib

import pytest
from conftest import require
from hypothesis import given
from hypothesis import strategies as st

from romwright.errors import InputError
from romwright.recognition.digests import KINDS, Row
from romwright.recognition.manifests import (
    csv_column,
    csv_delimiter,
    merge_by_name,
    parse_bag_manifest,
    parse_csv,
    parse_lines,
)

SHA256_ABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"  # FIPS 180-4 example, "abc"
MD5_ABC = "900150983cd24fb0d6963f7d28e17f72"  # RFC 1321 appendix A.5, "abc"
CONTENTS = b"abc"
# names that make the programs escape, or that look like part of the line
NAMES = [
    "plain.bin",
    "two  blanks",
    "back\\slash",
    "line\nend",
    "carriage\rreturn",
    "(par) = 1",
    "*star",
    " blank first",
    "ünï.bin",
]


@pytest.mark.parametrize(
    "program",
    ["sha256sum", "sha256sum -b", "sha256sum --tag", "sha1sum", "sha1sum --tag", "md5sum", "md5sum -b", "md5sum --tag",
     "sha512sum", "sha384sum", "sha224sum", "b2sum --tag", "cksum -a sha256", "cksum -a md5 --untagged", "cksum"],
)  # fmt: skip
def test_what_coreutils_writes_is_read(tmp_path, program):
    """Outside check: GNU coreutils itself, in all its forms, on names that need escapes."""
    require("cksum", "coreutils")
    names = (
        NAMES if program != "cksum" else [name for name in NAMES if name.isprintable()]
    )  # it does not escape line ends
    for name in names:
        (tmp_path / name).write_bytes(CONTENTS)
    done = subprocess.run([*program.split(), "--", *names], cwd=tmp_path, capture_output=True, check=True)
    rows = list(parse_lines(done.stdout.decode("utf-8").split("\n"), "list"))
    assert [row.name for row in rows] == names
    for row in rows:
        [(kind, digest)] = row.digests.items()
        assert digest == KINDS[kind](CONTENTS)
        assert row.size == (3 if program == "cksum" else None)


@pytest.mark.parametrize("options", [["-sha256"], ["-md5"], ["-sha1", "-r"], ["-sha512"]])
def test_what_openssl_writes_is_read(tmp_path, options):
    """Outside check: the OpenSSL command line."""
    require("openssl", "openssl")
    (tmp_path / "a.bin").write_bytes(CONTENTS)
    done = subprocess.run(
        ["openssl", "dgst", *options, "a.bin"], cwd=tmp_path, capture_output=True, text=True, check=True
    )
    [row] = parse_lines(done.stdout.splitlines(), "list")
    assert row.name == "a.bin"
    [(kind, digest)] = row.digests.items()
    assert digest == KINDS[kind](CONTENTS)


@pytest.mark.parametrize(
    "line",
    [f"{SHA256_ABC}  a b", f"{SHA256_ABC} *a b", f"{SHA256_ABC} a b", f"{SHA256_ABC}\ta b",
     f"  {SHA256_ABC.upper()}  a b\r\n", f"SHA256 (a b) = {SHA256_ABC}", f"SHA256(a b)= {SHA256_ABC}",
     f"SHA2-256(a b)= {SHA256_ABC}", f"\\{SHA256_ABC}  a b"],
)  # fmt: skip
def test_forms_of_a_line(line):
    """The forms that `sha256sum -c` of coreutils 9.1 accepts (facts, section 7.2)."""
    [row] = parse_lines(["# a comment", "", line], "list")
    assert (row.name, row.digests["sha256"]) == ("a b", hashlib.sha256(b"abc").digest())


@pytest.mark.parametrize(
    ("line", "found", "expected"),
    [
        (SHA256_ABC[:-1] + "  x", "63 characters", "64 (sha256)"),
        (SHA256_ABC, "no checksum line", "DIGEST  NAME"),
        (SHA256_ABC + "  ", "no checksum line", "DIGEST  NAME"),
        ("sha256 (x) = " + SHA256_ABC, "'sha256'", "SHA256"),
        ("SM3 (x) = " + SHA256_ABC, "'SM3'", "SHA256"),
        ("MD5 (x) = " + SHA256_ABC, "64 hex digits", "32 hex digits"),
        ("\\" + SHA256_ABC + "  a\\tb", r"'\\t'", r"\\"),
        ("4294967296 3 x", "4294967296", "below 4294967296"),
        ("Dear reader", "no checksum line", "DIGEST  NAME"),
    ],
)
def test_bad_line(line, found, expected):
    with pytest.raises(InputError) as caught:
        list(parse_lines([f"{MD5_ABC}  good", line], "my.list"))
    assert caught.value.where == "my.list, line 2"
    assert found in caught.value.found
    assert expected in caught.value.expected


def test_names_that_are_not_utf8_are_shown_as_escapes():
    [row] = parse_lines([f"{MD5_ABC}  caf\udce9.bin"], "list")
    assert row.name == "caf\\xe9.bin"


@given(st.text(st.characters(exclude_categories=["Cs"]), min_size=1).filter(lambda t: t[0] not in " *"))
def test_any_name_survives_escaping(name):
    """The escaping rule of the coreutils manual (cksum common options): backslash, LF, CR, and a leading backslash."""
    escaped = name.replace("\\", "\\\\").replace("\n", "\\n").replace("\r", "\\r")
    lead = "\\" if escaped != name else ""
    for line in (f"{lead}{MD5_ABC}  {escaped}", f"{lead}MD5 ({escaped}) = {MD5_ABC}"):
        assert next(parse_lines([line], "list")).name == name


def test_bag_paths_are_percent_decoded_for_three_characters_only():
    """RFC 8493: LF, CR and % are encoded, nothing else is decoded."""
    [row] = parse_bag_manifest([f"{MD5_ABC} \t data/a%0Ab%0dc%25d%20e\r\n"], "manifest-md5.txt", "md5")
    assert row.name == "data/a\nb\rc%d%20e"


@pytest.mark.parametrize("path", ["/etc/passwd", "data/../../x", "other/x", "../x"])
def test_bag_paths_must_stay_in_the_bag(path):
    with pytest.raises(InputError) as caught:
        list(parse_bag_manifest([f"{MD5_ABC} {path}"], "manifest-md5.txt", "md5"))
    assert caught.value.where == "manifest-md5.txt, line 1"


@pytest.mark.parametrize(("algorithm", "line"), [("sm3", ""), ("md5", SHA256_ABC + " data/x"), ("md5", "zz data/x")])
def test_bad_bag_manifest(algorithm, line):
    with pytest.raises(InputError):
        list(parse_bag_manifest([line], "m", algorithm))


def test_manifests_of_one_bag_are_joined():
    rows = [
        *parse_bag_manifest([f"{MD5_ABC} data/x"], "a", "md5"),
        *parse_bag_manifest([f"{SHA256_ABC} data/x"], "b", "sha256"),
    ]
    [row] = merge_by_name(rows, "bag")
    assert set(row.digests) == {"md5", "sha256"}
    with pytest.raises(InputError):
        merge_by_name([*rows, *parse_bag_manifest([f"{'0' * 32} data/x"], "a", "md5")], "bag")


def test_csv_columns_in_any_order_and_case():
    crc = zlib.crc32(CONTENTS)
    lines = [
        "Maker,SHA256,Size,NAME,crc32\n",
        f'"me, you",{SHA256_ABC},3,"a, b",{crc:08x}\n',
        "\n",
        f",,,c,{crc:08X}\n",
    ]
    assert csv_delimiter(lines[0], "list.csv") == ","
    rows, unknown = parse_csv(lines, "list.csv")
    assert unknown == ["maker"]
    first, second = rows
    assert first == ("a, b", 3, {"sha256": hashlib.sha256(CONTENTS).digest(), "crc32": crc.to_bytes(4)})
    assert second == ("c", None, {"crc32": crc.to_bytes(4)})
    assert csv_delimiter("name;md5", "list.csv") == ";"
    assert csv_delimiter(f"{MD5_ABC}  name,md5x", "list.csv") is None


@pytest.mark.parametrize(
    ("row", "found"),
    [("x,3", "2 fields"), ("x,three," + MD5_ABC, "'three'"), ("x,-1," + MD5_ABC, "'-1'"), ("x,3,12", "md5 '12'"),
     (",3," + MD5_ABC, "without a name"), ("x,3,", "without any checksum"), ('"x,3,' + MD5_ABC, "broken CSV")],
)  # fmt: skip
def test_bad_csv_row(row, found):
    with pytest.raises(InputError) as caught:
        list(parse_csv(["name,size,md5\n", f"ok,3,{MD5_ABC}\n", row + "\n"], "list.csv")[0])
    assert caught.value.where == "list.csv, line 3"
    assert found in caught.value.found or "without" in found and "without" in caught.value.found


def test_csv_column_given_twice():
    with pytest.raises(InputError, match="'md5' twice"):
        parse_csv(["name,md5,MD5\n"], "list.csv")


@pytest.mark.parametrize(
    "header",
    ["filename,sha256", "file,sha256", "path,sha256", "rom,sha256", "title,sha256", "Name,SHA-256", "name,SHA_256"],
)
def test_csv_headings_in_ordinary_spellings(header):
    assert csv_delimiter(header, "list.csv") == ","
    rows, kept_out = parse_csv([header, "a.bin," + "AB" * 32], "list.csv")
    assert (list(rows), kept_out) == ([Row("a.bin", None, {"sha256": b"\xab" * 32})], [])


def test_csv_headings_with_crc_and_sum():
    assert csv_delimiter("Name\tSize\tCRC-32", "list.csv") == "\t"
    rows, _ = parse_csv(["Name\tSize\tCRC-32", "a\t4,096\t0000ABCD"], "list.csv", "\t")
    assert list(rows) == [Row("a", 4096, {"crc32": b"\0\0\xab\xcd"})]
    assert [csv_column(name) for name in ("crc", "MD5 sum", "file_crc32")] == ["crc32", "md5", "crc32"]
    assert csv_column("cksum") == "cksum"


def test_csv_without_names_is_named_by_digest():
    assert csv_delimiter("sha256\n", "list.csv")
    rows, _ = parse_csv(["sha256", "AB" * 32], "list.csv")
    assert list(rows) == [Row("abababab", None, {"sha256": b"\xab" * 32})]


def test_csv_header_without_checksums_is_refused():
    with pytest.raises(InputError, match="columns found: maker, year"):
        csv_delimiter("maker,year\n", "list.csv")
    assert csv_delimiter("ab" * 32 + "  a,b.bin", "list") is None
    assert csv_delimiter("930766865 9 a,b.bin", "list") is None


def test_csv_with_two_headings_for_names():
    rows, kept_out = parse_csv(["path,name,sha256", "p,n," + "AB" * 32], "list.csv")
    assert [row.name for row in rows] == ["n"] and kept_out == ["path"]
    rows, kept_out = parse_csv(["path,title,sha256", "p,t," + "AB" * 32], "list.csv")
    assert [row.name for row in rows] == ["p"] and kept_out == ["title"]
