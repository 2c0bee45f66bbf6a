"""The image: bytes at addresses, with gaps where nothing is defined."""

from __future__ import annotations

from collections.abc import Iterable

from msgspec import Struct

from romwright.errors import GapError, OverlapError, SpanError

SPAN_LIMIT = 64 << 20  # bytes of address space from the first to the last byte of one image


class Segment(Struct, frozen=True):
    """Bytes without a gap, the first of them at address `start`."""

    start: int
    data: bytes

    @property
    def stop(self) -> int:
        """The address after the last byte."""
        return self.start + len(self.data)


class Image(Struct, frozen=True):
    """Bytes at addresses.

    `segments` are sorted, not empty, and neither overlap nor touch; what lies between them is undefined
    until a fill is chosen. `entry` is the start address that a hex file may name.

    >>> image = Image.of([(0x100, b"AB"), (0x102, b"C"), (0x200, b"D")])
    >>> [(f"{s.start:X}", s.data) for s in image.segments]
    [('100', b'ABC'), ('200', b'D')]
    >>> image.gaps
    [(259, 512)]
    """

    segments: tuple[Segment, ...]
    entry: int | None = None

    @classmethod
    def of(cls, pieces: Iterable[tuple[int, bytes]], entry: int | None = None) -> Image:
        """Make an image of (address, bytes) pieces in any order.

        Pieces may overlap where they agree. Raises OverlapError where they do not, SpanError over 64 MiB.
        """
        ordered = sorted((piece for piece in pieces if piece[1]), key=lambda piece: piece[0])
        if ordered:
            start, stop = ordered[0][0], max(address + len(data) for address, data in ordered)
            if stop - start > SPAN_LIMIT:
                raise SpanError(start, stop, SPAN_LIMIT)
        runs: list[tuple[int, bytearray]] = []
        stop = -1
        for address, data in ordered:
            if address < stop:
                start, known = runs[-1]
                seen = known[address - start : address - start + len(data)]
                if seen != data[: len(seen)]:
                    at = next(i for i, (a, b) in enumerate(zip(seen, data, strict=False)) if a != b)
                    raise OverlapError(address + at, seen[at], data[at])
                address, data = address + len(seen), data[len(seen) :]
            if address == stop:
                runs[-1][1].extend(data)
            elif data:
                runs.append((address, bytearray(data)))
            stop = max(stop, address + len(data))
        return cls(tuple(Segment(start, bytes(data)) for start, data in runs), entry)

    @classmethod
    def from_bytes(cls, data: bytes, start: int = 0) -> Image:
        """Make an image without gaps."""
        return cls((Segment(start, data),) if data else ())

    @property
    def start(self) -> int:
        """The lowest defined address (0 for an empty image)."""
        return self.segments[0].start if self.segments else 0

    @property
    def stop(self) -> int:
        """The address after the highest defined one."""
        return self.segments[-1].stop if self.segments else 0

    @property
    def size_bytes(self) -> int:
        """How many bytes are defined."""
        return sum(len(segment.data) for segment in self.segments)

    @property
    def span_bytes(self) -> int:
        """How many addresses lie between the first and the last byte, both included."""
        return self.stop - self.start

    @property
    def gaps(self) -> list[tuple[int, int]]:
        """The undefined stretches between segments, as (first, after the last)."""
        return [(a.stop, b.start) for a, b in zip(self.segments, self.segments[1:], strict=False)]

    def flat(self, fill: int | None = None) -> bytes:
        """Return the bytes from `start` to `stop`; gaps become `fill`, or raise GapError without one."""
        if len(self.segments) == 1:
            return self.segments[0].data
        if self.gaps and fill is None:
            raise GapError(self.gaps)
        out = bytearray(bytes([fill or 0]) * self.span_bytes)
        for segment in self.segments:
            out[segment.start - self.start : segment.stop - self.start] = segment.data
        return bytes(out)

    def defined(self) -> bytes:
        """Return the defined bytes in address order, gaps left out."""
        return self.segments[0].data if len(self.segments) == 1 else b"".join(s.data for s in self.segments)

    def moved(self, by: int) -> Image:
        """Return the same bytes `by` addresses higher; a start address that leaves the 4 GiB is dropped."""
        entry = None if self.entry is None or not 0 <= self.entry + by < 1 << 32 else self.entry + by
        return Image(tuple(Segment(s.start + by, s.data) for s in self.segments), entry)

    def cut(self, start: int, stop: int) -> Image:
        """Return what lies at `start` up to but not including `stop`."""
        kept = (
            Segment(max(s.start, start), s.data[max(start - s.start, 0) : max(stop - s.start, 0)])
            for s in self.segments
        )
        return Image(tuple(s for s in kept if s.data), self.entry)


def hex_range(start: int, stop: int) -> str:
    """Return a range as hex digits, first to last; one address alone where it is one.

    >>> hex_range(0, 0x4000), hex_range(0x3FFF, 0x4000)
    ('0000-3FFF', '3FFF')
    """
    return f"{start:04X}" if stop - start == 1 else f"{start:04X}-{stop - 1:04X}"
