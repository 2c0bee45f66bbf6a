"""How hex records are written, and the recognition of files that are made of them: by content, never by name.

Nothing heavy is imported here, so that a folder of binary files is told apart without numpy and the readers.
"""

from __future__ import annotations

import re
from functools import cached_property

from msgspec import Struct

HEAD_BYTES = 4096  # how much of a file is looked at to recognise its format
CONTROL = re.compile(rb"[\0-\x08\x0e-\x19\x1b-\x1f\x7f]")  # characters that no text has
BYTE_ORDER_MARK = re.compile(rb"\xef\xbb\xbf|\xff\xfe|\xfe\xff")
UTF_16 = re.compile(rb"(?:[\t-~]\0){4}|(?:\0[\t-~]){4}")  # at the start of a text without a byte order mark


class Grammar(Struct, frozen=True, dict=True):
    """How a record is written.

    `lead` is its first character, `marks` how many characters stand before the hex digits, `uncounted` how many bytes
    of a record its count byte leaves out (itself among them), `total` what all its bytes sum to, modulo 256.
    """

    name: str
    lead: bytes
    marks: int
    uncounted: int
    total: int

    @cached_property
    def _start(self) -> bytes:
        return b"[" + self.lead + self.lead.lower() + b"]" + rb"[0-9]" * (self.marks - 1)

    @cached_property
    def first_line(self) -> re.Pattern[bytes]:
        """Match a text whose first line is a record, or a file cut short within it."""
        return re.compile(rb"[\s\0]*" + self._start + rb"(?:[0-9A-Fa-f]{8}|[0-9A-Fa-f]+\s*\Z)")

    @cached_property
    def some_line(self) -> re.Pattern[bytes]:
        """Match a line that is a record, with other lines around it."""
        return re.compile(rb"(?:^|[\r\n])[ \t]*" + self._start + rb"[0-9A-Fa-f]{8,}\s*(?:[\r\n]|\Z)")

    def fault(self, line: bytes) -> tuple[str, str] | None:
        """Say what is wrong with one line, as (found, expected); None if nothing is."""
        if BYTE_ORDER_MARK.match(line):
            return "the line starts with a byte order mark", "plain ASCII text"
        if UTF_16.match(line):
            return "zeros between the characters, as in UTF-16", "plain ASCII text"
        text = line.decode("latin-1")
        if not line.startswith(self.lead):
            return f"the line starts with {text[:12]!r}", f"{self.lead.decode()!r} at the start of every record"
        mark, digits = text[1 : self.marks], text[self.marks :]
        if self.marks > 1 and not re.fullmatch("[0-9]", mark):
            return f"record type {text[: self.marks]!r}", f"{self.lead.decode()}0 to {self.lead.decode()}9"
        bad = re.search(r"[^0-9A-Fa-f]", digits)
        if bad:
            column = self.marks + bad.start() + 1
            return f"character {bad.group()!r} in column {column}", "hex digits only"
        if len(digits) % 2 or not digits:
            count = f"{len(digits)} hex digit{'s' * (len(digits) != 1)}"
            return f"{count}: half a byte is missing" if digits else count, "two hex digits for each byte"
        record = bytes.fromhex(digits)
        if record[0] + self.uncounted != len(record):
            missing = record[0] + self.uncounted - len(record)
            how = "few: the record is cut short" if missing > 0 else "many"
            seen = f"{abs(missing)} byte{'s' if abs(missing) > 1 else ''} too {how}"
            return (
                f"count byte {record[0]:02X}, but the record has {seen}",
                f"{record[0] + self.uncounted} bytes in all",
            )
        right = (self.total - sum(record[:-1])) & 0xFF
        if right != record[-1]:
            return f"checksum {record[-1]:02X}", f"checksum {right:02X} for these bytes"
        return None


INTEL_HEX = Grammar("intel-hex", lead=b":", marks=1, uncounted=5, total=0)
S_RECORD = Grammar("s-record", lead=b"S", marks=2, uncounted=1, total=0xFF)
GRAMMARS = (INTEL_HEX, S_RECORD)


def recognise(head: bytes) -> Grammar | None:
    """Return the grammar of the records that a file with these first bytes is meant to hold; None for any other file.

    A record must stand first, or somewhere in a plain text. Text in another coding (a byte order mark, zeros between
    the characters) is recognised too, to be refused as such and not taken for raw binary.

    >>> recognise(b":10C00000").name, recognise(b"S1130000").name, recognise(bytes(9))
    ('intel-hex', 's-record', None)
    """
    mark = BYTE_ORDER_MARK.match(head)
    if mark or UTF_16.match(head):
        head = head[mark.end() if mark else 0 :].replace(b"\0", b"")
    plain = not CONTROL.search(head)
    for grammar in GRAMMARS:
        if grammar.first_line.match(head) or plain and grammar.some_line.search(head):
            return grammar
    return None
