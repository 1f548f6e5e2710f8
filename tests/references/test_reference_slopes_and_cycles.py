"""Do slopes and siphon cycles agree with what scipy finds?"""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
import pytest
from scipy import signal, stats  # type: ignore[import-untyped]  # the library has no type information

from rules.block import Block
from rules.conditions import KINDS
from rules.durations import MINUTE
from rules.engine import Engine
from rules.plan import Plan, PointPlan
from rules.windows import slopes

EPOCH = 1_780_000_000_000


@pytest.mark.parametrize("seed", range(5))
def test_the_slope_of_a_window_is_scipys_linear_regression(seed: int) -> None:
    """Against scipy.stats.linregress on uneven times of today's size; relative 1e-9 is what its floats leave."""
    rng = np.random.default_rng(seed)
    times = EPOCH + np.cumsum(rng.integers(1_000, 90_000, 300))
    values = np.cumsum(rng.integers(-9, 10, 300)) + 20_000
    low = np.maximum(np.arange(100, 300) - rng.integers(5, 100), 0)
    found = slopes(times, values, low, 100)
    for index, first in enumerate(low):
        last = 100 + index
        part = slice(first, last + 1)
        # scipy works in floats: it is given times near zero, which is what recentring does for us.
        expected = stats.linregress((times[part] - times[first]).astype(float), values[part].astype(float)).slope
        ours = Fraction(int(found.above[index]), int(found.below[index]))
        assert math.isclose(float(ours), expected, rel_tol=1e-9, abs_tol=1e-15)


def test_sums_that_pass_63_bits_are_exact_all_the_same() -> None:
    """A straight line of 0.25 counts a second over 30 days in steps of a second has just that slope."""
    times = EPOCH + np.arange(0, 30 * 86_400_000, 60_000)
    values = np.arange(len(times)) * 15
    found = slopes(times, values, np.zeros(1, np.intp), len(times) - 1)
    assert Fraction(int(found.above[0]), int(found.below[0])) == Fraction(15, 60_000)


def test_drain_ends_are_where_scipy_sees_the_valleys_of_a_siphon_wave() -> None:
    """A bed that fills in 30 min and drains in 5 has a period of 35 min, by scipy.signal.find_peaks and by the rule.

    The wave is scipy.signal.sawtooth with width 30/35. A rule that allows at most 34 min is broken at every drain end,
    one that allows 36 never.
    """
    step = 20_000
    times = EPOCH + np.arange(0, 12 * 3_600_000, step)
    wave = signal.sawtooth(2 * np.pi * (times - EPOCH) / (35 * MINUTE), width=30 / 35)
    levels = np.round(120 + 100 * wave).astype(np.int64)
    valleys, _ = signal.find_peaks(-levels.astype(float), distance=60, plateau_size=1)
    periods = np.diff(times[valleys])
    assert np.all(np.abs(periods - 35 * MINUTE) <= step)
    point = PointPlan("bed1.level", "level", "mm", Fraction(1), step, 3 * step)
    flags = np.full(len(times), 2, np.uint8)
    seen = {}
    for longest in ("34 min", "36 min"):
        rule = KINDS["cycle"].model_validate(
            {"id": "bed1.period", "kind": "cycle", "point": "bed1.level", "low": 40, "high": 200, "longest": longest}
        )
        engine = Engine(Plan("Test", "UTC", (point,), (rule,), settle=0), int(times[0]))
        events = engine.step([Block("bed1.level", times, levels, flags)], [], int(times[-1]))
        seen[longest] = [event for event in events if event.type == "alarm" and event.body["state"] == "unacknowledged"]
    assert seen["36 min"] == []
    # The first period that can be judged runs from the first to the second drain end; none of them is in time.
    assert len(seen["34 min"]) == 1
    late = seen["34 min"][0].t - times[valleys[0]]
    assert abs(late - 34 * MINUTE) <= 2 * MINUTE
