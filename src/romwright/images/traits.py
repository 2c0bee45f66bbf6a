"""What the bytes of an image show by themselves: blank runs, repeats, lines that never matter, entropy, text.

Every trait is exact: it is counted over all bytes, never sampled. Addresses in traits are those of the image;
address lines are the ROM's own (A0 is the lowest), counted from the image's first byte.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
from msgspec import Struct, field

from romwright.images import runs
from romwright.images.image import Image, hex_range
from romwright.images.view import View
from romwright.images.words import in_bytes

PAGE = 256  # bytes whose entropy is measured together
CHUNK = 1 << 18  # bytes worked on at a time, so that 8-byte intermediate values stay small
FILL_SHOWN = 5
TEXT_SHOWN = 16
BLANKS = {0xFF: "the erased state of an EPROM", 0x00: "the blank state of some PROMs, or a wiped file"}


class Trait(Struct, frozen=True):
    """One thing that the bytes show: `kind`, `detail` in words for people, `facts` for programs.

    The facts of each kind (addresses and lengths are numbers, byte values two hex digits):

    - `gap`: `gaps`, `bytes`: how many stretches, and addresses in them, nothing defines.
    - `erased`: `value`: all bytes have this blank value, FF or 00.
    - `blank share`: `ff`, `zero`: share of all bytes, 0 to 1.
    - `fill`: `value`, `start`, `stop` (after the last), `length`: one of the longest runs.
    - `repeat`: `period`, `times`: the image is its first `period` bytes, `times` times over.
    - `half`: `half` (`lower`, `upper`, `both`), `state` (`blank`, `equal`), `value` where blank.
    - `address line`: `lines`: changing any of these never changes the byte.
    - `data bit`: `bit`, `state` (`constant` with `level`, or `equal` with `of`: `bit` always equals bit `of`).
    - `entropy` (bits a byte): `whole`; over whole pages of 256 bytes `lowest`, `lowest_at`, `highest`, `highest_at`.
    - `text`: `high_bit`, `runs`, `bytes`, `share`, `strings`: the longest as {`address`, `text`}, in address order.
    """

    kind: str
    detail: str
    facts: Mapping[str, object] = field(default_factory=dict)

    @property
    def names(self) -> frozenset[tuple[str, ...]]:
        """What the trait is about, as pairs of its kind and a line, half, period or place; empty for measures."""
        if self.kind == "fill":
            return frozenset({("fill", f"{self.facts['start']}+{self.facts['length']}")})
        keys = {"erased": "", "repeat": "period", "half": "half", "address line": "lines", "data bit": "bit"}
        if self.kind not in keys:
            return frozenset()
        about = self.facts.get(keys[self.kind], ())
        return frozenset((self.kind, str(one)) for one in (about if isinstance(about, list) else [about or ""]))

    def as_json(self) -> dict[str, object]:
        """The trait under the documented JSON keys."""
        return {"kind": self.kind, "detail": self.detail, **self.facts}


def find_traits(image: Image) -> list[Trait]:
    """Find all traits of an image, in a fixed order.

    Repeats, halves and address lines belong to a whole chip: while the image has gaps they are left out, and the
    `gap` trait says so. Fill the gaps first (`Image.flat`) to have them. An erased image has no other trait.

    >>> [t.detail for t in find_traits(Image.from_bytes(bytes(range(256)) * 2)) if t.kind == "repeat"]
    ['the first 256 bytes come 2 times over']
    """
    if not image.segments:
        return []
    view = View.of(image)
    if runs.is_uniform(view.data) and view.data[0] in BLANKS:
        return [*_gaps(image), _erased(int(view.data[0]))]
    counts, pages = _counted(view.data), _page_entropies(view)
    traits = [*_gaps(image), _blank_share(counts), *_fills(view)]
    if not image.gaps:
        data = image.flat()
        traits += [*_repeats(data), *_halves(data), *_address_lines(data)]
    return [*traits, *_data_bits(counts), _entropy(counts, pages), *_texts(view)]


def find_period(data: bytes) -> int:
    """Return the smallest divisor of the size whose first bytes, repeated, are the data; the size itself if none is.

    Such periods have the property that the greatest common divisor of two is one too, so dividing out one prime
    factor after the other reaches the smallest.

    >>> find_period(b"abcabcabcabc"), find_period(b"abcab")
    (3, 5)
    """
    period = len(data)
    view = np.frombuffer(data, np.uint8)
    for factor in _prime_factors(len(data)):
        shorter = period // factor
        head = min(shorter, 64)  # most images differ here already
        if np.array_equal(view[:head], view[shorter : shorter + head]) and np.array_equal(
            view[: period - shorter], view[shorter:period]
        ):
            period = shorter
    return period


def find_idle_lines(data: bytes) -> list[int]:
    """Return the address lines that never matter: changing one never changes the byte, wherever both exist.

    >>> find_idle_lines(b"aabb")
    [0]
    """
    view = np.frombuffer(data, np.uint8)
    if len(view) and runs.is_uniform(view):
        return list(range((len(view) - 1).bit_length()))
    return [n for n in range((len(view) - 1).bit_length()) if len(view) and _idle(view, 1 << n)]


def _idle(view: np.ndarray, step: int) -> bool:
    for start in range(0, len(view), max(CHUNK, 2 * step)):
        block = view[start : start + max(CHUNK, 2 * step)]
        whole = len(block) // (2 * step) * (2 * step)
        pairs = block[:whole].reshape(-1, 2, step)
        tail = block[whole:]
        if not np.array_equal(pairs[:8, 0, :64], pairs[:8, 1, :64]) or not np.array_equal(pairs[:, 0], pairs[:, 1]):
            return False
        if not np.array_equal(tail[step:], tail[: max(len(tail) - step, 0)]):
            return False
    return True


def _prime_factors(number: int) -> Iterator[int]:
    factor = 2
    while factor * factor <= number:
        while number % factor == 0:
            yield factor
            number //= factor
        factor += 1
    if number > 1:
        yield number


def _counted(data: np.ndarray) -> np.ndarray:
    """Count how often each byte value occurs."""
    return sum(np.bincount(data[at : at + CHUNK], minlength=256) for at in range(0, len(data), CHUNK))


def _page_entropies(view: View) -> tuple[np.ndarray, np.ndarray]:
    """Return the addresses of all whole pages, and their entropies in bits a byte."""
    offsets = view.blocks(PAGE)
    times = np.arange(PAGE + 1, dtype=np.float64)
    weight = (times * np.log2(np.maximum(times, 1)) / PAGE).astype(np.float32)
    entropies = np.empty(len(offsets), np.float32)
    pages = np.lib.stride_tricks.sliding_window_view(view.data, PAGE) if len(offsets) else view.data
    for at in range(0, len(offsets), CHUNK // PAGE):
        index = pages[offsets[at : at + CHUNK // PAGE]].astype(np.int32)
        rows = len(index)
        index += np.arange(rows, dtype=np.int32)[:, None] * 256
        counts = np.bincount(index.ravel(), minlength=rows * 256).reshape(rows, 256)
        entropies[at : at + rows] = 8 - weight[counts].sum(axis=1)
    return view.addresses(offsets), entropies


def _gaps(image: Image) -> Iterator[Trait]:
    if gaps := image.gaps:
        missing = sum(stop - start for start, stop in gaps)
        yield Trait(
            "gap",
            f"{in_bytes(missing)} not defined, in {len(gaps):,} gap{'s' * (len(gaps) > 1)}; repeats and address lines "
            "are judged once the gaps are filled (--fill FF)",
            {"gaps": len(gaps), "bytes": missing},
        )


def _erased(value: int) -> Trait:
    return Trait("erased", f"every byte is {value:02X}: {BLANKS[value]}", {"value": f"{value:02X}"})


def _blank_share(counts: np.ndarray) -> Trait:
    ff, zero = (round(int(counts[value]) / int(counts.sum()), 4) for value in (0xFF, 0x00))
    return Trait("blank share", f"{ff:.2%} of the bytes are FF, {zero:.2%} are 00", {"ff": ff, "zero": zero})


def _fills(view: View) -> Iterator[Trait]:
    found = runs.longest(runs.cut(runs.find_fills(view.data), view.offsets, runs.FILL_LEAST), FILL_SHOWN)
    first, last = 0, len(view.data)
    for a, b in sorted(found.tolist()):
        start = int(view.addresses(np.array([a]))[0])
        stop = start + b - a
        place = "all of it" if (a, b) == (first, last) else hex_range(start, stop)
        place += " (to the end)" if b == last and a > first else ""
        value = f"{view.data[a]:02X}"
        facts = {"value": value, "start": start, "stop": stop, "length": b - a}
        yield Trait("fill", f"{b - a:,} bytes of {value}: {place}", facts)


def _repeats(data: bytes) -> Iterator[Trait]:
    period = find_period(data)
    if 1 < period < len(data):
        times = len(data) // period
        kib = f" ({period >> 10}K in a {len(data) >> 10}K image)" if period % 1024 == 0 else ""
        yield Trait(
            "repeat", f"the first {period:,} bytes come {times:,} times over{kib}", {"period": period, "times": times}
        )


def _halves(data: bytes) -> Iterator[Trait]:
    if len(data) % 2 or len(data) < 2:
        return
    halves = np.frombuffer(data, np.uint8).reshape(2, -1)
    if _idle(halves.reshape(-1), len(data) // 2):
        yield Trait("half", "both halves are equal", {"half": "both", "state": "equal"})
    for name, half in zip(("lower", "upper"), halves, strict=True):
        if half[0] in BLANKS and runs.is_uniform(half):
            facts = {"half": name, "state": "blank", "value": f"{half[0]:02X}"}
            yield Trait("half", f"the {name} half is blank: every byte is {half[0]:02X}", facts)


def _address_lines(data: bytes) -> Iterator[Trait]:
    if lines := [f"A{n}" for n in find_idle_lines(data)]:
        verb = "never matters: changing it" if len(lines) == 1 else "never matter: changing any of them"
        yield Trait("address line", f"{', '.join(lines)} {verb} never changes the byte", {"lines": lines})


def _data_bits(counts: np.ndarray) -> Iterator[Trait]:
    """Compare the data bits over the byte values that occur: nothing else of the image matters to them."""
    values = np.flatnonzero(counts)
    bits = {n: (values >> n) & 1 for n in range(8)}
    varying = [n for n in bits if bits[n].min() != bits[n].max()]
    for n in bits:
        if n not in varying:
            level = int(bits[n][0])
            yield Trait("data bit", f"D{n} is always {level}", {"bit": f"D{n}", "state": "constant", "level": level})
        elif same := [m for m in varying if m < n and np.array_equal(bits[m], bits[n])]:
            facts = {"bit": f"D{n}", "state": "equal", "of": f"D{same[0]}"}
            yield Trait("data bit", f"D{n} always equals D{same[0]}", facts)


def _entropy(counts: np.ndarray, pages: tuple[np.ndarray, np.ndarray]) -> Trait:
    share = counts[counts > 0] / counts.sum()
    whole = round(abs(float(-(share * np.log2(share)).sum())), 4)
    facts: dict[str, object] = {"whole": whole}
    detail = f"{whole:.4f} bits a byte"
    addresses, entropies = pages
    if len(entropies):
        low, high = int(entropies.argmin()), int(entropies.argmax())
        lowest, highest = (round(abs(float(entropies[page])), 4) for page in (low, high))
        lowest_at, highest_at = int(addresses[low]), int(addresses[high])
        facts |= {"lowest": lowest, "lowest_at": lowest_at, "highest": highest, "highest_at": highest_at}
        detail += f"; pages of {PAGE} bytes: {lowest:.4f} at {lowest_at:04X} to {highest:.4f} at {highest_at:04X}"
    return Trait("entropy", detail, facts)


def _texts(view: View) -> Iterator[Trait]:
    """Find runs of printable characters, plain and with the high bit set; runs of one character are fill, not text."""
    for high_bit in (False, True):
        rows = runs.cut(runs.find_texts(view.data, high_bit), view.offsets, runs.TEXT_LEAST)
        rows = rows[~runs.uniform(view.data, rows)]
        if not len(rows):
            continue
        shown = np.sort(runs.longest(rows, TEXT_SHOWN), axis=0)
        texts = [(view.data[a:b] & 0x7F).tobytes().decode("ascii") for a, b in shown]
        strings = [{"address": int(at), "text": text} for at, text in zip(view.addresses(shown[:, 0]), texts)]
        total = int((rows[:, 1] - rows[:, 0]).sum())
        share = round(total / len(view.data), 4)
        yield Trait(
            "text",
            f"{len(rows):,} run{'s' * (len(rows) > 1)} of {runs.TEXT_LEAST} or more printable characters"
            f"{' with the high bit set' if high_bit else ''}, {total:,} bytes ({share:.2%})",
            {"high_bit": high_bit, "runs": len(rows), "bytes": total, "share": share, "strings": strings},
        )
