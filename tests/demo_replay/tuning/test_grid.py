"""Are settings numbered, compared and put in order as the axes say?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from demo_replay.tuning.grid import Axis, Grid, Written
from demo_replay.tuning.scores import Scores


def axis(key: str, values: Sequence[int], now: int | None = None) -> Axis:
    """Whole numbers."""
    return Axis(
        key,
        tuple(Decimal(value) for value in values),
        tuple(Fraction(value) for value in values),
        None if now is None else Fraction(now),
        None if now is None else Decimal(now),
    )


GRID = Grid((axis("high", range(20, 25), 22), axis("on_delay", (0, 10, 20), 10)))


def test_the_last_axis_turns_fastest() -> None:
    """15 settings: number 4 is the second value of the first axis and of the second."""
    assert (GRID.size, GRID.keys) == (15, ("high", "on_delay"))
    assert GRID.setting(4) == {"high": 21, "on_delay": 10}
    assert [GRID.setting(number) for number in range(GRID.size)] == [
        {"high": high, "on_delay": delay} for high, delay in product(range(20, 25), (0, 10, 20))
    ]


def test_today_is_found_where_it_is_tried() -> None:
    """By its value, whatever its spelling; else not at all."""
    assert GRID.number_of_today() == 7
    assert Grid((axis("high", (20, 22), 21),)).number_of_today() is None
    assert Grid((axis("high", (20, 22)),)).number_of_today() is None
    assert Grid((axis("high", (20, 22)), axis("low", (1, 2), 1))).number_of_today() is None


def test_todays_grid_holds_one_setting_or_there_is_none() -> None:
    """Where a key has no value today there is nothing to compare with."""
    today = GRID.today()
    assert today is not None
    assert (today.size, today.setting(0)) == (1, {"high": 22, "on_delay": 10})
    assert Grid((axis("high", (20, 22)),)).today() is None
    with pytest.raises(ValueError, match="high is not set today"):
        axis("high", (20, 22)).today()


def test_distance_counts_steps_from_today() -> None:
    """Each axis by its own step; one without a value today counts for nothing."""
    assert GRID.distance().reshape(5, 3).tolist() == [[3, 2, 3], [2, 1, 2], [1, 0, 1], [2, 1, 2], [3, 2, 3]]
    assert GRID.nearest_to_today() == 7
    assert Grid((axis("high", (20, 22, 24), 21), axis("low", (1, 2)))).distance().tolist() == [
        0.5,
        0.5,
        0.5,
        0.5,
        1.5,
        1.5,
    ]
    assert Grid((axis("high", (20,), 30),)).distance().tolist() == [0]


def test_ends_are_counted_where_an_axis_is_long_and_today_is_not_there() -> None:
    """Five values of high have two ends; three delays have none; today's value is no end."""
    assert GRID.ends().reshape(5, 3)[:, 0].tolist() == [1, 0, 0, 0, 1]
    assert Grid((axis("high", range(5), 0),)).ends().tolist() == [0, 0, 0, 0, 1]
    assert Grid((axis("high", range(4)),)).ends().tolist() == [0, 0, 0, 0]
    assert Grid((axis("high", range(5)), axis("low", range(5)))).ends().reshape(5, 5)[0].tolist() == [2, 1, 1, 1, 2]


shapes = st.lists(st.integers(1, 24), min_size=1, max_size=3).filter(lambda shape: np.prod(shape) <= 2000)


@given(shapes, st.data())
def test_scores_numbered_otherwise_are_put_in_order(shape: list[int], data: st.DataObject) -> None:
    """A score of a setting stays with it, whatever the order of axes in which it was found; labels too."""
    grid = Grid(tuple(axis(f"key{index}", range(length)) for index, length in enumerate(shape)))
    order = data.draw(st.permutations(grid.keys))
    shuffled = Grid(tuple(grid.axes[grid.keys.index(key)] for key in order))
    told, wanted = (np.array([_mark(of.setting(number)) for number in range(grid.size)]) for of in (shuffled, grid))
    zero = np.zeros(grid.size, np.int64)
    found = grid.in_order(Scores(told, zero, zero, zero, zero, zero, -told, np.column_stack((told, -told)), 1), order)
    assert found.alarms.tolist() == wanted.tolist()
    assert found.early.tolist() == (-wanted).tolist()
    assert found.delays.tolist() == np.column_stack((wanted, -wanted)).tolist()


def _mark(setting: Mapping[str, Written]) -> int:
    """A number that no other setting has, whatever the order of its keys."""
    return sum(int(setting[key]) * 25**place for place, key in enumerate(sorted(setting)))


@given(shapes, st.integers(0, 2**32 - 1))
def test_the_worst_around_is_what_one_finds_by_looking(shape: list[int], seed: int) -> None:
    """Within a tenth of the steps of every axis, one step at least, and not past the ends."""
    values = np.random.default_rng(seed).integers(0, 50, shape).astype(float)
    grid = Grid(tuple(axis(f"key{index}", range(length)) for index, length in enumerate(shape)))
    reach = [max(1, round((length - 1) / 10)) for length in shape]
    expected = [
        values[tuple(slice(max(0, at - away), at + away + 1) for at, away in zip(place, reach, strict=True))].max()
        for place in product(*map(range, shape))
    ]
    assert grid.worst_around(values.reshape(-1)).tolist() == expected
