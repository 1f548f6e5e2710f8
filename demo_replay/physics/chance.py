"""Where does chance come from? Uniform draws of a seeded PCG64, the same on every machine."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


class Chance:
    """A stream of chance of its own for each seed and name, so that one more probe changes no other."""

    def __init__(self, seed: int, name: str) -> None:
        self._draws = np.random.Generator(np.random.PCG64(np.random.SeedSequence([seed, *name.encode()])))

    def uniform(self, n: int, low: float = 0.0, high: float = 1.0) -> Floats:
        """float64[n], evenly spread over [low, high)."""
        drawn: Floats = self._draws.random(n)
        return low + (high - low) * drawn

    def bell(self, n: int) -> Floats:
        """float64[n] of mean 0 and standard deviation 1: twelve uniform draws summed (Irwin-Hall), never beyond 6.

        Sums of uniform draws need no logarithm or exponential, whose last digit differs between machines.
        """
        return np.asarray(self._draws.random((n, 12)).sum(axis=1) - 6.0, dtype=np.float64)

    def drifting(self, n: int, every: int) -> Floats:
        """float64[n]: bell-shaped knots `every` samples apart, joined by straight lines."""
        knots = self.bell(n // every + 2)
        return np.asarray(np.interp(np.arange(n), np.arange(len(knots)) * every, knots), dtype=np.float64)

    def wandering(self, n: int, every: int, keep: float) -> Floats:
        """float64[n] of standard deviation 1: knots `every` samples apart, joined by straight lines.

        Each knot keeps the share `keep` of the one before: an autoregressive series of order 1.
        """
        fresh = self.bell(n // every + 2) * (1.0 - keep * keep) ** 0.5
        knots = np.empty_like(fresh)
        knots[0] = fresh[0] / (1.0 - keep * keep) ** 0.5
        for k in range(1, len(fresh)):
            knots[k] = keep * knots[k - 1] + fresh[k]
        return np.asarray(np.interp(np.arange(n), np.arange(len(knots)) * every, knots), dtype=np.float64)
