"""Do the flags of a point not depend on how its readings are cut, and are they those of judging one at a time?"""

from __future__ import annotations

import itertools
import json
from decimal import Decimal
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.block import Block, block
from rules.durations import HOUR, MINUTE
from rules.errors import SettingError, UnitError
from rules.local_time import Zone
from rules.plan import PointPlan
from rules.quality.attenuated import AttenuatedSettings
from rules.quality.climatology import ClimatologySettings
from rules.quality.codes import CodesSettings
from rules.quality.flat_line import FlatLineSettings
from rules.quality.gap import GapSettings
from rules.quality.gross_range import GrossRangeSettings
from rules.quality.quality import Quality
from rules.quality.rate_of_change import RateOfChangeSettings
from rules.quality.settings import QualitySettings
from rules.quality.spike import SpikeSettings
from tests.rules.quality.made import made
from tests.rules.quality.naive import Reading, judge_all

POINT = PointPlan("house.temperature", "air_temperature", "degC", Fraction(1, 10), MINUTE, 3 * MINUTE)
ZONE = "Europe/Dublin"
START = 1_774_742_400_000
"""2026-03-29T00:00Z, an hour before the clocks change in Dublin."""


def tenths(low: int, high: int) -> st.SearchStrategy[Decimal]:
    return st.integers(low, high).map(lambda k: Decimal(k) / 10)


def pair(low: int, high: int) -> st.SearchStrategy[tuple[Decimal | None, Decimal | None]]:
    """A suspect and a fail limit that is no lower, one of them perhaps absent."""
    both = st.tuples(tenths(low, high), tenths(0, high)).map(lambda p: (p[0], p[0] + p[1]))
    return st.tuples(both, st.integers(0, 2)).map(
        lambda p: (None if p[1] == 1 else p[0][0], None if p[1] == 2 else p[0][1])
    )


def spans(usual: Any, possible: Any) -> dict[str, Any]:
    return {"low": -usual, "high": usual, "fail_low": -usual - possible, "fail_high": usual + possible}


TESTS: dict[str, st.SearchStrategy[QualitySettings]] = {
    "codes": st.just(made(CodesSettings, values=("-12.7", 8.5))),
    "gross_range": st.tuples(tenths(5, 60), tenths(0, 60)).map(
        lambda p: made(
            GrossRangeSettings, suspect_low=-p[0], suspect_high=p[0], fail_low=-p[0] - p[1], fail_high=p[0] + p[1]
        )
    ),
    "climatology": st.lists(
        st.tuples(
            st.sampled_from([None, "3", "4-9", "11-2"]),
            st.sampled_from([None, "00:30-02:10", "22:00-01:15"]),
            tenths(5, 50),
            tenths(0, 50),
        ),
        min_size=1,
        max_size=3,
    ).map(
        lambda listed: ClimatologySettings.model_validate(
            {"spans": [{"months": m, "hours": h, **spans(a, b)} for m, h, a, b in listed]}
        )
    ),
    "gap": st.sampled_from([made(GapSettings, limit="70 s"), made(GapSettings, limit="3 min")]),
    "spike": st.tuples(pair(1, 30), st.sampled_from(["average", "differential"])).map(
        lambda p: made(SpikeSettings, suspect=p[0][0], fail=p[0][1], method=p[1])
    ),
    "rate_of_change": pair(1, 20).map(
        lambda p: made(
            RateOfChangeSettings,
            **{k: None if v is None else v / 20 for k, v in zip(("suspect", "fail"), p, strict=True)},
        )
    ),
    "flat_line": st.tuples(st.integers(60, 400), st.integers(0, 400), tenths(0, 4), st.integers(0, 2)).map(
        lambda p: made(
            FlatLineSettings,
            suspect_time=None if p[3] == 1 else f"{p[0]} s",
            fail_time=None if p[3] == 2 else f"{p[0] + p[1]} s",
            tolerance=p[2],
        )
    ),
    "attenuated": st.tuples(
        pair(0, 20), st.sampled_from(["std", "range"]), st.integers(60, 600), st.integers(2, 6)
    ).map(
        lambda p: made(
            AttenuatedSettings, suspect=p[0][1], fail=p[0][0], kind=p[1], period=f"{p[2]} s", min_readings=p[3]
        )
    ),
}

