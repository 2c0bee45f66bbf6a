"""Preparing an image: from files to exactly the bytes that a chip, or a set of chips, needs.

The steps have one order: cut, join, swap, invert, place, fill, store and fix checksums, repeat, split.
"""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import Struct, field

from romwright.errors import NotFittingError, OptionError, OverlapError
from romwright.findings import Code, Finding, Severity
from romwright.images import transforms
from romwright.images.fixup import SUMS
from romwright.images.image import Image, hex_range
from romwright.images.sums import Sum, put_sums
from romwright.images.words import in_bytes

PARTLY_FILLED = Code(
    "partly-filled",
    Severity.CAUTION,
    "an image fills the chip, or is repeated until it does",
    "A chip that is larger than the socket has address pins that the board does not drive: tied the wrong way, they "
    "show the filled part and the machine reads an erased chip.",
    do="Tie the chip's highest address lines to GND so that the filled block shows, or repeat the image over the "
    "whole chip with prepare --repeat: then their level does not matter.",
    example="the image takes 16,384 of 32,768 bytes; the rest is fill",
)
WORD_WIDE = Code(
    "word-wide",
    Severity.NOTE,
    "the chip holds words of 8 bits: the order of the bytes does not matter",
    "Programmers take the even byte of a file as D0 to D7 (common practice, no source); some show a sum of words.",
    do="Compare the programmer's display with the sum of words that is printed. If it comes out with the bytes of "
    "each word exchanged, prepare --swap 2 exchanges them.",
    example="the 27C1024 holds words of 16 bits; bytes stay in the order of the file",
)


class Source(Struct, frozen=True):
    """One input: its name for messages, its image, and the chip address it was told to start at, if any."""

    name: str
    image: Image
    at: int | None = None


class Recipe(Struct, frozen=True):
    """What to do with the sources; sizes in bytes."""

    chip_bytes: int
    chip_name: str
    fill: int
    chip_bits: int = 8
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


class Prepared(Struct):
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
    data = put_sums(data, filled, recipe.sums, recipe.order, done.steps)
    if recipe.repeat:
        data = repeat(data, recipe, done)
    elif block < recipe.room_bytes:
        done.findings.append(
            Finding(
                PARTLY_FILLED,
                f"the image takes {block:,} of {in_bytes(recipe.room_bytes)}; the rest is fill",
                f"{recipe.room_bytes // block} blocks of {in_bytes(block)}, chosen by the highest address lines",
                "tie those lines low at the chip, or give --repeat so that they do not matter",
            )
        )
    judge_width(data, recipe, done)
    done.chips = transforms.split(data, recipe.split)
    if recipe.split > 1:
        done.steps.append(f"split into {recipe.split} chips: byte n goes to chip n modulo {recipe.split}")
    return done


def transformed(source: Source, recipe: Recipe, done: Prepared) -> Image:
    """Cut one source to the wanted addresses."""
    image = source.image
    gaps = f" in {len(image.segments)} pieces" if image.gaps else ""
    done.steps.append(f"read {source.name}: {in_bytes(image.size_bytes)}{gaps} at {span(image)}")
    if recipe.cut:
        image = image.cut(*recipe.cut)
        if not image.segments:
            raise OptionError(
                f"nothing of {source.name} lies in {hex_range(*recipe.cut)}",
                expected=f"addresses in {span(source.image)}",
            )
        done.steps.append(f"cut to {hex_range(*recipe.cut)}: {in_bytes(image.size_bytes)} left")
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
    done.steps.append(f"joined {len(sources)} files byte by byte, {sources[0].name} first: {in_bytes(len(data))}")
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
    placed: list[tuple[str, Image]] = []
    for source in sources:
        by = source.at - source.image.start if source.at is not None else -base
        image = source.image.moved(by)
        if image.start < 0:
            raise OptionError(
                f"{source.name} starts at {source.image.start:04X}, below the base {base:04X}",
                help="give a lower --base, or its chip address as FILE@ADDRESS",
            )
        if image.stop > recipe.room_bytes:
            raise not_fitting(source, image, recipe)
        done.steps.append(f"placed {source.name} at chip address {span(image)}")
        placed.append((source.name, image))
        pieces += [(s.start, s.data) for s in image.segments]
    try:
        return Image.of(pieces)
    except OverlapError as error:
        clash = [name for name, image in placed if image.cut(error.address, error.address + 1).segments]
        error.where = f"chip address {error.address:04X} in {' and '.join(clash[:2])}"
        raise


def not_fitting(source: Source, image: Image, recipe: Recipe) -> NotFittingError:
    """Make the error for an image that, placed so, passes the end of the chip."""
    size = in_bytes(image.size_bytes) + (f" that span {image.span_bytes:,}" if image.gaps else "")
    place = recipe.chip_name if recipe.split == 1 else f"{recipe.split} x {recipe.chip_name}"
    return NotFittingError(
        image.size_bytes,
        recipe.room_bytes,
        what=source.name,
        size=size + (f" and, placed at {image.start:04X}, reaches {image.stop - 1:04X}" if image.start else ""),
        place=place,
        help="choose a larger part, take a stretch with --cut FIRST-LAST, or split it over several chips",
    )


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
        done.steps.append(f"filled {in_bytes(count)} with {recipe.fill:02X}")
    return bytes(data), filled


def judge_width(data: bytes, recipe: Recipe, done: Prepared) -> None:
    """Check that every byte fits the chip's words, and say how bytes make a word of 16 bits."""
    if recipe.chip_bits > 8:
        words = SUMS["words-little"]
        done.findings.append(
            Finding(
                WORD_WIDE,
                f"the {recipe.chip_name} holds words of {recipe.chip_bits} bits; bytes stay in the order of the file",
                f"the 16-bit sum of its words, low byte first, is {words.text(words.compute(data))}",
                "compare with what the programmer expects; --swap 2 exchanges the bytes of each word",
            )
        )
    elif recipe.chip_bits < 8 and max(data) >> recipe.chip_bits:
        at = next(i for i, byte in enumerate(data) if byte >> recipe.chip_bits)
        raise OptionError(
            f"{data[at]:02X} at {at:04X} has more bits than a word of the {recipe.chip_name}",
            expected=f"values up to {(1 << recipe.chip_bits) - 1:02X}, one word a byte",
            help="split the image into its low and high halves first, or give another --fill",
        )


def repeat(data: bytes, recipe: Recipe, done: Prepared) -> bytes:
    """Repeat the bytes over the whole room."""
    times = recipe.room_bytes // len(data)
    done.steps.append(
        f"repeated the {in_bytes(len(data))} {times} times, so that the high address lines do not matter"
        if times > 1
        else "nothing to repeat: the image takes the whole room"
    )
    return transforms.repeat(data, recipe.room_bytes)


def span(image: Image) -> str:
    """Return an image's addresses as text."""
    return hex_range(image.start, image.stop)
