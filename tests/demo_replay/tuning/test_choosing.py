"""Which settings beat others, and which one is recommended for which reason?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from demo_replay.tuning.choosing import Choice, Floats, choose, costs, unbeaten
from demo_replay.tuning.grid import Grid
from demo_replay.tuning.scores import MISSED, TOO_EARLY, Scores
from rules.durations import DAY, MINUTE
from tests.demo_replay.tuning.test_grid import axis

tables = arrays.arrays(
    np.float64, st.tuples(st.integers(1, 40), st.integers(1, 4)), elements=st.integers(0, 4).map(float)
)


@given(tables)
def test_unbeaten_is_what_comparing_every_pair_finds(table: Floats) -> None:
    """A row stays unless another is as good everywhere and better somewhere; equal rows stay together."""
    beaten = [any((other <= row).all() and (other < row).any() for other in table) for row in table]
    assert (~unbeaten(table)).tolist() == beaten


def test_what_never_comes_is_the_worst_delay() -> None:
    """Infinite costs are compared like others."""
    assert unbeaten(np.array([[0, np.inf], [0, 5.0], [1, np.inf]])).tolist() == [False, True, False]


def scores(
    delays: Sequence[Sequence[int]],
    false: Sequence[int] | None = None,
    early: Sequence[int] | None = None,
    **counts: object,
) -> Scores:
    """delays in minutes of each label, a row a setting; the rest is 0 where it is not given."""
    table = np.array([[MINUTE * d if d > 0 else d for d in row] for row in delays], np.int64).reshape(len(delays), -1)
    n = len(delays)

    def column(values: object) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
        return np.zeros(n, np.int64) if values is None else np.array(values, np.int64)

    chattering, alarms = column(counts.get("chattering")), column(counts.get("alarms"))
    zero = column(None)
    return Scores(alarms, zero, zero, zero, chattering, column(false), column(early), table, 10 * DAY)


def chosen(
    of: Scores, now: int | None = None, possible: Sequence[bool] | None = None, today: Scores | None = None
) -> Choice:
    """The choice out of one axis whose values are the numbers of the settings."""
    grid = Grid((axis("high", range(len(of.alarms)), now),))
    own = grid.number_of_today()
    able = np.ones(len(of.alarms), np.bool_) if possible is None else np.array(possible)
    return choose(of, grid, able, today if own is None else of.rows([own]))


def test_with_labels_the_fewest_missed_comes_first_then_the_fewest_false() -> None:
    """However fast or quiet the others are."""
    assert chosen(scores([[MISSED], [50], [60], [1]], [0, 3, 2, 9])).setting == 2
    assert chosen(scores([[TOO_EARLY], [50], [60], [70]], [0, 3, 3, 3])).setting == 1


def test_a_setting_whose_neighbours_do_as_well_is_preferred_to_a_faster_one() -> None:
    """What lies at a brink seldom does well on other days: 3 is faster here, but beside 2, which is often false."""
    of = scores([[1], [2], [3], [4], [5], [6], [7], [8]], [9, 9, 9, 0, 0, 0, 0, 0])
    assert chosen(of).setting == 4


def test_a_neighbour_that_only_warns_too_early_is_no_brink() -> None:
    """Its alarm stood when the event came."""
    of = scores(
        [[0], [TOO_EARLY], [TOO_EARLY], [1], [4], [5], [6], [7]], [9, 1, 1, 0, 0, 0, 0, 0], [0, 1, 1, 0, 0, 0, 0, 0]
    )
    assert chosen(of).setting == 3


def test_the_ends_of_what_was_tried_are_left_alone() -> None:
    """Nobody knows what lies beyond; where today's setting lies there it may stay."""
    of = scores([[0], [3], [4], [5], [6]])
    assert chosen(of).setting == 1
    assert chosen(of, now=0).setting == 0
    assert chosen(of, now=0).why.startswith("today's setting does as well as any")


def test_among_equals_the_nearest_to_todays_is_taken() -> None:
    """All of 5 to 9 catch everything at once; today's 3 misses."""
    of = scores([[MISSED]] * 5 + [[0]] * 5)
    assert chosen(of, now=3).setting == 6


@pytest.mark.parametrize(("minutes", "setting"), [(10, 2), (9.5, 2), (9, 1), (5, 1)])
def test_nothing_is_changed_for_less_than_a_minute_or_a_tenth(minutes: float, setting: int) -> None:
    """Today's is 10 min late."""
    of = scores([[20], [0], [10], [20], [30], [40]])
    of.delays[1, 0] = round(minutes * MINUTE)
    assert chosen(of, now=2).setting == setting


