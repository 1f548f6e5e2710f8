"""What counts as caught, missed, false, explained and chattering?"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from demo_replay.labels import Label
from demo_replay.tuning.scores import MISSED, TOO_EARLY, Measure, Scores, one_after_another, score, together
from demo_replay.tuning.spells import OPEN, Spells
from tests.demo_replay.tuning.tried import NEVER, spells
from tests.replays import DAY, MINUTE, START

LENGTH = 1000
"""Minutes of the recording."""


def measure(*events: tuple[int, int], early: int = 60, explained: tuple[tuple[int, int], ...] = ()) -> Measure:
    """Events and explained spans, from minute to minute."""
    labels = tuple(Label(START + a * MINUTE, START + b * MINUTE, "tank.warm", "") for a, b in events)
    spans = tuple((START + a * MINUTE, START + b * MINUTE if b < NEVER else OPEN) for a, b in explained)
    return Measure(labels, early * MINUTE, START, START + LENGTH * MINUTE, spans)


def scored(of: Measure, *rows: tuple[int, int, int], settings: int = 1) -> Scores:
    """(setting, raised, returned) in minutes."""
    return score(spells(*rows), settings, of)


@pytest.mark.parametrize(
    ("raised", "returned", "delay"),
    [
        (100, 110, 0), (110, 120, 10), (200, 210, 100), (50, 101, 0), (40, NEVER, 0),
        (201, 210, MISSED), (50, 100, MISSED), (39, 300, TOO_EARLY), (0, NEVER, TOO_EARLY),
    ],
)  # fmt: skip
def test_an_event_is_caught_by_an_alarm_in_time(raised: int, returned: int, delay: int) -> None:
    """An event from minute 100 to 200: raised within it, or up to an hour before and still standing when it begins."""
    found = scored(measure((100, 200)), (0, raised, returned))
    assert found.delays.tolist() == [[delay * MINUTE if delay > 0 else delay]]
    assert (found.caught[0], found.missed[0], found.false[0]) == ((1, 0, 0) if delay >= 0 else (0, 1, 1))
    assert (found.unseen[0], found.early[0]) == (int(delay == MISSED), int(delay == TOO_EARLY))


def test_the_first_alarm_in_time_gives_the_delay_and_none_within_is_false() -> None:
    """Three alarms within one event: caught after 10 minutes, no false alarm."""
    found = scored(measure((100, 200)), (0, 110, 115), (0, 120, 125), (0, 190, 300))
    assert (found.delays[0, 0], found.false[0], found.alarms[0]) == (10 * MINUTE, 0, 3)


def test_an_alarm_that_stands_through_two_events_catches_the_first() -> None:
    """Of the second it tells nobody; it is not false either."""
    found = scored(measure((100, 200), (500, 600)), (0, 110, NEVER))
    assert found.delays.tolist() == [[10 * MINUTE, TOO_EARLY]]
    assert (found.false[0], found.early[0]) == (0, 0)


def test_settings_are_scored_apart() -> None:
    """What one setting catches does not help another."""
    found = scored(measure((100, 200)), (0, 110, 120), (2, 150, 160), (2, 300, 310), settings=4)
    assert found.caught.tolist() == [1, 0, 1, 0]
    assert found.false.tolist() == [0, 0, 1, 0]
    assert found.alarms.tolist() == [1, 0, 2, 0]


@pytest.mark.parametrize(
    ("raised", "returned", "explained"),
    [(10, 20, True), (15, 20, True), (9, 15, False), (10, 21, False), (30, NEVER, True), (29, NEVER, False)],
)
def test_an_alarm_is_explained_when_another_rule_accounts_for_all_of_it(
    raised: int, returned: int, explained: bool
) -> None:
    """From minute 10 to 20, and from 30 past the end: it is no false alarm, and nobody was told."""
    found = scored(measure(explained=((10, 20), (30, NEVER))), (0, raised, returned))
    assert (found.explained[0], found.false[0], found.told[0]) == ((1, 0, 0) if explained else (0, 1, 1))


def test_an_explained_alarm_catches_its_event() -> None:
    """It is on the screen and in the log."""
    found = scored(measure((100, 200), explained=((90, 300),)), (0, 110, 120))
    assert (found.caught[0], found.explained[0]) == (1, 1)


def test_times_are_summed_to_the_end_of_the_recording() -> None:
    """Ten minutes and 400 that never ended; waits of 5 and 0; two alarms over 1,000 minutes."""
    found = score(spells((0, 95, 100, 110), (0, 600, 600, NEVER)), 2, measure())
    assert found.in_alarm.tolist() == [410 * MINUTE, 0]
    assert found.waited.tolist() == [5 * MINUTE, 0]
    assert found.a_day[0] == pytest.approx(2 * DAY / (LENGTH * MINUTE))
    assert found.mean_wait()[0] == 2.5 * MINUTE
    assert math.isnan(found.mean_wait()[1])


def test_delays_are_told_by_median_and_worst_of_what_was_caught() -> None:
    """10, 20 and 60 minutes, one missed; where nothing was caught they are not known."""
    of = measure((100, 190), (300, 390), (500, 590), (700, 790))
    found = scored(of, (0, 110, 120), (0, 320, 330), (0, 560, 570), settings=2)
    assert (found.median_delay()[0], found.worst_delay()[0], found.missed[0]) == (20 * MINUTE, 60 * MINUTE, 1)
    assert math.isnan(found.median_delay()[1])
    assert math.isnan(found.worst_delay()[1])


def at_seconds(*rows: tuple[int, int]) -> Spells:
    """(setting, second at which it was raised), each back after half a second."""
    setting, second = np.array(rows, np.int64).reshape(-1, 2).T
    raised = START + 1000 * second
    return Spells(setting, raised, raised, raised + 500)


@pytest.mark.parametrize(
    ("seconds", "episodes"),
    [((0, 30), 0), ((0, 30, 60), 1), ((0, 30, 61), 0), ((0, 20, 40, 60, 80), 1), ((0, 1, 2, 500, 501, 502), 2)],
)
def test_three_activations_within_a_minute_chatter(seconds: tuple[int, ...], episodes: int) -> None:
    """ANSI/ISA-18.2-2016 as restated in the trade's texts; what goes on without a break is one episode."""
    assert score(at_seconds(*((0, second) for second in seconds)), 1, measure()).chattering.tolist() == [episodes]


