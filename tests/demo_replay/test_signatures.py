"""Does each failure of the water loop show in the probes as it does in a real one? One test a failure.

The signatures are those of the trade: which of mains M, pump current I, flow F, sump level Ls, tank level Lt and bed
levels Lb tell one failure from the next (common practice, no source). Each test reads only what the probes sent.
"""

from __future__ import annotations

import numpy as np
import pytest

from demo_replay import place
from demo_replay.simulate import SimulatedDay
from tests.simulated_days import drain_ends, during, event, made, periods

RUNNING = 0.42  # A
HOLD_UP = 13.0  # cm that the sump rises at least when the pump stops


def _after(day: SimulatedDay, point: str, minutes: float = 10.0) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """What a probe sent from `minutes` after the failure began until it ended."""
    start, end = event(day)
    return during(day, point, start + minutes / 60, end)


def _before(day: SimulatedDay, point: str) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    start, _ = event(day)
    return during(day, point, max(0.0, start - 2.0), start)


def _no_water_runs(day: SimulatedDay) -> None:
    """F 0, Ls up by the hold-up, Lt at the lip, Lb falls and stays low without rising again."""
    start, end = event(day)
    assert _after(day, "loop.flow").max() <= 0.5
    assert _after(day, "sump.level", 30).mean() > _before(day, "sump.level").mean() + HOLD_UP
    assert _after(day, "tank.level").mean() == pytest.approx(place.TANK_LIP, abs=0.2)
    for bed in (1, 2, 3):
        level = during(day, f"bed{bed}.level", start + 10 / 60, end)
        tenths = level[: len(level) // 20 * 20].reshape(20, -1).mean(axis=1)
        assert np.all(np.diff(tenths) < 0.1)
        assert len(drain_ends(day, bed, start + 10 / 60, end)) <= 1
        assert level[-1] < 8.0


def test_pump_dead_or_unplugged() -> None:
    """M 1, I 0, F 0; the tell: the air pump's current is normal. Oxygen falls below 4 before the morning."""
    day = made("pump_trip")
    _no_water_runs(day)
    assert _after(day, "mains.present").min() == 1
    assert _after(day, "pump.current").max() < 0.05
    assert _after(day, "airpump.current").min() > 0.1
    assert _after(day, "tank.oxygen")[0] > 5.5
    assert 2.0 < _after(day, "tank.oxygen").min() < 3.2
    assert all(level[-1] < 3.0 for level in (_after(day, f"bed{bed}.level") for bed in (1, 2, 3)))


def test_power_cut() -> None:
    """M 0 in the glasshouse and in the house, every current 0 in the same reading; the board goes on by battery."""
    day = made("power_cut")
    _no_water_runs(day)
    start, end = event(day)
    assert _after(day, "mains.present", 0.2).max() == 0
    assert _after(day, "home.present", 1.1).max() == 0
    for point in ("pump.current", "airpump.current"):
        assert _after(day, point, 0.2).max() < 0.05
        assert len(during(day, point, start, end)) == pytest.approx((end - start) * 360, abs=3)


def test_breaker_or_residual_current_device_tripped() -> None:
    """As a power cut, but the house still has mains."""
    day = made("breaker_trip")
    _no_water_runs(day)
    assert _after(day, "mains.present", 0.2).max() == 0
    assert _after(day, "home.present", 0.2).min() == 1
    assert _after(day, "airpump.current", 0.2).max() < 0.05


def test_rotor_jammed() -> None:
    """I far over its running value, then 0, again and again in minutes, while F is 0."""
    day = made("rotor_jammed")
    _no_water_runs(day)
    current = _after(day, "pump.current")
    assert _after(day, "mains.present").min() == 1
    assert current.max() > 3 * RUNNING
    assert current.min() < 0.05
    tries = np.count_nonzero((current[1:] > 1.0) & (current[:-1] < 1.0))
    start, end = event(day)
    assert (end - start - 1 / 6) * 60 / tries == pytest.approx(4.0, abs=0.2)


def test_valve_left_shut() -> None:
    """F 0 at once with a throttled current: less than running, more than none."""
    day = made("valve_shut")
    _no_water_runs(day)
    assert _after(day, "loop.flow", 0.5).max() <= 0.5
    assert _after(day, "pump.current", 0.5).min() > 0.2
    assert _after(day, "pump.current", 0.5).max() < RUNNING - 0.05


def test_intake_blocked() -> None:
    """F falls over hours and I with it, periods lengthen on all beds; F is back after cleaning."""
    day = made("intake_blocked")
    start, end = event(day)
    hourly = np.array([during(day, "loop.flow", h, h + 2).mean() for h in np.arange(start, end - 2, 2)])
    assert np.all(np.diff(hourly) < 0)
    assert during(day, "loop.flow", end - 0.5, end).mean() < 0.55 * place.PUMP_FLOW
    assert during(day, "loop.flow", end + 0.2, 24).mean() > 0.9 * place.PUMP_FLOW
    assert RUNNING - 0.1 < during(day, "pump.current", end - 1, end).mean() < RUNNING - 0.03
    for bed in (1, 2, 3):
        assert periods(day, bed, end - 4, end).mean() > 1.4 * periods(day, bed, 0, start).mean()


def test_sump_dry() -> None:
    """Ls at the intake, I low and ragged, F ragged and far too small, Lt at the lip; water is lost, so V is down."""
    day = made("sump_dry")
    late = (20.0, 22.0)
    assert during(day, "sump.level", *late).max() < place.SUMP_INTAKE
    current, flow = during(day, "pump.current", *late), during(day, "loop.flow", *late)
    assert current.mean() < 0.7 * RUNNING
    assert current.std() > 5 * during(day, "pump.current", 1, 3).std()
    assert flow.mean() < 0.3 * place.PUMP_FLOW
    assert during(day, "tank.level", *late).mean() < place.TANK_LIP + 0.7
    assert day.loop.total[-1] < day.loop.total[0] - 300


def test_burst_or_slipped_pipe() -> None:
    """I normal, F 0 past the break, Ls falls fast, Lt at the lip, V falls fast and the floor is wet."""
    day = made("burst_pipe")
    start, _ = event(day)
    assert during(day, "loop.flow", start + 0.05, start + 0.3).max() <= 0.5
    assert during(day, "pump.current", start + 0.05, start + 0.25).min() > RUNNING - 0.03
    fall = (
        during(day, "sump.level", start - 0.1, start).mean()
        - during(day, "sump.level", start + 0.3, start + 0.4).mean()
    )
    assert fall > 10.0
    assert during(day, "tank.level", start + 0.2, start + 0.4).mean() == pytest.approx(place.TANK_LIP, abs=0.2)
    assert during(day, "floor.wet", start + 0.05, start + 1).min() == 1
    assert np.interp(start + 0.3, (day.steps - day.begin_ms) / 3.6e6, day.loop.spilled) > 200


def test_suction_break_blocked() -> None:
    """Pump off, F 0; Lt sinks under the lip while Ls rises above the hold-up, before any water is lost."""
    day = made("breather_blocked")
    start, end = event(day)
    assert during(day, "loop.flow", start + 0.1, end).max() <= 0.5
    tank = during(day, "tank.level", start + 0.1, start + 0.25)
    assert tank[-1] < place.TANK_LIP - 3.0
    assert tank[-1] < tank[0] - 3.0
    plain = during(
        made("pump_trip"), "sump.level", event(made("pump_trip"))[0] + 0.5, event(made("pump_trip"))[0] + 0.6
    )
    assert during(day, "sump.level", start + 0.5, start + 0.6).mean() > plain.mean() + 5.0
    early = (day.steps - day.begin_ms) / 3.6e6 < start + 0.3
    assert day.loop.spilled[early][-1] == 0.0


def test_siphon_will_not_start() -> None:
    """I, F and Lt normal, one bed flat high, Ls steadier and lower; the other beds cycle."""
    day = made("siphon_will_not_start")
    start, end = event(day)
    level = during(day, "bed2.level", start + 1.5, end)
    assert level.min() > place.SIPHON_CREST - 0.5
    assert np.ptp(level) < 1.5
    assert len(drain_ends(day, 2, start + 1.5, end)) == 0
    assert _after(day, "loop.flow", 60).mean() > 0.85 * place.PUMP_FLOW
    assert _after(day, "pump.current", 60).mean() == pytest.approx(RUNNING, abs=0.02)
    assert _after(day, "tank.level", 60).mean() == pytest.approx(during(day, "tank.level", 0, start).mean(), abs=0.2)
    assert _after(day, "sump.level", 60).mean() < during(day, "sump.level", 1, start).mean() - 4.0
    for bed in (1, 3):
        assert len(drain_ends(day, bed, start + 1, end)) > 10


def test_siphon_will_not_break() -> None:
    """I, F and Lt normal, one bed flat low but wet, Ls steadier and higher; the others as before."""
    day = made("siphon_stuck")
    start, end = event(day)
    level = during(day, "bed2.level", start + 1.0, end)
    assert level.min() > place.SIPHON_SLOTS - 1.0
    assert level.max() < place.SIPHON_SLOTS + 1.5
    assert _after(day, "loop.flow", 60).mean() == pytest.approx(during(day, "loop.flow", 0, start).mean(), abs=1.0)
    assert _after(day, "sump.level", 60).mean() > during(day, "sump.level", 1, start).mean() + 3.0
    assert _after(day, "sump.level", 60).std() < during(day, "sump.level", 1, start).std()
    for bed in (1, 3):
        # Not shorter, as they would be without inflow to the bed.
        assert periods(day, bed, start + 1, end).mean() == pytest.approx(periods(day, bed, 0, start).mean(), rel=0.05)


def test_no_inflow_to_one_bed() -> None:
    """One bed flat low and dry, Ls higher; the other beds' periods shorten."""
    day = made("bed_without_inflow")
    start, end = event(day)
    level = during(day, "bed1.level", end - 4.0, end)
    assert level.max() < place.SIPHON_SLOTS - 1.0
    assert np.ptp(level) < 1.0
    assert _after(day, "loop.flow", 60).mean() > 0.9 * place.PUMP_FLOW
    assert _after(day, "sump.level", 60).mean() > during(day, "sump.level", 1, start).mean() + 4.0
    for bed in (2, 3):
        assert periods(day, bed, start + 1, end).mean() < 0.75 * periods(day, bed, 0, start).mean()


def test_solids_filter_clogging() -> None:
    """Head over the filter up, Lt above its running level, Ls falls, periods lengthen on all; I and F normal."""
    day = made("filter_clogging")
    start, end = event(day)
    late = (end - 3.0, end)
    assert during(day, "filter.head", *late).mean() > 3 * during(day, "filter.head", 0, start).mean()
    assert during(day, "tank.level", *late).mean() > place.TANK_LIP + 4.0
    assert during(day, "sump.level", *late).mean() < during(day, "sump.level", 1, start).mean() - 5.0
    assert during(day, "loop.flow", *late).mean() > 0.85 * place.PUMP_FLOW
    assert during(day, "pump.current", *late).mean() == pytest.approx(RUNNING, abs=0.02)
    for bed in (1, 2, 3):
        assert periods(day, bed, *late).mean() > 1.2 * periods(day, bed, 0, start).mean()


def test_flow_meter_stuck() -> None:
    """F reads 0, but I, Ls and Lt are normal and every bed still cycles: water runs."""
    day = made("flow_meter_stuck")
    span = (8.1, 19.9)
    assert during(day, "loop.flow", *span).max() == 0
    assert day.truth["loop.flow"].min() > 0.8 * place.PUMP_FLOW
    assert during(day, "pump.current", *span).mean() == pytest.approx(RUNNING, abs=0.02)
    assert during(day, "tank.level", *span).mean() > place.TANK_LIP + 1.0
    for bed in (1, 2, 3):
        assert 30 < periods(day, bed, *span).min() < periods(day, bed, *span).max() < 40


@pytest.mark.parametrize(
    "kind", ["ordinary", "hot", "frost", "siphon_stuck", "slow_leak", "dawn_oxygen", "dirty_probe"]
)
def test_on_all_other_recorded_days_water_runs(kind: str) -> None:
    """Away from the pump's trip there is always flow and pump current, whatever else is wrong."""
    day = made(kind)
    assert during(day, "loop.flow", 0, 24).min() > 8.0
    assert during(day, "pump.current", 0, 24).min() > 0.2
