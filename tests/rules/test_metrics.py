"""Do floods, chattering and rates come out as the worked examples of alarm management say?

The flood rule (more than 10 new alarms in 10 min, until a period has fewer than 5), the chattering rule (3 in 1 min)
and the rates are those of ANSI/ISA-18.2-2016, Table 5; the numbers below were worked by hand from them.
"""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.metrics import (
    BIN,
    chattering_alarms,
    counts_by_period,
    first_chattering,
    floods,
    is_chattering,
    most_frequent,
    priority_mix,
    rates,
    stale_alarms,
)

WORKED = [2, 3, 12, 14, 9, 6, 4, 1, 0, 11, 5, 5, 3]


def seconds(*times: int) -> list[int]:
    """As milliseconds."""
    return [1000 * time for time in times]


def test_floods_are_where_the_worked_example_has_them() -> None:
    """From over 10 until under 5, the end exclusive."""
    assert floods(WORKED) == [(2, 6), (9, 12)]


def test_ten_alarms_in_a_period_are_no_flood_and_eleven_are() -> None:
    """The limit itself is not over it."""
    assert floods([10, 10, 10, 10, 9, 4]) == []
    assert floods([11]) == [(0, 1)]


def test_five_alarms_in_a_period_do_not_end_a_flood_and_four_do() -> None:
    """The end is under 5."""
    assert floods([11, 5, 5]) == [(0, 3)]
    assert floods([11, 4, 11]) == [(0, 1), (2, 3)]


def test_rates_are_those_of_the_worked_example() -> None:
    """3 of 13 periods over 10 (23.08 %), mean 5.7692, peak 14, 7 periods in flood."""
    found = rates(WORKED)
    assert (found.periods, found.over, found.flooded, found.peak) == (13, 3, 7, 14)
    assert found.share_over == pytest.approx(0.2308, abs=5e-5)
    assert found.mean == pytest.approx(5.7692, abs=5e-5)
    assert found.share_flooded == pytest.approx(7 / 13)


def test_rates_of_nothing_are_nothing() -> None:
    """No periods, no division by zero."""
    found = rates([])
    assert (found.mean, found.peak, found.share_over, found.share_flooded) == (0.0, 0, 0.0, 0.0)


def test_chattering_begins_at_the_third_activation_within_a_minute() -> None:
    """0, 100, 130, 150, 400 s: the fourth, since 150 - 100 <= 60."""
    assert first_chattering(seconds(0, 100, 130, 150, 400)) == 3


def test_activations_seventy_seconds_apart_do_not_chatter() -> None:
    """Three of them span 140 s."""
    assert first_chattering(seconds(0, 70, 140, 210)) is None


def test_exactly_a_minute_is_within_a_minute() -> None:
    """At the limit chattering, a millisecond over it not."""
    assert is_chattering([0, 30_000, 60_000])
    assert not is_chattering([0, 30_000, 60_001])


def test_another_definition_of_chattering_can_be_asked_for() -> None:
    """More than 5 in 5 min, as one site has it."""
    times = seconds(0, 60, 120, 180, 240, 300)
    assert first_chattering(times, 6, 300_000) == 5
    assert first_chattering(times) is None
    assert chattering_alarms({"a": times, "b": seconds(1, 2, 3)}) == ["b"]


def test_periods_begin_with_the_span_and_its_end_is_left_out() -> None:
    """Half-open periods; what lies outside is not counted; the last may be short."""
    assert counts_by_period([-1, 0, BIN - 1, BIN, 2 * BIN + 4, 2 * BIN + 5], 0, 2 * BIN + 5) == [2, 1, 1]
    assert counts_by_period([5], 5, 5) == []


def test_the_most_frequent_alarms_carry_their_share() -> None:
    """Ties by name."""
    assert most_frequent("bacab", 2) == [("a", 2, 0.4), ("b", 2, 0.4)]
    assert most_frequent([]) == []


def test_the_priority_mix_adds_up() -> None:
    """Shares of all."""
    assert priority_mix(["low"] * 16 + ["medium"] * 3 + ["high"]) == {"low": 0.8, "medium": 0.15, "high": 0.05}


def test_an_alarm_is_stale_after_more_than_a_day() -> None:
    """Not at 24 h itself."""
    day = 86_400_000
    assert stale_alarms([("a", 0, day), ("b", 0, day + 1), ("c", 5, 3 * day)]) == [("c", 3 * day - 5), ("b", day + 1)]


@given(st.lists(st.integers(0, 20), max_size=60))
def test_a_flood_begins_over_ten_holds_no_period_under_five_and_ends_with_one(counts: list[int]) -> None:
    """The definition itself, of any counts; floods do not touch."""
    found = floods(counts)
    for first, end in found:
        assert counts[first] > 10
        assert all(count >= 5 for count in counts[first:end])
        assert end == len(counts) or counts[end] < 5
    assert all(one[1] < other[0] for one, other in pairwise(found))
    inside = {index for first, end in found for index in range(first, end)}
    assert all(count <= 10 for index, count in enumerate(counts) if index not in inside)


@given(st.lists(st.integers(0, 10_000_000), max_size=50).map(sorted))
def test_every_alarm_is_counted_in_one_period(times: list[int]) -> None:
    """The periods add up."""
    assert sum(counts_by_period(times, 0, 10_000_001)) == len(times)
