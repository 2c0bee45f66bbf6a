"""The defined bytes of an image as one array, so that a hundred thousand segments cost no more than one."""

from __future__ import annotations

import numpy as np
from msgspec import Struct

from romwright.images.image import Image


class View(Struct, frozen=True):
    """All defined bytes side by side; segment i begins at `offsets[i]` among them, and at address `starts[i]`.

    >>> view = View.of(Image.of([(0x100, b"AB"), (0x200, b"CDE")]))
    >>> view.data.tobytes(), [f"{address:X}" for address in view.addresses(np.array([0, 1, 2, 4]))]
    (b'ABCDE', ['100', '101', '200', '202'])
    """

    data: np.ndarray
    offsets: np.ndarray
    starts: np.ndarray

    @classmethod
    def of(cls, image: Image) -> View:
        """View an image of at least one byte."""
        lengths = np.array([len(segment.data) for segment in image.segments])
        starts = np.array([segment.start for segment in image.segments])
        return cls(np.frombuffer(image.defined(), np.uint8), np.cumsum(lengths) - lengths, starts)

    def addresses(self, offsets: np.ndarray) -> np.ndarray:
        """Return the addresses of the bytes at these offsets."""
        segment = np.searchsorted(self.offsets, offsets, "right") - 1
        return offsets - self.offsets[segment] + self.starts[segment]

    def blocks(self, size: int) -> np.ndarray:
        """Return the offsets of all whole blocks of `size` bytes, counted from the start of each segment."""
        counts = np.diff(self.offsets, append=len(self.data)) // size
        first = np.cumsum(counts) - counts
        return np.repeat(self.offsets, counts) + (np.arange(counts.sum()) - np.repeat(first, counts)) * size
