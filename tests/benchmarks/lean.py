"""What is the least work that numpy can do for one setting of one limit over a series? The measure for sweeps."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

MINUTE, HOUR, DAY = 60_000, 3_600_000, 86_400_000
YEAR = 525_600
"""Readings of a point-year, one a minute."""
START = 1_767_225_600_000
"""2026-01-01T00:00Z."""

Ints = NDArray[np.int64]


def point_year(seed: int = 5) -> tuple[Ints, Ints]:
    """(times, counts of 0.1 degC): a made-up year of air in a glasshouse, a reading a minute.

    A season of 9 degC to either side, a daily wave of 6, weather that wanders by about 2.5 over days and by 0.5 over
    minutes (clouds), and a probe with noise of 0.06 degC, quantised to 0.1: so that a limit is crossed a few hundred
    times a year in earnest, and some thousand times by noise.
    """
    chance = np.random.default_rng(seed)
    minute = np.arange(YEAR)
    day = minute / 1440
    season = -9 * np.cos(2 * np.pi * (day - 15) / 365)
    wave = -6 * np.cos(2 * np.pi * (day - 1 / 12))
    true = 18 + season + wave + _wandering(chance, 2.5, 2 * 1440) + _wandering(chance, 0.5, 20)
    shown = np.round((true + chance.normal(0, 0.06, YEAR)) * 10)
    return START + MINUTE * minute.astype(np.int64), shown.astype(np.int64)


def _wandering(chance: np.random.Generator, spread: float, memory: float) -> NDArray[np.float64]:
    """Noise of a standard deviation that forgets itself over `memory` minutes, float64[YEAR]."""
    step = max(1, round(memory / 20))
    knots = YEAR // step + 2
    keep = np.exp(-step / memory)
    kicks = chance.normal(0, spread * np.sqrt(1 - keep**2), knots)
    found = np.empty(knots)
    value = 0.0
    for index in range(knots):
        value = keep * value + kicks[index]
        found[index] = value
    return np.interp(np.arange(YEAR), np.arange(knots) * step, found)


def lean_pass(values: Ints, limit: int, deadband: int) -> int:
    """Two comparisons of the whole series, the edges of each, and one search for the return of each onset.

    It knows no delay, no gap and no score. Returns how many onsets there are, so that nothing is optimised away.
    """
    above, within = values > limit, values <= limit - deadband
    onsets = np.flatnonzero(above[1:] > above[:-1]) + 1
    clears = np.flatnonzero(within[1:] > within[:-1]) + 1
    returns = np.searchsorted(clears, onsets)
    return len(returns)
