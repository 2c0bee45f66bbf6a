"""Forms of an image: what is left of it after one lossless change, so that two images can be matched by digest.

A file is a known image under some change if a form of the file is the image, or the file is a form of the image. The
first needs only a checksum of the image; the second needs its bytes once, to store its `kept_forms` when it is added.
"""

from __future__ import annotations

import array
from collections.abc import Callable, Iterator
from functools import cache
from typing import NamedTuple

from romwright.images.words import in_bytes

FILLS = {0x00: "00", 0xFF: "FF"}
TELLING_BYTES = 64  # what is shorter, or has fewer different values, is no evidence of anything
TELLING_VALUES = 8
ROTATED_BYTES = 64 << 20  # how much may be hashed for the rotations of one file
SMALLEST_BLOCK = 1024
MOST_BLOCKS = 256  # of one size
_INVERTED = bytes(range(255, -1, -1))
_MIRRORED = bytes(int(f"{byte:08b}"[::-1], 2) for byte in range(256))


class Form(NamedTuple):
    """Bytes made of a file by the change `how`; `detail` says it in words.

    `part` tells what it may be compared with: "whole" also with the kept forms of known images, "core" with their
    cores. "lower" is the lower half of the file as it is, whose digest falls out on the way to that of the whole.
    """

    how: str
    detail: str
    data: bytes
    part: str = ""


# The kept forms of a known image, and what it means if a file is that form.
KEPT = {
    "root": ("repeated", "the known image is this over and over"),
    "core": ("filled", "the known image without the fill at its ends"),
    "lower": ("half", "the lower half of the known image"),
    "upper": ("half", "the upper half of the known image"),
    "even": ("half", "the even bytes of the known image"),
    "odd": ("half", "the odd bytes of the known image"),
    **{f"quarter {i}": ("quarter", f"quarter {i} of 4 of the known image") for i in range(1, 5)},
    **{f"fourth {i}": ("quarter", f"every fourth byte of the known image, from byte {i} on") for i in range(4)},
}


def inverted(data: bytes) -> bytes:
    """Complement every bit."""
    return data.translate(_INVERTED)


def mirrored(data: bytes) -> bytes:
    """Reverse the data lines: D0 becomes D7."""
    return data.translate(_MIRRORED)


def swapped(data: bytes, word: str = "H") -> bytes:
    """Reverse the bytes of every word: `H` 16, `I` 32 bits. A last incomplete word stays as it is."""
    words = array.array(word)
    whole = len(data) - len(data) % words.itemsize
    words.frombytes(data[:whole])
    words.byteswap()
    return words.tobytes() + data[whole:]


def blank(data: bytes) -> bool:
    """Tell whether all bytes are the same."""
    head = data[:16]
    return head.count(head[:1]) == len(head) and not data.lstrip(head[:1])


def telling(data: bytes) -> bool:
    """Tell whether bytes have enough in them to be evidence; erased or zeroed memory has not."""
    return len(data) >= TELLING_BYTES and len(set(data)) >= TELLING_VALUES


def period(data: bytes) -> int:
    """Return the smallest number of bytes of which the data is a whole number of copies.

    >>> period(b"ABCABCABC"), period(b"ABCD")
    (3, 4)
    """
    size = len(data)
    for prime in _prime_factors(size):
        while size % prime == 0:
            step = size // prime
            if not data.startswith(data[step : min(step + 32, size)]) or data[step:size] != data[: size - step]:
                break
            size = step
    return size


@cache
def _prime_factors(number: int) -> tuple[int, ...]:
    """Return the different prime factors of a number."""
    found, prime = [], 2
    while number > 1:
        if prime * prime > number:
            prime = number
        if number % prime == 0:
            found.append(prime)
            while number % prime == 0:
                number //= prime
        prime += 1
    return tuple(found)


def core(data: bytes) -> tuple[int, int]:
    """Return where the data starts and stops if 00 or FF at either end is taken for fill."""
    start = fill_length(data, data.startswith, data[:1])
    stop = len(data) - fill_length(data, data.endswith, data[-1:])
    return min(start, stop), stop


