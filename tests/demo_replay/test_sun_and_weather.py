"""Does the sun of the demo days stand where it stands, and does the weather stay weather?"""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from demo_replay.physics.sun import elevation, irradiance
from demo_replay.physics.weather import WeatherSettings, outside

# Made with pvlib 0.16.1 (get_solarposition, true elevation; clearsky.haurwitz of the apparent zenith) at 53 N, 8 W.
SUN = [
    ("2026-03-20T12:00", 36.318, 589.00),
    ("2026-06-21T12:00", 59.747, 885.94),
    ("2026-12-21T12:00", 13.281, 196.35),
    ("2026-05-19T07:00", 20.365, 323.31),
    ("2026-02-03T16:00", 9.024, 119.98),
    ("2026-07-11T18:30", 18.536, 290.80),
]


def _at(text: str) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    return np.array([int(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp() * 1000)], dtype=np.int64)


@pytest.mark.parametrize(("moment", "height", "_clear"), SUN)
def test_height_of_the_sun_agrees_with_an_independent_library(moment: str, height: float, _clear: float) -> None:
    """The low-precision sun stands within 0.02 degrees of pvlib's full solution."""
    assert elevation(_at(moment), 53.0, -8.0)[0] == pytest.approx(height, abs=0.02)


@pytest.mark.parametrize(("moment", "height", "clear"), SUN)
def test_clear_sky_agrees_with_an_independent_library(moment: str, height: float, clear: float) -> None:
    """Haurwitz's clear sky is pvlib's, within the 2 % that refraction makes near the horizon."""
    assert irradiance(np.array([height]), np.array([0.0]))[0] == pytest.approx(clear, rel=0.02)


def test_overcast_leaves_a_quarter_of_the_sun() -> None:
    """Kasten and Czeplak: at full cover 25 % of the clear sky is left, and more cloud never means more light."""
    light = irradiance(np.full(5, 40.0), np.array([0.0, 0.3, 0.6, 0.9, 1.0]))
    assert light[-1] == pytest.approx(0.25 * light[0])
    assert np.all(np.diff(light) < 0)


def test_no_light_at_night() -> None:
    """Below the horizon there is no sun, clear or not."""
    assert irradiance(np.array([-0.1, -30.0]), np.array([0.0, 0.0])).tolist() == [0.0, 0.0]


def test_weather_keeps_its_settings_and_differs_by_seed() -> None:
    """The mean of a day is the one asked for, the air outside is never drier than dry or wetter than wet."""
    times = np.arange(0, 86_400_000, 30_000, dtype=np.int64)
    settings = WeatherSettings(mean=12.0, swing=5.0, dew_point=8.0, cloud=0.5)
    first, second = outside(times, settings, 1), outside(times, settings, 2)
    assert first.temperature.mean() == pytest.approx(12.0, abs=0.6)
    assert np.all(first.vapour > 0)
    assert np.all(first.leakage > 0)
    assert not np.array_equal(first.sun, second.sun)
    assert np.array_equal(first.sun, outside(times, settings, 1).sun)


def test_an_air_mass_that_comes_in_is_reached_by_the_end() -> None:
    """With `mean_after` the second half of the day is colder than the first by half the difference."""
    times = np.arange(0, 86_400_000, 30_000, dtype=np.int64)
    plain = outside(times, WeatherSettings(mean=5.0, swing=3.0, dew_point=0.0, cloud=0.5), 1)
    cooling = outside(times, WeatherSettings(mean=5.0, swing=3.0, dew_point=0.0, cloud=0.5, mean_after=-5.0), 1)
    assert (cooling.temperature - plain.temperature)[[0, -1]] == pytest.approx([0.0, -10.0])
