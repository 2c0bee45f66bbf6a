"""Header structures in an image: where they are, what they say, and whether it holds.

A structure that is cut short or contradicts itself is stated with its problems; nothing in an image can make this fail.
FINDERS lists the kinds; their layouts (headers.py) are loaded only once an image shows a signature.
"""

from __future__ import annotations

import itertools
import re
import zlib
from collections.abc import Callable, Iterator, Mapping

from msgspec import Struct, field

from romwright.findings import Code, Finding, Severity
from romwright.images.checksums import byte_sum
from romwright.images.words import in_bytes

UNIT = 512  # bytes: what lengths in expansion ROM headers count
SCAN_STEP = 2048  # bytes: POST looks for expansion ROMs in steps of 2K (IBM 5160 Technical Reference, p. 5-10)
CODE_TYPES = {0: "PC-AT", 1: "Open Firmware", 2: "PA-RISC", 3: "EFI"}
EFI_SIGNATURE = 0x0EF1
LAST_IMAGE = 0x80
ENTRIES = frozenset(b"\xe9\xeb\xcb")  # how the code of an expansion ROM starts: near or short jump, far return
DATE = re.compile(rb"[01]\d/[0-3]\d/\d\d")

WRONG_HEADER = Code(
    "rom-header",
    Severity.FAULT,
    "the lengths and byte sums that a ROM header promises hold",
    "A PC ignores an expansion ROM whose bytes do not sum to zero, and a sum that fails is often a bad read.",
    do="Read the ROM again and compare. If it reads the same, compare it with a known good copy.",
    example="the expansion ROM header at offset 0000 does not hold",
)

DOUBTFUL_HEADER = Code(
    "55aa-by-chance",
    Severity.NOTE,
    "an image that starts with 55 AA goes on as an expansion ROM does",
    "Two bytes alone can agree by chance, or because a test pattern was written there.",
    do="Nothing, unless the chip should hold an expansion ROM: then read it again.",
    example="55 AA at the start, but nothing else of an expansion ROM",
)


class Structure(Struct, frozen=True):
    """One header: `kind`, `offset` from the image's first byte, `detail` in words, `facts`, and what is wrong with it.

    The facts of each kind (lengths and offsets are numbers of bytes; ids, pointers, sums, raw bytes are hex digits):

    - `expansion ROM`: `image` (its number in the chain, from 0), `signature`, `plausible` (more than 55 AA shows that
      it is one), `code_type` and `code_type_name` (null without PCI data), `length_byte`, `length`, `length_from`,
      `sum8`, `sum_right` (null where not all bytes are there), `crc32` (all over `length`), `entry`, `pcir_pointer`,
      `pnp_pointer`; for EFI code also `init_size`, `efi_signature`, `subsystem`, `machine`, `compression`,
      `efi_offset`. Where the header itself is cut short: only `image`, `signature`, `plausible`, `length`.
    - `PCI data`: `vendor`, `device`, `class_code`, `field_08`, `length`, `revision`, `image_length`, `image_sum8`,
      `image_crc32`, `code_revision`, `code_type`, `indicator`, `last`, `max_runtime_units` (null before revision 3).
    - `PnP header`: `revision`, `length`, `next_pointer`, `sum8`, `sum_right`.
    - `missing image`: `image`, the number of one that should follow at this offset.
    - `after last image`: `bytes`, `fill` (the one value they all have, or null).
    - `system BIOS`: `entry` (SSSS:OOOO), `date`, `rest`.
    """

    kind: str
    offset: int
    detail: str
    facts: Mapping[str, object] = field(default_factory=dict)
    problems: tuple[str, ...] = ()

    def as_json(self) -> dict[str, object]:
        """The structure under the documented JSON keys."""
        return {
            "kind": self.kind,
            "offset": self.offset,
            "detail": self.detail,
            **self.facts,
            "problems": list(self.problems),
        }


def find_structures(data: bytes) -> list[Structure]:
    """Find the header structures of an image, kind after kind, each in address order.

    >>> rom = bytes([0x55, 0xAA, 1, 0xCB]) + bytes(507) + bytes([0x35])
    >>> [(s.kind, s.facts["sum8"]) for s in find_structures(rom)]
    [('expansion ROM', '00')]
    """
    return list(itertools.chain.from_iterable(find(data) for find in FINDERS))


def find_header_faults(structures: list[Structure]) -> list[Finding]:
    """Return a finding for every structure that does not hold: a note where it may be none at all."""
    return [
        Finding(
            WRONG_HEADER,
            f"the {structure.kind} header at offset {structure.offset:04X} does not hold",
            "; ".join(structure.problems),
            "read the ROM again and compare; if it reads the same, compare it with a known good copy",
        )
        if structure.facts.get("plausible", True)
        else Finding(DOUBTFUL_HEADER, "55 AA at the start, but nothing else of an expansion ROM")
        for structure in structures
        if structure.problems
    ]


