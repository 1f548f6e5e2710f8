"""Is a reading compared with the fresh and usable readings of its neighbours, however steps are cut?"""

from __future__ import annotations

import itertools
import json
from dataclasses import replace
from fractions import Fraction
from statistics import median
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.block import Block, block
from rules.durations import MINUTE
from rules.errors import SettingError, UnitError
from rules.local_time import Zone
from rules.plan import PointPlan
from rules.quality.all_points import PlanQuality
from rules.quality.codes import CodesSettings
from rules.quality.neighbour import NeighbourSettings
from rules.quality.spike import SpikeSettings
from tests.rules.quality.made import made

UTC = Zone("UTC")


def point(name: str, unit: str = "degC", resolution: str = "0.1", **more: Any) -> PointPlan:
    return PointPlan(name, "air_temperature", unit, Fraction(resolution), MINUTE, 3 * MINUTE, **more)


HIGH = point("high", quality=(made(NeighbourSettings, points=["low", "door"], suspect=2, fail=5),))
LOW = point("low", quality=(made(CodesSettings, values=[-127]),))
DOOR = point("door", "degF", "1")


def readings(name: str, values: dict[int, int | None]) -> Block:
    """minute -> counts."""
    return block(name, [MINUTE * minute for minute in values], list(values.values()))


def flags(*parts: Block, points: tuple[PointPlan, ...] = (HIGH, LOW, DOOR)) -> list[int]:
    """Of the readings of HIGH, all in one step."""
    judged = PlanQuality(points, UTC).judge({part.point: part for part in parts}, -1)
    return list(judged.parts["high"].flags.tolist())


def test_it_is_far_from_its_one_fresh_neighbour_or_not() -> None:
    """Strictly by more than 2 degC suspect, by more than 5 fail; exactly at a limit it passes."""
    low = readings("low", dict.fromkeys(range(6), 200))
    high = readings("high", {0: 200, 1: 220, 2: 221, 3: 250, 4: 251, 5: 149})
    assert flags(high, low) == [1, 1, 3, 3, 4, 4]


def test_of_several_neighbours_the_median_counts() -> None:
    """20.0 degC and 68 degF are the same; with 20 and 30 degC (86 degF) the middle is 25."""
    low = readings("low", {0: 200, 1: 200})
    assert flags(readings("high", {0: 222, 1: 251}), low, readings("door", {0: 68, 1: 86})) == [3, 1]


def test_the_middle_of_two_neighbours_and_the_limit_are_not_rounded() -> None:
    """22.1 is 2.05 off the middle of 20.0 and 20.1 degC: beyond 2.03 and 2.04, at 2.05 it passes."""
    near = (readings("low", {0: 200}), readings("mid", {0: 201}))
    for limit, flag in (("2.03", 3), ("2.04", 3), ("2.05", 1)):
        high = point("high", quality=(made(NeighbourSettings, points=["low", "mid"], suspect=limit),))
        assert flags(readings("high", {0: 221}), *near, points=(high, LOW, point("mid"))) == [flag]


def test_without_a_fresh_neighbour_it_is_not_evaluated() -> None:
    """A neighbour counts up to its stale_after, and not before it was first heard."""
    low = readings("low", {1: 200})
    assert flags(readings("high", {0: 400, 1: 400, 4: 400, 5: 400}), low) == [2, 4, 4, 2]
    assert flags(readings("high", {0: 400})) == [2]


def test_a_neighbour_that_is_not_usable_itself_does_not_count() -> None:
    """A code, and a missing reading, leave the one before in place."""
    low = readings("low", {0: 200, 1: -1270, 2: None})
    assert flags(readings("high", {0: 200, 1: 200, 2: 200}), low) == [1, 1, 1]


def test_a_spike_that_is_no_outlier_among_its_neighbours_ends_as_a_spike() -> None:
    """The final flag is the worse of what the neighbours and the next reading say."""
    both = (*HIGH.quality, made(SpikeSettings, suspect=1))
    judged = PlanQuality((replace(HIGH, quality=both), LOW, DOOR), UTC).judge(
        {"high": readings("high", {0: 200, 1: 215, 2: 200}), "low": readings("low", {0: 200})}, -1
    )
    assert judged.parts["high"].flags.tolist() == [1, 1, 1]
    assert judged.finals["high"].listed() == [(MINUTE, 3)]


def test_a_neighbour_that_is_out_of_service_is_never_fresh() -> None:
    """A replay of a recording that lacks it judges by the others."""
    assert flags(readings("high", {0: 400}), readings("door", {0: 68}), points=(HIGH, DOOR)) == [4]
    assert flags(readings("high", {0: 400}), points=(HIGH,)) == [2]


COLUMN = st.dictionaries(st.integers(0, 30), st.one_of(st.none(), st.integers(180, 240), st.just(-1270)), max_size=15)


@settings(max_examples=150, deadline=None)
@given(high=COLUMN, low=COLUMN, door=COLUMN, cuts=st.sets(st.integers(0, 31), max_size=5))
def test_cuts_and_restarts_do_not_matter(high: Any, low: Any, door: Any, cuts: set[int]) -> None:
    """The flags are those of comparing each reading with the median of what was fresh and usable at its time."""
    columns = {"high": dict(sorted(high.items())), "low": dict(sorted(low.items()))}
    columns["door"] = {minute: v if v is None else v // 3 for minute, v in sorted(door.items())}
    quality = PlanQuality((HIGH, LOW, DOOR), UTC)
    found: list[int] = []
    for begin, end in itertools.pairwise([-1, *sorted(cuts), 31]):
        parts = {
            name: readings(name, {m: v for m, v in column.items() if begin < m <= end})
            for name, column in columns.items()
        }
        judged = quality.judge({name: part for name, part in parts.items() if len(part)}, -1)
        found.extend(judged.parts["high"].flags.tolist() if "high" in judged.parts else [])
        state = json.loads(json.dumps(quality.state()))
        quality = PlanQuality((HIGH, LOW, DOOR), UTC)
        quality.load(state)
    assert found == [naive(columns, minute, value) for minute, value in columns["high"].items()]


def naive(columns: dict[str, dict[int, int | None]], minute: int, value: int | None) -> int:
    if value is None:
        return 9
    near: list[Fraction] = []
    for name in ("low", "door"):
        heard = {
            m: v for m, v in columns[name].items() if m <= minute and v is not None and (name, v) != ("low", -1270)
        }
        if heard and minute - max(heard) <= 3:
            last = heard[max(heard)]
            near.append(Fraction(last, 10) if name == "low" else Fraction((last - 32) * 5, 9))
    if not near:
        return 2
    off = abs(Fraction(value, 10) - median(near))
    return 4 if off > 5 else 3 if off > 2 else 1


@pytest.mark.parametrize(
    ("settings_of_high", "error"),
    [
        ({"points": ["high"], "fail": 1}, SettingError),
        ({"points": ["low"]}, SettingError),
        ({"points": ["low"], "suspect": 2, "fail": 1}, SettingError),
        ({"points": ["low"], "suspect": -1}, SettingError),
        ({"points": ["tank"], "fail": 1}, UnitError),
    ],
)
def test_neighbours_that_cannot_be_compared_are_refused(settings_of_high: Any, error: type[Exception]) -> None:
    """Itself, without a limit, limits upside down, or of another dimension."""
    tank = PointPlan("tank", "level", "cm", Fraction(1))
    high = point("high", quality=(made(NeighbourSettings, **settings_of_high),))
    with pytest.raises(error, match="neighbour"):
        PlanQuality((high, LOW, tank), UTC)
