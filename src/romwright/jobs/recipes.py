"""From words to a recipe: what `prepare` takes as options, and a job's file as keys.

Errors name the place where a word was given as the command line writes it (`--fill`); a job puts its own key there.
"""

from __future__ import annotations

import os
import re

from romwright.errors import InputError, OptionError
from romwright.images.notation import parse_address, parse_byte, parse_range

FIX = re.compile(r"(?P<kind>[^=@]+)=(?P<value>[^@]+)@(?P<at>[^:]+)(?::(?P<over>.+))?")
UNBURNABLE = {"mask ROM": "a mask ROM: its contents were made with it"}
STORE = re.compile(r"(?P<kind>[^=@]+)@(?P<at>[^:]+)(?::(?P<over>.+))?")


def recipe_from(part, options: dict, room):
    """Turn the options into a recipe for the size of `room`. Raises OptionError for a part that cannot be burned."""
    from romwright.images.preparation import Recipe

    require_burnable(part)
    if options["fill"] is None and part.erased is None:
        raise OptionError(
            f"the page of {part.name} does not say what an erased chip reads", help="say it: --fill FF or --fill 00"
        )
    sums = [parse_sum(text, STORE, "--store") for text in options["store"]]
    sums += [parse_sum(text, FIX, "--fix") for text in options["fix"]]
    if options["order"] and not options["store"]:
        raise OptionError("--order says how a checksum is stored, but there is no --store")
    given = {name: value for name, value in options.items() if value is not None}
    return Recipe(
        chip_bytes=room.words * room.word_bytes,
        chip_name=room.name,
        chip_bits=room.bits,
        fill=parse_byte(given.get("fill", part.erased), "--fill"),
        cut=parse_range(given["cut"], "--cut") if "cut" in given else None,
        join=options["join"],
        swap=int(given.get("swap", 0)),
        invert=options["invert"],
        base=parse_address(given["base"], "--base") if "base" in given else None,
        repeat=options["repeat"],
        split=int(given.get("split", 1)),
        sums=sums,
        order=given.get("order", "little"),
    )


def require_burnable(part) -> None:
    """Raise OptionError for a part that nobody can burn."""
    if part.family in UNBURNABLE:
        raise OptionError(
            f"{part.name} is {UNBURNABLE[part.family]}",
            where="--for",
            expected="a chip that a programmer can burn",
            help=f"`romwright wire {part.name} CHIP` shows how a programmable chip goes into its socket",
        )


def parse_sum(text: str, form: re.Pattern, option: str):
    """Read a checksum wish. Raises OptionError."""
    from romwright.images.fixup import kind_named
    from romwright.images.sums import Sum

    match = form.fullmatch(text)
    if not match:
        example = "sum8=00@3FFF:0000-3FFF" if form is FIX else "sum16@3FFE:0000-3FFD"
        raise OptionError(f"{text!r} cannot be read", where=option, expected=f"for instance {example}")
    kind = kind_named(match["kind"])
    place, value = match["at"], None
    at = parse_range(place, option) if "-" in place else (parse_address(place, option), None)
    if form is FIX:
        value = parse_address(match["value"], option)
        if value >> kind.width:
            raise OptionError(
                f"{match['value']} has more than {kind.width} bits",
                where=option,
                expected=f"at most {kind.text((1 << kind.width) - 1)}",
            )
    elif at[1]:
        raise OptionError(
            f"{place} is a range", where=option, expected=f"one address; a {kind.name} takes {kind.size_bytes} bytes"
        )
    return Sum(kind, at, value, parse_range(match["over"], option) if match["over"] else None)


def read_input(text: str, read_as: str | None):
    """Read FILE or FILE@ADDRESS; returns what was loaded and the address. A file of that whole name goes first."""
    from romwright.images import formats

    match = re.fullmatch(r"(.+)@((?:0x|\$)?[0-9A-Fa-f]+h?)", text)
    if match and not os.path.exists(text):
        return formats.read(match[1], read_as), parse_address(match[2], text)
    return formats.read(text, read_as), None


def accepted(loaded: list, codes: tuple[str, ...]) -> list:
    """Return the findings about the inputs. Raises InputError at a fault that was not accepted."""
    from romwright.findings import blocks

    findings = [(one.file, finding) for one in loaded for finding in one.findings]
    for file, finding in findings:
        if blocks([finding]) and finding.code.name not in codes:
            raise InputError(
                finding.title,
                where=", ".join(filter(None, [file, finding.evidence])),
                help=f"{finding.remedy}; or give --accept {finding.code.name} if it is meant so",
            )
    if unknown := set(codes) - {finding.code.name for _, finding in findings}:
        raise OptionError(
            f"no input has the finding {', '.join(sorted(unknown))}", where="--accept", help="leave the option out"
        )
    return [finding for _, finding in findings]
