"""What a file was found to be, as values."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

PAGE_BYTES = 256


def pages_of(size: int) -> int:
    """Return how many pages of 256 bytes a size has, a last short one too."""
    return -(-size // PAGE_BYTES)


def said_to_differ(pages: Sequence[int], compared: int, total: int) -> str:
    """Say which pages of the known image differ, with runs of them shortened, and how many were compared if not all.

    >>> said_to_differ((3, 4, 9), 16, 16)
    'pages 3-4, 9 of 16 differ'
    >>> said_to_differ((19,), 16, 32)
    'page 19 of 32 differs (16 compared)'
    """
    runs: list[list[int]] = []
    for page in pages:
        if runs and runs[-1][1] == page - 1:
            runs[-1][1] = page
        else:
            runs.append([page, page])
    names = [f"{first}" if first == last else f"{first}-{last}" for first, last in runs]
    shown = ", ".join(names[:12]) + (f" and {len(names) - 12} more runs" if len(names) > 12 else "")
    rest = f" ({compared} compared)" if compared < total else ""
    return f"page{'s' * (len(pages) != 1)} {shown} of {total} differ{'s' * (len(pages) == 1)}{rest}"


class Contents(NamedTuple):
    """What was read of a file: `note` says what was odd, `faulty` tells that some of it means a bad or cut file.

    `stored` are the bytes of the file as it is stored, if they are not the image itself.
    """

    data: bytes
    note: str = ""
    faulty: bool = False
    stored: bytes = b""


class Match(NamedTuple):
    """A known ROM that a file is, by what change, and how many of its 256-byte pages the file has.

    The rest is of damaged files and of lines: pages that differ; how many of the ROM's sampled bytes agree, of those
    that can be seen, and the bits of evidence beyond chance that this is; what each line carries, as `compare` says it;
    the file's address of the ROM's first byte.
    """

    name: str
    list: str
    how: str
    detail: str
    pages_equal: int
    pages_total: int
    pages_differ: tuple[int, ...] = ()
    samples_equal: int = 0
    samples_total: int = 0
    evidence_bits: int = 0
    address_lines: tuple[dict[str, object], ...] = ()
    data_lines: tuple[dict[str, object], ...] = ()
    at: int = 0

    @property
    def lossless(self) -> bool:
        """Whether the change can be undone, so that nothing is wrong with the bytes."""
        return not self.how.endswith(("damaged", "two at once"))

    def as_json(self) -> dict[str, object]:
        """The match under the documented JSON keys; those that tell nothing are left out."""
        return {key: value for key, value in self._asdict().items() if value or key not in self._field_defaults}


class Identification(NamedTuple):
    """What a file was found to be.

    `note` says what was odd about it, `faulty` that the file itself is bad or cut, whatever its bytes are; `error` why
    it could not be looked at. `crc32` is empty if it was not asked for.
    """

    file: str
    size: int
    crc32: str
    sha256: str
    matches: tuple[Match, ...] = ()
    tried: tuple[str, ...] = ()
    note: str = ""
    error: str = ""
    faulty: bool = False

    @property
    def known(self) -> bool:
        """Whether it is a known ROM, as it is or after a lossless change."""
        return any(match.lossless for match in self.matches)

    def as_plain(self) -> tuple:
        """The identification as tuples and strings only, for another process."""
        return (*self[:4], tuple(map(tuple, self.matches)), *self[5:])

    @classmethod
    def from_plain(cls, values: tuple) -> Identification:
        """Undo `as_plain`."""
        return cls(*values[:4], tuple(Match(*match) for match in values[4]), *values[5:])

    def as_json(self) -> dict[str, object]:
        """The identification under the documented JSON keys."""
        row = self._asdict() | {"matches": [match.as_json() for match in self.matches], "tried": list(self.tried)}
        return {key: value for key, value in row.items() if value or key not in ("note", "error", "faulty")}
