"""The checksums that a good image keeps: stated on the command line, or promised by the image's own headers."""

from __future__ import annotations

import re

from romwright.errors import OptionError
from romwright.images.notation import parse_address, parse_range

# As --store and --fix of prepare write it; a place is not needed where the value is stated.
SUM = re.compile(r"(?P<kind>[^=@:]+)(?:=(?P<value>[^@:]+))?(?:@(?P<at>[^:]+))?(?::(?P<over>.+))?")
HEADER_SAYS = {"expansion ROM": 3, "PnP header": 6}  # bytes from the signature to the length, both included
DIGEST_DIGITS = {"sha1": 40, "sha256": 64}


def parse_condition(text: str, order: str):
    """Read KIND@ADDRESS[:RANGE] or KIND=VALUE[@PLACE][:RANGE], at the file's own addresses. Raises OptionError."""
    from romwright.faults.repairs.syndromes import Condition
    from romwright.images.fixup import kind_named

    match = SUM.fullmatch(text)
    if not match or match["value"] is None and match["at"] is None:
        raise OptionError(
            f"{text!r} cannot be read", where="--sum",
            expected="KIND@ADDRESS[:RANGE] if it is stored there, such as sum16@3FFE:0000-3FFD, or KIND=VALUE[:RANGE], "
            "such as sum8=00:0000-3FFF",
        )  # fmt: skip
    kind, place = kind_named(match["kind"]), match["at"]
    over = parse_range(match["over"], "--sum") if match["over"] else None
    if match["value"] is not None:
        if place:  # where `prepare --fix` put the bytes: it has no bearing on whether the checksum holds
            parse_range(place, "--sum") if "-" in place else parse_address(place, "--sum")
        return Condition(kind, over, None, parse_value(match["value"], kind, "--sum"))
    if "-" in place:
        raise OptionError(
            f"{place} is a range", where="--sum", expected=f"one address; a {kind.name} takes {kind.size_bytes} bytes"
        )
    first = parse_address(place, "--sum")
    return Condition(kind, over, (first, first + kind.size_bytes), order=order)


def parse_value(text: str, kind, option: str) -> int:
    """Read the value of a checksum. Raises OptionError."""
    try:
        value = parse_address(text, option)
    except OptionError:
        raise OptionError(
            f"{text!r} is no value of a {kind.name}", where=option,
            expected=f"hex digits, at most {kind.text((1 << kind.width) - 1)}",
        ) from None  # fmt: skip
    if value >> kind.width:
        raise OptionError(
            f"{text} has more than {kind.width} bits", where=option,
            expected=f"at most {kind.text((1 << kind.width) - 1)}",
        )  # fmt: skip
    return value


def parse_digest(name: str, text: str):
    """Read a digest of the whole image. Raises OptionError."""
    from romwright.faults.repairs.corrections import Digest

    digits = DIGEST_DIGITS[name]
    if not re.fullmatch(f"[0-9a-f]{{{digits}}}", text.strip(), re.IGNORECASE):
        raise OptionError(f"{text!r} is no {name}", where=f"--{name}", expected=f"{digits} hex digits")
    return Digest(name, text.strip().lower())


def stated(sums: tuple[str, ...], crc32: str | None, order: str | None, start: int, size: int) -> list:
    """Read every checksum that is stated. Raises OptionError."""
    from romwright.faults.repairs.syndromes import Condition, require_inside
    from romwright.images.fixup import kind_named

    found = [parse_condition(text, order or "little") for text in sums]
    if order and not any(each.at for each in found):
        raise OptionError("--order says how a checksum is stored, but no --sum says where one is stored")
    if crc32 is not None:
        kind = kind_named("crc-32")
        found.append(Condition(kind, None, None, parse_value(crc32, kind, "--crc32")))
    return [require_inside(each, start, size) for each in found]


def promised(data: bytes) -> list:
    """Return the byte sums that the image's own headers promise: of expansion ROMs and of PnP headers."""
    from romwright.faults.repairs.syndromes import Condition
    from romwright.images.fixup import SUMS
    from romwright.recognition.structures import find_structures

    found = []
    for structure in find_structures(data):
        facts = structure.facts
        sums_to_zero = (
            structure.kind == "PnP header"
            or structure.kind == "expansion ROM"
            and facts["plausible"]
            and facts.get("code_type") in (None, "00")
        )
        if sums_to_zero and facts.get("sum_right") is not None:
            begin = structure.offset
            over, says = (begin, begin + facts["length"]), (begin, begin + HEADER_SAYS[structure.kind])
            found.append(Condition(SUMS["sum8"], over, None, 0, origin="header", relied_on=(says,)))
    return found
