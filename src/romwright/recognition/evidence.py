"""What sampled bytes say of a route, in bits, and from when on it is believed."""

from __future__ import annotations

from math import log2
from typing import NamedTuple

import numpy as np
from msgspec import Struct

from romwright.recognition.route import Route

RIGHT = 0.7  # of the bytes of a damaged dump, when routes are weighed
MARGIN = 20.0  # bits: one false name in a million dumps
TOO_OFTEN, MOST_CHANCE = 0.25, 0.99  # chance of a byte from which it tells nothing, and that is not gone beyond
SKIPS_PRICE = 40.0  # bits: it is seldom so
LEAST_SHARE, LEAST_EQUAL = 0.6, 16  # of the sampled bytes that can be seen must be right, and so many


class Fit(Struct, frozen=True):
    """A route with what the sampled bytes say of it: `equal` of `seen` that tell anything agree, `bits` of evidence.

    `borne_out` is false if a line is said to be stuck or joined, and the dump does not repeat itself as it then must;
    `skips` tells that lines of the dump are passed over that do something; `doubtful` that whole pages must prove it,
    as it skips, bytes are wrong as between two like tables, most are missing, or there are few different ones.
    """

    route: Route
    bits: float
    equal: int
    seen: int
    borne_out: bool = True
    skips: bool = False
    doubtful: bool = False

    def believed(self, images: int) -> bool:
        """Tell whether no chance explains the agreement, where any of so many images could have been found."""
        enough = self.equal >= max(LEAST_EQUAL, LEAST_SHARE * self.seen)
        return enough and self.borne_out and self.surplus(images) >= MARGIN

    @property
    def worth(self) -> float:
        """The bits of evidence that are left when all routes that are no more complicated are counted."""
        return self.bits - self.route.price - SKIPS_PRICE * self.skips

    def surplus(self, images: int) -> float:
        """The bits that are left when the images are counted too."""
        return self.worth - log2(max(images, 1))


class Expected(NamedTuple):
    """What the sampled bytes should be in a dump: which tell anything, with what chance each is there by itself.

    `blank` tells which values are fill there, `mask` has the data lines that are neither stuck nor loose.
    """

    values: np.ndarray
    tells: np.ndarray
    chance: np.ndarray
    blank: np.ndarray
    mask: np.uint8

    def limited(self) -> Expected:
        """Return it without the bytes that are there by themselves too often to tell anything."""
        tells = self.tells & (self.chance < TOO_OFTEN)
        return self._replace(tells=tells, chance=np.minimum(self.chance, MOST_CHANCE))

    def bits(self, equal: np.ndarray, counted: np.ndarray, right: float = RIGHT) -> np.ndarray:
        """Return the bits of evidence if that share of the bytes is right; for each way, if there are many."""
        one, other = np.log2(right / self.chance), np.log2((1 - right) / (1 - self.chance))
        return np.where(counted, np.where(equal, one, other), 0).sum(axis=-1)
