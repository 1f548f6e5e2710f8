"""Simulated days for tests, each made once a run."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from demo_replay.simulate import SimulatedDay, simulate


@cache
def made(kind: str, seed: int = 39) -> SimulatedDay:
    """The simulated day of a kind."""
    return simulate(kind, seed)


def shown(day: SimulatedDay, point: str) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """(hours since the recording began, values in the point's unit) as its probe sent them."""
    times, counts = day.columns[point]
    values = np.asarray(counts * float(day.points[point].resolution), dtype=np.float64)
    return (times - day.begin_ms) / 3_600_000, values


def during(day: SimulatedDay, point: str, start: float, end: float) -> NDArray[np.float64]:
    """What the probe of `point` sent from `start` to `end` hours after the recording began."""
    hours, values = shown(day, point)
    return values[(hours >= start) & (hours < end)]


def event(day: SimulatedDay, rule: str = "") -> tuple[float, float]:
    """The span of the day's first label (of `rule`, where one is named), in hours after the recording began."""
    label = next(label for label in day.labels if rule in ("", label.rule))
    return (label.start_ms - day.begin_ms) / 3_600_000, (label.end_ms - day.begin_ms) / 3_600_000


def drain_ends(day: SimulatedDay, bed: int, start: float = 0.0, end: float = 25.0) -> NDArray[np.float64]:
    """Hours at which a bed came down through 5 cm."""
    hours, level = shown(day, f"bed{bed}.level")
    down = np.flatnonzero((level[1:] < 5.0) & (level[:-1] >= 5.0))
    found = hours[down + 1]
    # Noise may cross the mark twice within one emptying.
    found = found[np.concatenate(([True], np.diff(found) > 5 / 60))] if len(found) else found
    return found[(found >= start) & (found < end)]


def periods(day: SimulatedDay, bed: int, start: float = 0.0, end: float = 25.0) -> NDArray[np.float64]:
    """Minutes from one emptying of a bed to the next, within a span of hours."""
    return np.diff(drain_ends(day, bed, start, end)) * 60.0
