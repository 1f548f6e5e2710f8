"""Do oxygen and pH follow fish, light, air and flow?"""

from __future__ import annotations

import numpy as np
import pytest

from demo_replay import place
from demo_replay.physics.chance import Floats
from demo_replay.physics.chemistry import FISH_AT_REST, Chemistry, Life, chemistry
from rules.derived.oxygen import oxygen_saturation
from rules.derived.pressure import pressure_at_altitude

HOURS = np.arange(0, 12, 30 / 3600)
N = len(HOURS)
PLAIN = Life(algae=0.0, feeds=())


def _water(
    *,
    temperature: float = 24.0,
    light: float = 0.0,
    flow: float | Floats = place.PUMP_FLOW,
    stones: float = 1.0,
    life: Life = PLAIN,
) -> Chemistry:
    return chemistry(np.full(N, temperature), np.full(N, light), np.zeros(N) + flow, np.full(N, stones), HOURS, life)


def test_oxygen_settles_between_danger_and_saturation_when_all_runs() -> None:
    """A plain night holds over 5 mg/L, as UF/IFAS FA27 advises, and under saturation at this altitude."""
    full = oxygen_saturation(24.0, float(pressure_at_altitude(place.ALTITUDE)))
    assert 5.5 < _water().oxygen[-1] < full
    assert np.ptp(_water().oxygen[-240:]) < 0.05


def test_without_flow_oxygen_runs_down_at_first_by_what_the_fish_breathe() -> None:
    """dC/dt = -R x kg / V without air or flow: the runway sum of handbooks, here with 12 kg in 1020 L.

    Slime breathes beside the fish and less oxygen slows the fish, so the slope is within 25 % of the plain sum.
    """
    still = _water(flow=0.0, stones=0.0).oxygen
    slope = (still[0] - still[60]) / 0.5
    assert slope == pytest.approx(FISH_AT_REST * place.FISH / (place.TANK_LIP * place.TANK_AREA), rel=0.25)


def test_air_stones_buy_time() -> None:
    """Two hours after the flow stops there is more oxygen with the air pump than without."""
    with_air, without = _water(flow=0.0).oxygen[240], _water(flow=0.0, stones=0.0).oxygen[240]
    assert with_air > without + 0.5


def test_flow_that_comes_back_brings_oxygen_back() -> None:
    """After four hours without flow, three hours with flow restore most of it."""
    flow = np.where((HOURS > 4) & (HOURS < 8), 0.0, place.PUMP_FLOW)
    oxygen = _water(flow=flow).oxygen
    at = oxygen[[480, 955, 1320]]
    assert at[1] < at[0] - 2.5
    assert at[2] > at[0] - 0.5


def test_warm_water_holds_less() -> None:
    """At 30 degC less oxygen is left than at 22: less fits, and fish breathe more."""
    assert _water(temperature=30.0).oxygen[-1] < _water(temperature=22.0).oxygen[-1] - 1.0


def test_fish_breathe_more_after_a_feed() -> None:
    """Oxygen dips 1 to 6 h after a feed and comes back."""
    fed = _water(life=Life(algae=0.0, feeds=(4.0,))).oxygen
    assert fed[round(5.8 * 120)] < fed[round(3.9 * 120)] - 0.2
    assert fed[round(10.5 * 120)] == pytest.approx(fed[round(3.9 * 120)], abs=0.1)


def test_algae_give_by_light_and_take_by_night() -> None:
    """A bloom lifts oxygen and pH in light, and lowers both in the dark."""
    bloom = Life(algae=6.0, feeds=())
    day, night = _water(light=800.0, life=bloom), _water(life=bloom)
    plain = _water()
    assert day.oxygen[-1] > plain.oxygen[-1] > night.oxygen[-1]
    assert day.ph[-1] > plain.ph[-1] > night.ph[-1]


def test_a_dying_bloom_makes_oxygen_sag_all_night() -> None:
    """What rots in the dark makes each hour of the night lower than the one before."""
    hourly = _water(life=Life(algae=3.0, rot=2.0, feeds=())).oxygen[240:960:120]
    assert np.all(np.diff(hourly) < -0.05)


def test_ph_drifts_down_as_alkalinity_is_used() -> None:
    """Halving the alkalinity lowers pH by log10(2) = 0.30."""
    kept = _water(life=Life(algae=0.0, feeds=(), alkalinity=0.9, alkalinity_used=0.0)).ph[-1]
    used = _water(life=Life(algae=0.0, feeds=(), alkalinity=0.9, alkalinity_used=0.9)).ph[-1]
    assert kept - used == pytest.approx(np.log10(2.0), abs=0.01)
