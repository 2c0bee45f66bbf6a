"""QR and Code 128 of a few characters, as boxes in whole modules, and the largest module that a label has room for.

Sizes in mm; a module is a whole number of dots of a printer with 600 dots to the inch. Sources: ISO/IEC 18004 (a quiet
zone of 4 modules; 16 characters of 0-9 A-Z are a QR of version 1, 21 modules, which then mends a quarter of its code
words: level Q), ISO/IEC 15417 (11 modules a character, 13 the stop; a quiet zone of 10 modules). The tables are
ReportLab's. Bars of 5 mm, and of 15 % of their length where there is room: from memory, unchecked.
"""

from __future__ import annotations

from collections.abc import Iterator

from msgspec import Struct

DOT = 25.4 / 600
WIDEST, FINEST, FINE = 8, 4, 6  # dots: no more is needed; below that few readers can; below FINE print with care
QR_DIGITS, QR_MODULES, QR_QUIET = 16, 21, 4
BAR_DIGITS = (16, 14, 12, 10, 8)  # 8 digits tell as much as a CRC-32
BAR_QUIET, BAR_HEIGHT, BAR_SHARE = 10, 5.0, 0.15
Box = tuple[float, float, float, float]  # x, y, width, height


class Symbol(Struct, frozen=True):
    """A code as it is printed: `qr` or `code128`, how many digits it holds, its module in dots."""

    kind: str
    digits: int
    dots: int

    @property
    def module(self) -> float:
        """The width of a module in mm."""
        return self.dots * DOT

    @property
    def quiet(self) -> float:
        """The width of the quiet zone in mm."""
        return self.module * (QR_QUIET if self.kind == "qr" else BAR_QUIET)


def qr_for(room: float) -> Symbol | None:
    """Return the QR with its quiet zone that a square of that side holds, or None."""
    dots = min(WIDEST, int(room / DOT / (QR_MODULES + 2 * QR_QUIET) + 1e-9))
    return Symbol("qr", QR_DIGITS, dots) if dots >= FINEST else None


def bar_modules(digits: int) -> int:
    """Return how many modules Code 128 takes at most: start, characters, check and stop, without quiet zones."""
    return 11 * (digits + 2) + 13


def code128_for(room: float) -> Symbol | None:
    """Return the Code 128 with quiet zones that a width holds: of 8 digits the widest module, then most digits."""
    for dots in range(WIDEST, FINEST - 1, -1):
        for digits in BAR_DIGITS:
            if (bar_modules(digits) + 2 * BAR_QUIET) * dots * DOT <= room + 1e-9:
                return Symbol("code128", digits, dots)
    return None


def bar_height(symbol: Symbol) -> float:
    """Return how high the bars of a Code 128 are where there is room, in mm; BAR_HEIGHT is the least."""
    return max(BAR_HEIGHT, BAR_SHARE * bar_modules(symbol.digits) * symbol.module)


def qr_boxes(characters: str) -> Iterator[Box]:
    """Yield the dark modules of a QR, those side by side in one box, the upper left corner at 0, 0."""
    from reportlab.graphics.barcode.qrencoder import QRAlphaNum, QRCode, QRErrorCorrectLevel

    code = QRCode(1, QRErrorCorrectLevel.Q)
    code.addData(QRAlphaNum(characters))
    code.make()
    for y, row in enumerate(code.modules):
        x = 0
        while x < len(row):
            stop = x
            while stop < len(row) and row[stop]:
                stop += 1
            if stop > x:
                yield x, y, stop - x, 1
            x = stop + 1


def code128_boxes(characters: str, height: float) -> Iterator[Box]:
    """Yield the bars of a Code 128, as high as `height` modules, from 0 on."""
    from reportlab.graphics.barcode.code128 import Code128

    code, x = Code128(characters, quiet=0), 0
    code.validate(), code.encode()
    for letter in code.decompose():  # capitals are bars, small letters spaces; A is 1 module wide, D is 4
        width = "abcd".index(letter.lower()) + 1
        if letter.isupper():
            yield x, 0, width, height
        x += width
