"""Where shipped TOML lives, and TOML text to typed objects: all faults of a file at once, each with its key.

The shipped data is looked for inside the installed package first, then in the checkout.
"""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any, TypeVar, get_args

import msgspec

from romwright.errors import DataFileError

T = TypeVar("T", bound=msgspec.Struct)
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


def read_toml(path: Path) -> dict[str, Any]:
    """Read a TOML file; raises DataFileError with the line that is not TOML or not UTF-8."""
    try:
        return tomllib.loads(path.read_text("utf-8"))
    except UnicodeDecodeError as error:
        raise DataFileError(
            str(path), [f"not UTF-8 text: byte {error.object[error.start]:02X} at {error.start}"]
        ) from None
    except tomllib.TOMLDecodeError as error:
        raise DataFileError(str(path), [f"not TOML: {error}"]) from None


def read_data_file(path: Path, kind: type[T], rules: Iterable[Callable[[T], Iterable[str]]] = ()) -> T:
    """Read a TOML file into a `kind`, then let every rule look at it.

    Raises DataFileError with all faults: those of shape (unknown, missing or ill-typed keys), or else those
    that the rules give.
    """
    data = read_toml(path)
    try:
        record = msgspec.convert(data, kind)  # stops at the first fault, but a sound file costs no more than this
    except msgspec.ValidationError:
        raise DataFileError(str(path), list(find_shape_faults(data, kind))) from None
    if faults := [fault for rule in rules for fault in rule(record)]:
        raise DataFileError(str(path), faults)
    return record


def find_shape_faults(data: dict[str, Any], kind: type[msgspec.Struct], above: str = "") -> Iterator[str]:
    """Yield a line for each key that is unknown, missing, or not of its type."""
    fields = {field.encode_name: field for field in msgspec.structs.fields(kind)}
    for key in sorted(data.keys() - fields.keys()):
        near = difflib.get_close_matches(key, fields, n=1)
        yield f"{above}{key}: unknown key" + (f"; did you mean {near[0]}?" if near else "") + " [unknown-key]"
    for key, field in fields.items():
        if key not in data:
            if field.required:
                yield f"{above}{key}: missing [missing-key]"
            continue
        nested = next((t for t in (field.type, *get_args(field.type)) if _is_struct(t)), None)
        if nested and isinstance(data[key], dict):
            yield from find_shape_faults(data[key], nested, f"{above}{key}.")
            continue
        if nested and isinstance(data[key], list) and all(isinstance(table, dict) for table in data[key]):
            for number, table in enumerate(data[key], 1):
                yield from find_shape_faults(table, nested, f"{above}{key}[{number}].")
            continue
        try:
            msgspec.convert(data[key], field.type)
        except msgspec.ValidationError as error:
            yield f"{above}{key}: {str(error).replace(' - at `$', ', at `' + key)} [wrong-type]"


def _is_struct(kind: Any) -> bool:
    return isinstance(kind, type) and issubclass(kind, msgspec.Struct)