def test_todays_setting_is_kept_though_it_was_not_tried() -> None:
    """It is as good as the best of those that were."""
    of = scores([[20], [15], [14], [15], [16], [20]])
    grid = Grid((axis("high", range(0, 60, 10), 25),))
    kept = choose(of, grid, np.ones(6, np.bool_), scores([[14]]))
    assert kept == Choice(
        None,
        "today's setting does as well as any: it catches 1 of 1 labelled event, at most 14 min "
        "late, with no false alarm",
    )
    assert choose(of, grid, np.ones(6, np.bool_), scores([[30]])).setting == 2


def test_settings_that_a_site_file_may_not_have_are_neither_taken_nor_feared() -> None:
    """The best is impossible; the next one is taken though its impossible neighbour raises false alarms."""
    of = scores([[1], [2], [3], [4], [5], [6]], [9, 9, 0, 0, 0, 0])
    assert chosen(of, possible=[False, False, True, True, True, True]).setting == 2


def test_without_labels_today_stays_unless_it_chatters_or_rings_every_day() -> None:
    """At most one alarm a day and no chattering is enough; else the nearest setting that is so."""
    none: list[list[int]] = [[] for _ in range(6)]
    assert chosen(scores(none, alarms=[0, 1, 2, 9, 10, 11], chattering=[0] * 6), now=3).setting == 3
    assert chosen(scores(none, alarms=[0, 1, 2, 9, 10, 11], chattering=[0] * 6), now=5).setting == 4
    assert chosen(scores(none, alarms=[9] * 6, chattering=[0, 0, 1, 1, 1, 1]), now=3).setting == 1


def test_the_reason_says_what_the_setting_does_and_what_today_does() -> None:
    """In a sentence."""
    of = scores([[30, 5], [30, 5], [30, 5], [MISSED, 40], [MISSED, 40]], [0, 0, 0, 1, 1])
    assert chosen(of, now=4) == Choice(
        1,
        "it catches 2 of 2 labelled events, each at most 30 min late, with no false alarm, and so do the settings "
        "around it; today's setting misses 1, with 1 false alarm",
    )
    brink = scores([[1], [1], [5], [1], [1]], [9, 9, 0, 9, 9])
    assert chosen(brink).why == (
        "it catches 1 of 1 labelled event, at most 5 min late, with no false alarm; settings close to it do worse, so "
        "that it may on other days"
    )
    slow = scores([[0], [0], [0], [30], [40]])
    assert chosen(slow, now=3).why.endswith(
        "at once, with no false alarm, and so do the settings around it; today's setting is 30 min slower"
    )


def test_costs_are_of_events_where_there_are_any() -> None:
    """Missed, false, worst and median delay; else alarms, chattering and the wait, infinite where nothing came."""
    of = costs(scores([[10, 30], [MISSED, MISSED]], [1, 0]))
    assert of.tolist() == [[0, 1, 30 * MINUTE, 20 * MINUTE], [2, 0, np.inf, np.inf]]
    assert costs(scores([[], []], alarms=[4, 0], chattering=[1, 0])).tolist() == [[4, 1, 0, 0], [0, 0, np.inf, 0]]


def test_nothing_is_changed_where_no_setting_catches_an_event() -> None:
    """Neither for fewer false alarms, nor where the rule lacks the setting today."""
    of = scores([[MISSED], [MISSED]], [3, 0])
    assert chosen(of, now=0).setting == 0
    assert chosen(of).setting is None
    assert chosen(of).why.startswith("no setting that was tried catches any of the labelled events")


def test_a_setting_that_tells_nothing_is_called_by_its_name() -> None:
    """It may be the one without needless alarms, or the one that misses everything; only labels tell."""
    found = chosen(scores([[], []], alarms=[40, 0]), now=0)
    assert found.setting == 1
    assert found.why == "it tells nothing at all here, which is good only where nothing was wrong; labels would tell"


def test_one_alarm_in_a_recording_shorter_than_a_day_is_not_too_many() -> None:
    """Today's setting with one alarm in half a day stays; with two in half a day the one with one is taken."""
    half = scores([[], []], alarms=[1, 0])._replace(span=DAY // 2)
    assert chosen(half, now=0).setting == 0
    assert chosen(scores([[], []], alarms=[2, 1])._replace(span=DAY // 2), now=0).setting == 1
