"""TOML text to typed objects: all faults of a file at once, each with its key."""

from __future__ import annotations

import datetime
import difflib
import tomllib
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any, Literal, TypeVar, get_args, get_origin

import msgspec

from romwright.errors import DataFileError
from romwright.shipped import data_folder as data_folder  # for those who read a file of it

WORDS = {
    str: "text in quotes", int: "a whole number", float: "a number", bool: "true or false", tuple: "a list: [ ... ]",
    list: "a list: [ ... ]", dict: "a table: { NAME = VALUE }",
}  # fmt: skip  # what a value of a type is, for whoever writes a file
T = TypeVar("T", bound=msgspec.Struct)


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
    except RecursionError:
        raise DataFileError(str(path), ["not TOML that anybody wrote: brackets in brackets without end"]) from None


def read_data_file(path: Path, kind: type[T], rules: Iterable[Callable[[T], Iterable[str]]] = ()) -> T:
    """Read a TOML file into a `kind`, then let every rule look at it.

    Raises DataFileError with all faults: those of shape (unknown, missing or ill-typed keys), and those that the rules
    give if the known keys make a `kind`.
    """
    return check_data(read_toml(path), str(path), kind, rules)


def check_data(
    data: dict[str, Any], name: str, kind: type[T], rules: Iterable[Callable[[T], Iterable[str]]] = ()
) -> T:
    """Turn the data of a TOML file of that name into a `kind`, as `read_data_file` does. Raises DataFileError."""
    try:
        record = msgspec.convert(data, kind)  # stops at the first fault, but a sound file costs no more than this
        faults = []
    except msgspec.ValidationError:
        faults = list(find_shape_faults(data, kind))
        try:
            record = msgspec.convert(known_keys(data, kind), kind)
        except msgspec.ValidationError:
            raise DataFileError(name, faults) from None
    if faults := [*faults, *(fault for rule in rules for fault in rule(record))]:
        raise DataFileError(name, faults)
    return record


def known_keys(data: dict[str, Any], kind: type[msgspec.Struct]) -> dict[str, Any]:
    """Return the data without the keys that a `kind`, or a table in it, does not have; a near miss counts as meant."""
    fields, kept = {field.encode_name: field for field in msgspec.structs.fields(kind)}, {}
    for key, value in data.items():
        meant = key if key in fields else near_key(key, fields.keys() - data.keys())
        if meant:
            nested = _struct_of(fields[meant].type)
            if nested and _is_named(fields[meant].type) and isinstance(value, dict):
                value = {n: known_keys(each, nested) if isinstance(each, dict) else each for n, each in value.items()}
            elif nested and isinstance(value, dict):
                value = known_keys(value, nested)
            elif nested and isinstance(value, list):
                value = [known_keys(table, nested) if isinstance(table, dict) else table for table in value]
            kept[meant] = value
    return kept


def near_key(key: str, keys: Iterable[str]) -> str:
    """Return the key that was probably meant, or nothing."""
    return next(iter(difflib.get_close_matches(key, keys, n=1)), "")


def find_shape_faults(data: dict[str, Any], kind: type[msgspec.Struct], above: str = "") -> Iterator[str]:
    """Yield a line for each key that is unknown, missing, or not of its type."""
    fields = {field.encode_name: field for field in msgspec.structs.fields(kind)}
    for key in sorted(data.keys() - fields.keys()):
        near = near_key(key, fields)
        yield f"{above}{key}: unknown key" + (f"; did you mean {near}?" if near else "") + " [unknown-key]"
    for key, field in fields.items():
        if key not in data:
            if field.required:
                yield f"{above}{key}: missing [missing-key]"
            continue
        nested = _struct_of(field.type)
        if nested and _is_named(field.type) and isinstance(data[key], dict):
            for name, table in data[key].items():
                if isinstance(table, dict):
                    yield from find_shape_faults(table, nested, f"{above}{key}.{name}.")
                else:
                    yield f"{above}{key}.{name}: {shown(table)}, expected {WORDS[dict]} [wrong-type]"
            continue
        if nested and isinstance(data[key], dict):
            yield from find_shape_faults(data[key], nested, f"{above}{key}.")
            continue
        if nested and isinstance(data[key], list) and all(isinstance(table, dict) for table in data[key]):
            for number, table in enumerate(data[key], 1):
                yield from find_shape_faults(table, nested, f"{above}{key}[{number}].")
            continue
        yield from (f"{fault} [wrong-type]" for fault in find_type_faults(data[key], field.type, above + key))


def find_type_faults(value: Any, kind: Any, where: str) -> Iterator[str]:
    """Yield what is not of its type in a value, with its place and what was expected."""
    try:
        msgspec.convert(value, kind)
    except msgspec.ValidationError as error:
        of, inner, inside = get_origin(kind), get_args(kind), []
        if of is dict and isinstance(value, dict):
            inside = [(each, inner[1], f"{where}.{key}") for key, each in value.items()]
        elif of in (tuple, list) and isinstance(value, list) and inner[-1] in (inner[0], ...):
            inside = [(each, inner[0], f"{where}[{number}]") for number, each in enumerate(value, 1)]
        faults = [fault for each in inside for fault in find_type_faults(*each)]
        yield from faults or [f"{where}: {shown(value)}, expected {words_for(kind) or error}"]


def shown(value: Any) -> str:
    """Name a value that was found; TOML has dates and times without quotes."""
    if isinstance(value, datetime.date | datetime.time):
        return f"a date or time without quotes, {value.isoformat()}"
    return {dict: "a table", list: "a list"}.get(type(value)) or ascii(value)


def words_for(kind: Any) -> str:
    """Say in words what a type takes; nothing if there are none for it."""
    if get_origin(kind) is Literal:
        return " or ".join(map(str, get_args(kind)))
    if inner := [each for each in get_args(kind) if each is not type(None)]:
        return WORDS.get(get_origin(kind)) or " or ".join(filter(None, map(words_for, inner)))
    return WORDS.get(kind, "")


def _is_named(kind: Any) -> bool:
    """Tell whether a type is a table of structs by names of the user's."""
    return get_origin(kind) is dict


def _struct_of(kind: Any) -> type[msgspec.Struct] | None:
    """Return the struct that a type is, may be, or is made of."""
    kinds = (kind, *get_args(kind))
    return next((k for k in kinds if isinstance(k, type) and issubclass(k, msgspec.Struct)), None)
