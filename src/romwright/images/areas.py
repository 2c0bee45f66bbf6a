"""Areas: what kind of content each byte of an image belongs to, by rules that know no CPU."""

from __future__ import annotations

from enum import IntEnum

import numpy as np

from romwright.images import runs
from romwright.images.image import Image
from romwright.images.runs import FILL_LEAST, TEXT_LEAST

REPEAT_BLOCK = 64  # bytes: aligned blocks of this size that came before are repeats
MIXED_BLOCK = 128  # bytes over which the mix of values is judged
CODE_ENTROPY = (4.0, 6.1)  # bits a byte over such a block; tables are mostly below, packed data and noise above
CODE_ALIKE = 0.2  # at most this share of neighbouring bytes differ by 2 or less; tables are smoother
ALIKE = 2


class Area(IntEnum):
    """Kinds of content, in the order of the legend. `CODE` is an impression from the mix of bytes, not a proof."""

    CODE = 0
    DATA = 1
    TEXT = 2
    REPEAT = 3
    FILL = 4
    GAP = 5


RULES = {
    Area.CODE: f"code-like: mixed bytes, {CODE_ENTROPY[0]:.1f} to {CODE_ENTROPY[1]:.1f} bits each, neighbours unlike",
    Area.DATA: "data: everything else",
    Area.TEXT: f"text: {TEXT_LEAST} or more printable characters in a row",
    Area.REPEAT: f"repeat: {REPEAT_BLOCK} bytes that came before",
    Area.FILL: f"fill: {FILL_LEAST} or more bytes of one value",
    Area.GAP: "gap: not defined",
}


def classify_bytes(image: Image) -> np.ndarray:
    """Return the Area of every address from the image's start to its end.

    Fill goes before repeat, repeat before text, text before code-like; the rest is data.

    >>> classify_bytes(Image.from_bytes(bytes(16) + b"HELLO!")).tolist() == [Area.FILL] * 16 + [Area.TEXT] * 6
    True
    """
    areas = np.full(image.span_bytes, Area.GAP, np.uint8)
    seen: set[bytes] = set()
    for segment in image.segments:
        view = np.frombuffer(segment.data, np.uint8)
        part = areas[segment.start - image.start : segment.stop - image.start]
        _mark_mixed(view, part)
        for high_bit in (False, True):
            _mark(part, runs.find_texts(view, high_bit), Area.TEXT)
        for at in range(0, len(view) - REPEAT_BLOCK + 1, REPEAT_BLOCK):
            block = segment.data[at : at + REPEAT_BLOCK]
            if block in seen:
                part[at : at + REPEAT_BLOCK] = Area.REPEAT
            seen.add(block)
        _mark(part, runs.find_fills(view), Area.FILL)
    return areas


def _mark(areas: np.ndarray, rows: np.ndarray, area: Area) -> None:
    for start, stop in rows:
        areas[start:stop] = area


def _mark_mixed(view: np.ndarray, areas: np.ndarray) -> None:
    """Tell code-like blocks from data by their entropy and by how alike neighbouring bytes are."""
    areas[:] = Area.DATA
    for at in range(0, len(view), MIXED_BLOCK):
        block = view[max(min(at, len(view) - MIXED_BLOCK), 0) : at + MIXED_BLOCK]
        share = np.bincount(block, minlength=256) / len(block)
        share = share[share > 0]
        entropy = -(share * np.log2(share)).sum()
        alike = (np.abs(np.diff(block.astype(np.int16))) <= ALIKE).mean() if len(block) > 1 else 1
        if CODE_ENTROPY[0] <= entropy <= CODE_ENTROPY[1] and alike <= CODE_ALIKE:
            areas[at : at + MIXED_BLOCK] = Area.CODE
