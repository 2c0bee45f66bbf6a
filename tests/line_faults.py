"""Reads that are spoilt on purpose: real images, random line maps with faults of given kinds, and turned bits."""

from pathlib import Path

import numpy as np

from romwright.faults.lines import Law, Line, LineMap

FAULTS = ("address stuck", "address joined", "data stuck", "data joined", "data inverted")
# file, first byte, bytes (None: to the end, filled with FF up to a power of two)
IMAGES = (
    ("/usr/share/seabios/bios-256k.bin", 0, 262144),
    ("/usr/share/seabios/bios.bin", 0, 131072),
    ("/usr/share/seabios/bios-256k.bin", 131072, 65536),
    ("/usr/share/seabios/bios-256k.bin", 163840, 32768),
    ("/usr/share/seabios/bios-256k.bin", 180224, 16384),
    ("/usr/share/seabios/bios-256k.bin", 200704, 8192),
    ("/usr/share/vgabios/vgabios.banshee.bin", 0, 32768),
    ("/usr/share/vgabios/vgabios.banshee.bin", 8192, 8192),
    ("/usr/share/vgabios/vgabios.bin", 0, None),
    ("/usr/lib/ipxe/qemu/pxe-e1000.rom", 0, None),
    ("/usr/lib/ipxe/qemu/pxe-e1000.rom", 0, 65536),
    ("/usr/lib/ipxe/qemu/pxe-virtio.rom", 16384, 16384),
    ("/usr/lib/ipxe/qemu/efi-e1000.rom", 0, None),
    ("/usr/lib/ipxe/qemu/efi-e1000.rom", 0, 131072),
)


def load(images):
    """Return the images that are there, by name, each a power of two of bytes."""
    found = {}
    for path, start, size in images:
        if Path(path).exists():
            data = Path(path).read_bytes()
            data = (
                data[start : start + size]
                if size
                else data + b"\xff" * ((1 << (len(data) - 1).bit_length()) - len(data))
            )
            found[f"{Path(path).name} {start:X} {len(data) >> 10}K"] = np.frombuffer(data, np.uint8)
    return found


def random_map(rng, lines, kinds, crossed=True):
    """Return a line map with all lines crossed at random, or none, and a fault of each kind, on lines of their own."""
    address, data = (
        [Line.follows(int(line)) for line in rng.permutation(n) if crossed] or [*map(Line.follows, range(n))]
        for n in (lines, 8)
    )
    free = {"address": rng.permutation(lines).tolist(), "data": rng.permutation(8).tolist()}
    for kind in kinds:
        side, what = kind.split()
        side_lines, first = (address if side == "address" else data), free[side].pop()
        if what == "stuck":
            side_lines[first] = Line.stuck(int(rng.integers(2)))
        elif what == "inverted":
            side_lines[first] = Line.inverted(side_lines[first].of[0])
        else:
            second = free[side].pop()
            of = [side_lines[first].of[0], side_lines[second].of[0]]
            side_lines[first] = side_lines[second] = Line.joined(Law(rng.choice(["and", "or"])), of)
    return LineMap(tuple(address), tuple(data))


def turned(rng, data, rate):
    """Return the data with this share of its bits turned at random."""
    return data ^ np.packbits(rng.random((len(data), 8)) < rate, axis=1)[:, 0] if rate else data
