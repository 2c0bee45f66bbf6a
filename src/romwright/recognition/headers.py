"""The layouts of ROM headers, one construct Struct each, all little-endian. What they say is judged in structures.py.

Sources: IBM 5160 Technical Reference, p. 5-10 (expansion ROM); Intel, Extensible Firmware Interface Specification
1.10 (2002), tables 12-14 to 12-16 and p. 12-97 (PCI and EFI images); EDK II Pci22.h and Pci30.h, which cite PCI Local
Bus 2.2 and PCI Firmware 3.0 (PCIR). The end of a system BIOS: seen in the three images of Debian's seabios 1.16.2-1.
"""

from __future__ import annotations

from construct import (
    Bytes,
    BytesInteger,
    Const,
    ConstructError,
    Container,
    If,
    Int8ul,
    Int16ul,
    Int32ul,
    Padding,
    Struct,
    this,
)

EXPANSION_ROM = Struct(
    "signature" / Const(b"\x55\xaa"),
    "length_units" / Int8ul,  # of 512 bytes
    "entry" / Bytes(3),  # code: POST makes a far call to it
)

PCI_POINTERS = Struct(  # of a PCI expansion ROM whose code type is 0, from its first byte
    Padding(0x18),
    "pcir_pointer" / Int16ul,
    "pnp_pointer" / Int16ul,  # 0: none
)

EFI_POINTERS = Struct(  # of a PCI expansion ROM whose code type is 3, from its first byte
    "signature" / Const(b"\x55\xaa"),
    "init_units" / Int16ul,  # of 512 bytes; two bytes here, where other code types have one
    "efi_signature" / Int32ul,  # 00000EF1
    "subsystem" / Int16ul,
    "machine" / Int16ul,
    "compression" / Int16ul,  # 0 none, 1 compressed
    Padding(8),
    "image_offset" / Int16ul,
    "pcir_pointer" / Int16ul,
)

PCI_DATA = Struct(
    "signature" / Const(b"PCIR"),
    "vendor" / Int16ul,
    "device" / Int16ul,
    "field_08" / Int16ul,  # product data pointer, reserved, or (revision 3) offset of the device list
    "length" / Int16ul,
    "revision" / Int8ul,
    "class_code" / BytesInteger(3, swapped=True),
    "image_units" / Int16ul,  # of 512 bytes
    "code_revision" / Int16ul,
    "code_type" / Int8ul,
    "indicator" / Int8ul,  # bit 7: last image
    "max_runtime_units" / Int16ul,  # of 512 bytes; reserved before revision 3
    "config_pointer" / If(this.revision >= 3, Int16ul),
    "dmtf_pointer" / If(this.revision >= 3, Int16ul),
)

PNP_HEADER = Struct(
    "signature" / Const(b"$PnP"),
    "revision" / Int8ul,
    "length_units" / Int8ul,  # of 16 bytes
    "next_pointer" / Int16ul,
    Padding(1),
    "checksum" / Int8ul,
)

BIOS_END = Struct(  # the last 16 bytes of a PC system BIOS
    "jump" / Const(b"\xea"),
    "offset" / Int16ul,
    "segment" / Int16ul,
    "date" / Bytes(8),  # MM/DD/YY
    "rest" / Bytes(3),
)

LONGEST = 64  # bytes: no header is longer


def parse(layout: Struct, data: bytes | memoryview) -> Container | None:
    """Parse a header, or return None where the bytes are too few for it or do not start with its signature.

    >>> parse(EXPANSION_ROM, bytes.fromhex("55AA40E92201")).length_units
    64
    >>> parse(EXPANSION_ROM, bytes.fromhex("55AA40")) is None
    True
    """
    try:
        return layout.parse(bytes(data[:LONGEST]))
    except ConstructError:
        return None