def whole_rom(data: bytes, offset: int = 0) -> bytes:
    """Return the expansion ROM at an offset if it is as long as its length byte says and sums to 00, else nothing."""
    length = data[offset + 2] * UNIT if data[offset : offset + 2] == b"\x55\xaa" and offset + 2 < len(data) else 0
    body = data[offset : offset + length]
    return body if len(body) == length and byte_sum(body) % 256 == 0 else b""


def _expansion_roms(data: bytes) -> Iterator[Structure]:
    """Yield what starts with 55 AA: at the image's start in any case, further on if it is whole."""
    offset = 0
    while offset < len(data) - 1:
        last = offset
        if data[offset : offset + 2] == b"\x55\xaa" and (offset == 0 or whole_rom(data, offset)):
            chain = list(_chain(data, offset))
            yield from chain
            last = max((s.offset + int(s.facts["length"]) for s in chain if s.facts.get("plausible")), default=offset)
        offset = max(offset + SCAN_STEP, -(-last // SCAN_STEP) * SCAN_STEP)


def _chain(data: bytes, offset: int) -> Iterator[Structure]:
    """Yield the expansion ROM at `offset` and those that its PCI data says follow."""
    number, first = 0, offset
    while True:
        rom, *inner = _expansion_rom(data, offset, number)
        yield from (rom, *inner)
        pci = next((s for s in inner if s.kind == "PCI data"), None)
        if pci is None or pci.facts["last"] or not pci.facts["image_length"]:
            break
        offset, number = offset + int(pci.facts["image_length"]), number + 1
        if data[offset : offset + 2] != b"\x55\xaa":
            problem = f"the PCI data of image {number - 1} says that another image follows, but 55 AA is not there"
            yield Structure("missing image", offset, f"image {number} is not there", {"image": number}, (problem,))
            return
    stop = offset + int((pci.facts["image_length"] if pci else 0) or rom.facts["length"])
    if first == 0 and offset < stop < len(data) and rom.facts["plausible"]:
        rest = data[stop:]
        fill = rest[:1] if rest == rest[:1] * len(rest) else None
        words = f"{in_bytes(len(rest))} after the last image" + (f", all {fill.hex().upper()}" if fill else "")
        facts = {"bytes": len(rest), "fill": fill and fill.hex().upper()}
        yield Structure("after last image", stop, words, facts)


def _expansion_rom(data: bytes, offset: int, number: int) -> Iterator[Structure]:
    from romwright.recognition import headers

    body, problems = memoryview(data)[offset:], []
    header = headers.parse(headers.EXPANSION_ROM, body)
    if header is None:
        facts = {"image": number, "signature": "55AA", "plausible": number > 0, "length": len(body)}
        yield Structure("expansion ROM", offset, "expansion ROM, cut short", facts, ("the header is cut short",))
        return
    pointers = headers.parse(headers.PCI_POINTERS, body)
    pci, pnp = None, None
    if pointers and body[pointers.pcir_pointer :][:4] == b"PCIR":
        pci = _pci_data(body, offset, pointers.pcir_pointer)
    if pointers and body[pointers.pnp_pointer :][:4] == b"$PnP":
        pnp = _pnp_header(body, offset, pointers.pnp_pointer)
    # Read the code type before trusting byte 2: in an EFI image it is only the low half of a 16-bit size.
    code_type = pci.facts["code_type"] if pci and "code_type" in pci.facts else None
    efi = headers.parse(headers.EFI_POINTERS, body) if code_type == "03" else None
    if code_type not in (None, "00"):
        length, length_from = int(pci.facts["image_length"]), "PCI data"
    else:
        length, length_from = header.length_units * UNIT, "length byte"
    whole, sum8, sum_right = _promised(body, length, f"the {length_from} says", problems)
    if sum_right is False and code_type in (None, "00"):
        problems.append(f"the {length:,} bytes sum to {sum8}, not 00")
    name = CODE_TYPES.get(int(code_type, 16), "unknown code type") if code_type else None
    facts = {
        "image": number,
        "signature": "55AA",
        "plausible": bool(number or pci or pnp or sum_right or header.entry[0] in ENTRIES),
        "code_type": code_type,
        "code_type_name": name,
        "length_byte": f"{header.length_units:02X}",
        "length": length,
        "length_from": length_from,
        "sum8": sum8,
        "sum_right": sum_right,
        "crc32": f"{zlib.crc32(whole):08X}",
        "entry": header.entry.hex().upper(),
        "pcir_pointer": f"{pointers.pcir_pointer:04X}" if pointers else None,
        "pnp_pointer": f"{pointers.pnp_pointer:04X}" if pointers else None,
    }
    if efi:
        facts |= {
            "init_size": efi.init_units * UNIT,
            "efi_signature": f"{efi.efi_signature:08X}",
            "subsystem": f"{efi.subsystem:04X}",
            "machine": f"{efi.machine:04X}",
            "compression": efi.compression,
            "efi_offset": f"{efi.image_offset:04X}",
        }
        if efi.efi_signature != EFI_SIGNATURE:
            problems.append(f"the EFI signature is {efi.efi_signature:08X}, not 00000EF1")
    kind = f"{name} code" if name else "plain ISA style, no PCI data"
    detail = f"image {number}: {kind}, {length:,} bytes by its {length_from}"
    detail += "" if sum_right is None else f", sum {sum8}"
    yield Structure("expansion ROM", offset, detail, facts, tuple(problems))
    yield from filter(None, (pci, pnp))


def _pci_data(body: memoryview, base: int, pointer: int) -> Structure:
    from romwright.recognition import headers

    pci = headers.parse(headers.PCI_DATA, body[pointer:])
    if pci is None:
        facts = {"last": True, "image_length": 0}
        return Structure("PCI data", base + pointer, "PCI data, cut short", facts, ("the PCI data is cut short",))
    problems, length = [], pci.image_units * UNIT
    whole, sum8, _ = _promised(body, length, "the PCI data says that its image has", problems)
    facts = {
        "vendor": f"{pci.vendor:04X}",
        "device": f"{pci.device:04X}",
        "class_code": f"{pci.class_code:06X}",
        "field_08": f"{pci.field_08:04X}",
        "length": pci.length,
        "revision": pci.revision,
        "image_length": length,
        "image_sum8": sum8,
        "image_crc32": f"{zlib.crc32(whole):08X}",
        "code_revision": f"{pci.code_revision:04X}",
        "code_type": f"{pci.code_type:02X}",
        "indicator": f"{pci.indicator:02X}",
        "last": bool(pci.indicator & LAST_IMAGE),
        "max_runtime_units": pci.max_runtime_units if pci.revision >= 3 else None,
    }
    detail = (
        f"vendor {facts['vendor']}, device {facts['device']}, class {facts['class_code']}, revision {pci.revision}, "
        f"image of {length:,} bytes{', the last' if facts['last'] else ''}"
    )
    return Structure("PCI data", base + pointer, detail, facts, tuple(problems))


def _pnp_header(body: memoryview, base: int, pointer: int) -> Structure:
    from romwright.recognition import headers

    pnp = headers.parse(headers.PNP_HEADER, body[pointer:])
    if pnp is None:
        return Structure("PnP header", base + pointer, "PnP header, cut short", {}, ("the PnP header is cut short",))
    problems, length = [], pnp.length_units * 16
    _, sum8, sum_right = _promised(body[pointer:], length, "the PnP header says", problems)
    if sum_right is False:
        problems.append(f"the PnP header sums to {sum8}, not 00")
    facts = {
        "revision": pnp.revision,
        "length": length,
        "next_pointer": f"{pnp.next_pointer:04X}",
        "sum8": sum8,
        "sum_right": sum_right,
    }
    detail = f"PnP header, revision {pnp.revision}, {length} bytes"
    detail += "" if sum_right is None else f", sum {sum8}"
    return Structure("PnP header", base + pointer, detail, facts, tuple(problems))


def _promised(body: memoryview, length: int, says: str, problems: list[str]) -> tuple[memoryview, str, bool | None]:
    """Return the bytes that a header promises, their 8-bit sum, and whether that is 00: None unless all are there."""
    whole = body[:length]
    if len(whole) < length:
        problems.append(f"{says} {length:,} bytes, but only {len(whole):,} are there")
    elif not length:
        problems.append(f"{says} 0 bytes")
    total = byte_sum(whole) & 0xFF
    return whole, f"{total:02X}", total == 0 if len(whole) == length > 0 else None


def _bios_end(data: bytes) -> Iterator[Structure]:
    if data[-16:-15] != b"\xea" or not DATE.fullmatch(data[-11:-3]):
        return
    from romwright.recognition import headers

    end = headers.parse(headers.BIOS_END, data[-16:])
    entry, date = f"{end.segment:04X}:{end.offset:04X}", end.date.decode("ascii")
    facts = {"entry": entry, "date": date, "rest": end.rest.hex().upper()}
    yield Structure("system BIOS", len(data) - 16, f"far jump to {entry}, dated {date}", facts)


FINDERS: tuple[Callable[[bytes], Iterator[Structure]], ...] = (_expansion_roms, _bios_end)
