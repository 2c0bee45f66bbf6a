"""What a file was found to be, as values."""

from __future__ import annotations

from typing import NamedTuple

PAGE_BYTES = 256


def pages_of(size: int) -> int:
    """Return how many pages of 256 bytes a size has, a last short one too."""
    return -(-size // PAGE_BYTES)


class Contents(NamedTuple):
    """What was read of a file: `note` says what was odd, `faulty` tells that some of it means a bad or cut file.

    `stored` are the bytes of the file as it is stored, if they are not the image itself.
    """

    data: bytes
    note: str = ""
    faulty: bool = False
    stored: bytes = b""


class Match(NamedTuple):
    """A known ROM that a file is, by what change, and how many of its 256-byte pages the file has."""

    name: str
    list: str
    how: str
    detail: str
    pages_equal: int
    pages_total: int

    @property
    def lossless(self) -> bool:
        """Whether the change can be undone, so that nothing is wrong with the bytes."""
        return not self.how.endswith("damaged")


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
        row = self._asdict() | {"matches": [match._asdict() for match in self.matches], "tried": list(self.tried)}
        return {key: value for key, value in row.items() if value or key not in ("note", "error", "faulty")}
