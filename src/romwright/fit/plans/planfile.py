"""The plan file: a wiring plan as JSON, read back strictly into an equal plan.

It names the two parts with every polarity stated and the SHA-256 of what their pages say, so that a page that has
changed since is noticed. A row edited by hand is kept as it stands (the proof judges it); a malformed one is refused.
"""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Callable
from typing import Any, get_type_hints

import msgspec

from romwright.datafiles import find_shape_faults
from romwright.errors import PlanFileError
from romwright.fit.plans.glue import PlacedGate
from romwright.fit.plans.planrules import RULES
from romwright.fit.plans.rows import Row
from romwright.fit.plans.wiring import Plan
from romwright.parts.library import require_part
from romwright.parts.model import Choice, Part

FORMAT, VERSION = "romwright plan", 1
LIMIT_BYTES = 1 << 20  # a plan of 42 pins takes 12 KiB


class OrderedPart(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A part as it was ordered: the name or path of its page, each factory choice by pin, what the page said.

    `page` is the page itself where no file has it: the socket of a board, or a share of an original.
    """

    part: str
    polarity: dict[str, Choice]
    sha256: str
    page: Part | None = None


# What the plan was asked for: every field of it that is neither a part nor a list of the work.
ASKED = {name: hint for name, hint in get_type_hints(Plan).items() if name not in ("original", "chip", "rows", "gates")}
PlanRecord = msgspec.defstruct(
    "PlanRecord",
    [
        ("format", str), ("version", int), ("socket", OrderedPart), ("chip", OrderedPart),
        *ASKED.items(), ("rows", tuple[Row, ...]), ("gates", tuple[PlacedGate, ...]),
    ],
    frozen=True, forbid_unknown_fields=True,
)  # fmt: skip


def build_plan(
    plan: Plan, socket_page: Part | None, chip_page: Part, socket_name: str = "", chip_name: str = ""
) -> bytes:
    """Write a plan; the pages are those of its two parts, the names what finds them (a page of your own: its path)."""
    record = {
        "format": FORMAT,
        "version": VERSION,
        "socket": state(socket_page, plan.original, socket_name),
        "chip": state(chip_page, plan.chip, chip_name),
        **{name: msgspec.to_builtins(getattr(plan, name)) for name in ASKED},
        "lines": list(plan.carried),
        "rows": [row.as_json() for row in plan.rows],
        "gates": [gate.as_json() for gate in plan.gates],
    }
    return (json.dumps(record, indent=1, ensure_ascii=False) + "\n").encode("utf-8")


def state(page: Part | None, ordered: Part, name: str) -> dict:
    """Return a part as the file has it, with the polarity that makes `ordered` of its page, or as a page of its own."""
    if page is None:
        return {"part": ordered.name, "polarity": {}, "sha256": digest(ordered), "page": plain(ordered)}
    polarity = next(choices for choices in page.polarities({}) if page.ordered_as(choices) == ordered)
    stated = {str(pin): choice for pin, choice in polarity.items()}
    return {"part": name or page.name, "polarity": stated, "sha256": digest(page)}


def digest(page: Part) -> str:
    """Return the SHA-256 of what a page says: its keys in order of names, those at their default left out.

    So a comment or another order of the keys changes nothing, and neither does a key that a later version adds.
    """
    return hashlib.sha256(json.dumps(plain(page), sort_keys=True).encode("utf-8")).hexdigest()


def plain(page: Part) -> dict:
    """Return what a page says as plain values, the keys at their default left out."""
    listed = {f.encode_name: f for f in msgspec.structs.fields(Part)}
    return {key: value for key, value in msgspec.to_builtins(page).items() if value != default_of(listed[key])}


def default_of(field: msgspec.structs.FieldInfo) -> Any:
    """Return the plain value that a key has if the page does not name it."""
    if field.default_factory is not msgspec.NODEFAULT:
        return msgspec.to_builtins(field.default_factory())
    return msgspec.to_builtins(field.default) if field.default is not msgspec.NODEFAULT else field


def parse_plan(data: bytes, file: str = "", find_page: Callable[[str], Part] = require_part) -> Plan:
    """Read a plan back; raises PlanFileError with all faults, or what `find_page` raises for a part."""
    found = read_json(data, file)
    if found.get("format") != FORMAT:
        raise PlanFileError(file, [f"format: {found.get('format')!r}, not {FORMAT!r}: this is no plan file"])
    if found.get("version") != VERSION:
        raise PlanFileError(file, [f"version: {found.get('version')!r}; this romwright reads version {VERSION}"])
    if faults := list(find_shape_faults(found, PlanRecord)):
        raise PlanFileError(file, faults)
    try:
        record = msgspec.convert(found, PlanRecord)
    except msgspec.ValidationError as error:  # such as an empty list for a table
        raise PlanFileError(file, [str(error)]) from None
    if record.socket.page is None and any(msgspec.to_builtins(record.beyond).values()):
        raise PlanFileError(file, ["beyond: only the socket of a board, or of two ROMs, has anything beyond it"])
    original, chip = order(record.socket, "socket", file, find_page), order(record.chip, "chip", file, find_page)
    plan = Plan(original, chip, record.rows, record.gates, **{name: getattr(record, name) for name in ASKED})
    if faults := [fault for rule in RULES for fault in rule(plan)]:
        raise PlanFileError(file, faults)
    return plan


def read_json(data: bytes, file: str) -> dict:
    """Read one JSON object with each key once; raises PlanFileError with the line that is not JSON."""

    def once(pairs: list[tuple[str, Any]]) -> dict:
        if twice := [key for key, count in Counter(key for key, _ in pairs).items() if count > 1]:
            raise PlanFileError(file, [f"{key}: the key stands twice in one object" for key in twice])
        return dict(pairs)

    def no_number(word: str) -> None:
        raise PlanFileError(file, [f"{word} is no JSON number"])

    if len(data) > LIMIT_BYTES:
        raise PlanFileError(file, [f"{len(data):,} bytes; a plan file has at most {LIMIT_BYTES:,}"])
    try:
        found = json.loads(data.decode("utf-8-sig"), object_pairs_hook=once, parse_constant=no_number)
    except UnicodeDecodeError as error:
        raise PlanFileError(file, [f"not UTF-8 text: byte {data[error.start]:02X} at {error.start}"]) from None
    except json.JSONDecodeError as error:
        raise PlanFileError(file, [f"not JSON: {error.msg}, line {error.lineno}, column {error.colno}"]) from None
    except (RecursionError, ValueError):  # nested too deep, or a number of more digits than Python takes
        raise PlanFileError(file, ["not the JSON of a plan: nested too deep, or a number is too long"]) from None
    if not isinstance(found, dict):
        raise PlanFileError(file, ["not a JSON object: this is no plan file"])
    return found


def order(stated: OrderedPart, key: str, file: str, find_page: Callable[[str], Part]) -> Part:
    """Return the part that the file names, ordered as it says."""
    try:
        page = stated.page or find_page(stated.part)
    except OSError as error:
        raise PlanFileError(file, [f"{key}.part: the page {stated.part} cannot be read: {error.strerror}"]) from None
    if (now := digest(page)) != stated.sha256:
        raise PlanFileError(file, [
            f"{key}.sha256: the page of {page.name} has changed since the plan was made (its content is now {now}); "
            "make the plan anew with romwright wire"
        ])  # fmt: skip
    if stated.page:
        return require_sound(page, key, file)
    choices = {str(pin): free for pin, free in page.choices().items()}
    faults = [
        f"{key}.polarity.{pin}: {page.name} has no choice there" for pin in stated.polarity.keys() - choices.keys()
    ]
    for pin, free in choices.items():
        if stated.polarity.get(pin) not in free:
            faults.append(f"{key}.polarity.{pin}: {stated.polarity.get(pin, 'missing')}, not {' or '.join(free)}")
    if faults:
        raise PlanFileError(file, sorted(faults))
    return page.ordered_as({int(pin): choice for pin, choice in stated.polarity.items()})


def require_sound(page: Part, key: str, file: str) -> Part:
    """Return a page that stands in the plan itself; raises PlanFileError if its pins do not make its package."""
    left, right = len(page.left.split()), len(page.right.split())
    if page.package != f"DIP-{left + right}" or left != right or page.words < 2 or not 1 <= page.bits <= 16:
        raise PlanFileError(
            file, [f"{key}.page: {left} and {right} pins, {page.words} x {page.bits}, in a {page.package}"]
        )
    return page