VALUES = st.one_of(
    st.integers(-3, 3), st.integers(-3, 3), st.integers(-90, 90), st.sampled_from([None, -127, 85, 0, 0])
)
WAITS = st.one_of(st.just(60_000), st.just(60_000), st.integers(1, 400_000))


@st.composite
def series(draw: st.DrawFn) -> list[Reading]:
    """Readings with repeats, spikes, codes, missing ones and silences."""
    time, listed = START, []
    for value in draw(st.lists(VALUES, min_size=1, max_size=40)):
        for _ in range(draw(st.integers(1, 4)) if value is not None and abs(value) <= 3 else 1):
            time += draw(WAITS)
            listed.append(Reading(time, value))
    return listed


def column(listed: list[Reading]) -> Block:
    return block(POINT.id, [r.time for r in listed], [r.counts for r in listed])


def judge_in_cuts(
    tests: list[QualitySettings], listed: list[Reading], cuts: list[int], through_json: bool
) -> tuple[list[int], dict[int, int]]:
    """Flags as known when judged, and finals, from a series cut into blocks."""
    quality = Quality(tests, POINT, Zone(ZONE))
    flags: list[int] = []
    finals: dict[int, int] = {}
    edges = [0, *sorted({c % (len(listed) + 1) for c in cuts}), len(listed)]
    for begin, end in itertools.pairwise(edges):
        found, final = quality.judge(column(listed[begin:end]))
        flags += found.tolist()
        finals |= dict(final.listed())
        if through_json:
            state = json.loads(json.dumps(quality.state()))
            quality = Quality(tests, POINT, Zone(ZONE))
            quality.load(state)
    return flags, finals


def check(tests: list[QualitySettings], listed: list[Reading], cuts: list[int], through_json: bool) -> None:
    flags, finals = judge_in_cuts(tests, listed, cuts, through_json)
    known, final = judge_all(tests, POINT, listed, ZONE)
    assert flags == known
    assert [finals.get(r.time, flag) for r, flag in zip(listed, flags, strict=True)] == final
    assert all(flag != known[[r.time for r in listed].index(time)] for time, flag in finals.items())


@pytest.mark.parametrize("name", TESTS)
@settings(max_examples=150, deadline=None)
@given(data=st.data())
def test_one_test_alone_is_the_naive_one_wherever_it_is_cut(name: str, data: st.DataObject) -> None:
    """Flags when judged and in the end, in blocks of any size, with a restart between any two."""
    test, listed = data.draw(TESTS[name]), data.draw(series())
    cuts = data.draw(st.lists(st.integers(0, 200), max_size=6))
    check([test], listed, cuts, data.draw(st.booleans()))


@settings(max_examples=200, deadline=None)
@given(data=st.data())
def test_all_tests_together_are_the_naive_ones_wherever_they_are_cut(data: st.DataObject) -> None:
    """Any set of tests: the worst flag counts, and what fails outright is compared with nothing."""
    names = data.draw(st.sets(st.sampled_from(list(TESTS)), min_size=1))
    tests = [data.draw(TESTS[name]) for name in sorted(names)]
    listed = data.draw(series())
    cuts = data.draw(st.lists(st.integers(0, 200), max_size=6))
    check(tests, listed, cuts, data.draw(st.booleans()))


def test_one_reading_at_a_time_is_one_block() -> None:
    """A day of a wandering value, each reading for itself and all at once."""
    chance = np.random.default_rng(11)
    values = np.cumsum(chance.integers(-1, 2, 1440)) // 3
    values[chance.integers(0, 1440, 20)] = 85
    tests: list[QualitySettings] = [
        made(CodesSettings, values=(8.5,)),
        made(GrossRangeSettings, fail_low=-4, fail_high=4, suspect_low=-3, suspect_high=3),
        made(SpikeSettings, suspect=0.1, fail=0.3),
        made(RateOfChangeSettings, suspect="0.1 degC/min"),
        made(FlatLineSettings, suspect_time="5 min", fail_time="10 min", tolerance=0.1),
        made(AttenuatedSettings, suspect=0.5, fail=0.2, kind="range", period="2 h", min_readings=60),
    ]
    listed = [Reading(START + MINUTE * i, int(v)) for i, v in enumerate(values)]
    whole = judge_in_cuts(tests, listed, [], False)
    assert set(whole[0]) == {1, 3, 4}
    assert judge_in_cuts(tests, listed, list(range(1440)), False) == whole


