"""What is the weather outside on a kind of day?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from demo_replay import place
from demo_replay.physics.chance import Chance, Floats
from demo_replay.physics.sun import elevation, irradiance
from rules.derived.vapour import saturation_vapour_pressure


@dataclass(frozen=True, slots=True)
class WeatherSettings:
    """The weather of a kind of day: degC, share of sky in cloud, air changes an hour that wind makes through gaps."""

    mean: float
    swing: float
    dew_point: float
    cloud: float
    leakage: float = 0.5
    mean_after: float | None = None
    """Mean temperature that is reached by the end, where a colder or warmer air mass comes in."""


@dataclass(frozen=True, slots=True)
class Outside:
    """Columns float64[n] over the climate steps: temperature degC, vapour kPa, sun W/m2, air changes an hour."""

    temperature: Floats
    vapour: Floats
    sun: Floats
    leakage: Floats


def outside(times: NDArray[np.int64], settings: WeatherSettings, seed: int) -> Outside:
    """The weather at each of `times` (int64[n], ms UTC, 30 s apart).

    Temperature: a cosine of the day with its top at 15:00 solar time, plus an hourly wander of 0.4 degC; cloud: knots
    ten minutes apart that keep 0.8 of the one before; dew point wanders by 0.5 degC. All invented.
    """
    n = len(times)
    hours = (times / 3_600_000 + place.LONGITUDE / 15.0) % 24.0
    rising = np.linspace(0.0, 1.0, n)
    after = settings.mean if settings.mean_after is None else settings.mean_after
    mean = settings.mean + (after - settings.mean) * rising
    wander = Chance(seed, "outside temperature").drifting(n, 120)
    temperature = mean + settings.swing * np.cos(2.0 * np.pi * (hours - 15.0) / 24.0) + 0.4 * wander
    patches = Chance(seed, "cloud").wandering(n, 20, 0.8)
    cloud = np.clip(settings.cloud + 0.3 * patches, 0.0, 1.0)
    dew_point = np.minimum(settings.dew_point + 0.5 * Chance(seed, "dew point").drifting(n, 240), temperature - 0.2)
    wind = 1.0 + 0.3 * Chance(seed, "wind").drifting(n, 40)
    return Outside(
        np.asarray(temperature, dtype=np.float64),
        np.asarray(saturation_vapour_pressure(dew_point), dtype=np.float64),
        irradiance(elevation(times, place.LATITUDE, place.LONGITUDE), np.asarray(cloud, dtype=np.float64)),
        np.maximum(settings.leakage * wind, 0.1),
    )
