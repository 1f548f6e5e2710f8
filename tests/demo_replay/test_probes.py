"""Do the probes send what they should, when they should, and lie only when they are told to?"""

from __future__ import annotations

import numpy as np
import pytest

from demo_replay import place
from demo_replay.probes import Column, ProbeFault, measure, polls

HOUR = 3_600_000
STEPS = np.arange(0, 6 * HOUR, 5000, dtype=np.int64)


def _sent(*faults: ProbeFault, seed: int = 3, level: float = 6.0) -> dict[str, Column]:
    truth = {name: np.full(len(STEPS), level) for name in place.PROBES}
    truth["mains.present"] = np.where(STEPS < 2 * HOUR, 1.0, 0.0)
    truth["tank.temperature"] = STEPS / HOUR
    return measure(truth, STEPS, 0, 6 * HOUR, 0, seed, faults)


@pytest.mark.parametrize("board", place.BOARDS)
def test_polls_come_at_the_interval_slightly_early_or_late(board: str) -> None:
    """No two polls are further from the interval than twice the jitter, and none lies outside the recording."""
    settings = place.BOARDS[board]
    end = max(6 * HOUR, 5 * settings.interval)
    times = polls(board, 0, end, 3)
    gaps = np.diff(times)
    assert np.abs(gaps - settings.interval).max() <= 2 * settings.jitter
    assert np.ptp(gaps) > 0
    assert times[0] >= 0
    assert times[-1] < end
    assert settings.first is None or abs(times[0] - settings.first) <= 2 * settings.jitter


def test_intervals_are_those_of_the_trade() -> None:
    """Current and flow every 5-10 s, levels 10-30 s, oxygen and air 60 s, pH 5 min, soil 15 min (common practice)."""
    every = {name: place.BOARDS[p.board].interval * p.every // 1000 for name, p in place.PROBES.items()}
    assert {every[n] for n in ("loop.flow", "pump.current", "airpump.current", "mains.present")} <= {5, 10}
    assert all(10 <= every[n] <= 30 for n in every if n.endswith(".level"))
    assert {every[n] for n in ("tank.oxygen", "tank.temperature", "house.temperature", "house.humidity")} == {60}
    assert every["tank.ph"] == 300
    assert {every["soil.moisture"], every["soil.temperature"]} == {900}


def test_noise_is_as_wide_as_the_probe_says() -> None:
    """Readings of a steady value scatter by the probe's noise and its rounding, around that value."""
    for name in ("loop.flow", "tank.oxygen", "house.humidity"):
        probe = place.PROBES[name]
        values = _sent()[name][1] * float(probe.info.resolution)
        rounding = float(probe.info.resolution) / 12**0.5
        assert values.mean() == pytest.approx(6.0, abs=0.1)
        assert values.std() == pytest.approx((probe.noise**2 + rounding**2) ** 0.5, rel=0.2)


def test_probes_of_one_board_scatter_apart() -> None:
    """Two probes in the same air do not share their noise."""
    sent = _sent()
    high, low = sent["house.temperature"][1], sent["low.temperature"][1]
    assert abs(np.corrcoef(high, low)[0, 1]) < 0.2


def test_no_probe_shows_less_than_it_can() -> None:
    """Noise around nothing never makes a negative flow or current."""
    sent = _sent(level=0.0)
    assert all((sent[name][1] >= 0).all() for name, probe in place.PROBES.items() if probe.low is not None)
    assert sent["tank.level"][1].min() < 0


def test_a_state_changes_at_once_and_is_0_or_1() -> None:
    """The last reading before the change is 1, the first after it 0."""
    times, counts = _sent()["mains.present"]
    assert set(counts.tolist()) == {0, 1}
    assert np.array_equal(counts == 1, times < 2 * HOUR)


def test_a_value_between_two_steps_lies_on_their_line() -> None:
    """A steady ramp comes out as the same ramp, within noise."""
    times, counts = _sent()["tank.temperature"]
    assert np.abs(counts * 0.01 - times / HOUR).max() < 0.08


def test_a_silent_probe_sends_nothing_for_its_span() -> None:
    """Before and after it sends as if nothing had been."""
    plain, silent = _sent()["tank.oxygen"], _sent(ProbeFault("silent", "tank.oxygen", 1.0, 2.0))["tank.oxygen"]
    outside = (plain[0] < HOUR) | (plain[0] >= 2 * HOUR)
    assert np.array_equal(silent[0], plain[0][outside])
    assert np.array_equal(silent[1], plain[1][outside])


def test_a_stuck_probe_repeats_its_first_value_of_the_span() -> None:
    """All readings of the span are equal; the others are as they were."""
    plain, stuck = _sent()["tank.ph"], _sent(ProbeFault("stuck", "tank.ph", 1.0, 4.0))["tank.ph"]
    span = (plain[0] >= HOUR) & (plain[0] < 4 * HOUR)
    assert len(set(stuck[1][span].tolist())) == 1
    assert np.array_equal(stuck[1][~span], plain[1][~span])
    assert len(set(plain[1][span].tolist())) > 1


def test_a_fixed_code_takes_its_share_of_the_readings() -> None:
    """A one-wire probe's 85 stands in all readings of the span, or in the share that is asked for."""
    times, counts = _sent(ProbeFault("fixed", "tank.temperature", 1.0, 5.0, value=85.0))["tank.temperature"]
    assert set(counts[(times >= HOUR) & (times < 5 * HOUR)].tolist()) == {8500}
    times, counts = _sent(ProbeFault("fixed", "tank.temperature", 1.0, 5.0, value=85.0, share=0.4))["tank.temperature"]
    assert np.mean(counts[(times >= HOUR) & (times < 5 * HOUR)] == 8500) == pytest.approx(0.4, abs=0.1)


def test_spikes_are_far_off_and_few() -> None:
    """A share of the readings is off by half to all of the size that is asked for."""
    fault = ProbeFault("spikes", "house.temperature", 0.0, 6.0, value=18.0, share=0.1)
    values = _sent(fault)["house.temperature"][1] * 0.1
    off = np.abs(values - 6.0)
    assert np.mean(off > 1.0) == pytest.approx(0.1, abs=0.04)
    assert off[off > 1.0].min() > 8.5
    assert off.max() < 18.5


def test_a_fault_of_one_probe_leaves_the_others_alone() -> None:
    """Chance is drawn for each probe apart."""
    plain, faulty = _sent(), _sent(ProbeFault("spikes", "house.temperature", 0.0, 6.0, value=18.0, share=0.1))
    assert all(np.array_equal(plain[n][1], faulty[n][1]) for n in place.PROBES if n != "house.temperature")
