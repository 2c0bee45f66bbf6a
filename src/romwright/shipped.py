"""Where the data that ships lies: inside the installed package, or in the checkout.

It is asked at the start of commands that have to be quick, so nothing but the file system's own module is loaded here.
"""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

from romwright.errors import DataFileError

if TYPE_CHECKING:
    from pathlib import Path

PACKAGE = os.path.dirname(__file__)
# What ships: its folder inside the installed package, and in the checkout.
SHIPPED = {
    "pinmaps": ("pinmaps", "pinmaps"),
    "parts": ("pinmaps/parts", "pinmaps/parts"),
    "boards": ("pinmaps/boards", "pinmaps/boards"),
    "cycles": ("pinmaps/cycles", "pinmaps/cycles"),
    "timing": ("pinmaps/timing", "pinmaps/timing"),
    "tern": ("tern", "fixtures/tern"),
}


def data_folder(kind: str) -> Path:
    """Return the folder of one kind of shipped data: "pinmaps", in it "parts", "boards", "cycles", "timing"; or "tern".

    Raises DataFileError if neither the package nor the checkout holds it.
    """
    from pathlib import Path

    return Path(data_place(kind))


def data_place(kind: str) -> str:
    """Return the same as a string."""
    installed, checkout = SHIPPED[kind]
    root = os.path.dirname(os.path.dirname(PACKAGE))
    for place in (os.path.join(PACKAGE, installed), os.path.join(root, checkout)):
        if os.path.isdir(place):
            return place
    raise DataFileError(
        os.path.join(PACKAGE, installed), ["the shipped data folder is missing: install romwright again"]
    )
