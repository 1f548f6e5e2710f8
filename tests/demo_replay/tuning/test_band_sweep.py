"""Does the sweep that needs no engine find the alarms that the engine raises, for every setting?"""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction
from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from demo_replay.tuning.band_sweep import BandGrid, sweep_band
from demo_replay.tuning.engine_sweep import sweep_engine
from demo_replay.tuning.levels import Series
from demo_replay.tuning.spells import OPEN
from demo_replay.tuning.units import series_of
from rules.block import Block, block
from rules.settings import RuleSettings
from tests.demo_replay.tuning.tried import HOLD, POINTS, case, engine_says, held, listed, past, plan, uneven
from tests.replays import HOUR, MINUTE, START, rule

DELAYS = (0, 1, MINUTE - 1, MINUTE, 2 * MINUTE, HOLD - 1, HOLD, HOLD + 1, 20 * MINUTE)
TENTH = Fraction(1, 10)


@st.composite
def grids(draw: st.DrawFn) -> BandGrid:
    """Limits between and on counts, deadbands, and delays at which something may change; in any order."""
    halves = st.integers(-2, 28).map(lambda n: Fraction(n, 2))
    widths = st.integers(0, 16).map(lambda n: Fraction(n, 2))
    sizes = draw(st.tuples(*[st.integers(1, 3)] * 4))
    delays = st.sampled_from(DELAYS)
    return BandGrid(
        tuple(draw(st.lists(halves, min_size=sizes[0], max_size=sizes[0], unique=True))),
        tuple(draw(st.lists(widths, min_size=sizes[1], max_size=sizes[1], unique=True))),
        tuple(draw(st.lists(delays, min_size=sizes[2], max_size=sizes[2], unique=True))),
        tuple(draw(st.lists(delays, min_size=sizes[3], max_size=sizes[3], unique=True))),
    )


def variants(grid: BandGrid, side: str) -> list[RuleSettings]:
    """The settings of a grid as rules, in its order; limits of the low side are mirrored there."""
    sign = -1 if side == "low" else 1
    return [
        rule(
            "band", "tank.warm", point="tank.temperature", deadband=decimal(width), priority="high",
            on_delay=f"{on} ms", off_delay=f"{off} ms", **{side: decimal(sign * limit)},
        )
        for limit, width, on, off in product(*grid)
    ]  # fmt: skip


def decimal(counts: Fraction) -> Decimal:
    """Counts of 0.1 degC as a number in degC."""
    value = counts * TENTH
    return Decimal(value.numerator) / value.denominator


@given(uneven(), uneven("loop.flow", 3), grids(), st.sampled_from(("high", "low")))
def test_every_setting_gives_the_spells_that_the_engine_gives(
    readings: Block, other: Block, grid: BandGrid, side: str
) -> None:
    """Over gaps, ends of holds, readings that are not usable, delays to the millisecond, and both sides."""
    was = held({part.point: part for part in (readings, other)})
    one = case(plan(), was)
    found = []
    for number, spells in sweep_band(series_of(one, "tank.temperature", low=side == "low"), grid):
        found += [(number * grid.a_limit + setting, *times) for setting, *times in listed(spells)]
    assert sorted(found) == listed(sweep_engine(one.plan, variants(grid, side), side, one.past))


@given(uneven(), grids(), st.sampled_from(("high", "low")), st.data())
def test_a_single_setting_gives_the_alarm_events_of_the_engine(
    readings: Block, grid: BandGrid, side: str, data: st.DataObject
) -> None:
    """What the keeper would have been told, from the whole engine with its life cycle."""
    was = held({readings.point: readings})
    one = case(plan(), was)
    tried = variants(grid, side)
    number = data.draw(st.integers(0, len(tried) - 1))
    limit = number // grid.a_limit
    spells = dict(sweep_band(series_of(one, "tank.temperature", low=side == "low"), grid))[limit]
    mine = [times for setting, *times in listed(spells) if setting == number % grid.a_limit]
    assert [tuple(times) for times in mine] == engine_says(plan(tried[number]), tried[number], side, was)


