"""How far a text of an SVG reaches, measured with DejaVu Sans, the widest of the faces that stand in for Helvetica."""

import pytest


def ends(element, words):
    """The x at which these words of a text element begin and end; the test is skipped where the font is not installed."""
    from PIL import ImageFont

    face = "DejaVuSans-Bold.ttf" if element.get("font-weight") else "DejaVuSans.ttf"
    try:
        length = ImageFont.truetype(face, int(element.get("font-size"))).getlength(words)
    except OSError:
        pytest.skip(f"the font {face} is not installed")
    start = float(element.get("x")) - length * {"start": 0, "middle": 0.5, "end": 1}[element.get("text-anchor")]
    return start, start + length
