"""Where the data that ships lies: inside the installed package, or in the checkout."""

from __future__ import annotations

from pathlib import Path

from romwright.errors import DataFileError

HERE = Path(__file__).parent
# What ships: its folder inside the installed package, and in the checkout.
SHIPPED = {
    "pinmaps": ("pinmaps", "pinmaps"),
    "parts": ("pinmaps/parts", "pinmaps/parts"),
    "boards": ("pinmaps/boards", "pinmaps/boards"),
    "cycles": ("pinmaps/cycles", "pinmaps/cycles"),
    "tern": ("tern", "fixtures/tern"),
}


def data_folder(kind: str) -> Path:
    """Return the folder of one kind of shipped data: "pinmaps", in it "parts", "boards", "cycles"; or "tern".

    Raises DataFileError if neither the package nor the checkout holds it.
    """
    installed, checkout = SHIPPED[kind]
    for place in (HERE / installed, HERE.parents[1] / checkout):
        if place.is_dir():
            return place
    raise DataFileError(str(HERE / installed), ["the shipped data folder is missing: install romwright again"])
