"""Are the parts of a picture right: thinned lines, named hours, limits, and the calendar of a season?"""

from __future__ import annotations

import dataclasses
import datetime as dt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from demo_replay.episodes import Episode
from demo_replay.pictures.calendar import OUTSIDE, QUIET, UNHEARD, calendar
from demo_replay.pictures.hours import heading, ticks
from demo_replay.pictures.limits import in_shown_unit, limits
from demo_replay.pictures.thinned import breaks, thinned
from rules.plan import Plan
from rules.settings import Priority
from tests.replays import DAY, HOUR, MINUTE, POINTS, START, plan, recording, rule

_TANK = POINTS[0]


@given(st.lists(st.tuples(st.integers(1, 50), st.integers(-100, 100)), min_size=1, max_size=300), st.integers(1, 20))
def test_a_thinned_line_keeps_first_last_lowest_and_highest_of_each_pixel(
    steps: list[tuple[int, int]], pixels: int
) -> None:
    """So that it draws the same; and there are at most four points a pixel."""
    times = np.cumsum([step for step, _ in steps])
    values = np.array([value for _, value in steps])
    span = (0, int(times[-1]))
    kept = thinned(times, values, span, pixels)
    assert np.all(np.diff(kept) > 0)
    assert len(kept) <= 4 * pixels
    column = times * pixels // (span[1] + 1)
    for one in np.unique(column):
        whole, part = values[column == one], values[kept[column[kept] == one]]
        assert (part[0], part[-1], part.min(), part.max()) == (whole[0], whole[-1], whole.min(), whole.max())


@pytest.mark.parametrize(("gap", "found"), [(4, []), (5, []), (6, [1])])
def test_a_line_breaks_where_the_hold_ended(gap: int, found: list[int]) -> None:
    """A reading that comes when the hold ends is in time."""
    assert breaks(np.array([0, gap]), 5).tolist() == found


def test_hours_are_local_and_round() -> None:
    """From ten to ten in Dublin: every third hour, and midnight carries the day's name."""
    found = ticks((START, START + DAY), "Europe/Dublin")
    assert [text for _, text in found] == ["12:00", "15:00", "18:00", "21:00", "Fri 3", "03:00", "06:00", "09:00"]
    assert found[0][0] == START + 2 * HOUR


def test_hours_stay_round_across_the_clock_change() -> None:
    """On 29 March 2026 Dublin's clocks go from 01:00 to 02:00: six o'clock comes five hours after midnight."""
    midnight = 1_774_742_400_000
    found = {text: at for at, text in ticks((midnight, midnight + 23 * HOUR), "Europe/Dublin")}
    assert found["Sun 29"] == midnight
    assert found["06:00"] == midnight + 5 * HOUR


@pytest.mark.parametrize("days", [1, 2, 5, 9, 30, 400])
def test_there_are_never_too_many_hours(days: int) -> None:
    """About nine names fit on a phone."""
    assert 3 <= len(ticks((START, START + days * DAY), "Europe/Dublin")) <= 12


def test_a_heading_tells_both_ends() -> None:
    """The year once, where both lie in it."""
    assert heading((START, START + DAY), "Europe/Dublin") == "Thu 2 Apr 10:00 to Fri 3 Apr 2026 10:00"
    assert heading((START, START + 300 * DAY), "UTC").startswith("Thu 2 Apr 2026 09:00 to ")


def test_limits_are_in_the_unit_that_is_shown() -> None:
    """26 °C is 78.8 °F for a keeper who reads Fahrenheit; counts are converted alike."""
    site = plan()
    fahrenheit = Plan(site.name, site.timezone, site.points, site.rules, temperature_unit="degF")
    (limit,) = limits(fahrenheit, _TANK, np.array([START]))
    assert limit.values.tolist() == [pytest.approx(78.8)]
    assert in_shown_unit(fahrenheit, _TANK)(np.array([260])).tolist() == [pytest.approx(78.8)]