def test_activations_of_different_settings_do_not_chatter_together() -> None:
    """Two of one and one of the next; and an episode of each, side by side, are two."""
    assert score(at_seconds((0, 0), (0, 1), (1, 2)), 2, measure()).chattering.tolist() == [0, 0]
    both = at_seconds(*((setting, second) for setting in (0, 1) for second in (0, 1, 2)))
    assert score(both, 2, measure()).chattering.tolist() == [1, 1]


@given(st.lists(st.tuples(st.integers(0, 3), st.integers(0, 300)), max_size=60, unique=True))
def test_chattering_is_what_one_counts_by_hand(rows: list[tuple[int, int]]) -> None:
    """Alarm by alarm: part of three within 60 s or not, and how often that begins."""
    expected = [0] * 4
    for setting in range(4):
        own = sorted(second for which, second in rows if which == setting)
        triples = [i for i in range(len(own) - 2) if own[i + 2] - own[i] <= 60]
        expected[setting] = sum(i - 1 not in triples for i in triples)
    assert score(at_seconds(*sorted(rows)), 4, measure()).chattering.tolist() == expected


def test_recordings_add_up_and_settings_line_up() -> None:
    """Counts and times are summed over recordings; labels stand side by side; settings one after another."""
    one = scored(measure((100, 200)), (0, 110, 120), (1, 500, 510), settings=2)
    two = scored(measure((300, 400)), (1, 310, 320), settings=2)
    both = together([one, two])
    assert both.alarms.tolist() == [1, 2]
    assert both.false.tolist() == [0, 1]
    assert both.caught.tolist() == [1, 1]
    assert both.missed.tolist() == [1, 1]
    assert both.span == 2 * LENGTH * MINUTE
    apart = one_after_another([one.rows([1]), one.rows([0])])
    assert apart.alarms.tolist() == one.alarms.tolist()[::-1]
    assert apart.delays.tolist() == one.delays.tolist()[::-1]
