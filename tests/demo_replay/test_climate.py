"""Do the air, the soil and the water of the house warm and cool as a house does?"""

from __future__ import annotations

import numpy as np
import pytest

from demo_replay.physics.chance import Floats
from demo_replay.physics.climate import LOOP_FAN, Climate, Drives, Start, climate
from demo_replay.physics.stages import Stage
from demo_replay.physics.weather import Outside

N = 1440  # half a day of 30 s steps
START = Start(air=15.0, water=22.0, soil=15.0, store=15.0)


def _flat(value: float) -> Floats:
    return np.full(N, value)


def _house(
    temperature: float,
    *,
    sun: float = 0.0,
    leakage: float = 0.5,
    power: bool = True,
    start: Start = START,
    drives: Drives | None = None,
) -> Climate:
    weather = Outside(_flat(temperature), _flat(0.8), _flat(sun), _flat(leakage))
    return climate(weather, np.linspace(12.0, 24.0, N), np.full(N, power), start, drives)


def test_a_colder_night_outside_is_a_colder_night_inside() -> None:
    """Loss through the cover grows with the difference; the house stays between outside and its stores of heat."""
    mild, cold = _house(8.0), _house(-4.0)
    assert cold.air[-1] < mild.air[-1] - 4.0
    assert -4.0 < cold.air[-1] < 15.0


def test_wind_through_the_gaps_cools() -> None:
    """Ten times the leakage means a house that is more than a degree colder."""
    assert _house(0.0, leakage=5.0).air[-1] < _house(0.0, leakage=0.5).air[-1] - 1.0


def test_sun_warms_and_vents_hold() -> None:
    """A day's sun lifts the house far over outside; with power the vents open and keep it from running away."""
    vented, shut = _house(18.0, sun=600.0), _house(18.0, sun=600.0, power=False)
    assert vented.air[-1] > 22.0
    assert vented.vents.max() == 1.0
    assert shut.vents.max() == 0.0
    assert shut.air[-1] > vented.air[-1] + 8.0


def _drives(*stuck: str) -> Drives:
    parts = ("opening", "shutting", "fan", "ground_fan")
    return Drives(**{part: np.full(N, part not in stuck) for part in parts})


def test_vents_and_fans_that_fail_leave_the_house_hot() -> None:
    """Vents that do not open stay shut, a dead fan draws nothing, and either way the sun warms more than it would."""
    whole, shut, still = (_house(24.0, sun=700.0, drives=_drives(*stuck)) for stuck in ((), ("opening",), ("fan",)))
    assert whole.vents.max() == 1.0
    assert whole.fan_current.max() > 0.9
    assert shut.vents.max() == 0.0
    assert still.fan_current.max() == 0.0
    assert min(shut.air.max(), still.air.max()) > whole.air.max() + 0.3


def test_vents_that_do_not_shut_stay_open() -> None:
    """Once opened by a warm hour they stand open to the end of a cold night."""
    warm = Start(air=29.0, water=22.0, soil=15.0, store=15.0)
    open_ = _house(3.0, start=warm, drives=_drives("shutting"))
    assert open_.vents.min() == 1.0
    assert open_.air[-1] < _house(3.0, start=warm).air[-1] - 2.0


def test_a_dead_ground_fan_draws_nothing() -> None:
    """However cold it is."""
    assert _house(-4.0, drives=_drives("ground_fan")).loop_current.max() == 0.0


def test_ground_air_lifts_a_cold_house_only_while_its_fan_runs() -> None:
    """Without power the loop gives nothing back: the house is colder and the fan draws nothing."""
    looped, still = _house(-4.0), _house(-4.0, power=False)
    assert looped.loop_current[-1] == LOOP_FAN
    assert still.loop_current.max() == 0.0
    assert looped.air[-1] > still.air[-1] + 1.0


def test_ground_air_leaves_the_ducts_near_the_ground() -> None:
    """Inlet and outlet are at least 2 degC apart where the ground is 6 or more off (common practice, no source)."""
    house = _house(-6.0)
    running = house.loop_current > 0
    assert np.all((house.loop_outlet - house.air)[running][10:] > 2.0)


def test_air_never_holds_more_vapour_than_it_can() -> None:
    """Humidity stays between dry and saturated, hot or cold."""
    for house in (_house(-5.0), _house(30.0, sun=800.0), _house(12.0, leakage=0.1), _house(-10.0, leakage=8.0)):
        assert house.humidity.min() > 5.0
        assert house.humidity.max() <= 100.0 + 1e-9


def test_cold_air_pools_at_the_floor_on_a_still_night_only() -> None:
    """Under a clear cold sky the low probe reads less than the high one, by day it does not."""
    night, day = _house(2.0, power=False), _house(12.0, sun=500.0)
    assert night.low[-1] < night.air[-1] - 0.4
    assert day.low[-1] >= day.air[-1]


def test_water_keeps_its_temperature_by_its_heater() -> None:
    """The thermostat holds the water within half a degree on a cold night, and without power it sinks."""
    held, sinking = _house(0.0), _house(0.0, power=False)
    assert held.water.min() > START.water - 0.5
    assert sinking.water[-1] < held.water[-1] - 0.1
    # A day's evaporation is 0.3 to 3 % of 1.9 m3.
    assert 6.0 < held.evaporation.mean() * 60 * 24 < 60.0


@pytest.mark.parametrize(("temperature", "engaged"), [(26.9, False), (27.0, False), (27.1, True)])
def test_a_stage_engages_beyond_its_limit(temperature: float, engaged: bool) -> None:
    """Below and at the limit it stays off, above it comes on."""
    assert Stage(27.0, 24.0).step(temperature, 30.0) is engaged


@pytest.mark.parametrize(("temperature", "engaged"), [(24.1, True), (24.0, False), (23.9, False)])
def test_a_stage_releases_at_or_within_its_off_limit(temperature: float, engaged: bool) -> None:
    """Above the off limit it stays on, at and below it goes off, once its least time is over."""
    stage = Stage(27.0, 24.0)
    stage.step(28.0, 30.0)
    assert stage.step(temperature, 239.0)
    assert stage.step(temperature, 1.0) is engaged


def test_a_warming_stage_engages_below() -> None:
    """With `on` below `off` the stage answers to cold."""
    stage = Stage(9.0, 11.0)
    assert [stage.step(t, 600.0) for t in (9.0, 8.9, 10.9, 11.0)] == [False, True, True, False]