def test_limits_change_with_the_time_of_day() -> None:
    """The limit of the night from 20:00 local time on."""
    warm = rule("band", "tank.warm", point="tank.temperature", high=26, limits=[{"hours": "20:00-07:00", "high": 24}])
    evening = START + 10 * HOUR
    (limit,) = limits(plan([warm]), _TANK, np.array([evening - 1, evening]))
    assert limit.values.tolist() == [26.0, 24.0]


def test_a_rule_that_raises_no_alarm_has_no_limit() -> None:
    """Priority `log` lends its condition only; evidence is marked as such."""
    log = rule("band", "tank.mild", point="tank.temperature", high=20, priority="log")
    stopped = rule("stopped", "loop.stopped", evidence=[{"point": "loop.flow", "under": 2}], priority="critical")
    assert limits(plan([log]), _TANK, np.array([START])) == []
    (limit,) = limits(plan([stopped]), POINTS[1], np.array([START]))
    assert (limit.side, limit.evidence, limit.priority) == ("low", True, Priority.CRITICAL)


def stood(onset: int, ended: int | None, priority: str = "high") -> Episode:
    """An alarm from hour `onset` to hour `ended` after START."""
    end = None if ended is None else START + ended * HOUR
    begin = START + onset * HOUR
    return Episode("tank.warm", "high", priority, begin, begin, end, begin, "returned", 27.0, "degC", "")


def test_a_calendar_marks_the_local_hours_in_which_an_alarm_stood() -> None:
    """An alarm from 12:00 to 14:00 UTC is in Dublin's hours 13, 14 and 15, in which it returned."""
    source = recording({"tank.temperature": [250] * 60 * 24})
    found = calendar([stood(3, 5)], source, [_TANK], (START, START + DAY - MINUTE), "Europe/Dublin")
    assert found.first == dt.date(2026, 4, 2)
    assert found.cells.shape == (2, 24)
    assert np.flatnonzero(found.cells[0] > QUIET).tolist() == [13, 14, 15]
    assert found.cells[0, 9] == OUTSIDE
    assert found.cells[0, 10] == QUIET
    assert (found.cells[1, 9], found.cells[1, 10]) == (QUIET, OUTSIDE)


def test_the_worst_alarm_of_an_hour_counts() -> None:
    """Critical hides low, in whatever order they come."""
    source = recording({"tank.temperature": [250] * 180})
    span = (START, START + 3 * HOUR - MINUTE)
    for order in ([stood(0, 2, "low"), stood(1, 2, "critical")], [stood(1, 2, "critical"), stood(0, 2, "low")]):
        assert calendar(order, source, [_TANK], span, "UTC").cells[0, 9:12].tolist() == [1, 4, 4]


def test_an_hour_without_a_reading_is_unheard() -> None:
    """Unless an alarm stands in it."""
    source = recording({"tank.temperature": [250] * 60})
    span = (START, START + 4 * HOUR - MINUTE)
    assert calendar([], source, [_TANK], span, "UTC").cells[0, 9:13].tolist() == [QUIET, UNHEARD, UNHEARD, UNHEARD]
    assert calendar([stood(3, None)], source, [_TANK], span, "UTC").cells[0, 12] == 3


def test_the_hour_that_the_clock_change_skips_is_outside_and_the_one_it_repeats_is_one_cell() -> None:
    """29 March and 25 October 2026 in Dublin, which change at 01:00 UTC."""
    spring, autumn = 1_774_742_400_000, 1_792_882_800_000
    source = recording({"tank.temperature": [250] * 26}, every=HOUR, start=spring)
    hourly = [dataclasses.replace(_TANK, expect_every=HOUR)]
    cells = calendar([], source, hourly, (spring, spring + 22 * HOUR), "Europe/Dublin").cells
    assert cells.shape == (1, 24)
    assert np.flatnonzero(cells[0] == OUTSIDE).tolist() == [1]
    source = recording({"tank.temperature": [250] * 26}, every=HOUR, start=autumn)
    cells = calendar([], source, hourly, (autumn, autumn + 24 * HOUR), "Europe/Dublin").cells
    assert cells.shape == (1, 24)
    assert not np.any(cells == OUTSIDE)