def test_a_long_noisy_series_gives_what_the_engine_gives() -> None:
    """Over thousands of readings, windows within windows, with gaps between them."""
    chance = np.random.default_rng(8)
    minutes = np.arange(4000)
    values = np.rint(40 + 20 * np.sin(minutes / 180) + chance.normal(0, 3, 4000)).astype(int)
    times = START + MINUTE * (minutes + 30 * (minutes // 1111))
    was = held({"tank.temperature": block("tank.temperature", times.tolist(), values.tolist())})
    one = case(plan(), was)
    grid = BandGrid(
        tuple(Fraction(n) for n in range(20, 64, 4)), (Fraction(0), Fraction(3), Fraction(9)),
        (0, 2 * MINUTE, 10 * MINUTE), (0, 3 * MINUTE),
    )  # fmt: skip
    found = []
    for number, spells in sweep_band(series_of(one, "tank.temperature", low=False), grid):
        found += [(number * grid.a_limit + setting, *times) for setting, *times in listed(spells)]
    assert len(found) > 1000
    assert found == listed(sweep_engine(one.plan, variants(grid, "high"), "high", one.past))


@pytest.mark.parametrize(("delay", "raised"), [(HOUR - 1, True), (HOUR, False)])
def test_a_reading_back_at_the_instant_a_delay_ends_cancels_it(delay: int, raised: bool) -> None:
    """Back within the limit after an hour: a delay of an hour less 1 ms ends before."""
    was = past({"tank.temperature": [50] * 60 + [10] * 10})
    series = series_of(case(plan(), was), "tank.temperature", low=False)
    ((_, spells),) = sweep_band(series, BandGrid((Fraction(20),), (Fraction(0),), (delay,), (0,)))
    assert listed(spells) == ([(0, START, START + delay, START + HOUR)] if raised else [])


@pytest.mark.parametrize(("gap", "begins"), [(HOLD - 1, 0), (HOLD, 0), (HOLD + 1, HOLD + 1)])
def test_a_gap_breaks_a_stretch_only_when_it_is_longer_than_the_hold(gap: int, begins: int) -> None:
    """A reading at `last + stale_after` is in time; 1 ms later the condition begins anew."""
    times = [START, START + gap, START + gap + HOLD, START + gap + 2 * HOLD]
    one = case(plan(), held({"tank.temperature": block("tank.temperature", times, [50, 50, 50, 50])}))
    grid = BandGrid((Fraction(20),), (Fraction(0),), (HOLD + 1,), (0,))
    ((_, spells),) = sweep_band(series_of(one, "tank.temperature", low=False), grid)
    first = listed(spells)[0]
    assert first[1:3] == (START + begins, START + begins + HOLD + 1)


@pytest.mark.parametrize(("delay", "raised"), [(10 * MINUTE, True), (10 * MINUTE + 1, False)])
def test_a_delay_that_ends_with_the_recording_is_over(delay: int, raised: bool) -> None:
    """At its last instant an alarm still comes; what would come after it does not."""
    was = past({"tank.temperature": [50] * 11})
    grid = BandGrid((Fraction(20),), (Fraction(0),), (delay,), (0,))
    ((_, spells),) = sweep_band(series_of(case(plan(), was), "tank.temperature", low=False), grid)
    assert bool(listed(spells)) == raised


def test_an_alarm_that_does_not_return_stays_open() -> None:
    """The recording ends above the limit; the end of its last hold is past the end."""
    was = past({"tank.temperature": [10, 50, 50]})
    series = series_of(case(plan(), was), "tank.temperature", low=False)
    ((_, spells),) = sweep_band(series, BandGrid((Fraction(20),), (Fraction(0),), (MINUTE,), (0,)))
    assert listed(spells) == [(0, START + MINUTE, START + 2 * MINUTE, OPEN)]


def test_a_point_without_a_reading_raises_nothing() -> None:
    """As in a recording of other points."""
    one = case(plan(), past({"loop.flow": [1, 2, 3]}))
    series = series_of(one, "tank.temperature", low=False)
    ((_, spells),) = sweep_band(series, BandGrid((Fraction(20),), (Fraction(0),), (0,), (0,)))
    assert listed(spells) == []


@pytest.mark.parametrize("level", [-(2**40), -1, 0, 5, 2**40])
def test_levels_beyond_all_values_have_one_stretch(level: int) -> None:
    """Everything above or everything within."""
    times = START + MINUTE * np.arange(100)
    series = Series(times, np.arange(100) % 6, HOLD, int(times[-1]))
    found = series.level(level)
    assert len(found.above.begin) + len(found.within.begin) >= 1
    assert (len(found.above.begin) == 0) == (level >= 5)
    assert (len(found.within.begin) == 0) == (level < 0)


def test_counts_beyond_32_bits_are_compared_as_they_are() -> None:
    """A count of 2**40 lies above a limit of 2**40 less one half."""
    times = START + MINUTE * np.arange(3)
    series = Series(times, np.array([0, 2**40, 0]), HOLD, int(times[-1]))
    grid = BandGrid((2**40 - Fraction(1, 2), Fraction(2**40)), (Fraction(0),), (0,), (0,))
    assert [len(listed(spells)) for _, spells in sweep_band(series, grid)] == [1, 0]


def test_limits_are_never_rounded() -> None:
    """25.05 degC in counts of 0.1: 25.0 is within, 25.1 beyond, and the deadband counts from 25.05."""
    limit = Fraction("250.5")
    assert math.floor(limit) == 250
    was = past({"tank.temperature": [250, 251, 250, 249]})
    one = case(plan(points=POINTS[:1]), was)
    grid = BandGrid((limit,), (Fraction(0), Fraction("0.5"), Fraction("0.6")), (0,), (0,))
    ((_, spells),) = sweep_band(series_of(one, "tank.temperature", low=False), grid)
    back = {setting: (returned - START) // MINUTE for setting, _, _, returned in listed(spells)}
    assert back == {0: 2, 1: 2, 2: 3}
