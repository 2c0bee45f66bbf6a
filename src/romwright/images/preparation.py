"""Preparing an image: from files to exactly the bytes that a chip, or a set of chips, needs.

The steps have one order: cut, join, swap, invert, place, fill, store and fix checksums, repeat, split.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from romwright.errors import NotFittingError, NotSolvableError, OptionError, OverlapError
from romwright.findings import Code, Finding, Severity
from romwright.images import fixup, transforms
from romwright.images.image import Image

PARTLY_FILLED = Code(
    "partly-filled",
    Severity.CAUTION,
    "Whether an image is so small that the chip's highest address lines decide whether it is seen.",
    "A chip that is larger than the socket has address pins that the board does not drive: tied the wrong way, they "
    "show the filled part and the machine reads an erased chip.",
)


@dataclass(frozen=True, slots=True)
class Source:
    """One input: its name for messages, its image, and the chip address it was told to start at, if any."""

    name: str
    image: Image
    at: int | None = None


@dataclass(frozen=True, slots=True)
class Sum:
    """A checksum to be put into the image.

    `value` is what the checksum of `over` is made to come to by the bytes at `at`; with `value` None, the checksum
    itself is stored there. Ranges are (first, after the last); `over` None is the whole image, `at[1]` None the usual
    length.
    """

    kind: fixup.Kind
    at: tuple[int, int | None]
    value: int | None = None
    over: tuple[int, int] | None = None


@dataclass(frozen=True, slots=True)
class Recipe:
    """What to do with the sources; sizes in bytes."""

    chip_bytes: int
    chip_name: str
    fill: int
    cut: tuple[int, int] | None = None
    join: bool = False
    swap: int = 0
    invert: bool = False
    base: int | None = None
    repeat: bool = False
    split: int = 1
    sums: Sequence[Sum] = ()
    order: str = "little"

    @property
    def room_bytes(self) -> int:
        """The size of all chips together."""
        return self.chip_bytes * self.split


@dataclass(slots=True)
class Prepared:
    """The contents of each chip, what was done, step by step, and what to look out for."""

    chips: list[bytes] = field(default_factory=list)
    steps: list[str] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)


def prepare(sources: Sequence[Source], recipe: Recipe) -> Prepared:
    """Make the contents of the chips. The same sources and recipe always give the same bytes.

    Raises NotFittingError with both sizes, OverlapError where two sources differ, GapError, NotSolvableError,
    OptionError.
    """
    done = Prepared()
    sources = [Source(s.name, transformed(s, recipe, done), s.at) for s in sources]
    if recipe.join:
        sources = [joined(sources, recipe, done)]
    if recipe.swap or recipe.invert:
        sources = [Source(s.name, rearranged(s, recipe, done), s.at) for s in sources]
    placed = place(sources, recipe, done)
    block = 1 << max(placed.stop - 1, 0).bit_length()  # the smallest power of two that holds everything
    data, filled = fill(placed, block if recipe.repeat else recipe.room_bytes, recipe, done)
    for wanted in recipe.sums:
        data = put_sum(data, filled, wanted, recipe, done)
    if recipe.repeat:
        data = repeat(data, recipe, done)
    elif block < recipe.room_bytes:
        done.findings.append(
            Finding(
                PARTLY_FILLED,
                f"the image takes {block:,} of {recipe.room_bytes:,} bytes; the rest is fill",
                f"{recipe.room_bytes // block} blocks of {block:,} bytes, chosen by the highest address lines",
                "tie those lines low at the chip, or give --repeat so that they do not matter",
            )
        )
    done.chips = transforms.split(data, recipe.split)
    if recipe.split > 1:
        done.steps.append(f"split into {recipe.split} chips: byte n goes to chip n modulo {recipe.split}")
    return done


def transformed(source: Source, recipe: Recipe, done: Prepared) -> Image:
    """Cut one source to the wanted addresses."""
    image = source.image
    gaps = f" in {len(image.segments)} pieces" if image.gaps else ""
    done.steps.append(f"read {source.name}: {image.size_bytes:,} bytes{gaps} at {span(image)}")
    if recipe.cut:
        image = image.cut(*recipe.cut)
        if not image.segments:
            raise OptionError(
                f"nothing of {source.name} lies in {hex_range(*recipe.cut)}",
                expected=f"addresses in {span(source.image)}",
            )
        done.steps.append(f"cut to {hex_range(*recipe.cut)}: {image.size_bytes:,} bytes left")
    return image


def joined(sources: Sequence[Source], recipe: Recipe, done: Prepared) -> Source:
    """Interleave all sources, the first giving byte 0."""
    if len(sources) < 2:
        raise OptionError("one file cannot be joined", expected="two or more files, that of byte 0 first")
    if moved := [s.name for s in sources if s.at is not None]:
        raise OptionError(
            f"{moved[0]} is given an address, but the files are joined", help="place the result with --base"
        )
    data = transforms.join([s.image.flat(recipe.fill) for s in sources])
    done.steps.append(f"joined {len(sources)} files byte by byte, {sources[0].name} first: {len(data):,} bytes")
    return Source("the joined image", Image.from_bytes(data, sources[0].image.start * len(sources)))


def rearranged(source: Source, recipe: Recipe, done: Prepared) -> Image:
    """Swap and invert the bytes of one source, keeping its addresses."""
    data = source.image.flat(recipe.fill)
    if recipe.swap:
        data = transforms.swap(data, recipe.swap)
        done.steps.append(f"reversed the bytes of every group of {recipe.swap} in {source.name}")
    if recipe.invert:
        data = transforms.invert(data)
        done.steps.append(f"inverted every bit of {source.name}")
    return Image.from_bytes(data, source.image.start)


def place(sources: Sequence[Source], recipe: Recipe, done: Prepared) -> Image:
    """Move every source to its chip addresses: as told, or by one base for all that were told nothing."""
    free = [s for s in sources if s.at is None]
    base = recipe.base if recipe.base is not None else guessed_base(free, recipe)
    pieces: list[tuple[int, bytes]] = []
    for source in sources:
        by = source.at - source.image.start if source.at is not None else -base
        image = source.image.moved(by)
        if image.start < 0:
            raise OptionError(
                f"{source.name} starts at {source.image.start:04X}, below the base {base:04X}",
                help="give a lower --base, or its chip address as FILE@ADDRESS",
            )
        if image.stop > recipe.room_bytes:
            name = recipe.chip_name if recipe.split == 1 else f"{recipe.split} × {recipe.chip_name}"
            place_of = f", placed at {image.start:04X}," if image.start else ""
            raise NotFittingError(
                image.stop if image.start else image.size_bytes,
                recipe.room_bytes,
                what=f"{source.name}{place_of} reaches {image.stop - 1:04X}: it" if image.start else source.name,
                place=name,
                help="choose a larger part, take a stretch with --cut FIRST-LAST, or split it over several chips",
            )
        done.steps.append(f"placed {source.name} at chip address {span(image)}")
        pieces += [(s.start, s.data) for s in image.segments]
    try:
        return Image.of(pieces)
    except OverlapError as error:
        error.where = error.where or "chip address " + f"{error.address:04X} in " + " and ".join(
            s.name for s in sources
        )
        raise


def guessed_base(sources: Sequence[Source], recipe: Recipe) -> int:
    """Return the address that becomes chip address 0: 0 if all fits so, else the start of an aligned block."""
    if not sources:
        return 0
    start, stop = min(s.image.start for s in sources), max(s.image.stop for s in sources)
    if stop <= recipe.room_bytes:
        return 0
    block = 1
    while start // block * block + block < stop:
        block *= 2
    if block <= recipe.room_bytes:
        return start // block * block
    if stop - start <= recipe.room_bytes:
        raise OptionError(
            f"the image at {hex_range(start, stop)} fits the chip, but what is chip address 0 is not clear",
            help=f"say it: --base {start:04X} puts the lowest byte at chip address 0",
        )
    return start


def fill(placed: Image, room_bytes: int, recipe: Recipe, done: Prepared) -> tuple[bytes, bytearray]:
    """Return the room with every undefined byte filled, and a map of 1 where it was."""
    data, filled = bytearray([recipe.fill]) * room_bytes, bytearray(b"\1") * room_bytes
    for segment in placed.segments:
        data[segment.start : segment.stop] = segment.data
        filled[segment.start : segment.stop] = bytes(len(segment.data))
    if count := room_bytes - placed.size_bytes:
        done.steps.append(f"filled {count:,} bytes with {recipe.fill:02X}")
    return bytes(data), filled


def repeat(data: bytes, recipe: Recipe, done: Prepared) -> bytes:
    """Repeat the bytes over the whole room."""
    times = recipe.room_bytes // len(data)
    done.steps.append(
        f"repeated the {len(data):,} bytes {times} times, so that the high address lines do not matter"
        if times > 1
        else "nothing to repeat: the image takes the whole room"
    )
    return transforms.repeat(data, recipe.room_bytes)


def put_sum(data: bytes, filled: bytearray, wanted: Sum, recipe: Recipe, done: Prepared) -> bytes:
    """Store a checksum, or make it come to a value."""
    kind = wanted.kind
    first, last = wanted.over or (0, len(data))
    at, stop = wanted.at[0], wanted.at[1] or wanted.at[0] + kind.size_bytes
    for begin, end in ((first, last), (at, stop)):
        if not begin < end <= len(data):
            raise OptionError(
                f"{hex_range(begin, end)} does not lie in the image", expected=f"addresses in {hex_range(0, len(data))}"
            )
    over = f"over {hex_range(first, last)}"
    if wanted.value is None:
        inside = first <= at < last
        measured = data[first:at] + data[stop:last] if inside else data[first:last]
        value = kind.compute(measured)
        patch = value.to_bytes(kind.size_bytes, recipe.order)
        stop = at + len(patch)
        done.steps.append(
            f"stored the {kind.name} {over}{' without this place' if inside else ''}, {kind.text(value)}, "
            f"{recipe.order} end first at {hex_range(at, stop)}"
        )
    else:
        if not first <= at < stop <= last:
            raise OptionError(
                f"the bytes at {hex_range(at, stop)} lie outside {hex_range(first, last)}, which they are to change"
            )
        try:
            patch = fixup.solve(data[first:last], kind, wanted.value, at - first, stop - at)
        except NotSolvableError as error:
            # A byte sum may need more bytes than it is wide; take them where nothing but fill is lost.
            grown = at + (error.needed or 0)
            if wanted.at[1] or not error.needed or grown > last or not all(filled[stop:grown]):
                raise
            stop = grown
            patch = fixup.solve(data[first:last], kind, wanted.value, at - first, stop - at)
        done.steps.append(
            f"made the {kind.name} {over} come to {kind.text(wanted.value)} "
            f"by {patch.hex().upper()} at {hex_range(at, stop)}"
        )
    if lost := (stop - at) - sum(filled[at:stop]):
        done.steps.append(f"note: {lost} of these bytes replaced {'a byte' if lost == 1 else 'bytes'} of the program")
    filled[at:stop] = bytes(stop - at)
    return data[:at] + patch + data[stop:]


def span(image: Image) -> str:
    """Return an image's addresses as text."""
    return hex_range(image.start, image.stop)


def hex_range(start: int, stop: int) -> str:
    """Return a range as hex digits, first to last; one address alone where it is one.

    >>> hex_range(0, 0x4000), hex_range(0x3FFF, 0x4000)
    ('0000-3FFF', '3FFF')
    """
    return f"{start:04X}" if stop - start == 1 else f"{start:04X}-{stop - 1:04X}"
