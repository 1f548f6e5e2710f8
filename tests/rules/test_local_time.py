"""Do local hours and seasons hold through the days on which the clocks change?"""

from __future__ import annotations

import datetime as dt
from fractions import Fraction
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.block import block
from rules.conditions import KINDS
from rules.engine import Engine
from rules.errors import SettingError
from rules.local_time import Zone, when
from rules.plan import Plan, PointPlan


def utc(text: str) -> int:
    """ms UTC of an RFC 3339 time."""
    return round(dt.datetime.fromisoformat(text).timestamp() * 1000)


@given(
    st.sampled_from(
        ["Europe/Dublin", "America/New_York", "Australia/Lord_Howe", "Asia/Kolkata", "UTC", "Africa/Casablanca"]
    ),
    st.integers(0, 4_000_000_000_000),
    st.lists(st.integers(0, 400 * 86_400_000), max_size=30),
)
def test_offsets_in_columns_equal_those_of_single_moments(zone: str, start: int, steps: list[int]) -> None:
    """A year of moments at once, or one after the other: the same as zoneinfo says."""
    times = np.array(sorted({start + step for step in steps}), np.int64)
    found = Zone(zone)
    each = [
        round(
            (dt.datetime.fromtimestamp(t / 1000, tz=ZoneInfo(zone)).utcoffset() or dt.timedelta()).total_seconds()
            * 1000
        )
        for t in times.tolist()
    ]
    assert found.offsets(times).tolist() == each


# Hand-worked with the European rule: in 2026 summer time begins on 29 March and ends on 25 October, both at 01:00 UTC.
SPRING = [
    ("2026-03-29T00:29:59Z", "00:29 winter time", False),
    ("2026-03-29T00:30:00Z", "00:30 winter time", True),
    ("2026-03-29T00:59:59Z", "00:59 winter time", True),
    ("2026-03-29T01:00:00Z", "02:00 summer time: 01:00 to 02:00 does not exist", True),
    ("2026-03-29T01:29:59Z", "02:29 summer time", True),
    ("2026-03-29T01:30:00Z", "02:30 summer time", False),
]
AUTUMN = [
    ("2026-10-24T23:29:59Z", "00:29 summer time", False),
    ("2026-10-24T23:30:00Z", "00:30 summer time", True),
    ("2026-10-25T00:30:00Z", "01:30 summer time", True),
    ("2026-10-25T01:00:00Z", "01:00 winter time, for the second time", True),
    ("2026-10-25T02:29:59Z", "02:29 winter time", True),
    ("2026-10-25T02:30:00Z", "02:30 winter time", False),
]


@pytest.mark.parametrize(("moment", "local", "inside"), SPRING + AUTUMN)
def test_hours_hold_on_days_when_the_clocks_change(moment: str, local: str, inside: bool) -> None:
    """00:30-02:30 in Dublin lasts one hour in spring and three in autumn."""
    span = when("00:30-02:30", None)
    assert bool(span.holds(np.array([utc(moment)]), Zone("Europe/Dublin"))[0]) is inside, local


def test_a_night_limit_follows_the_clock_and_not_the_sun() -> None:
    """A limit for 22:00-06:00 of 10 degC and 14 by day, on the night of the change: the reading's own time decides."""
    point = PointPlan("air", "air_temperature", "degC", Fraction(1, 10), 3_600_000, 7_200_000)
    rule = KINDS["band"].model_validate(
        {"id": "air.low", "kind": "band", "point": "air", "low": 14, "limits": [{"hours": "22:00-06:00", "low": 10}]}
    )
    plan = Plan("Test", "Europe/Dublin", (point,), (rule,), settle=0)
    # 12 degC all night: fine until 05:59 summer time (04:59 UTC), too low from 06:00 (05:00 UTC) on.
    times = [utc(f"2026-03-29T0{hour}:{minute}:00Z") for hour, minute in ((0, "30"), (1, "30"), (4, "59"), (5, "00"))]
    events = Engine(plan, times[0]).step([block("air", times, [120] * 4)], [], times[-1])
    assert [(event.t, event.body["state"]) for event in events] == [(times[-1], "unacknowledged")]


def test_a_change_of_limit_is_no_edge_by_itself() -> None:
    """With the day's limit in force at 06:00 and no new reading before 06:20, the alarm begins at 06:20."""
    point = PointPlan("air", "air_temperature", "degC", Fraction(1, 10), 3_600_000, 7_200_000)
    rule = KINDS["band"].model_validate(
        {"id": "air.low", "kind": "band", "point": "air", "low": 14, "limits": [{"hours": "22:00-06:00", "low": 10}]}
    )
    plan = Plan("Test", "UTC", (point,), (rule,), settle=0)
    times = [utc("2026-01-10T05:40:00Z"), utc("2026-01-10T06:20:00Z")]
    events = Engine(plan, times[0]).step([block("air", times, [120, 120])], [], times[-1])
    assert [event.t for event in events] == [times[1]]


@pytest.mark.parametrize(
    ("moment", "inside"),
    [
        ("2026-10-31T23:59:59Z", False),
        ("2026-11-01T00:00:00Z", True),
        ("2027-03-31T22:59:59Z", True),
        ("2027-03-31T23:00:00Z", False),
    ],
)
def test_a_season_may_pass_the_turn_of_the_year(moment: str, inside: bool) -> None:
    """11-01..03-31 by local dates, both ends included; 31 March ends at 23:00 UTC because summer time has begun."""
    assert bool(when(None, "11-01..03-31").holds(np.array([utc(moment)]), Zone("Europe/Dublin"))[0]) is inside


@pytest.mark.parametrize("text", ["8:00-9:00", "08:00", "25:00-26:00", "08:60-09:00", "night"])
def test_hours_that_are_none_are_refused_with_the_form(text: str) -> None:
    """The message shows how to write them."""
    with pytest.raises(SettingError, match=r'write them as "20:00-07:00"'):
        when(text, None)


@pytest.mark.parametrize("text", ["11-1..3-31", "13-01..03-31", "winter", "11-01-03-31"])
def test_a_season_that_is_none_is_refused_with_the_form(text: str) -> None:
    """The message shows how to write it."""
    with pytest.raises(SettingError, match=r'write it as "11-01..03-31"'):
        when(None, text)
