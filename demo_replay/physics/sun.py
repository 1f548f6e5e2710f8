"""How high does the sun stand, and how much does it shine through the clouds?"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from demo_replay.physics.chance import Floats

J2000 = 946_728_000_000
"""2000-01-01T12:00Z in ms."""


def elevation(times: NDArray[np.int64], latitude: float, longitude: float) -> Floats:
    """Height of the sun above the horizon in degrees, without refraction.

    times: int64[n], ms UTC; latitude and longitude in degrees, north and east positive.
    The Astronomical Almanac's low-precision sun (Michalsky 1988, Solar Energy 40:227), good to 0.01 degrees until 2050:
    mean longitude and anomaly from the days since 2000, ecliptic longitude from these, then declination and right
    ascension; sin(h) = sin(lat) sin(decl) + cos(lat) cos(decl) cos(hour angle).
    """
    n = (times - J2000) / 86_400_000
    mean_longitude = 280.460 + 0.9856474 * n
    anomaly = np.radians(357.528 + 0.9856003 * n)
    ecliptic = np.radians(mean_longitude + 1.915 * np.sin(anomaly) + 0.020 * np.sin(2.0 * anomaly))
    tilt = np.radians(23.439 - 4.0e-7 * n)
    declination = np.arcsin(np.sin(tilt) * np.sin(ecliptic))
    ascension = np.arctan2(np.cos(tilt) * np.sin(ecliptic), np.cos(ecliptic))
    sidereal_hours = 6.697375 + 0.0657098242 * n + (times % 86_400_000) / 3_600_000 + longitude / 15.0
    angle = np.radians(15.0 * sidereal_hours) - ascension
    lat = np.radians(latitude)
    height = np.sin(lat) * np.sin(declination) + np.cos(lat) * np.cos(declination) * np.cos(angle)
    return np.asarray(np.degrees(np.arcsin(np.clip(height, -1.0, 1.0))), dtype=np.float64)


def irradiance(height: Floats, cloud: Floats) -> Floats:
    """Sun and sky together on level ground outside, W/m2. height: of the sun, degrees; cloud: N, 0 to 1; float64[n].

    Clear sky G = 1098 sin(h) exp(-0.059 / sin(h)) (Haurwitz 1945, J. Meteorol. 2); under cloud G (1 - 0.75 N^3.4)
    (Kasten and Czeplak 1980, Solar Energy 24).
    """
    sine = np.maximum(np.sin(np.radians(height)), 1e-3)
    clear = np.where(height > 0, 1098.0 * sine * np.exp(-0.059 / sine), 0.0)
    return np.asarray(clear * (1.0 - 0.75 * np.clip(cloud, 0.0, 1.0) ** 3.4), dtype=np.float64)
