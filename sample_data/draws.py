"""Random draws that come out the same on every machine.

Belongs here: turning uniform numbers into other distributions. Does not belong here: what is drawn.

Only uniform numbers are taken from numpy, since its other distributions may change from one
release to the next; every purpose has a stream of its own, so that a further draw in one place
leaves all the others as they were.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence

import numpy as np

Array = np.ndarray


class Draws:
    """One stream of draws, named for its purpose."""

    def __init__(self, seed: int, purpose: str) -> None:
        words = np.random.SeedSequence([seed, zlib.crc32(purpose.encode())])
        self._generator = np.random.Generator(np.random.PCG64(words))

    def uniform(self, size: int | tuple[int, ...]) -> Array:
        """Uniform on [0, 1)."""
        return self._generator.random(size)

    def chance(self, probability: float | Array, size: int | tuple[int, ...]) -> Array:
        """True with this probability."""
        return self.uniform(size) < probability

    def whole(self, low: int, high: int, size: int | tuple[int, ...]) -> Array:
        """Whole numbers from low to high, both included."""
        return low + np.floor(self.uniform(size) * (high - low + 1)).astype(np.int64)

    def normal(self, size: int) -> Array:
        """Standard normal, by Box and Muller."""
        radius = np.sqrt(-2.0 * np.log1p(-self.uniform(size)))
        return radius * np.cos(2.0 * np.pi * self.uniform(size))

    def spread(self, sigma: float, size: int) -> Array:
        """Log-normal factors with median 1."""
        return np.exp(sigma * self.normal(size))

    def exponential(self, size: int | tuple[int, ...]) -> Array:
        """Exponential with mean 1."""
        return -np.log1p(-self.uniform(size))

    def lag(self, least: int, mean: float, size: int) -> Array:
        """Whole days: at least `least`, with an exponential tail that brings the mean to `mean`."""
        return least + np.floor(self.exponential(size) * (mean - least + 0.5)).astype(np.int64)

    def pick(self, weights: Sequence[float] | Array, size: int) -> Array:
        """Positions in `weights`, drawn in proportion to them."""
        steps = np.cumsum(np.asarray(weights, dtype=float))
        return np.searchsorted(steps / steps[-1], self.uniform(size), side="right")