def fill_length(data: bytes, has: Callable[[bytes], bool], value: bytes) -> int:
    """Return the length of the fill at one end, by halving: comparing blocks is faster than stripping bytes."""
    low, high = 0, len(data) if value and value[0] in FILLS else 0
    while low < high:
        middle = (low + high + 1) // 2
        low, high = (middle, high) if has(value * middle) else (low, middle - 1)
    return low


def kept_forms(data: bytes) -> Iterator[tuple[str, bytes]]:
    """Yield those forms of a known image, by name, that are worth keeping."""
    size, (start, stop) = len(data), core(data)
    forms = {"root": data[: period(data)], "core": data[start:stop]}
    if size % 2 == 0:
        forms |= {"lower": data[: size // 2], "upper": data[size // 2 :], "even": data[::2], "odd": data[1::2]}
    if size % 4 == 0:
        forms |= {f"quarter {i + 1}": data[i * size // 4 : (i + 1) * size // 4] for i in range(4)}
        forms |= {f"fourth {i}": data[i::4] for i in range(4)}
    yield from ((name, form) for name, form in forms.items() if len(form) < size and telling(form))


def forms(data: bytes, thorough: bool) -> Iterator[Form]:
    """Yield the forms of a file, simplest first; the file itself is not among them.

    `thorough` adds what costs several times as much: chains, even and odd bytes, quarters, blocks, rotations, crossed
    data lines.
    """
    if blank(data):
        return  # every change of it is blank too
    for change, detail, changed in _changes(data, thorough):
        if change:
            yield Form(change, detail, changed, "whole")
        for form in _reductions(changed, thorough, chained=bool(change)):
            how, words = (f"{change} and {form.how}", f"{detail}; {form.detail}") if change else (form.how, form.detail)
            yield Form(how, words.removeprefix("; "), form.data, form.part)


def _changes(data: bytes, thorough: bool) -> Iterator[tuple[str, str, bytes]]:
    yield "", "", data
    yield "inverted", "", inverted(data)
    yield "bytes swapped", "in 16-bit words", swapped(data)
    if thorough:
        yield "inverted and bytes swapped", "in 16-bit words", swapped(inverted(data))
        yield "bytes swapped", "in 32-bit words", swapped(data, "I")
        yield "lines crossed", "D0 to D7 in reverse order", mirrored(data)


def _reductions(data: bytes, thorough: bool, chained: bool) -> Iterator[Form]:
    """Yield what the file may be more of: a smaller image repeated, filled, beside another, shifted."""
    size, step = len(data), period(data)
    if step < size:
        for count in (n for n in range(size // step, 1, -1) if size // step % n == 0):
            yield Form("repeated", f"{count} times in the file", data[: size // count], "whole")
        for how, detail, form, part in _reductions(data[:step], thorough, chained):
            words = f"{size // step} times in the file; {detail}"
            yield Form(f"repeated and {how}", words, form, part if part == "core" else "")
        return
    if chained and not thorough:
        return  # other chains are left to the thorough pass
    start, stop = core(data)
    yield from _unfilled(data, start, stop, thorough)
    yield from _halves(data, start, stop, chained)
    if size & (size - 1):
        yield from _odd_sized(data)
    if thorough:
        yield from _refilled(data, 2 << (size - 1).bit_length() if size & (size - 1) else 2 * size)
        yield from _spread(data)
        yield from _blocks(data, start, stop)
        if not chained:
            yield from _rotations(data)


def _unfilled(data: bytes, start: int, stop: int, thorough: bool) -> Iterator[Form]:
    """Yield the data without fill at its ends; some of it may belong to the image, so round sizes are tried too."""
    size = len(data)
    if stop - start in (0, size):
        return
    spans = {(0, stop): "", (start, size): "", (start, stop): "core"}
    for block in _round_sizes(stop - start, size, thorough):
        aligned = start // block * block
        for first in (0, size - block, aligned):
            if first <= start and stop <= first + block <= size:
                spans.setdefault((first, first + block), "")
    spans.pop((0, size), None)
    for (first, last), part in spans.items():
        words = []
        if first:
            words.append(f"{in_bytes(first)} of {data[0]:02X} before it")
        if last < size:
            words.append(f"{in_bytes(size - last)} of {data[-1]:02X} after it")
        yield Form("filled", " and ".join(words) + " in the file", data[first:last], part)


def _round_sizes(least: int, below: int, thorough: bool) -> Iterator[int]:
    """Yield powers of two, if thorough one and a half times them too, from `least` up to but not with `below`."""
    power = 256
    while power < below:
        yield from (size for size in (power, power * 3 // 2)[: 1 + thorough] if least <= size < below)
        power *= 2


def _halves(data: bytes, start: int, stop: int, chained: bool) -> Iterator[Form]:
    """Yield the halves; those beside mere fill are left to `_unfilled`."""
    size, view = len(data), memoryview(data)
    if size % 2:
        return
    half = size // 2
    if stop > half:
        how, detail = _beside(data[half:], "after") or ("half", "it is the lower half of the file")
        yield Form(how, detail, view[:half], "" if chained else "lower")
    if start < half:
        how, detail = _beside(data[:half], "before") or ("half", "it is the upper half of the file")
        yield Form(how, detail, view[half:])


def _beside(rest: bytes, side: str) -> tuple[str, str] | None:
    """Call the rest of a file fill if it is one value, whatever the value; None if it is not."""
    if not blank(rest):
        return None
    return "filled", f"{in_bytes(len(rest))} of {rest[0]:02X} {side} it in the file"


def _spread(data: bytes) -> Iterator[Form]:
    """Yield every second and every fourth byte: one chip's share of a wider memory."""
    if len(data) % 2 == 0:
        yield Form("half", "it is the even bytes of the file", data[::2])
        yield Form("half", "it is the odd bytes of the file", data[1::2])
    if len(data) % 4 == 0:
        for first in range(4):
            yield Form("quarter", f"it is every fourth byte of the file, from byte {first} on", data[first::4])


def _odd_sized(data: bytes) -> Iterator[Form]:
    """Yield the largest power of two at either end of a file of no such size, and the file filled to the next."""
    size = len(data)
    block = 1 << size.bit_length() - 1
    for rest, form, side in (
        (data[block:], data[:block], "after"),
        (data[: size - block], data[size - block :], "before"),
    ):
        how, detail = _beside(rest, side) or ("shifted", f"with {in_bytes(len(rest))} {side} it in the file")
        yield Form(how, detail, form)
    yield from _refilled(data, 2 * block)


def _refilled(data: bytes, full: int) -> Iterator[Form]:
    missing = full - len(data)
    for value, name in FILLS.items():
        fill = bytes([value]) * missing
        yield Form("filled", f"the file lacks {in_bytes(missing)} of {name} at its end", data + fill)
        yield Form("filled", f"the file lacks {in_bytes(missing)} of {name} at its start", fill + data)


def _blocks(data: bytes, start: int, stop: int) -> Iterator[Form]:
    """Yield the quarters, eighths, ... down to 1K, each at its own multiple."""
    size, view = len(data), memoryview(data)
    block = size // 4 if size & (size - 1) == 0 else 1 << size.bit_length() - 2
    while block >= max(SMALLEST_BLOCK, size // MOST_BLOCKS):
        how = "quarter" if block * 4 == size else "shifted"
        for first in range(0, size - block + 1, block):
            if first > start or first + block < stop:
                yield Form(
                    how, f"it lies at {first:04X}-{first + block - 1:04X} of the file", view[first : first + block]
                )
        block //= 2


def rotation_step(size: int) -> int:
    """Return the distance in bytes of the rotations that are tried for a file: 256, more for a large one."""
    step = 256
    while size * (size // step) > ROTATED_BYTES:
        step *= 2
    return step


def _rotations(data: bytes) -> Iterator[Form]:
    twice = memoryview(data + data)
    for offset in range(step := rotation_step(len(data)), len(data), step):
        yield Form(
            "shifted", f"it starts at {offset:04X} of the file and goes on at its start", twice[offset:][: len(data)]
        )