def test_long_series_agree_with_the_naive_one() -> None:
    """Long enough that windows are judged by blocks first: flat and attenuated stretches among wandering ones."""
    chance = np.random.default_rng(3)
    values = np.cumsum(chance.integers(-1, 2, 2000))
    values[300:700] = values[300]
    values[900:1500:2] = values[899]
    values[901:1500:2] = values[899] + 1
    tests: list[QualitySettings] = [
        made(FlatLineSettings, suspect_time="40 min", fail_time="90 min", tolerance=0.1),
        made(AttenuatedSettings, suspect=0.4, fail=0.2, kind="range", period="1 h", min_readings=30),
    ]
    listed = [Reading(START + MINUTE * i, int(v)) for i, v in enumerate(values)]
    check(tests, listed, [], False)
    check(tests, listed, [500, 950, 1300, 1301], True)


# ------------------------------------------------------------------------------------------------ what a point carries


class Feed:
    """Readings of POINT, one a minute."""

    def __init__(self, *tests: QualitySettings, point: PointPlan = POINT) -> None:
        self.quality = Quality(tests, point, Zone(ZONE))
        self.minute = 0

    def judge(self, *values: int | None, wait: int = 1) -> tuple[list[int], list[tuple[int, int]]]:
        """(flags, (minute, flag) of each final one)."""
        times = [MINUTE * (self.minute + wait + k) for k in range(len(values))]
        self.minute = times[-1] // MINUTE
        flags, finals = self.quality.judge(block(POINT.id, times, values))
        return flags.tolist(), [(time // MINUTE, flag) for time, flag in finals.listed()]


def test_a_spike_is_known_one_reading_later() -> None:
    """The newest reading passes with what is known of it; with the next one its final flag is told."""
    feed = Feed(made(GrossRangeSettings, fail_low=-50, fail_high=70), made(SpikeSettings, fail=3))
    assert feed.judge(200) == ([1], [])
    assert feed.judge(300) == ([1], [])
    assert feed.judge(200) == ([1], [(2, 4)])


def test_the_spike_test_alone_leaves_the_newest_reading_unevaluated() -> None:
    """2 until the next one arrives, then 1; the first of all stays 2."""
    feed = Feed(made(SpikeSettings, fail=3))
    assert feed.judge(200, 201) == ([2, 2], [])
    assert feed.judge(202) == ([2], [(2, 1)])


def test_nothing_is_compared_with_a_code() -> None:
    """-127 and 85 fail for themselves; the readings around them are no spikes and no fast changes."""
    tests = (
        made(CodesSettings, values=(-127, 85)),
        made(SpikeSettings, fail=1),
        made(RateOfChangeSettings, fail="1 degC/min"),
    )
    assert Feed(*tests).judge(200, 200, -1270, 200, 850, 200, 200, 200) == ([1, 1, 4, 1, 4, 1, 1, 1], [])
    assert Feed(*tests[1:]).judge(200, 200, -1270, 200)[0] == [2, 1, 4, 4]


def test_a_code_is_told_in_any_unit() -> None:
    """185 degF is what a driver makes of a one-wire probe's 85 degC; -127 degC is rounded as a reading would be."""
    point = PointPlan("tank.temperature", "water_temperature", "degF", Fraction(1), MINUTE, 3 * MINUTE)
    feed = Feed(made(CodesSettings, values=("85 degC", "-127 degC")), point=point)
    assert feed.judge(185, 184, -197, -196)[0] == [4, 1, 4, 1]


def test_a_missing_reading_stays_missing() -> None:
    """Whatever a test makes of its time or of its place-holder value."""
    assert Feed(made(GapSettings, limit="90 s"), made(CodesSettings, values=(0,))).judge(None, None, 1, wait=5)[0] == [
        9,
        9,
        1,
    ]


def test_a_flag_that_a_reading_brings_is_judged_anew() -> None:
    """A store keeps the flags of former settings; only 9 says something about the reading itself."""
    quality = Quality([made(GrossRangeSettings, fail_high=70)], POINT)
    flags, _ = quality.judge(block(POINT.id, [1, 2, 3, 4], [10, 10, 10, None], [4, 3, 1, 9]))
    assert flags.tolist() == [1, 1, 1, 9]


def test_limits_are_never_rounded() -> None:
    """With counts of 0.1 degC, 25.05 lies between two counts and is itself neither."""
    assert Feed(made(GrossRangeSettings, suspect_high="25.05")).judge(250, 251)[0] == [1, 3]
    assert Feed(made(GrossRangeSettings, fail_high="77.09 degF")).judge(250, 251)[0] == [1, 4]
    assert Feed(made(GrossRangeSettings, suspect_low="25.05")).judge(250, 251)[0] == [3, 1]
    assert Feed(made(FlatLineSettings, fail_time="2 min", tolerance="0.19")).judge(1, 2, 2, 2)[0] == [1, 1, 4, 4]
    assert Feed(made(FlatLineSettings, fail_time="2 min", tolerance="0.09")).judge(1, 2, 2, 2)[0] == [1, 1, 1, 4]


def test_a_tie_is_a_tie_however_large_the_numbers_are() -> None:
    """2^32 - 1 counts in 2^32 + 1 ms at just that rate pass, one count more does not; products pass 63 bits there."""
    point = PointPlan("tank.value", "ratio", "1", Fraction(1), MINUTE, 2**60)
    wait, step = 2**32 + 1, 2**32 - 1
    quality = Quality([made(RateOfChangeSettings, suspect=f"{1000 * step}/{wait}")], point)
    readings = block(point.id, [0, wait, 2 * wait], [0, step, 2 * step + 1])
    assert quality.judge(readings)[0].tolist() == [2, 1, 3]


def test_a_line_may_begin_right_behind_a_reading_that_came_as_long_before_as_lines_reach() -> None:
    """From 1:00 on nothing but 9: at 1:30 the last minute was flat, though it began before the first 9 was sent."""
    quality = Quality([made(FlatLineSettings, suspect_time="60 s")], POINT)
    assert quality.judge(block(POINT.id, [0, 60_000, 90_000], [5, 9, 9]))[0].tolist() == [1, 1, 3]


def test_the_middle_of_two_neighbours_is_not_rounded_either() -> None:
    """0.5 stands out from 0.0 and 0.5 by exactly 0.25: at the limit it passes, below it does not."""
    assert Feed(made(SpikeSettings, fail="0.25")).judge(0, 5, 5)[1] == [(2, 1)]
    assert Feed(made(SpikeSettings, fail="0.24")).judge(0, 5, 5)[1] == [(2, 4)]


def test_a_message_without_a_value_ends_a_gap() -> None:
    """Something came, though it was no value: the next one in time comes after no gap, in a block of its own or not."""
    feed = Feed(made(GapSettings, limit="2 min"))
    feed.judge(1)
    assert feed.judge(None, wait=2)[0] == [9]
    assert feed.judge(1, wait=2)[0] == [1]
    assert feed.judge(1, wait=3)[0] == [4]


def test_silence_ends_what_is_compared() -> None:
    """Past stale_after nobody knows what lay between: neither rate nor spike nor flat line reach over it."""
    rate, flat = made(RateOfChangeSettings, fail="1 degC/min"), made(FlatLineSettings, fail_time="3 min")
    assert (Feed(rate).judge(1), Feed(rate).judge(1)[0]) == (([2], []), [2])
    feed = Feed(rate)
    feed.judge(0)
    assert feed.judge(100, wait=3)[0] == [4]
    assert feed.judge(0, wait=4)[0] == [2]
    feed = Feed(flat)
    assert feed.judge(5, 5, 5)[0] == [1, 1, 1]
    assert feed.judge(5)[0] == [4]
    assert feed.judge(5, wait=4)[0] == [1]


def test_what_a_point_carries_is_small() -> None:
    """The checkpoint is written with every commit: a day of flat line is a few numbers."""
    tests = (
        made(GrossRangeSettings, fail_high=70),
        made(SpikeSettings, fail=3),
        made(FlatLineSettings, fail_time="1 d", tolerance=0.3),
    )
    feed = Feed(*tests)
    feed.judge(*(200 + (minute // 7) % 4 for minute in range(1440)))
    assert len(json.dumps(feed.quality.state())) < 500


def test_other_settings_begin_anew_and_the_rest_goes_on() -> None:
    """After a reload the test that was changed knows nothing; one that was not carries on."""
    flat, gap = made(FlatLineSettings, fail_time="2 min"), made(GapSettings, limit="5 min")
    old = Quality([flat, gap], POINT)
    old.judge(block(POINT.id, [0, MINUTE, 2 * MINUTE], [1, 1, 1]))
    new = Quality([made(FlatLineSettings, fail_time="3 min"), gap], POINT)
    new.load(json.loads(json.dumps(old.state())))
    late = [2 * MINUTE + 1, 8 * MINUTE]
    assert new.judge(block(POINT.id, late, [1, 1]))[0].tolist() == [1, 4]
    same = Quality([flat, gap], POINT)
    same.load(json.loads(json.dumps(old.state())))
    assert same.judge(block(POINT.id, late, [1, 1]))[0].tolist() == [4, 4]


def test_another_resolution_begins_anew() -> None:
    """Counts of another size are not compared with each other."""
    fine = PointPlan(POINT.id, POINT.quantity, POINT.unit, Fraction(1, 100), MINUTE, 3 * MINUTE)
    old, new = (
        Quality([made(RateOfChangeSettings, fail="1 degC/min")], POINT),
        Feed(made(RateOfChangeSettings, fail="1 degC/min"), point=fine),
    )
    old.judge(block(POINT.id, [0], [200]))
    new.quality.load(json.loads(json.dumps(old.state())))
    assert new.judge(2000)[0] == [2]


@pytest.mark.parametrize(
    "test",
    [
        made(SpikeSettings),
        made(SpikeSettings, suspect=2, fail=1),
        made(SpikeSettings, suspect=-1),
        made(RateOfChangeSettings),
        made(RateOfChangeSettings, suspect="2 degC/min", fail="1 degC/min"),
        made(RateOfChangeSettings, fail=-1),
        made(FlatLineSettings),
        made(FlatLineSettings, suspect_time="0 s"),
        made(FlatLineSettings, suspect_time="2 h", fail_time="1 h"),
        made(FlatLineSettings, suspect_time="2 h", tolerance=-1),
        made(AttenuatedSettings, period="1 h", min_readings=2),
        made(AttenuatedSettings, suspect=1, fail=2, period="1 h", min_readings=2),
        ClimatologySettings.model_validate({"spans": [{"months": "0-3", "low": 1}]}),
        ClimatologySettings.model_validate({"spans": [{"months": "winter", "low": 1}]}),
        ClimatologySettings.model_validate({"spans": [{"hours": "8-9", "low": 1}]}),
        ClimatologySettings.model_validate({"spans": [{"low": 2, "high": 1}]}),
        ClimatologySettings.model_validate({"spans": [{"low": 2, "fail_low": 3}]}),
    ],
)
def test_settings_that_make_no_sense_together_are_refused(test: QualitySettings) -> None:
    """No limit, limits upside down, negative sizes, unknown months: told with what to write instead."""
    with pytest.raises(SettingError, match=r"; |understood"):
        Quality([test], POINT)


def test_a_unit_that_does_not_fit_is_refused() -> None:
    """A temperature has no limit in litres."""
    with pytest.raises(UnitError):
        Quality([made(GrossRangeSettings, fail_high="3 L")], POINT)


def test_an_empty_block_changes_nothing() -> None:
    """A step in which a point says nothing leaves a pending spike pending."""
    feed = Feed(
        made(GrossRangeSettings, fail_high=70), made(SpikeSettings, fail=3), made(FlatLineSettings, fail_time="1 h")
    )
    feed.judge(200, 300)
    flags, finals = feed.quality.judge(block(POINT.id, [], []))
    assert (len(flags), len(finals)) == (0, 0)
    assert feed.judge(200) == ([1], [(2, 4)])


def test_months_may_pass_the_turn_of_the_year_and_hours_midnight() -> None:
    """Both are local: 00:30 in Dublin on the 1st of July is 23:30 UTC of the 30th of June."""
    spans = [{"months": "7-2", "hours": "23:00-01:00", "low": 10}]
    test = ClimatologySettings.model_validate({"spans": spans})
    times = [1_782_862_200_000, 1_782_862_200_000 + HOUR, 1_782_862_200_000 + 24 * HOUR]
    flags, _ = Quality([test], POINT, Zone(ZONE)).judge(block(POINT.id, times, [99, 99, 100]))
    assert flags.tolist() == [3, 2, 1]
