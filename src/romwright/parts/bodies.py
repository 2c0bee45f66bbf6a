"""How large a label a package takes: it covers a window, lies within the body, and leaves notch and first pins free.

Bodies as drawn in the open library kicad-footprints 6.0.11, Package_DIP, layer F.Fab (read): half the pins times the
pitch long; how wide stands in BODY_ACROSS_MM. Bodies that were sold are narrower than that, down to 6.10 and 12.32 mm
in plastic (JEDEC MS-001, MS-011) and 13.06 mm with a window, which is at most 10 mm: from memory, unchecked.
"""

from __future__ import annotations

from collections.abc import Iterator

from romwright.errors import OptionError
from romwright.findings import Code, Finding, Severity
from romwright.parts.model import Part

PITCH_MM = 2.54  # distance of two pins of a row
BODY_ACROSS_MM = {7.62: 6.35, 10.16: 9.14, 15.24: 14.73}  # by the distance of the rows
LABEL_ACROSS_MM = {7.62: 6.0, 10.16: 8.0, 15.24: 12.0}  # from memory, unchecked: less than the narrowest body
WINDOW_MM = 10.0  # from memory, unchecked: the largest window
UNCHECKED = "widths of bodies and of windows, from which the size of the label is chosen: from memory, unchecked"
OPAQUE = (
    "An EPROM with a window needs an opaque label over it: light erases it, and disturbs it while it runs "
    "(Intel 27128A data sheet, 230849-009; ST M27C256B; National NM27C256). "
    "Thin white paper lets light through: stick metal foil or black tape under it (common practice, no source)."
)
PAST_BODY = Code(
    "label-past-body", Severity.CAUTION, "a chip's label lies within its body",
    "A label that reaches over the edge gets under the legs or into the next chip, and comes off.",
    do="Give a smaller size with --size, or trim the label along the body before it is stuck on.",
    example="the label of 40 x 12 mm is larger than the body of the 27C256",
)  # fmt: skip
WINDOW_BARE = Code(
    "window-bare", Severity.CAUTION, "the label of an EPROM covers a window",
    "Light that reaches the chip erases it, and can disturb it while it runs.",
    do="Give a size that covers the window with --size, or put an opaque label over the window first.",
    example="the label of 20 x 6 mm may leave part of a window bare",
)  # fmt: skip


def has_window(part: Part) -> bool:
    """Tell whether the chip may have a window: a one-time EPROM has none, but shares the page."""
    return part.family == "EPROM"


def label_size(part: Part) -> tuple[float, float]:
    """Return the width along the rows of pins, and the height across, in mm. Raises OptionError for unknown rows.

    >>> from romwright.parts.library import require_part
    >>> label_size(require_part("27C256"))
    (30.48, 12.0)
    """
    if part.row_pitch_mm not in LABEL_ACROSS_MM:
        raise OptionError(
            f"the rows of {part.name} are {part.row_pitch_mm:g} mm apart: no size of a label is known for that",
            where="--size", help="measure the body and give the size of the label in mm: --size 30x12",
        )  # fmt: skip
    return round((part.pin_count // 2 - 2) * PITCH_MM, 2), LABEL_ACROSS_MM[part.row_pitch_mm]


def judge_size(part: Part, width: float, height: float) -> Iterator[Finding]:
    """Yield what is wrong with a label of that size in mm on the part."""
    along, across = part.pin_count // 2 * PITCH_MM, BODY_ACROSS_MM.get(part.row_pitch_mm)
    if across and (width > along + 1e-6 or height > across + 1e-6):
        yield Finding(
            PAST_BODY, f"the label of {width:g} x {height:g} mm is larger than the body of the {part.name}",
            f"about {along:.2f} x {across:g} mm (kicad-footprints 6.0.11, {part.package})",
            "cut it, or give a smaller --size",
        )  # fmt: skip
    if has_window(part) and min(width, height) < WINDOW_MM:
        yield Finding(
            WINDOW_BARE, f"the label of {width:g} x {height:g} mm may leave part of a window bare",
            f"windows are up to {WINDOW_MM:g} mm wide (from memory, unchecked)",
            "look at the chip; if it has a window, cover it with opaque tape first, or take a larger label",
        )  # fmt: skip
