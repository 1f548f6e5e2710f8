"""Does the water of the loop go round, and is none made or lost?"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from demo_replay import place
from demo_replay.physics.loop import Loop, circulate
from demo_replay.works import PER_BED, Failure, Part, works

STEPS = np.arange(0, 6 * 3_600_000, 5000, dtype=np.int64)
PARTS: list[Part] = [
    "home mains", "mains", "pump", "rotor", "intake", "valve", "pipe", "breather", "filter", "bed inflow",
    "siphon start", "siphon break",
]  # fmt: skip


def _loop(*failures: Failure, evaporation: float = 0.01, seed: int = 1, water: float = place.WATER) -> Loop:
    return circulate(works(STEPS, 0, failures), np.full(len(STEPS), evaporation), seed, water)


@st.composite
def _failures(draw: st.DrawFn) -> list[Failure]:
    found = []
    for _ in range(draw(st.integers(0, 4))):
        part = draw(st.sampled_from(PARTS))
        start = draw(st.floats(0, 5))
        bed = draw(st.integers(1, 3)) if part in PER_BED else 0
        left = draw(st.floats(0, 1))
        found.append(Failure(part, start, start + draw(st.floats(0.1, 5)), left, draw(st.booleans()), bed))
    if draw(st.booleans()):
        found.append(Failure("sump", draw(st.floats(0, 5)), 6.0, leak=draw(st.floats(0, 20))))
    return found


@given(failures=_failures(), evaporation=st.floats(0, 0.2), seed=st.integers(0, 5), water=st.floats(1550, 2290))
@settings(max_examples=25, deadline=None)
def test_water_is_neither_made_nor_lost(failures: list[Failure], evaporation: float, seed: int, water: float) -> None:
    """Whatever fails, the water in all vessels and the water lost add up to what was filled in (to a microlitre)."""
    loop = _loop(*failures, evaporation=evaporation, seed=seed, water=water)
    assert np.abs(loop.total + loop.lost - water).max() < 1e-6
    assert np.all(np.diff(loop.lost) >= 0)
    assert np.all(loop.spilled <= loop.lost)
    for level in (loop.tank, loop.filter, *loop.beds, loop.sump):
        assert level.min() >= 0.0
    assert loop.sump.max() <= place.SUMP_RIM + 1e-9


@pytest.mark.parametrize(
    "failures",
    [
        [Failure("filter", 0.5, 6.0, left=0.1)],
        [Failure("pump", 0.5, 6.0), Failure("breather", 0.5, 6.0)],
        [Failure("pipe", 0.5, 6.0)],
        [Failure("siphon start", 0.5, 6.0, bed=2)],
    ],
)
def test_water_stays_the_same_on_its_rarer_ways(failures: list[Failure]) -> None:
    """Over the safety pipe, back through the pump, through a broken pipe or over a standpipe no water goes astray."""
    loop = _loop(*failures)
    assert np.abs(loop.total + loop.lost - place.WATER).max() < 1e-6


def test_water_from_the_tap_is_more_water() -> None:
    """Half a litre a minute for two hours is 60 L more in the vessels, and none of it goes astray."""
    loop = _loop(Failure("top-up", 1.0, 3.0, leak=0.5))
    assert loop.added[-1] == pytest.approx(60.0, abs=0.1)
    assert np.abs(loop.total + loop.lost - loop.added - place.WATER).max() < 1e-6


def test_a_jammed_pump_tries_as_soon_as_it_jams() -> None:
    """Whatever the hour: high at once, then its cut-out opens."""
    jam = _loop(Failure("rotor", 1.02, 2.0)).pump_current
    first = int(np.flatnonzero(jam > 1.0)[0])
    assert first == pytest.approx(1.02 * 720, abs=1)
    assert jam[first + 4] == 0.0


def test_less_water_than_the_vessels_hold_is_refused() -> None:
    """A loop that could not have been filled is an error that says how much it takes."""
    with pytest.raises(ValueError, match="1500 L of water do not fill tank, filter and beds; give 1539 or more"):
        _loop(water=1500)


def test_nothing_but_evaporation_is_lost_on_a_plain_day() -> None:
    """With all parts working, what is gone is what evaporated."""
    loop = _loop(evaporation=0.02)
    assert loop.spilled[-1] == 0.0
    assert loop.lost[-1] == pytest.approx(0.02 * 6 * 60)


def test_flow_is_about_a_tank_volume_an_hour() -> None:
    """One tank volume an hour (common practice, no source) goes through the meter, and all of it reaches the beds."""
    loop = _loop()
    assert loop.flow.mean() * 60 == pytest.approx(place.TANK_LIP * place.TANK_AREA, rel=0.1)
    assert loop.to_beds[720:].mean() == pytest.approx(loop.flow[720:].mean(), rel=0.01)


def test_a_stopped_pump_leaves_the_tank_at_its_lip_and_its_water_in_the_sump() -> None:
    """Hold-up: the tank sinks to the lip within minutes and holds; the sump rises and does not spill."""
    loop = _loop(Failure("pump", 2.0, 6.0))
    after = slice(round(2.2 * 720), None)
    assert loop.flow[after].max() == 0.0
    assert loop.tank[after] == pytest.approx(np.full(len(STEPS) - round(2.2 * 720), place.TANK_LIP), abs=0.2)
    assert loop.sump[-1] > loop.sump[: 2 * 720].max()
    assert loop.spilled[-1] == 0.0


def test_a_pump_current_says_what_the_pump_does() -> None:
    """Running 0.42 A, against a shut valve less, without power none, jammed far more for a while and then none."""
    assert set(_loop().pump_current) == {0.42}
    assert _loop(Failure("valve", 1, 6)).pump_current[-1] == pytest.approx(0.30)
    assert _loop(Failure("mains", 1, 6)).pump_current[-1] == 0.0
    jammed = _loop(Failure("rotor", 1, 6)).pump_current[720:]
    assert set(jammed) == {0.0, 1.9}
    assert np.mean(jammed > 0) == pytest.approx(20 / 240, abs=0.01)


def test_air_comes_with_the_pump_only_where_power_is() -> None:
    """A tripped pump leaves the air pump running; without mains both stand."""
    assert _loop(Failure("pump", 1, 6)).air_pump_current[-1] > 0
    assert _loop(Failure("mains", 1, 6)).air_pump_current[-1] == 0
    assert _loop(Failure("home mains", 1, 6)).pump_current[-1] == 0
